package calc

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"trialday.example/logd/calc/scipy"
	"trialday.example/logd/calc/stat"
	"trialday.example/logd/decode/sample"
)

// passesDay is the evidence of a day of four passes, to and fro, at each of
// three settings.
func passesDay(t *testing.T) *Evidence {
	t.Helper()
	trial := New(testSettings())
	h := newHelm(11, func(s sample.Sample) { trial.Add(&s) })
	h.hold(30, 10, 0, nil)
	h.gear = gearForward
	for _, rpm := range []float64{30, 40, 50} {
		for range 4 {
			h.hold(70, rpm, 0, nil)
			h.hold(15, rpm, deg(12), nil)
		}
	}
	trial.Close()
	e := trial.Evidence()
	if r := Derive(e, testSettings(), nil); len(r.Steps) != 3 || r.Steps[1].Passes != 4 {
		t.Fatalf("%d steps: %+v", len(r.Steps), r.Steps)
	}
	return e
}

// figures writes down all of a report but what became of amendments.
func figures(r *Report) string {
	plain := *r
	plain.Outcomes = nil
	return fmt.Sprintf("%+v", plain)
}

func derived(e *Evidence, list ...Amendment) *Report { return Derive(e, testSettings(), list) }

func TestDerivingIsRepeatable(t *testing.T) {
	e := passesDay(t)
	before := fmt.Sprintf("%+v", e.Windows)
	first := figures(derived(e))
	step := derived(e).Steps[1]
	derived(e, Amendment{ID: 1, Action: Exclude, Windows: step.Windows[:1]})
	if figures(derived(e)) != first {
		t.Error("the second time the figures are others")
	}
	if fmt.Sprintf("%+v", e.Windows) != before {
		t.Error("deriving changed the evidence")
	}
}

// Evidence taken while a day goes on is not changed by what follows, and the
// day's end is the same whether it was taken or not.
func TestEvidenceOfADayThatGoesOn(t *testing.T) {
	var early *Evidence
	var before string
	interrupted := sail(3, func(h *helm, trial *Trial) {
		leave(h)
		h.hold(30, 40, deg(12), nil)
		early = trial.Evidence()
		before = figures(derived(early))
		h.hold(90, 45, 0, nil)
	})
	whole := sail(3, func(h *helm, _ *Trial) {
		leave(h)
		h.hold(30, 40, deg(12), nil)
		h.hold(90, 45, 0, nil)
	})
	if len(early.Windows) == 0 {
		t.Fatal("no window yet")
	}
	if figures(derived(early)) != before {
		t.Error("the day went on and changed the evidence")
	}
	if figures(interrupted) != figures(whole) {
		t.Error("taking the evidence changed the day")
	}
}

// An excluded window counts as little as one that was found not to be steady.
func TestExcludedIsLikeRejected(t *testing.T) {
	e := passesDay(t)
	for _, s := range derived(e).Steps {
		for _, id := range s.Windows {
			got := derived(e, Amendment{ID: 1, Action: Exclude, Windows: []int{id}})
			if !got.Outcomes[0].Applied || got.Windows[id-1].Amended != Excluded || got.Windows[id-1].Step != 0 || !got.Windows[id-1].Accepted() {
				t.Fatalf("%+v: %+v", got.Outcomes[0], got.Windows[id-1])
			}
			rejected := *e
			rejected.Windows = slices.Clone(e.Windows)
			rejected.Windows[id-1].Reason = CourseChange
			want := derived(&rejected)
			if a, b := fmt.Sprintf("%+v", got.Steps), fmt.Sprintf("%+v", want.Steps); a != b {
				t.Errorf("window %d: steps\n%s\nwant\n%s", id, a, b)
			}
			if a, b := fmt.Sprintf("%+v", got.Day), fmt.Sprintf("%+v", want.Day); a != b {
				t.Errorf("window %d: day fit\n%s\nwant\n%s", id, a, b)
			}
			if got.FuelCheck.Balanced != want.FuelCheck.Balanced {
				t.Errorf("window %d: still in the balance of the engines", id)
			}
		}
	}
}

// Any amendments, then all of them withdrawn, leave the original; and the order
// of the list never matters.
func TestAmendmentsCanBeTakenBackAndShuffled(t *testing.T) {
	e := passesDay(t)
	original := figures(derived(e))
	for seed := range uint64(200) {
		r := rand.New(rand.NewPCG(seed, 1))
		var list []Amendment
		for id := range 1 + r.IntN(6) {
			m := Amendment{ID: id + 1, Action: Action(r.IntN(3)), Withdraws: r.IntN(id + 2)}
			for range 1 + r.IntN(3) {
				m.Windows = append(m.Windows, 1+r.IntN(len(e.Windows)+1))
			}
			list = append(list, m)
		}
		want := derived(e, list...)
		for k := range want.Outcomes {
			if o := want.Outcomes[k]; o.Applied != (o.Why == "") {
				t.Fatalf("%+v of %+v", o, list[k])
			}
		}
		order := r.Perm(len(list))
		shuffled := make([]Amendment, len(list))
		for i, k := range order {
			shuffled[i] = list[k]
		}
		got := derived(e, shuffled...)
		if figures(got) != figures(want) {
			t.Fatalf("in another order the figures are others: %+v", list)
		}
		for i, k := range order {
			if got.Outcomes[i] != want.Outcomes[k] {
				t.Fatalf("%+v in another order, want %+v, of %+v", got.Outcomes[i], want.Outcomes[k], list[k])
			}
		}
		for id := range len(list) {
			list = append(list, Amendment{ID: len(list) + 1, Action: Withdraw, Withdraws: id + 1})
		}
		if figures(derived(e, list...)) != original {
			t.Fatalf("all withdrawn, but not the original: %+v", list)
		}
	}
}

// Merged windows of two runs one way are one pass, whose mean, standard error
// and degrees of freedom are those of the documented formula.
func TestMergedWindowsAreOnePass(t *testing.T) {
	e := passesDay(t)
	before := derived(e)
	step := before.Steps[1]
	var same []int // one way
	for _, id := range step.Windows {
		w, first := &e.Windows[id-1], &e.Windows[step.Windows[0]-1]
		if math.Abs(math.Remainder(w.Direction()-first.Direction(), 2*math.Pi)) < 0.3 {
			same = append(same, id)
		}
	}
	if len(same) != 2 {
		t.Fatalf("%d windows one way", len(same))
	}
	after := derived(e, Amendment{ID: 1, Action: Merge, Windows: same})
	if !after.Outcomes[0].Applied || after.Steps[1].Passes != step.Passes-1 || after.Windows[same[0]-1].Amended != Merged {
		t.Fatalf("%+v, %d passes of %d", after.Outcomes[0], after.Steps[1].Passes, step.Passes)
	}
	if !slices.Equal(after.Steps[1].Windows, step.Windows) && len(after.Steps[1].Windows) != len(step.Windows) {
		t.Errorf("windows %v, were %v", after.Steps[1].Windows, step.Windows)
	}
	for i := range after.Steps {
		if a, b := fmt.Sprintf("%+v", after.Steps[i].Speed), fmt.Sprintf("%+v", before.Steps[i].Speed); i != 1 && a != b {
			t.Errorf("step %d changed: %s, was %s", i+1, a, b)
		}
	}
	group := []int{same[0] - 1, same[1] - 1}
	passes := passesOf(after.Windows, group)
	if len(passes) != 1 {
		t.Fatalf("%d passes", len(passes))
	}
	a, b := after.Windows[group[0]], after.Windows[group[1]]
	ta, tb := float64(a.End-a.Start), float64(b.End-b.Start)
	got, want := passes[0].pass().SOG, pooled(a.SOG, b.SOG, ta/(ta+tb))
	within(t, "pooled mean", got.Mean, want.Mean, 1e-12)
	within(t, "pooled standard error", got.SE, want.SE, 1e-12)
	within(t, "pooled degrees of freedom", got.DOF, want.DOF, 1e-6)
}

// pooled is the formula of amend, written out for two windows.
func pooled(a, b stat.Estimate, wa float64) stat.Estimate {
	wb := 1 - wa
	va, vb := wa*wa*a.SE*a.SE, wb*wb*b.SE*b.SE
	return stat.Estimate{Mean: wa*a.Mean + wb*b.Mean, SE: math.Sqrt(va + vb), DOF: (va + vb) * (va + vb) / (va*va/a.DOF + vb*vb/b.DOF)}
}

// The pooled estimate against SciPy: Welch's test of two samples whose standard
// errors are w[i]*u[i] tests whether w[1]*m[1] + w[2]*m[2] is zero, with the
// same standard error and degrees of freedom.
func TestPooledEstimateAgainstSciPy(t *testing.T) {
	type windows struct {
		M, U, DOF, T [2]float64
	}
	cases := []windows{
		{[2]float64{12.0, 12.6}, [2]float64{0.1, 0.2}, [2]float64{9, 4}, [2]float64{60, 30}},
		{[2]float64{0.21, 0.2}, [2]float64{0.11, 0.07}, [2]float64{3, 40}, [2]float64{20, 75}},
		{[2]float64{-1, 0.9}, [2]float64{0.3, 0.3}, [2]float64{12, 12}, [2]float64{45, 45}},
	}
	var want []struct{ T, P float64 }
	scipy.Run(t, `
out = []
for c in x:
    w = np.array(c["T"]) / sum(c["T"])
    m, se, n = w*c["M"], w*c["U"], np.array(c["DOF"]) + 1
    r = scipy.stats.ttest_ind_from_stats(m[0], se[0]*n[0]**.5, n[0], -m[1], se[1]*n[1]**.5, n[1], equal_var=False)
    out.append({"T": r.statistic, "P": r.pvalue})
print(json.dumps(out))`, cases, &want)
	for i, c := range cases {
		pass := passGroup{windows: make([]*Window, 2)}
		for k := range pass.windows {
			pass.windows[k] = &Window{SOG: stat.Estimate{Mean: c.M[k], SE: c.U[k], DOF: c.DOF[k]}, End: int64(c.T[k]) * second}
		}
		pass.weigh()
		got := pass.estimate(func(w *Window) stat.Estimate { return w.SOG })
		zero := stat.Estimate{DOF: 1}
		within(t, "t", got.Mean/got.SE, want[i].T, 1e-9)
		d := Welch(zero, got)
		within(t, "p", d.P, want[i].P, 1e-9)
	}
}

func TestWhatCannotBeMergedIsRefusedWithAReason(t *testing.T) {
	e := passesDay(t)
	steps := derived(e).Steps
	first, other := steps[0].Windows, steps[1].Windows
	unsteady := 0
	for i := range e.Windows {
		if !e.Windows[i].Accepted() {
			unsteady = i + 1
		}
	}
	if unsteady == 0 {
		t.Fatal("every stretch is steady")
	}
	merge := func(id int, windows ...int) Amendment { return Amendment{ID: id, Action: Merge, Windows: windows} }
	for _, c := range []struct {
		why  string
		list []Amendment
	}{
		{"there is no window 999", []Amendment{merge(1, first[0], 999)}},
		{"there is no window 0", []Amendment{merge(1, 0, first[0])}},
		{"no window was found from 8 to 9", []Amendment{{ID: 1, Action: Exclude, Unknown: "from 8 to 9"}}},
		{"it names no window", []Amendment{{ID: 1, Action: Exclude}}},
		{"two windows are needed", []Amendment{merge(1, first[0], first[0])}},
		{"is not steady: ", []Amendment{merge(1, first[0], unsteady)}},
		{"rpm apart", []Amendment{merge(1, first[0], other[0])}},
		{"degrees apart", []Amendment{merge(1, first[0], first[1])}},
		{"is excluded by amendment 1", []Amendment{{ID: 1, Action: Exclude, Windows: first[:1]}, merge(2, first[0], first[2])}},
		{"is merged by amendment 1", []Amendment{merge(1, first[0], first[2]), merge(2, first[2], first[0])}},
		{"there is no amendment 7 before it", []Amendment{{ID: 1, Action: Withdraw, Withdraws: 7}}},
		{"there is no amendment 1 before it", []Amendment{{ID: 1, Action: Withdraw, Withdraws: 1}}},
		{"its action is not known", []Amendment{{ID: 1, Action: 9}}},
	} {
		r := derived(e, c.list...)
		if o := r.Outcomes[len(c.list)-1]; o.Applied || !strings.Contains(o.Why, c.why) {
			t.Errorf("%+v, want %q", o, c.why)
		}
	}
	r := derived(e, merge(1, first[0], first[2]), Amendment{ID: 2, Action: Withdraw, Withdraws: 1}, Amendment{ID: 3, Action: Withdraw, Withdraws: 2})
	if !r.Outcomes[0].Applied || r.Outcomes[1].Why != "withdrawn by amendment 3" {
		t.Errorf("a withdrawal withdrawn: %+v", r.Outcomes)
	}
}

// Windows at the edges of a step that a person merges stay in one step.
func TestMergedWindowsStayInOneStep(t *testing.T) {
	window := func(id int, rpm float64) Window {
		w := Window{ID: id, Run: id, Engines: 1, Start: int64(id) * 100 * second, End: int64(id)*100*second + 60*second}
		w.SOG = stat.Estimate{Mean: rpm / 4, SE: 0.01, DOF: 20}
		w.RPM[0] = stat.Estimate{Mean: rpm, SE: 0.01, DOF: 20}
		w.Heading, w.Course = stat.Estimate{}, stat.Estimate{}
		return w
	}
	chain := []Window{window(1, 100), window(2, 101.2), window(3, 102.5), window(4, 102.9)}
	if s := Steps(slices.Clone(chain), 0.02, Boat{}); len(s) != 2 {
		t.Fatalf("%d steps without a merge", len(s))
	}
	out := amend(chain, 0.02, []Amendment{{ID: 1, Action: Merge, Windows: []int{2, 3}}})
	if !out[0].Applied {
		t.Fatal(out[0].Why)
	}
	for _, s := range Steps(chain, 0.02, Boat{}) {
		if slices.Contains(s.Windows, 2) != slices.Contains(s.Windows, 3) {
			t.Errorf("step of windows %v", s.Windows)
		}
	}
}
