package results

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"reflect"
	"strings"
)

// WriteJSON writes r as results.json: indented, keys in the order of the
// structure, map keys sorted, so that equal results are equal bytes. Numbers
// have six significant digits, and are never coarser than a thousandth. A list
// without entries is [], a table without entries {}. Nothing is ever NaN or
// infinite: an optional figure becomes null, the bounds of an Interval become
// null, and any other is an error that names its key; w then has what comes
// before it. R is not changed.
//
// It is what encoding/json writes of Rounded, one entry of a list after another: of
// a long day the copy and the text would be most of the memory of a replay.
func (r *Results) WriteJSON(w io.Writer) error {
	d := document{out: bufio.NewWriterSize(w, 32<<10)}
	d.enc = json.NewEncoder(&d.text)
	d.enc.SetEscapeHTML(false)
	d.out.WriteByte('{')
	err := d.fields(reflect.ValueOf(*r))
	if err == nil {
		d.out.WriteString("\n}\n")
		err = d.out.Flush()
	}
	if err != nil {
		return fmt.Errorf("results: %w", err)
	}
	return nil
}

// document is results.json as it is being written.
type document struct {
	out   *bufio.Writer
	begun bool // a key stands there
	text  bytes.Buffer
	enc   *json.Encoder // into text
}

// fields writes the keys of the document, those of an embedded structure among
// them.
func (d *document) fields(v reflect.Value) error {
	for i := range v.NumField() {
		field, value := v.Type().Field(i), v.Field(i)
		name, option, _ := strings.Cut(field.Tag.Get("json"), ",")
		var err error
		switch {
		case field.Anonymous:
			err = d.fields(value)
		case option == "omitempty" && value.IsZero():
		case value.Kind() == reflect.Slice:
			d.key(name)
			err = d.list(value, name)
		default:
			d.key(name)
			err = d.value(value, name, "  ")
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (d *document) key(name string) {
	if d.begun {
		d.out.WriteByte(',')
	}
	d.begun = true
	fmt.Fprintf(d.out, "\n  %q: ", name)
}

func (d *document) list(v reflect.Value, path string) error {
	if v.Len() == 0 {
		_, err := d.out.WriteString("[]")
		return err
	}
	for i := range v.Len() {
		between := ",\n    "
		if i == 0 {
			between = "[\n    "
		}
		d.out.WriteString(between)
		if err := d.value(v.Index(i), fmt.Sprintf("%s[%d]", path, i), "    "); err != nil {
			return err
		}
	}
	_, err := d.out.WriteString("\n  ]")
	return err
}

// value writes what is not divided further.
func (d *document) value(v reflect.Value, path, indent string) error {
	tidied, err := tidy(v, path)
	if err != nil {
		return err
	}
	d.text.Reset()
	d.enc.SetIndent(indent, "  ")
	if err := d.enc.Encode(tidied.Interface()); err != nil {
		return err
	}
	_, err = d.out.Write(bytes.TrimSuffix(d.text.Bytes(), []byte("\n")))
	return err
}
