package pgn

import "strings"

// String is the text of a Text field: up to the first NUL or 0xFF, without
// trailing spaces and '@' (fillers met in practice; from memory). Bytes other
// than printable ASCII become '?'. It is empty if data ends before the field
// does, and for any other kind of field.
func (f *Field) String(data []byte) string {
	text := f.text(data)
	if text == nil {
		return ""
	}
	s := string(text)
	s, _, _ = strings.Cut(s, "\x00")
	s, _, _ = strings.Cut(s, "\xFF")
	return strings.TrimRight(printable(s), " @")
}

// PutString stores text, cut to the field's length, and fills with 0xFF. It
// does nothing to any other kind of field, and panics if data ends before the
// field does.
func (f *Field) PutString(data []byte, s string) {
	if f.Kind != Text {
		return
	}
	to := data[f.Offset/8 : (f.Offset+f.Bits)/8]
	n := copy(to, printable(s))
	for i := n; i < len(to); i++ {
		to[i] = filler
	}
}

const filler = 0xFF

// text is the bytes of a Text field, nil if data does not hold all of them.
func (f *Field) text(data []byte) []byte {
	from, to := f.Offset/8, (f.Offset+f.Bits)/8
	if f.Kind != Text || to > len(data) {
		return nil
	}
	return data[from:to]
}

// printable replaces every byte that is not printable ASCII.
func printable(s string) string {
	b := []byte(s)
	for i, c := range b {
		if c < ' ' || c > '~' {
			b[i] = '?'
		}
	}
	return string(b)
}
