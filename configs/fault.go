package configs

import (
	"cmp"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Fault is one thing wrong with a configuration.
type Fault struct {
	File    string // or the environment variable it came from
	Line    int    // 0 where not known
	Key     string // path, such as engines[1].rated_rpm
	Value   any    // nil where there is none
	Reason  string
	Allowed string // what would be right
}

func (f Fault) Error() string {
	var b strings.Builder
	b.WriteString(f.File)
	if f.Line > 0 {
		fmt.Fprintf(&b, ":%d", f.Line)
	}
	if f.Key != "" {
		b.WriteString(": " + printable(f.Key))
	}
	if f.Value != nil {
		fmt.Fprintf(&b, ": %s", show(f.Value))
	}
	fmt.Fprintf(&b, ": %s; %s", f.Reason, f.Allowed)
	return b.String()
}

// printable keeps a hostile key on one line, and short.
func printable(key string) string {
	if quoted := strconv.Quote(key); quoted != `"`+key+`"` {
		key = quoted
	}
	if r := []rune(key); len(r) > 80 {
		key = string(r[:77]) + "..."
	}
	return key
}

// Faults are all faults of one configuration, in the order of the file.
type Faults []Fault

// Error gives one line a fault.
func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i := range f {
		lines[i] = f[i].Error()
	}
	return strings.Join(lines, "\n")
}

// places knows where each key stands and gathers the faults.
type places struct {
	file      string
	lines     map[string]int    // by key path
	variables map[string]string // environment variable by key path
	faults    Faults
}

// add notes a fault at key. A key that already has one gets no second: its
// value cannot be judged.
func (p *places) add(key string, value any, reason, allowed string) {
	if slices.ContainsFunc(p.faults, func(f Fault) bool { return f.Key == key }) {
		return
	}
	if allowed != "" {
		allowed = "allowed: " + allowed
	}
	p.append(Fault{Key: key, Value: value, Reason: reason, Allowed: allowed})
}

func (p *places) append(f Fault) {
	f.File, f.Line = p.file, p.lines[f.Key]
	if variable, ok := p.variables[f.Key]; ok {
		f.File, f.Line = variable, 0
	}
	p.faults = append(p.faults, f)
}

func (p *places) sorted() Faults {
	slices.SortStableFunc(p.faults, func(a, b Fault) int { return cmp.Compare(a.Line, b.Line) })
	return p.faults
}

// walk follows the document and the type side by side. It notes the line of
// every key and refuses those that the type does not have. It never goes deeper
// than the type, whatever the document does.
func (p *places) walk(path string, n *yaml.Node, t reflect.Type) {
	for range 8 { // an alias to an alias; more is no configuration
		if n.Kind != yaml.AliasNode {
			break
		}
		n = n.Alias
	}
	t = indirect(t)
	switch {
	case t.Kind() == reflect.Struct && n.Kind == yaml.MappingNode:
		p.walkKeys(path, n, t)
	case t.Kind() == reflect.Slice && n.Kind == yaml.SequenceNode:
		for i, item := range n.Content {
			at := fmt.Sprintf("%s[%d]", path, i)
			p.lines[at] = item.Line
			p.walk(at, item, t.Elem())
		}
	}
}

func (p *places) walkKeys(path string, n *yaml.Node, t reflect.Type) {
	var known []string
	fields := map[string]reflect.Type{}
	for f := range t.Fields() {
		known = append(known, tag(f))
		fields[tag(f)] = f.Type
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		at := strings.TrimPrefix(path+"."+key.Value, ".")
		p.lines[at] = key.Line
		if ft, ok := fields[key.Value]; ok {
			p.walk(at, value, ft)
			continue
		}
		p.unknown(at, key.Value, known)
	}
}

func (p *places) unknown(path, key string, known []string) {
	reason, allowed := "unknown key", "allowed here: "+strings.Join(known, ", ")
	if near := nearest(key, known); near != "" {
		reason += ", did you mean " + near + "?"
	}
	p.append(Fault{Key: path, Reason: reason, Allowed: allowed})
}

// nearest returns the known key that a slip of the hand turns into key: at the
// most a third of its letters wrong, or the unit left off. "" if there is none.
func nearest(key string, known []string) string {
	key = strings.ToLower(strings.ReplaceAll(key, "-", "_"))
	if len(key) > 64 {
		return ""
	}
	best, bestDistance := "", len(key)/3+1
	for _, k := range known {
		d := distance(key, k)
		if key != "" && strings.HasPrefix(k, key+"_") {
			d = 1
		}
		if d < bestDistance {
			best, bestDistance = k, d
		}
	}
	return best
}

// distance is the Levenshtein distance in bytes.
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := diagonal
			if a[i] != b[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
