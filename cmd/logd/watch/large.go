package watch

import "strings"

// large draws a figure five lines high.
func (m model) large(text string) string {
	var rows [5]strings.Builder
	for _, c := range text {
		shape, ok := shapes[c]
		if !ok {
			continue
		}
		for i := range rows {
			rows[i].WriteString(strings.NewReplacer("#", m.glyphs.full).Replace(shape[i]))
			rows[i].WriteByte(' ')
		}
	}
	lines := make([]string, len(rows))
	for i := range rows {
		lines[i] = rows[i].String()
	}
	return strings.Join(lines, "\n")
}

// shapes are the characters of figures.
var shapes = map[rune][5]string{
	'0': {"#####", "#   #", "#   #", "#   #", "#####"},
	'1': {"  ## ", "   # ", "   # ", "   # ", "  ###"},
	'2': {"#####", "    #", "#####", "#    ", "#####"},
	'3': {"#####", "    #", " ####", "    #", "#####"},
	'4': {"#   #", "#   #", "#####", "    #", "    #"},
	'5': {"#####", "#    ", "#####", "    #", "#####"},
	'6': {"#####", "#    ", "#####", "#   #", "#####"},
	'7': {"#####", "    #", "   # ", "  #  ", "  #  "},
	'8': {"#####", "#   #", "#####", "#   #", "#####"},
	'9': {"#####", "#   #", "#####", "    #", "#####"},
	'.': {" ", " ", " ", " ", "#"},
	'-': {"     ", "     ", "#####", "     ", "     "},
}
