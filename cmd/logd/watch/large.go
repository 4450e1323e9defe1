package watch

import "strings"

// cut are the characters of figures, each in five columns of the type; a point
// has one.
const (
	cut   = "0123456789-"
	pitch = 6
)

// face is the type, five lines high.
var face = [5]string{
	"#####   ##  ##### ##### #   # ##### ##### ##### ##### #####       ",
	"#   #    #      #     # #   # #     #         # #   # #   #       ",
	"#   #    #  #####  #### ##### ##### #####    #  ##### ##### ##### ",
	"#   #    #  #         #     #     # #   #   #   #   #     #       ",
	"#####   ### ##### #####     # ##### #####   #   ##### #####       ",
}

// large draws a figure.
func (m model) large(text string) string {
	var lines [len(face)]string
	for _, c := range text {
		at := strings.IndexRune(cut, c)
		for i := range lines {
			switch {
			case at >= 0:
				lines[i] += face[i][at*pitch : (at+1)*pitch]
			case i == len(lines)-1:
				lines[i] += "# "
			default:
				lines[i] += "  "
			}
		}
	}
	return strings.ReplaceAll(strings.Join(lines[:], "\n"), "#", m.glyphs.full)
}
