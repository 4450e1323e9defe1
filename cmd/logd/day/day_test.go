package day

import (
	"encoding/binary"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"go.einride.tech/can"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs"
	"trialday.example/logd/configs/scenarios"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/sheet"
)

// accuracyScenario is the day that accuracy is shown on.
func accuracyScenario() (*simulate.Scenario, error) {
	text, err := scenarios.Load("accuracy")
	if err != nil {
		return nil, err
	}
	return simulate.Parse(text)
}

// scripted is the accuracy scenario's boat and sea with another script.
func scripted(script ...simulate.Action) (*simulate.Scenario, error) {
	s, err := accuracyScenario()
	if err == nil {
		s.Captain.HoldS, s.Captain.HoldSpreadS = 40, 5
		s.Script = script
	}
	return s, err
}

func frames(s *simulate.Scenario, err error) ([]frame.Frame, error) {
	if err != nil {
		return nil, err
	}
	var out []frame.Frame
	_, err = s.Run(1, func(f *frame.Frame) error {
		out = append(out, *f)
		return nil
	})
	return out, err
}

// shortDay has two rpm steps of two passes each, onePass what it says.
var (
	shortDay = sync.OnceValues(func() ([]frame.Frame, error) {
		return frames(scripted(simulate.Action{Do: "dock", ForS: 10},
			simulate.Action{Do: "step", RPM: 1600, Passes: 2}, simulate.Action{Do: "step", RPM: 2400, Passes: 2},
			simulate.Action{Do: "dock", ForS: 10}))
	})
	onePass = sync.OnceValues(func() ([]frame.Frame, error) {
		s, err := scripted(simulate.Action{Do: "step", RPM: 1600, Passes: 1})
		if err == nil {
			s.Captain.HoldS = 25
		}
		return frames(s, err)
	})
)

func must(t testing.TB, day func() ([]frame.Frame, error)) []frame.Frame {
	t.Helper()
	f, err := day()
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func oneBus() []string { return []string{"can0"} }

// boatA is a configuration with which everything can be derived.
func boatA(t testing.TB) configs.Config {
	t.Helper()
	c := configs.Default()
	length, tank, dry, fuel := 13.4, 1500.0, 9330.0, 1100.0
	c.Vessel.LengthM, c.Fuel.TankL, c.Vessel.DryMassKg, c.Load.FuelL = &length, &tank, &dry, &fuel
	return c
}

// finish runs frames through a day to its end and writes everything that there
// is to write; all of it must succeed, whatever the frames.
func finish(t testing.TB, cfg configs.Config, list []frame.Frame) *results.Results {
	t.Helper()
	d := New(cfg, "test", oneBus)
	for i := range list {
		d.Frame(&list[i])
	}
	r, line := d.Finish(0)
	for name, err := range map[string]error{
		"results.json": r.WriteJSON(io.Discard),
		"sheet.html":   sheet.WriteHTML(io.Discard, r, line),
		"steps.csv":    sheet.WriteStepsCSV(io.Discard, r),
		"windows.csv":  sheet.WriteWindowsCSV(io.Discard, r),
	} {
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
	}
	check(t, r)
	return r
}

// check asks for what holds whatever the frames were.
func check(t testing.TB, r *results.Results) {
	t.Helper()
	last := time.Time{}
	for i, run := range r.Runs {
		from, err1 := time.Parse(time.RFC3339Nano, run.Start)
		to, err2 := time.Parse(time.RFC3339Nano, run.End)
		if err := errors.Join(err1, err2); err != nil {
			t.Fatal(err)
		}
		if run.ID != i+1 || from.Before(last) || to.Before(from) {
			t.Fatalf("run %+v after one that ends %v", run, last)
		}
		last = to
	}
	for i, w := range r.Windows {
		if w.ID != i+1 || w.Run < 1 || w.Run > len(r.Runs) || w.Accepted != (w.Reason == "") || w.Start > w.End ||
			w.Start < r.Runs[w.Run-1].Start || w.End > r.Runs[w.Run-1].End {
			t.Fatalf("window %+v in %d runs", w, len(r.Runs))
		}
	}
	for i, s := range r.Steps {
		if s.ID != i+1 || math.IsNaN(s.SpeedKn.Mean) || s.Passes < 1 || len(s.Windows) < s.Passes {
			t.Fatalf("step %+v", s)
		}
	}
}

// However frames are lost, doubled and out of order, the figures stay: the
// pipeline loses samples, not its footing.
func TestDisturbedDays(t *testing.T) {
	whole := must(t, shortDay)
	want := finish(t, boatA(t), whole)
	if len(want.Steps) != 2 {
		t.Fatalf("%d steps", len(want.Steps))
	}
	for _, c := range []struct {
		name                 string
		lost, doubled, moved float64
		passes               int // that are found at least; one more or less can be a matter of a hair
	}{
		{"a few lost", 0.01, 0, 0, 3},
		{"one in ten lost", 0.1, 0, 0, 3},
		{"doubled", 0, 0.05, 0, 3},
		{"out of order", 0, 0, 0.05, 3},
		{"all at once", 0.05, 0.05, 0.05, 3},
		{"half lost", 0.5, 0.1, 0.1, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			for seed := range uint64(3) {
				passes := 0
				r := finish(t, boatA(t), disturb(whole, seed, c.lost, c.doubled, c.moved))
				for _, s := range r.Steps {
					i := slices.IndexFunc(want.Steps, func(w results.Step) bool { return math.Abs(w.RPM/s.RPM-1) < 0.005 })
					if i < 0 {
						t.Errorf("seed %d: a step at %g rpm", seed, s.RPM)
						continue
					}
					w := want.Steps[i]
					passes += s.Passes
					if s.Passes != w.Passes || s.FuelLPH == nil {
						continue
					}
					if math.Abs(s.SpeedKn.Mean/w.SpeedKn.Mean-1) > 0.005 || math.Abs(s.FuelLPH.Mean/w.FuelLPH.Mean-1) > 0.01 {
						t.Errorf("seed %d: %g kn on %g L/h at %g rpm, undisturbed %g on %g", seed,
							s.SpeedKn.Mean, s.FuelLPH.Mean, s.RPM, w.SpeedKn.Mean, w.FuelLPH.Mean)
					}
				}
				if passes < c.passes {
					t.Errorf("seed %d: %d passes in %d steps", seed, passes, len(r.Steps))
				}
			}
		})
	}
}

// disturb loses, doubles and delays frames with the given probabilities. A
// frame is delayed behind up to ten others, as between two interfaces.
func disturb(whole []frame.Frame, seed uint64, lost, doubled, moved float64) []frame.Frame {
	r := rand.New(rand.NewPCG(seed, 1))
	out := make([]frame.Frame, 0, len(whole))
	for _, f := range whole {
		if r.Float64() < lost {
			continue
		}
		out = append(out, f)
		if r.Float64() < doubled {
			out = append(out, f)
		}
	}
	for i := range out {
		if r.Float64() < moved {
			j := min(i+1+r.IntN(10), len(out)-1)
			out[i], out[j] = out[j], out[i]
		}
	}
	return out
}

// Finish needs no frame, and what is not known of the boat is no fault.
func TestEmptyDays(t *testing.T) {
	r := finish(t, configs.Default(), nil)
	if len(r.Runs) != 0 || r.Trial.Start != "" || r.Clock.Known || len(r.Missing) == 0 {
		t.Errorf("of nothing comes %+v", r)
	}
	for _, n := range []int{1, 2, 10, 1000, 5000} {
		finish(t, configs.Default(), must(t, shortDay)[:n])
		finish(t, boatA(t), must(t, shortDay)[:n])
	}
}

// The end of the day can be anywhere: in a pass, in a fast packet.
func TestCutDays(t *testing.T) {
	whole := must(t, onePass)
	for part := 1; part < 12; part++ {
		finish(t, boatA(t), whole[:len(whole)*part/12])
		finish(t, boatA(t), whole[len(whole)*part/12:])
	}
}

// A wrong clock must not make days of minutes, which also take as long to work
// through: neither the recorder's, that jumps at every other frame, nor a
// receiver's, that wakes in another century.
func TestWrongClocksDoNotStretchTheDay(t *testing.T) {
	whole := must(t, onePass)
	sane := func(t *testing.T, list []frame.Frame) {
		d := New(boatA(t), "test", oneBus)
		for i := range list {
			d.Frame(&list[i])
			if now := d.decoder.Now(); now > int64(24*time.Hour) {
				t.Fatalf("frame %d of %d: %v of trial time", i, len(list), time.Duration(now))
			}
		}
		r, _ := d.Finish(0)
		check(t, r)
	}
	silent := slices.DeleteFunc(slices.Clone(whole), func(f frame.Frame) bool { return pgn.ParseID(f.ID).Source == 32 })
	for name, list := range map[string][]frame.Frame{"with satellites": whole, "without": silent} {
		t.Run("two interfaces an hour apart, "+name, func(t *testing.T) {
			t.Parallel()
			list := slices.Clone(list)
			for i := range list {
				if i%2 == 1 {
					list[i].Time += int64(time.Hour)
				}
			}
			sane(t, list)
		})
	}
	t.Run("receiver in another century after a restart", func(t *testing.T) {
		t.Parallel()
		list := slices.Clone(whole)
		for i := range list {
			if i > len(list)/2 {
				list[i].Time += int64(time.Hour)
				putDate(&list[i], 40000) // days since 1970: 2079
			}
		}
		sane(t, list)
	})
}

// putDate puts the date into the messages of time.
func putDate(f *frame.Frame, days uint16) {
	switch h := pgn.ParseID(f.ID); {
	case h.PGN == 126992, h.PGN == 129033:
		m := pgn.Lookup(h.PGN)
		m.Field("date").PutRaw(f.Data[:], int64(days))
	case h.PGN == 129029 && f.Data[0]&31 == 0:
		binary.LittleEndian.PutUint16(f.Data[3:], days)
	}
}

// record is one frame in the fuzzers' input: identifier, time step, flags and
// length, data.
const recordLen = 15

func encode(list []frame.Frame) []byte {
	var out []byte
	last := int64(0)
	for _, f := range list {
		ms := min(max((f.Time-last)/1e6, 0), 127)
		last = f.Time
		out = binary.LittleEndian.AppendUint32(out, f.ID)
		out = append(out, byte(ms), 0, f.Length)
		out = append(out, f.Data[:]...)
	}
	return out
}

func decodeRecords(b []byte) (list []frame.Frame) {
	at := time.Date(2031, 5, 1, 8, 0, 0, 0, time.UTC).UnixNano()
	for ; len(b) >= recordLen; b = b[recordLen:] {
		// Steps of up to 127 ms, or as many times 2^5 (4 s) or 2^10 (2 min).
		at += int64(int8(b[4])) * 1e6 << (5 * min(b[5]&3, 2))
		f := frame.Frame{Time: at, IsError: b[6]&0x80 != 0, Frame: can.Frame{
			ID: binary.LittleEndian.Uint32(b) & can.MaxExtendedID, IsExtended: b[6]&0x40 == 0, IsRemote: b[6]&0x20 != 0, Length: min(b[6]&15, 8)}}
		copy(f.Data[:], b[7:recordLen])
		list = append(list, f)
	}
	return list
}

// FuzzFrames: no sequence of frames makes the pipeline panic or fail.
func FuzzFrames(f *testing.F) {
	whole := must(f, onePass)
	for _, n := range []int{0, 20, 200} {
		f.Add(encode(whole[:n]))
		f.Add(encode(whole[len(whole)-n:]))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		finish(t, boatA(t), decodeRecords(b[:min(len(b), 300*recordLen)]))
	})
}

// FuzzDisturbances: a real pass with anything done to it.
func FuzzDisturbances(f *testing.F) {
	whole := must(f, onePass)
	kinds := kindsOf(whole)
	f.Add([]byte{})
	f.Add([]byte{0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2})
	f.Add([]byte{5, 40, 17, 0xFF, 9, 90, 3, 0x7F, 11, 10, 4, 0x80})
	f.Fuzz(func(t *testing.T, edits []byte) {
		finish(t, boatA(t), edited(whole, kinds, edits[:min(len(edits), 200)]))
	})
}

// The same at random over more of a day, and more of it than fuzzing gets to.
func TestSpoiltMessages(t *testing.T) {
	whole := must(t, shortDay)
	kinds := kindsOf(whole)
	r := rand.New(rand.NewPCG(5, 5))
	for range spoiltDays {
		edits := make([]byte, 4*(1+r.IntN(6)))
		for i := range edits {
			edits[i] = byte(r.Uint32())
		}
		func() {
			defer func() {
				if p := recover(); p != nil || t.Failed() {
					t.Fatalf("edits %v: %v", edits, p)
				}
			}()
			finish(t, boatA(t), edited(whole, kinds, edits))
		}()
	}
}

// spoiltDays is how many such days are looked at.
const spoiltDays = 15

// kindsOf lists the identifiers that there are.
func kindsOf(list []frame.Frame) (kinds []uint32) {
	for i := range list {
		if !slices.Contains(kinds, list[i].ID) {
			kinds = append(kinds, list[i].ID)
		}
	}
	slices.Sort(kinds)
	return kinds
}

// edited returns a copy of whole in which each four bytes of edits have taken
// hold of one kind of message, in one stretch.
func edited(whole []frame.Frame, kinds []uint32, edits []byte) []frame.Frame {
	list := slices.Clone(whole)
	for ; len(edits) >= 4; edits = edits[4:] {
		kind, from := kinds[int(edits[0])%len(kinds)], len(list)*int(edits[1])/256
		to := min(from+len(list)*(1+int(edits[2]>>4))/16, len(list))
		for i := from; i < to; i++ {
			if list[i].ID == kind {
				change(&list[i], edits[2]&15, edits[3])
			}
		}
	}
	return list
}

// change sets a byte of a frame or changes what else a frame has.
func change(f *frame.Frame, what, value byte) {
	switch {
	case what < 8:
		f.Data[what] = value
	case what == 8:
		f.Length = min(value, 8)
	case what == 9:
		f.ID = f.ID&^0xFF | uint32(value) // another sender
	case what == 10:
		f.IsError = true
	case what == 11:
		f.ID = can.MaxExtendedID // lost
	case what == 12:
		f.Time += int64(int8(value)) * int64(time.Second)
	case what == 13:
		for i := range f.Data {
			f.Data[i] = value
		}
	}
}
