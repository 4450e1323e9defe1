package aboard

import (
	"cmp"
	"slices"

	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode"
	"trialday.example/logd/decode/device"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// Bounds of what is told apart; what comes beyond is summed up or left out.
const (
	maxPGNs   = 256
	maxValues = 2048
)

// Survey tells what is on the buses: which messages, which quantities from
// which device, how often, and how the clock stands. It is fed frames in the
// order of reception, and is not safe for concurrent use.
type Survey struct {
	decoder *decode.Decoder
	frames  map[uint32]uint64 // by PGN
	other   uint64            // frames of further PGNs
	values  map[valueKey]*valueCount
	pause   func(length int64)
}

type valueKey struct {
	quantity pgn.Quantity
	instance uint8
	source   uint16
}

type valueCount struct{ all, valid int64 }

// NewSurvey begins a survey. Pause is told of pauses on the bus, in ns; it can
// be nil.
func NewSurvey(cfg *configs.Config, buses func() []string, pause func(length int64)) *Survey {
	s := &Survey{frames: make(map[uint32]uint64), values: make(map[valueKey]*valueCount), pause: pause}
	s.decoder = decode.New(day.Options(cfg, buses), s)
	return s
}

// Frame takes the next frame.
func (s *Survey) Frame(f *frame.Frame) {
	s.decoder.Frame(f)
	if !f.IsExtended || f.IsRemote || f.IsError {
		return
	}
	n := pgn.ParseID(f.ID).PGN
	if _, known := s.frames[n]; known || len(s.frames) < maxPGNs {
		s.frames[n]++
	} else {
		s.other++
	}
}

// Finish ends the survey: no frame may follow.
func (s *Survey) Finish() { s.decoder.Finish() }

// Sample implements decode.Handler.
func (s *Survey) Sample(v sample.Sample) {
	k := valueKey{v.Quantity, v.Instance, v.Source}
	c := s.values[k]
	if c == nil {
		if len(s.values) == maxValues {
			return
		}
		c = new(valueCount)
		s.values[k] = c
	}
	c.all++
	if v.State == pgn.Valid {
		c.valid++
	}
}

// Event implements decode.Handler.
func (s *Survey) Event(e decode.Event) {
	if e.Kind == decode.Gap && s.pause != nil {
		s.pause(e.Until - e.Time)
	}
}

// Value is one quantity as one device sends it.
type Value struct {
	Quantity pgn.Quantity
	Instance uint8
	Source   uint16  // index in Devices
	Rate     float64 // samples with a value a second, over the whole survey
	Empty    float64 // samples without a value a second
}

// Values lists the quantities in use, by quantity, instance and source.
func (s *Survey) Values() []Value {
	span := s.Seconds()
	var list []Value
	for k, c := range s.values {
		v := Value{Quantity: k.quantity, Instance: k.instance, Source: k.source}
		if span > 0 {
			v.Rate, v.Empty = float64(c.valid)/span, float64(c.all-c.valid)/span
		}
		list = append(list, v)
	}
	slices.SortFunc(list, func(a, b Value) int {
		return cmp.Or(cmp.Compare(a.Quantity, b.Quantity), cmp.Compare(a.Instance, b.Instance), cmp.Compare(a.Source, b.Source))
	})
	return list
}

// Has reports whether a quantity came with a value.
func (s *Survey) Has(q pgn.Quantity) bool {
	for k, c := range s.values {
		if k.quantity == q && c.valid > 0 {
			return true
		}
	}
	return false
}

// Heard reports whether frames of a PGN came.
func (s *Survey) Heard(pgn uint32) bool { return s.frames[pgn] > 0 }

// Seconds is how long the survey lasted, in trial time.
func (s *Survey) Seconds() float64 { return float64(s.decoder.Now()) / 1e9 }

// Devices lists the devices heard.
func (s *Survey) Devices() []*device.Device { return s.decoder.Devices() }

// Stats is what was counted.
func (s *Survey) Stats() decode.Stats { return s.decoder.Stats() }

// ClockState is how UTC stands.
type ClockState struct {
	Known       bool
	Offset      float64 // s, UTC less the recorder's time
	Uncertainty float64 // s; 0 while not known
	Steps       int
}

// Clock tells how UTC stands.
func (s *Survey) Clock() ClockState {
	c := s.decoder.Clock()
	out := ClockState{Known: c.Known(), Offset: float64(c.Offset()) / 1e9, Steps: c.Steps()}
	if out.Known {
		out.Uncertainty = float64(c.Uncertainty()) / 1e9
	}
	return out
}
