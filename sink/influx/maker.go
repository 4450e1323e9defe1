package influx

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"trialday.example/logd/calc"
	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode"
	"trialday.example/logd/decode/clock"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// maker makes the points of one run after another: it decodes the frames again
// up to the end of the run, and adds what is known of the run.
type maker struct {
	id      identity
	engines []string
	buses   func() []string
	decoder *decode.Decoder
	thin    thinner
	out     []Point

	sources, tanks, batteries labels

	// The present run.
	run    calc.Run
	tag    string
	spans  []span // that are steady
	found  []calc.Window
	clock  *clock.Clock
	known  bool // its time
	last   bool // it is the last: whatever comes belongs to it
	over   bool // no more frames
	later  []sample.Sample
	series map[seriesKey]*series
	open   sampleKey // of the point being put together
	point  Point
	sums   sums
	before decode.Stats

	starts map[int]windowStart // by window id
}

type windowStart struct {
	at  int64
	run string
}

// sampleKey tells which samples make one point.
type sampleKey struct {
	measurement string
	instance    uint8
	source      uint16
	at          int64
}

type seriesKey struct{ measurement, part, source string }

// series is what the points of one series in a run have in common.
type series struct {
	tags   []Tag
	latest int64 // time of the last point
}

func newMaker(cfg *configs.Config, id identity, buses func() []string) *maker {
	m := &maker{id: id, buses: buses, engines: engineTags(cfg), thin: newThinner(&cfg.Influx),
		sources: labels{max: MaxSources}, tanks: labels{max: maxTanks}, batteries: labels{max: maxTanks},
		series: make(map[seriesKey]*series), starts: make(map[int]windowStart)}
	m.decoder = decode.New(day.Options(cfg, buses), m)
	return m
}

// engineTags names every engine there can be. Those not configured are named by
// number, since how many there are is not known at the first of them.
func engineTags(cfg *configs.Config) []string {
	tags := make([]string, calc.MaxEngines)
	for i := range tags {
		tags[i] = fmt.Sprintf("engine %d", i+1)
		if i >= len(cfg.Engines) {
			continue
		}
		// A name that is taken would make one engine of two.
		if name := clean(cfg.Engines[i].Name, tags[i]); name != whole && name != other && !slices.Contains(tags[:i], name) {
			tags[i] = name
		}
	}
	return tags
}

// begin starts a run.
func (m *maker) begin(r *calc.Run, found []calc.Window, c *clock.Clock, known, last bool) {
	m.run, m.found, m.spans = *r, found, accepted(found)
	m.clock, m.known, m.last = c, known, last
	if tag := runTag(r.ID); tag != m.tag {
		m.tag = tag
		clear(m.series)
	}
	m.sums = sums{}
	m.thin.on = r.Kind == calc.AtRest || r.Kind == calc.Manoeuvring
	waiting := m.later
	m.later = nil
	for _, s := range waiting {
		m.Sample(s)
	}
}

// reached reports whether all samples of the run are made.
func (m *maker) reached() bool {
	return m.over || !m.last && m.decoder.Now() >= m.run.End
}

func (m *maker) frame(f *frame.Frame) { m.decoder.Frame(f) }

// finish takes note that there are no more frames.
func (m *maker) finish() {
	m.decoder.Finish()
	m.over = true
}

// end completes a run.
func (m *maker) end() {
	m.flush()
	m.runPoint()
	for i := range m.found {
		m.windowPoints(&m.found[i])
	}
	m.qualityPoint()
}

// Sample implements decode.Handler.
func (m *maker) Sample(s sample.Sample) {
	if s.Time >= m.run.End && !m.last {
		m.later = append(m.later, s)
		return
	}
	m.sums.count(&s)
	measurement := measurementOf[s.Quantity]
	if s.State != pgn.Valid || math.IsNaN(s.Value) || math.IsInf(s.Value, 0) || measurement == "" || !m.thin.keep(&s) {
		return
	}
	key := sampleKey{measurement, s.Instance, s.Source, s.Time}
	if !instanced(measurement) {
		key.instance = 0
	}
	name := s.Quantity.String()
	if key != m.open || m.has(name) {
		m.flush()
		m.open = key
	}
	m.point.set(name, s.Value)
}

// instanced measurements have a tag for the instance.
func instanced(measurement string) bool {
	return measurement == engine || measurement == tank || measurement == battery
}

func (m *maker) has(field string) bool {
	for _, f := range m.point.Fields {
		if f.Key == field {
			return true
		}
	}
	return false
}

// flush completes the point that is being put together.
func (m *maker) flush() {
	if len(m.point.Fields) == 0 {
		return
	}
	p := &m.point
	p.Measurement = m.open.measurement
	key := seriesKey{m.open.measurement, m.part(m.open.measurement, m.open.instance), m.source(m.open.source)}
	p.Time = m.clock.UTC(m.open.at)
	one := m.series[key]
	if one == nil && len(m.series) >= RunSeries {
		key.source = other
		one = m.series[key]
	}
	if one == nil {
		one = &series{tags: m.tags(key), latest: math.MinInt64}
		m.series[key] = one
	}
	if p.Time <= one.latest {
		p.Time = one.latest + 1
	}
	one.latest = p.Time
	p.Tags = one.tags
	p.set("steady", holds(m.spans, m.open.at))
	m.sums.points++
	m.out = append(m.out, *p)
	m.point = Point{Fields: make([]Field, 0, usualFields)}
}

// usualFields is as many as a message seldom gives more of.
const usualFields = 8

// tags are those of all points of a series; nothing is appended to them.
func (m *maker) tags(key seriesKey) []Tag {
	var tags []Tag
	if key.part != "" {
		tags = append(tags, Tag{key.measurement, key.part})
	}
	tags = append(tags, Tag{"run", m.tag}, Tag{"source", key.source})
	return slices.Clip(append(tags, m.id.tags()...))
}

// part is the value of the tag for the instance, "" for none.
func (m *maker) part(measurement string, instance uint8) string {
	switch measurement {
	case engine:
		if int(instance) < len(m.engines) {
			return m.engines[instance]
		}
		return other
	case tank:
		return m.tanks.of(tankName(instance))
	case battery:
		return m.batteries.of(strconv.Itoa(int(instance)))
	}
	return ""
}

// source names a device by interface and address.
func (m *maker) source(index uint16) string {
	d := m.decoder.Devices()[index]
	name := "bus"
	if buses := m.buses(); int(d.Bus) < len(buses) {
		name = clean(buses[d.Bus], name)
	}
	return m.sources.of(name + "/" + strconv.Itoa(int(d.Address())))
}

// Event implements decode.Handler.
func (m *maker) Event(e decode.Event) { m.sums.event(&e) }

// thinner leaves out samples of runs in which little happens.
type thinner struct {
	on    bool
	every [pgn.NumQuantities]int64 // ns; 0: all
	last  map[thinKey]int64        // period of the last sample kept, + 1
}

type thinKey struct {
	q        pgn.Quantity
	instance uint8
}

func newThinner(cfg *configs.Influx) thinner {
	t := thinner{last: make(map[thinKey]int64)}
	for q := range t.every {
		t.every[q] = period(cfg.RateHz)
		for _, one := range cfg.Thin {
			if one.Quantity == pgn.Quantity(q).String() {
				t.every[q] = period(one.RateHz)
			}
		}
	}
	return t
}

// checkThin refuses quantities that there are not.
func checkThin(list []configs.Thin) error {
	var known []string
	for q := pgn.Quantity(1); q < pgn.NumQuantities; q++ {
		known = append(known, q.String())
	}
	for i, one := range list {
		if !slices.Contains(known, one.Quantity) {
			return fmt.Errorf("influx.thin[%d].quantity: %q is no quantity; there are %s", i, one.Quantity, strings.Join(known, ", "))
		}
	}
	return nil
}

// period of a rate in Hz, in ns; 0 for all samples.
func period(hz float64) int64 {
	if hz <= 0 {
		return 0
	}
	return max(1, int64(1e9/hz))
}

// keep tells whether a sample is to be sent: it is the first in its period.
func (t *thinner) keep(s *sample.Sample) bool {
	every := t.every[s.Quantity]
	if !t.on || every == 0 {
		return true
	}
	key := thinKey{s.Quantity, s.Instance}
	now := s.Time/every + 1
	if t.last[key] == now {
		return false
	}
	t.last[key] = now
	return true
}
