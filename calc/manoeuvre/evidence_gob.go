package manoeuvre

import (
	"bytes"
	"encoding/binary"
	"encoding/gob"
	"errors"
	"math"
)

// The twins of what evidence holds, with fields that encoding/gob sees. A test
// finds the field that is forgotten here.
type (
	keptEvidence struct {
		Found  Report
		Lag    Lag
		Starts []keptStart
		Stops  []keptStop
		Slow   []keptStretch
		Flows  []Flow
		Adrift []Flow
	}
	keptStart struct {
		Frames cells
		Seen   int
		Set    uint8
		Period float64
	}
	keptStop struct {
		Frames  cells
		Reverse int
		Period  float64
	}
	keptStretch struct {
		Start           int64
		Set             uint8
		Astern          bool
		Cells, Settled  int
		RPM, Rate       float64
		Velocity, Ahead complex128
	}
)

// GobEncode implements gob.GobEncoder.
func (e *Evidence) GobEncode() ([]byte, error) {
	k := keptEvidence{Found: e.found, Lag: e.lag, Flows: e.flows, Adrift: e.adrift}
	for _, c := range e.starts {
		k.Starts = append(k.Starts, keptStart{c.frames, c.seen, c.set, c.period})
	}
	for _, c := range e.stops {
		k.Stops = append(k.Stops, keptStop{c.frames, c.reverse, c.period})
	}
	for _, s := range e.slow {
		k.Slow = append(k.Slow, keptStretch{s.start, s.set, s.astern, s.cells, s.settled, s.rpm, s.rate, s.velocity, s.ahead})
	}
	var b bytes.Buffer
	err := gob.NewEncoder(&b).Encode(&k)
	return b.Bytes(), err
}

// GobDecode implements gob.GobDecoder.
func (e *Evidence) GobDecode(b []byte) error {
	var k keptEvidence
	if err := gob.NewDecoder(bytes.NewReader(b)).Decode(&k); err != nil {
		return err
	}
	*e = Evidence{found: k.Found, lag: k.Lag, flows: k.Flows, adrift: k.Adrift}
	for _, c := range k.Starts {
		e.starts = append(e.starts, accelClip{frames: c.Frames, seen: c.Seen, set: c.Set, period: c.Period})
	}
	for _, c := range k.Stops {
		e.stops = append(e.stops, stopClip{frames: c.Frames, reverse: c.Reverse, period: c.Period})
	}
	for _, s := range k.Slow {
		e.slow = append(e.slow, stretch{start: s.Start, set: s.Set, astern: s.Astern, cells: s.Cells, settled: s.Settled,
			rpm: s.RPM, rate: s.Rate, velocity: s.Velocity, ahead: s.Ahead})
	}
	return nil
}

// cells are kept as they are in memory: time, values and gears, little-endian.
type cells []frame

const cellSize = 8 + 8*int(numChannels) + MaxEngines

// GobEncode implements gob.GobEncoder.
func (c cells) GobEncode() ([]byte, error) {
	le := binary.LittleEndian
	b := make([]byte, 0, len(c)*cellSize)
	for i := range c {
		b = le.AppendUint64(b, uint64(c[i].at))
		for _, v := range c[i].v {
			b = le.AppendUint64(b, math.Float64bits(v))
		}
		for _, g := range c[i].gear {
			b = append(b, byte(g))
		}
	}
	return b, nil
}

// GobDecode implements gob.GobDecoder.
func (c *cells) GobDecode(b []byte) error {
	if len(b)%cellSize != 0 {
		return errors.New("manoeuvre: half a cell")
	}
	le := binary.LittleEndian
	*c = make(cells, len(b)/cellSize)
	for i := range *c {
		f := &(*c)[i]
		f.at, b = int64(le.Uint64(b)), b[8:]
		for k := range f.v {
			f.v[k], b = math.Float64frombits(le.Uint64(b)), b[8:]
		}
		for k := range f.gear {
			f.gear[k], b = int8(b[0]), b[1:]
		}
	}
	return nil
}
