package simulate

import (
	"go.einride.tech/can"
	"trialday.example/logd/pgn"
)

// plan lays out what happens at fixed or random times: the bus waking up,
// requests and their answers, faults.
func (d *Day) plan() {
	f := &d.scenario.Faults
	d.wake()
	d.at(70*second, d.request)
	d.random(f.ErrorFrameEveryS, d.errorFrame)
	d.random(f.StandardIDEveryS, d.standardID)
	d.random(f.UnknownPGNEveryS, d.unknown)
	for _, o := range f.Dropouts {
		d.at(int64(o.AtS*1e9), func(int64) int64 {
			d.world.mute(indexOf(o.Device), o.ForS)
			return 0
		})
	}
	if a := f.AddressChange; a != nil {
		d.at(int64(a.AtS*1e9), d.takeAddress)
	}
	if b := f.BusLoad; b != nil {
		d.at(int64(b.AtS*1e9), d.crowd)
	}
}

func (d *Day) at(due int64, do func(int64) int64) {
	d.chores = append(d.chores, chore{due, do})
}

// random plans a chore at random intervals; mean 0 is never.
func (d *Day) random(mean float64, do func(due int64)) {
	if mean == 0 {
		return
	}
	wait := func() int64 { return int64(mean * d.rand.ExpFloat64() * 1e9) }
	d.at(second+wait(), func(due int64) int64 {
		do(due)
		return due + wait() + 1
	})
}

func indexOf(key string) int {
	for i, k := range deviceKeys {
		if k == key {
			return i
		}
	}
	return deviceNewcomer
}

// wake lets every device claim its address and tell what it is.
func (d *Day) wake() {
	for n, index := range d.present {
		if d.devices[index].silent {
			continue
		}
		d.at(second/10+int64(n)*30*millisecond, d.claims(index))
		d.at(2*second+int64(n)*60*millisecond, d.products(index))
	}
}

func (d *Day) claims(index int) func(int64) int64 {
	return func(due int64) int64 {
		dev := &d.devices[index]
		if !dev.silent {
			dev.bus.packet(pgn.Lookup(pgn.AddressClaim), dev.address, pgn.Broadcast, 0, dev.name, due)
		}
		return 0
	}
}

func (d *Day) products(index int) func(int64) int64 {
	sequence := uint8(0)
	return func(due int64) int64 {
		dev := &d.devices[index]
		if !dev.silent && dev.product != nil {
			dev.bus.packet(pgn.Lookup(126996), dev.address, pgn.Broadcast, sequence, dev.product, due)
			sequence++
		}
		return 0
	}
}

// request lets the display ask all devices for their address claims now and
// then, and one for its product information; they answer.
func (d *Day) request(due int64) int64 {
	m := pgn.Lookup(59904)
	asked := field(m, "pgn")
	data := m.New()
	display := &d.devices[deviceDisplay]
	asked.PutRaw(data, pgn.AddressClaim)
	d.bus.packet(m, display.address, pgn.Broadcast, 0, data, due)
	for n, index := range d.present {
		d.claims(index)(due + int64(5+10*n)*millisecond)
	}
	one := d.present[d.rand.IntN(len(d.present))]
	asked.PutRaw(data, 126996)
	d.bus.packet(m, display.address, d.devices[one].address, 0, data, due+second)
	d.products(one)(due + second + 20*millisecond)
	return due + int64((400+400*d.rand.Float64())*1e9)
}

// mute silences a device from now on; a satellite receiver goes on sending, but
// without a fix.
func (w *world) mute(index int, s float64) {
	w.muted[index] = w.t + s
	what := deviceKeys[index] + ": silent"
	if index == deviceGNSS1 || index == deviceGNSS2 {
		what = deviceKeys[index] + ": no fix"
	}
	w.gaps = append(w.gaps, Gap{w.s.at(w.t), w.s.at(w.t + s), what})
}

// takeAddress lets a newcomer with a lower NAME claim a device's address. The
// device yields and claims another (ISO 11783-5, from memory).
func (d *Day) takeAddress(due int64) int64 {
	a := d.scenario.Faults.AddressChange
	dev, newcomer := &d.devices[indexOf(a.Device)], &d.devices[deviceNewcomer]
	old := dev.address
	d.bus.move(old, uint8(a.To), due)
	dev.address, newcomer.address, newcomer.silent = uint8(a.To), old, false
	d.claims(deviceNewcomer)(due)
	d.claims(indexOf(a.Device))(due + 2*millisecond)
	for i := range newcomer.messages {
		m := &newcomer.messages[i]
		for m.due < due+second {
			m.due += m.period
		}
	}
	d.products(deviceNewcomer)(due + 3*second)
	d.recorder.truth.AddressMoves = append(d.recorder.truth.AddressMoves, AddressMove{
		Time: d.scenario.at(float64(due) / 1e9), Device: dev.key, From: old, To: dev.address,
		TakenBy: newcomer.key,
	})
	return 0
}

// errorFrame is a report of the controller: protocol violation and bus error
// (classes 0x08 and 0x80 of linux/can/error.h, from memory).
func (d *Day) errorFrame(due int64) {
	w := waiting{ready: due, isError: true}
	w.Frame = can.Frame{ID: 0x88, Length: 8, Data: can.Data{2: 0x04, 3: 0x0A}}
	d.bus.send(&w)
}

// standardID is a frame with an 11-bit identifier, which has no place here.
func (d *Day) standardID(due int64) {
	w := waiting{ready: due}
	w.Frame = can.Frame{ID: 0x123, Length: 4, Data: can.Data{0xDE, 0xAD, 0, 1}}
	d.bus.send(&w)
}

// unknown is a message that no table has: a maker's own.
func (d *Day) unknown(due int64) {
	source := d.devices[deviceEngine].address
	w := waiting{ready: due}
	w.ID = pgn.Header{Priority: 7, PGN: 65330, Source: source, Destination: pgn.Broadcast}.ID()
	w.IsExtended, w.Length = true, 8
	for i := range w.Data {
		w.Data[i] = uint8(d.rand.Uint64())
	}
	d.bus.send(&w)
}
