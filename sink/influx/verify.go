package influx

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// maxDifferences bounds those kept word for word; the rest are counted.
const maxDifferences = 50

// Verification is what comparing journal and server gave.
type Verification struct {
	Points, Values int64 // that the journal gives
	Series         int   // fields of a measurement in a run, compared each by count and sum
	Differences    int64
	First          []string // the first 50
}

// cell is one field of a measurement in one run.
type cell struct{ measurement, field, run string }

// tally is its number of values and their sum; the sum of numbers only. Times
// in nanoseconds overflow their sum, which wraps around on both sides.
type tally struct {
	count int64
	sum   float64
	whole int64 // of integers
}

func (t *tally) add(v any) (isNumber bool) {
	switch v := v.(type) {
	case float64:
		t.sum += v
	case int64:
		t.whole += v
	default:
		return false
	}
	return true
}

// Verify makes all points of a journal again, and compares number and sum of
// the values of each field in each run with what the server holds of the trial.
// Nothing is written.
func Verify(ctx context.Context, o Options) (Verification, error) {
	o.Once = true
	s, err := New(o)
	if err != nil {
		return Verification{}, err
	}
	defer s.Close()
	id, err := identify(s.Journal, &s.Config)
	if err != nil {
		return Verification{}, err
	}
	e, err := s.expect(ctx, id)
	if err != nil {
		return Verification{}, err
	}
	got := make(map[cell]tally)
	for _, m := range slices.Sorted(maps.Keys(e.numbers)) {
		if err := s.ask(ctx, id, e, m, got); err != nil {
			return Verification{}, err
		}
	}
	return e.compare(got), nil
}

// expectation is what the journal gives.
type expectation struct {
	points, values int64
	cells          map[cell]tally
	numbers        map[string]map[string]bool // measurement to its fields, whether they are numbers
	from, to       int64
}

func (s *Sink) expect(ctx context.Context, id identity) (*expectation, error) {
	stream, err := openStream(&s.Options, id)
	if err != nil {
		return nil, err
	}
	defer stream.close()
	e := &expectation{cells: make(map[cell]tally), numbers: make(map[string]map[string]bool), from: math.MaxInt64, to: math.MinInt64}
	for ctx.Err() == nil {
		points, err := stream.next()
		if errors.Is(err, errEnd) || errors.Is(err, io.EOF) {
			return e, nil
		}
		if err != nil {
			return nil, err
		}
		for i := range points {
			e.add(&points[i])
		}
	}
	return nil, ctx.Err()
}

func (e *expectation) add(p *Point) {
	e.points++
	e.from, e.to = min(e.from, p.Time), max(e.to, p.Time)
	fields := e.numbers[p.Measurement]
	if fields == nil {
		fields = make(map[string]bool)
		e.numbers[p.Measurement] = fields
	}
	for _, f := range p.Fields {
		key := cell{p.Measurement, f.Key, p.tag("run")}
		t := e.cells[key]
		t.count++
		e.values++
		fields[f.Key] = t.add(f.Value)
		e.cells[key] = t
	}
}

// ask adds what the server holds of a measurement.
func (s *Sink) ask(ctx context.Context, id identity, e *expectation, measurement string, got map[cell]tally) error {
	err := s.table(ctx, id, e, measurement, nil, "count", func(c cell, v tally) {
		v.count, v.whole = v.whole, 0
		got[c] = v
	})
	if err != nil {
		return err
	}
	var texts []string // and truths, which have no sum
	for field, isNumber := range e.numbers[measurement] {
		if !isNumber {
			texts = append(texts, field)
		}
	}
	slices.Sort(texts)
	return s.table(ctx, id, e, measurement, texts, "sum", func(c cell, v tally) {
		v.count = got[c].count
		got[c] = v
	})
}

// table runs one query: an aggregate of a measurement by field and run. A day
// on either side is asked for too, so that points at wrong times are found.
func (s *Sink) table(ctx context.Context, id identity, e *expectation, measurement string, without []string, aggregate string, take func(cell, tally)) error {
	var q strings.Builder
	day := int64(24 * time.Hour)
	fmt.Fprintf(&q, "from(bucket: %s)\n", quote(s.Config.Influx.Bucket))
	fmt.Fprintf(&q, " |> range(start: %s, stop: %s)\n", stamp(e.from-day), stamp(e.to+day))
	fmt.Fprintf(&q, " |> filter(fn: (r) => r._measurement == %s and r.vessel == %s and r.trial == %s", quote(measurement), quote(id.vessel), quote(id.trial))
	for _, field := range without {
		fmt.Fprintf(&q, " and r._field != %s", quote(field))
	}
	// The columns left out differ within a group.
	fmt.Fprintf(&q, ")\n |> %s()\n |> keep(columns: [\"_field\", \"run\", \"_value\"])\n |> group(columns: [\"_field\", \"run\"])\n |> sum()", aggregate)
	rows, err := s.server.client.QueryAPI(s.Config.Influx.Org).Query(ctx, q.String())
	if err != nil {
		return fmt.Errorf("the server does not answer: %w", s.server.failure(err))
	}
	defer rows.Close()
	for rows.Next() {
		r := rows.Record()
		run, _ := r.ValueByKey("run").(string)
		var v tally
		if !v.add(r.Value()) {
			return fmt.Errorf("the server answers %T where a number belongs", r.Value())
		}
		take(cell{measurement, r.Field(), run}, v)
	}
	if rows.Err() != nil {
		return fmt.Errorf("the server's answer cannot be read: %w", s.server.failure(rows.Err()))
	}
	return nil
}

// compare tells every difference. Sums of the same values in another order may
// differ by rounding.
func (e *expectation) compare(got map[cell]tally) Verification {
	v := Verification{Points: e.points, Values: e.values, Series: len(e.cells)}
	all := maps.Clone(e.cells)
	for c := range got {
		all[c] = tally{}
	}
	for _, c := range slices.SortedFunc(maps.Keys(all), func(a, b cell) int {
		return strings.Compare(a.measurement+"\x00"+a.run+"\x00"+a.field, b.measurement+"\x00"+b.run+"\x00"+b.field)
	}) {
		want, have := e.cells[c], got[c]
		close := math.Abs(want.sum-have.sum) <= 1e-9*(math.Abs(want.sum)+math.Abs(have.sum))+1e-12*float64(want.count)
		if want.count == have.count && want.whole == have.whole && close {
			continue
		}
		v.Differences++
		if len(v.First) < maxDifferences {
			v.First = append(v.First, fmt.Sprintf("%s, field %s, run %s: journal %d values, sum %s; server %d values, sum %s",
				c.measurement, c.field, none(c.run), want.count, want.total(), have.count, have.total()))
		}
	}
	return v
}

func (t *tally) total() string {
	if t.whole != 0 {
		return strconv.FormatInt(t.whole, 10)
	}
	return strconv.FormatFloat(t.sum, 'g', -1, 64)
}

func none(run string) string {
	if run == "" {
		return "none"
	}
	return run
}

func stamp(ns int64) string { return time.Unix(0, ns).UTC().Format(time.RFC3339Nano) }

// quote makes a string of Flux.
func quote(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "${", "\\${").Replace(s) + `"`
}
