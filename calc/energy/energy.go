// Package energy counts what the batteries that drive a boat give and take: power
// from voltage and current, energy over the day, and the charge that is left. It
// is pure, like all of calc.
//
// Power is positive out of the battery. Energy is power integrated by trapezoids
// between messages; over a silence longer than patience nothing is counted.
package energy

import (
	"math"
	"slices"

	"trialday.example/logd/calc/stat"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

const (
	// MaxBatteries is the number that is told apart beside those that drive the boat.
	MaxBatteries = 8
	// patience, ns, is three usual periods of 127508 and 127751, 1.5 s (from
	// memory): for so long a voltage holds for currents that follow, and a power
	// until the next.
	patience = int64(4.5e9)
	// charge is the step of the state of charge in 127506.
	charge = 0.01
)

// Battery is what the day shows of one battery. It is plain data and can be kept
// with encoding/gob. Figures that were not heard are NaN.
type Battery struct {
	Instance uint8
	Drives   bool    // the boat, as configured
	Volts    float64 // V, the mean of those heard
	// Voltages, Currents and Charges count what was heard by its state.
	Voltages, Currents, Charges Heard
	// What follows is of batteries that drive the boat alone.
	Out, In     float64 // J given and taken, each 0 or more
	Counted     float64 // s in which they were counted
	First, Last float64 // state of charge, ratio
	Between     float64 // J given less taken from the first reading of it to the last
}

// Heard counts samples by pgn.State: those with a value, those not available, out
// of range, and reserved.
type Heard [4]int64

// Missing tells why there is no value: "" where there is one.
func (h *Heard) Missing() string {
	switch {
	case h[pgn.Valid] > 0:
		return ""
	case h[pgn.OutOfRange] > 0:
		return "out of range"
	case h[pgn.NotAvailable] > 0 || h[pgn.Reserved] > 0:
		return "not available"
	}
	return "not heard"
}

// Capacity is the energy of the whole battery in J, by what it gave against how
// far its state of charge fell; NaN where it fell by less than five of its steps.
// Both readings are rounded to a step. What is not in it is that the state of
// charge is a guess of the battery's own, and lost energy in its resistance.
func (b *Battery) Capacity() stat.Estimate {
	fall := b.First - b.Last
	if !(fall >= 5*charge) || b.Counted == 0 {
		return stat.Estimate{Mean: math.NaN(), SE: math.NaN(), DOF: 1}
	}
	c := b.Between / fall
	return stat.Estimate{Mean: c, SE: c * charge / math.Sqrt(6) / fall, DOF: 1e6}
}

// Watch takes samples in order of time. Make it with New.
type Watch struct {
	sign      float64
	drives    [256]bool
	batteries []cell
	power     sample.Sample // the last one made
}

// cell is a battery with its last messages.
type cell struct {
	Battery
	volts   float64
	voltsAt int64
	source  uint16
	watts   float64
	wattsAt int64
	given   bool // a power
	// chargeAt is the time of the last state of charge.
	chargeAt int64
}

// New makes a Watch. Drives are the instances of the batteries that drive the
// boat; discharge is the sign of a current that flows out of them, -1 or 1.
func New(drives []int, discharge float64) Watch {
	w := Watch{sign: discharge}
	for _, i := range drives {
		if i >= 0 && i < len(w.drives) {
			w.drives[i] = true
		}
	}
	return w
}

// Add takes a sample and returns the power of a battery that drives the boat, nil
// for none. It is valid until the next call.
func (w *Watch) Add(s *sample.Sample) *sample.Sample {
	if s.Quantity != pgn.BatteryVoltage && s.Quantity != pgn.BatteryCurrent && s.Quantity != pgn.StateOfCharge {
		return nil
	}
	return w.add(s)
}

func (w *Watch) add(s *sample.Sample) *sample.Sample {
	c := w.find(s.Instance)
	if c == nil {
		return nil
	}
	heard := &c.Currents
	switch s.Quantity {
	case pgn.BatteryVoltage:
		heard = &c.Voltages
	case pgn.StateOfCharge:
		heard = &c.Charges
	}
	if heard[s.State]++; s.State != pgn.Valid {
		return nil
	}
	switch s.Quantity {
	case pgn.BatteryCurrent:
		return w.current(c, s)
	case pgn.BatteryVoltage:
		c.volts, c.voltsAt, c.source = s.Value, s.Time, s.Source
		c.Volts += (s.Value - c.Volts) / float64(heard[pgn.Valid])
	case pgn.StateOfCharge:
		if heard[pgn.Valid] == 1 {
			c.First, c.Between = s.Value, 0
		}
		c.Last, c.chargeAt = s.Value, s.Time
	}
	return nil
}

// find is a battery by its instance, nil if there are too many; those that drive the
// boat always have room.
func (w *Watch) find(instance uint8) *cell {
	for i := range w.batteries {
		if w.batteries[i].Instance == instance {
			return &w.batteries[i]
		}
	}
	if !w.drives[instance] && len(w.batteries) >= MaxBatteries {
		return nil
	}
	b := Battery{Instance: instance, Drives: w.drives[instance], First: math.NaN(), Last: math.NaN()}
	w.batteries = append(w.batteries, cell{Battery: b})
	return &w.batteries[len(w.batteries)-1]
}

func (w *Watch) current(c *cell, s *sample.Sample) *sample.Sample {
	if c.Voltages[pgn.Valid] == 0 || c.source != s.Source || s.Time-c.voltsAt > patience {
		return nil
	}
	watts := w.sign * c.volts * s.Value
	if !c.Drives {
		return nil
	}
	if dt := s.Time - c.wattsAt; c.given && dt <= patience {
		c.count(watts, float64(dt)/1e9)
	}
	c.watts, c.wattsAt, c.given = watts, s.Time, true
	w.power = sample.Sample{Time: s.Time, Value: watts, Quantity: pgn.BatteryPower, Instance: c.Instance, Source: s.Source}
	return &w.power
}

// count adds the energy of dt seconds, in which the power became watts.
func (c *cell) count(watts, dt float64) {
	c.Counted += dt
	e := (c.watts + watts) / 2 * dt
	c.Out += math.Max(e, 0)
	c.In += math.Max(-e, 0)
	c.Between += e
}

// Evidence lists the batteries heard, in the order of their first message.
func (w *Watch) Evidence() []Battery {
	var out []Battery
	for i := range w.batteries {
		b := w.batteries[i].Battery
		if b.Voltages[pgn.Valid] == 0 {
			b.Volts = math.NaN()
		}
		out = append(out, b)
	}
	return out
}

// Charge is a battery's state of charge, ratio, as last heard; NaN where it was not
// since a trial time.
func (w *Watch) Charge(instance int, since int64) float64 {
	for i := range w.batteries {
		if c := &w.batteries[i]; int(c.Instance) == instance && c.Charges[pgn.Valid] > 0 && c.chargeAt >= since {
			return c.Last
		}
	}
	return math.NaN()
}

// Silent are those of the instances that never gave power, and those that have
// given none since a trial time.
func (w *Watch) Silent(instances []int, since int64) (never, gone []int) {
	for _, i := range instances {
		k := slices.IndexFunc(w.batteries, func(c cell) bool { return int(c.Instance) == i && c.given })
		switch {
		case k < 0:
			never = append(never, i)
		case w.batteries[k].wattsAt < since:
			gone = append(gone, i)
		}
	}
	return never, gone
}
