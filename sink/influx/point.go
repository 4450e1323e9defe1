package influx

import (
	"math"
	"strings"
	"time"

	"github.com/influxdata/influxdb-client-go/v2/api/write"
)

// Tag is a tag of a point.
type Tag struct{ Key, Value string }

// Field is one value of a point: float64, int64, bool or string.
type Field struct {
	Key   string
	Value any
}

// Point is what the server stores: the fields of a measurement for the tags, at
// a time in nanoseconds since 1970.
type Point struct {
	Measurement string
	Tags        []Tag
	Fields      []Field
	Time        int64
}

// tag returns the value of a tag, "" if the point has none of that name.
func (p *Point) tag(key string) string {
	for _, t := range p.Tags {
		if t.Key == key {
			return t.Value
		}
	}
	return ""
}

func (p *Point) set(key string, value any) { p.Fields = append(p.Fields, Field{key, value}) }

// setFloat adds a value that is known: neither nil nor infinite nor no number.
func (p *Point) setFloat(key string, v *float64) {
	if v != nil && !math.IsNaN(*v) && !math.IsInf(*v, 0) {
		p.set(key, *v)
	}
}

// line appends the point in line protocol.
func (p *Point) line(b *strings.Builder) {
	write.PointToLineProtocolBuffer(p.client(), b, time.Nanosecond)
}

// client is the point in the form of the server's client.
func (p *Point) client() *write.Point {
	w := write.NewPointWithMeasurement(p.Measurement)
	for _, t := range p.Tags {
		w.AddTag(t.Key, t.Value)
	}
	for _, f := range p.Fields {
		w.AddField(f.Key, f.Value)
	}
	return w.SetTime(time.Unix(0, p.Time))
}
