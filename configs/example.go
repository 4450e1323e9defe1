package configs

import (
	_ "embed"
	"strings"
)

//go:embed example.yaml
var example string

// ExampleSection returns the lines of a top-level section of the complete
// example, with the comment above it; "" where there is none. But for vessel,
// engines, fuel, load and trial the example holds the defaults.
func ExampleSection(key string) string {
	lines := strings.SplitAfter(example, "\n")
	for i, line := range lines {
		if !strings.HasPrefix(line, key+":") {
			continue
		}
		from, to := i, i+1
		for from > 0 && strings.HasPrefix(lines[from-1], "#") {
			from--
		}
		for to < len(lines) && strings.HasPrefix(lines[to], " ") {
			to++
		}
		return strings.Join(lines[from:to], "")
	}
	return ""
}
