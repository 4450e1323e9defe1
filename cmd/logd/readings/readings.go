// Package readings reads what the crew noted by hand: a CSV file with the
// columns time or rpm (or both), sound_dba, sea_state and comment, in any
// order, named in its first line. Cells may be empty.
//
//	time,rpm,sound_dba,sea_state,comment
//	2031-05-14T09:12:30Z,,84.5,2,at the helm
//	,2400,86,,
package readings

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"trialday.example/logd/calc"
)

// Columns are the names that the first line may hold.
var Columns = []string{"time", "rpm", "sound_dba", "sea_state", "comment"}

// maxReadings bounds a file; a day has some dozen.
const maxReadings = 10000

// ReadFile reads the file at path.
func ReadFile(path string) ([]calc.Reading, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("readings: %w", err)
	}
	defer f.Close()
	return Parse(f, path)
}

// Parse reads a file. Name stands for it in errors, which are one line for each
// fault with its line number and remedy; a file with a fault gives no readings.
func Parse(r io.Reader, name string) ([]calc.Reading, error) {
	c := csv.NewReader(r)
	c.FieldsPerRecord = -1
	c.TrimLeadingSpace = true
	header, err := c.Read()
	if errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("%s: empty; the first line names the columns: %s", name, strings.Join(Columns, ","))
	}
	if err != nil {
		return nil, syntax(name, err)
	}
	at, err := columns(header, name)
	if err != nil {
		return nil, err
	}
	var out []calc.Reading
	var faults []error
	for {
		row, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, errors.Join(append(faults, syntax(name, err))...)
		}
		line, _ := c.FieldPos(0)
		p := parser{row: row, at: at, where: fmt.Sprintf("%s:%d", name, line)}
		reading := p.reading(len(header))
		reading.Line = line
		out, faults = append(out, reading), append(faults, p.faults...)
		if len(out) > maxReadings {
			return nil, fmt.Errorf("%s: more than %d readings; give those noted by hand, not a recording", name, maxReadings)
		}
	}
	if len(faults) > 0 {
		return nil, errors.Join(faults...)
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("%s: no readings below the first line; leave the file out or add them", name)
	}
	return out, nil
}

// syntax names the line of a broken quote.
func syntax(name string, err error) error {
	if p, ok := errors.AsType[*csv.ParseError](err); ok {
		return fmt.Errorf("%s:%d: %v; put text with quotes or commas in double quotes and double the quotes in it", name, p.Line, p.Err)
	}
	return fmt.Errorf("%s: %w", name, err)
}

// columns finds each column's place.
func columns(header []string, name string) (map[string]int, error) {
	at := map[string]int{}
	for i, h := range header {
		h = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")))
		if !slices.Contains(Columns, h) {
			return nil, fmt.Errorf("%s:1: unknown column %s; allowed: %s", name, short(h), strings.Join(Columns, ", "))
		}
		if _, twice := at[h]; twice {
			return nil, fmt.Errorf("%s:1: column %s is there twice; keep one", name, h)
		}
		at[h] = i
	}
	_, timed := at["time"]
	_, speeds := at["rpm"]
	if !timed && !speeds {
		return nil, fmt.Errorf("%s:1: neither a column time nor rpm; one of them tells where a reading belongs", name)
	}
	return at, nil
}

// parser reads one line and gathers its faults.
type parser struct {
	row    []string
	at     map[string]int
	where  string
	faults []error
}

func (p *parser) reading(columns int) calc.Reading {
	if len(p.row) > columns {
		p.fault("%d cells under %d columns; put a comment with commas in double quotes", len(p.row), columns)
	}
	r := calc.Reading{RPM: p.number("rpm", 1, 16383) / 60, Sound: p.number("sound_dba", 20, 140), SeaState: p.number("sea_state", 0, 9), Comment: p.cell("comment")}
	if r.SeaState != math.Trunc(r.SeaState) && !math.IsNaN(r.SeaState) {
		p.fault("sea_state %g is not whole; 0 to 9 by the WMO's table", r.SeaState)
	}
	if text := p.cell("time"); text != "" {
		t, err := time.Parse(time.RFC3339, text)
		switch {
		case err != nil:
			p.fault("time %s is not as RFC 3339 has it, with a zone; write 2031-05-14T09:12:30Z or 2031-05-14T10:12:30+01:00", short(text))
		case t.Year() < 1970 || t.Year() > 2200:
			p.fault("time %s is in year %d; check the date", short(text), t.Year())
		}
		r.Time, r.Timed = t.UnixNano(), true
	}
	if p.empty("time", "rpm") {
		p.fault("neither time nor rpm; one of them tells where the reading belongs")
	}
	if p.empty("sound_dba", "sea_state", "comment") {
		p.fault("no sound_dba, sea_state or comment; add one or leave the line out")
	}
	return r
}

func (p *parser) fault(format string, args ...any) {
	p.faults = append(p.faults, fmt.Errorf("%s: %s", p.where, fmt.Sprintf(format, args...)))
}

// cell returns a column's text, "" where the line or the file lacks it.
func (p *parser) cell(column string) string {
	i, ok := p.at[column]
	if !ok || i >= len(p.row) {
		return ""
	}
	return strings.TrimSpace(p.row[i])
}

// empty tells whether all of the columns are.
func (p *parser) empty(columns ...string) bool {
	return !slices.ContainsFunc(columns, func(c string) bool { return p.cell(c) != "" })
}

// number returns a column's number, NaN for an empty cell.
func (p *parser) number(column string, lo, hi float64) float64 {
	text := p.cell(column)
	if text == "" {
		return math.NaN()
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		p.fault("%s %s is no number; write it like 84.5, or leave it empty", column, short(text))
		return math.NaN()
	}
	if !(v >= lo && v <= hi) {
		p.fault("%s %g is out of range; allowed: %g to %g", column, v, lo, hi)
		return math.NaN()
	}
	return v
}

// short quotes a text for a message, on one line.
func short(text string) string {
	if r := []rune(text); len(r) > 40 {
		text = string(r[:37]) + "..."
	}
	return strconv.Quote(text)
}
