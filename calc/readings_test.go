package calc

import (
	"math"
	"testing"

	"trialday.example/logd/calc/scipy"
)

// TestEnergyMean: two equal levels stay, and ten times the energy is 10 dB, so
// 80 and 90 dB average to 10*lg(5.5e8)... = 87.4 dB (ISO 1996-1, from memory).
func TestEnergyMean(t *testing.T) {
	nan := math.NaN()
	within(t, "equal", EnergyMean([]float64{84, 84}), 84, 1e-12)
	within(t, "80 and 90", EnergyMean([]float64{80, 90, nan}), 87.4036, 1e-4)
	if !math.IsNaN(EnergyMean(nil)) || !math.IsNaN(EnergyMean([]float64{nan})) {
		t.Error("no level has a mean")
	}
	levels := []float64{71.5, 88.2, 90.1, 84, 66}
	var want float64
	scipy.Run(t, "print(json.dumps(float(10/np.log(10)*(scipy.special.logsumexp(np.array(x)*np.log(10)/10) - np.log(len(x))))))", levels, &want)
	within(t, "by logsumexp", EnergyMean(levels), want, 1e-9)
}

func TestJoin(t *testing.T) {
	utc := func(trial int64) int64 { return trial + 1e18 }
	window := func(id, run, step int, from, to int64, rpm float64) Window {
		w := Window{ID: id, Run: run, Step: step, Start: from * second, End: to * second, Engines: 1}
		w.RPM[0].Mean = rpm
		if step == 0 {
			w.Reason = RPMHunting
		}
		return w
	}
	rep := &Report{
		Found: Found{Start: 0, End: 1000 * second,
			Runs:    []Run{{ID: 1, Start: 0, End: 300 * second}, {ID: 2, Start: 300 * second, End: 1000 * second}},
			Windows: []Window{window(1, 1, 1, 100, 200, 40), window(2, 2, 0, 400, 500, 50), window(3, 2, 2, 600, 700, 50)},
		},
		Steps: []Step{{ID: 1, RPM: 40, Engines: 3}, {ID: 2, RPM: 50, Engines: 3}, {ID: 3, RPM: 50.1, Engines: 1}},
	}
	nan := math.NaN()
	at := func(s int64, rpm, sound float64) Reading {
		return Reading{Time: utc(s * second), Timed: true, RPM: rpm, Sound: sound, SeaState: nan}
	}
	noted := func(rpm, sound, sea float64) Reading { return Reading{RPM: rpm, Sound: sound, SeaState: sea} }
	in := []Reading{
		0: at(150, nan, 80), 1: at(150, 40.7, 81), 2: at(150, 48, 95), 3: at(250, nan, 80), 4: at(450, nan, 80), 5: at(2000, nan, 80),
		6: noted(50.1, 90, 2), 7: noted(51, 97, 2), 8: noted(60, 90, 2), 9: noted(39.5, nan, 1), 10: noted(39.5, nan, 3),
	}
	want := []struct {
		run, window, step int
		conflict          Conflict
	}{
		{1, 1, 1, NoConflict}, {1, 1, 1, NoConflict}, {1, 1, 1, SpeedDiffer}, {1, 0, 0, NotSteady}, {2, 2, 0, NotSteady}, {0, 0, 0, OutsideDay},
		{0, 0, 2, SoundDiffer}, {0, 0, 2, SoundDiffer}, {0, 0, 0, NoSuchStep}, {0, 0, 1, SeaDiffer}, {0, 0, 1, SeaDiffer},
	}
	got := Join(in, rep, utc)
	for i, w := range want {
		if g := got[i]; g.Run != w.run || g.Window != w.window || g.Step != w.step || g.Conflict != w.conflict {
			t.Errorf("reading %d: run %d, window %d, step %d, conflict %d; want %+v", i, g.Run, g.Window, g.Step, g.Conflict, w)
		}
	}
	within(t, "sound of step 1", StepSound(got, 1), EnergyMean([]float64{80, 81}), 1e-12)
	within(t, "sound of step 2", StepSound(got, 2), EnergyMean([]float64{90, 97}), 1e-12)
	if !math.IsNaN(StepSound(got, 3)) {
		t.Error("a step without readings has a level")
	}
}
