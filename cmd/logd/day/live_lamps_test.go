package day

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/results"
)

// without leaves out the frames of some messages from a part of the day on, 0
// to 1.
func without(list []frame.Frame, from float64, pgns ...uint32) []frame.Frame {
	first := int(from * float64(len(list)))
	out := slices.Clone(list[:first])
	for _, f := range list[first:] {
		if !slices.Contains(pgns, pgn.ParseID(f.ID).PGN) {
			out = append(out, f)
		}
	}
	return out
}

// only keeps the frames of some messages.
func only(list []frame.Frame, pgns ...uint32) []frame.Frame {
	return slices.DeleteFunc(slices.Clone(list), func(f frame.Frame) bool { return !slices.Contains(pgns, pgn.ParseID(f.ID).PGN) })
}

// lookOn runs frames through a day, looks on at every turn, asks for what holds
// whatever was heard, and returns the last state.
func lookOn(t *testing.T, cfg configs.Config, list []frame.Frame) *results.Live {
	t.Helper()
	d := New(cfg, "test", oneBus)
	sane(t, d.Live())
	last := int64(-1)
	for i := range list {
		d.Frame(&list[i])
		if now := d.decoder.Now() / 1e9; now != last {
			last = now
			sane(t, d.Live())
		}
	}
	return d.Live()
}

func sane(t *testing.T, l *results.Live) {
	t.Helper()
	if _, err := json.Marshal(l); err != nil {
		t.Fatal(err)
	}
	h := &l.Hold
	switch h.State {
	case results.HoldFree, results.HoldSettling:
		if h.Why == "" || h.SteadyS != 0 {
			t.Fatalf("hold %+v", h)
		}
	case results.HoldSteady:
		if h.MoreS <= 0 || h.SteadyS <= 0 || h.Why != "" {
			t.Fatalf("hold %+v", h)
		}
	case results.HoldEnough:
		if h.MoreS != 0 || h.SteadyS < h.NeedS || h.Why != "" {
			t.Fatalf("hold %+v", h)
		}
	default:
		t.Fatalf("hold %+v", h)
	}
	for _, lamp := range l.Lamps {
		if lamp.Name == "" || lamp.Text == "" || !slices.Contains([]string{results.LampGood, results.LampWarn, results.LampBad, results.LampOff}, lamp.State) {
			t.Fatalf("lamp %+v", lamp)
		}
	}
}

func lampOf(t *testing.T, l *results.Live, name string) results.Lamp {
	t.Helper()
	i := slices.IndexFunc(l.Lamps, func(p results.Lamp) bool { return p.Name == name })
	if i < 0 {
		t.Fatalf("no lamp %q among %v", name, l.Lamps)
	}
	return l.Lamps[i]
}

// Each lamp says what is wrong, and what can be done.
func TestLampsTellWhatIsWrong(t *testing.T) {
	whole := must(t, onePass)
	gnss := []uint32{126992, 129025, 129026, 129029, 129033, 129539, 129540}
	engines := []uint32{127488, 127489, 127493}
	for _, c := range []struct {
		name  string
		list  []frame.Frame
		lamps map[string]string // name to state and a part of the text
	}{
		{"all is heard", whole, map[string]string{
			"satellite position": "good heard", "speed over ground": "good heard", "heading": "good", "attitude": "good",
			"engines": "good heard: port, centre, starboard", "fuel rate": "good heard: port, centre, starboard", "clock": "good satellite time"}},
		{"nothing", nil, map[string]string{
			"satellite position": "bad connect", "engines": "bad ignition", "fuel rate": "off not heard", "clock": "warn recorder's own", "heading": "off not heard"}},
		{"satellites only", only(whole, gnss...), map[string]string{
			"speed over ground": "good", "engines": "bad none is heard", "clock": "good", "heading": "off courses over ground"}},
		{"engines only", only(whole, engines...), map[string]string{
			"speed over ground": "bad no figures", "engines": "good", "clock": "warn"}},
		{"compass lost", without(whole, 0.5, 127250), map[string]string{"heading": "warn silent"}},
		{"satellites lost", without(whole, 0.5, gnss...), map[string]string{
			"satellite position": "bad silent", "speed over ground": "bad silent", "clock": "good"}},
		{"engines lost", without(whole, 0.5, engines...), map[string]string{"engines": "bad port, centre, starboard", "fuel rate": "warn silent"}},
		{"no fuel rate", without(whole, 0, 127489), map[string]string{"engines": "good", "fuel rate": "off economy"}},
		{"fuel rate lost", without(whole, 0.5, 127489), map[string]string{"fuel rate": "bad port"}},
	} {
		l := lookOn(t, boatA(t), c.list)
		for name, want := range c.lamps {
			lamp := lampOf(t, l, name)
			state, part, _ := strings.Cut(want, " ")
			if lamp.State != state || !strings.Contains(lamp.Text, part) {
				t.Errorf("%s: %+v, want %s", c.name, lamp, want)
			}
		}
	}
}

// An engine that the configuration lists and nobody hears is missed.
func TestLampOfAMissingEngine(t *testing.T) {
	cfg := boatA(t)
	for i, name := range configs.EngineNames(4) {
		cfg.Engines = append(cfg.Engines, configs.Engine{Name: name, Instance: &i})
	}
	l := lookOn(t, cfg, must(t, onePass))
	if lamp := lampOf(t, l, "engines"); lamp.State != results.LampWarn || !strings.HasPrefix(lamp.Text, "starboard outer: not heard") {
		t.Errorf("%+v", lamp)
	}
	if n := len(l.Now.Engines); n != 4 || l.Now.Engines[3].RPM != nil || l.Now.Engines[0].RPM == nil {
		t.Errorf("%d engines, %+v", n, l.Now.Engines)
	}
}

// A boat with one engine has one, and no other is missed.
func TestLampsOfOneEngine(t *testing.T) {
	s, err := scripted(simulate.Action{Do: "step", RPM: 1600, Passes: 1})
	if err == nil {
		s.Engines.Names = s.Engines.Names[:1]
	}
	list, err := frames(s, err)
	if err != nil {
		t.Fatal(err)
	}
	l := lookOn(t, configs.Default(), list)
	if lamp := lampOf(t, l, "engines"); lamp.State != results.LampGood || lamp.Text != "heard: engine" || len(l.Now.Engines) != 1 {
		t.Errorf("%+v", lamp)
	}
	if lamp := lampOf(t, l, "fuel rate"); lamp.State != results.LampGood {
		t.Errorf("%+v", lamp)
	}
	if len(l.Steps) != 0 && l.Steps[0].Passes != 1 {
		t.Errorf("%+v", l.Steps)
	}
}

// Looking on does not change what comes out.
func TestLookingOnChangesNothing(t *testing.T) {
	list := must(t, onePass)
	var out [2]strings.Builder
	for i := range out {
		d := New(boatA(t), "test", oneBus)
		for k := range list {
			d.Frame(&list[k])
			if i == 1 && k%50 == 0 {
				d.Live()
			}
		}
		r, _ := d.Finish(0)
		if err := r.WriteJSON(&out[i]); err != nil {
			t.Fatal(err)
		}
	}
	if out[0].String() != out[1].String() {
		t.Error("the results differ")
	}
}

// FuzzLive: nothing that comes keeps the state from being told.
func FuzzLive(f *testing.F) {
	whole := must(f, onePass)
	kinds := kindsOf(whole)
	f.Add([]byte{})
	f.Add([]byte{5, 40, 17, 0xFF, 9, 90, 3, 0x7F, 11, 10, 4, 0x80})
	f.Fuzz(func(t *testing.T, edits []byte) {
		lookOn(t, boatA(t), edited(whole, kinds, edits[:min(len(edits), 200)]))
	})
}

// BenchmarkLive is a day with a pass of the given length, looked at once a
// second; x-frames is how many times as long the looking takes as the frames.
func BenchmarkLive(b *testing.B) {
	for _, hold := range []float64{60, 1200} {
		b.Run(fmt.Sprintf("held for %g s", hold), func(b *testing.B) {
			s, err := scripted(simulate.Action{Do: "step", RPM: 1600, Passes: 1})
			if err != nil {
				b.Fatal(err)
			}
			s.Sensors.Slow, s.Captain.HoldS, s.Captain.HoldSpreadS = false, hold, 0
			list, err := frames(s, nil)
			if err != nil {
				b.Fatal(err)
			}
			var looking time.Duration
			seconds := 0
			for b.Loop() {
				d, last := New(boatA(b), "test", oneBus), int64(0)
				for i := range list {
					d.Frame(&list[i])
					if now := d.decoder.Now() / 1e9; now != last {
						last = now
						began := time.Now()
						d.Live()
						looking += time.Since(began)
						seconds++
					}
				}
			}
			b.ReportMetric(looking.Seconds()/(b.Elapsed()-looking).Seconds(), "x-frames")
			b.ReportMetric(looking.Seconds()/float64(seconds)*1e6, "us/look")
		})
	}
}
