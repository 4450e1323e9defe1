package day

import (
	"math/rand/v2"
	"testing"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/decode/choose"
)

// However samples fall into batches, and whether watchers work beside the decoder or
// in turn with it, a day gives the same to the byte: with changes of source and of
// the clock, and wherever somebody looks.
func TestBatchesMakeNoDifference(t *testing.T) {
	t.Parallel()
	s := scenario(t, "demo-triple")
	s.Script = s.Script[1:10] // under way, with its receivers' failures
	s.Clock.Steps = []simulate.ClockStep{{AtS: 600, ByS: 3600}}
	list, err := frames(s, nil)
	if err != nil {
		t.Fatal(err)
	}
	run := func(d *Day, look func()) string {
		for i := range list {
			d.Frame(&list[i])
			look()
		}
		r, line := d.Finish(0)
		failovers := 0
		for _, source := range r.Sources {
			if source.Why == choose.Failover.String() {
				failovers++
			}
		}
		if len(r.Windows) == 0 || failovers == 0 || r.Clock.Steps == 0 {
			t.Fatalf("%d windows, %d failovers, clock %+v: nothing to compare", len(r.Windows), failovers, r.Clock)
		}
		return written(t, r, line)
	}
	never := func() {}
	want := run(New(boatA(t), "test", oneBus), never)
	beside := New(boatA(t), "test", oneBus)
	beside.Beside()
	each := New(boatA(t), "test", oneBus)
	sometimes := New(boatA(t), "test", oneBus)
	sometimes.Beside()
	random := rand.New(rand.NewPCG(1, 2))
	for name, got := range map[string]string{
		"beside":               run(beside, never),
		"looked at each frame": run(each, func() { each.Closed() }),
		"looked at now and then": run(sometimes, func() {
			if random.IntN(20_000) == 0 {
				sometimes.Live()
				sometimes.Evidence(0)
			}
		}),
	} {
		if got != want {
			t.Errorf("%s: the day is another", name)
		}
	}
}
