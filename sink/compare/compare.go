// Package compare sets two trial days, or two conditions of one boat, side by
// side: step by step at equal rpm, with what can be told apart and what cannot.
// It needs nothing but the two results, and derives nothing but differences.
package compare

import (
	"fmt"
	"math"

	"trialday.example/logd/calc"
	"trialday.example/logd/calc/stat"
	"trialday.example/logd/sink/results"
)

// rpmRatio and rpmFloor: steps within 3 % or 50 rpm of each other stand for one
// throttle setting; throttles are not set more closely by eye (common practice,
// no source). What is left of the difference is taken out, see calc.Curve.
const (
	rpmRatio = 0.03
	rpmFloor = 50
)

// Side is one of the two.
type Side struct {
	Label   string
	Results *results.Results
}

// Figure is one figure of a step on both sides; B at A's rpm.
type Figure struct {
	A, B stat.Estimate
	Diff calc.Difference // B less A
}

// Known tells whether both sides have the figure.
func (f *Figure) Known() bool { return !math.IsNaN(f.Diff.Mean) }

// Percent is the difference in per cent of A.
func (f *Figure) Percent() float64 { return 100 * f.Diff.Mean / f.A.Mean }

// Row is a pair of steps.
type Row struct {
	StepA, StepB         int
	RPMA, RPMB           float64
	Speed, Fuel, Economy Figure // kn, L/h, nm/L
	Power, Energy        Figure // kW, Wh/nm, where batteries alone drive
	Notes                []string
}

// Comparison is the whole.
type Comparison struct {
	A, B         Side
	Rows         []Row
	OnlyA, OnlyB []float64 // rpm of steps without a partner
	// Conditions are plain statements of what else differs between the days.
	Conditions []string
}

// Of compares two results.
func Of(a, b Side) *Comparison {
	c := &Comparison{A: a, B: b, Conditions: conditions(a, b)}
	pairedA, pairedB := map[int]bool{}, map[int]bool{}
	for engines := 8; engines > 0; engines-- {
		as, bs := stepsOn(a.Results, engines), stepsOn(b.Results, engines)
		for _, p := range calc.MatchSteps(rpms(as), rpms(bs), rpmRatio, rpmFloor) {
			c.Rows = append(c.Rows, row(a.Results, b.Results, as[p[0]], bs, p[1]))
			pairedA[as[p[0]].ID], pairedB[bs[p[1]].ID] = true, true
		}
	}
	c.OnlyA, c.OnlyB = unpaired(a.Results, pairedA), unpaired(b.Results, pairedB)
	return c
}

func stepsOn(r *results.Results, engines int) []*results.Step {
	var out []*results.Step
	for i := range r.Steps {
		if len(r.Steps[i].Engines) == engines {
			out = append(out, &r.Steps[i])
		}
	}
	return out
}

func rpms(steps []*results.Step) []float64 {
	var out []float64
	for _, s := range steps {
		out = append(out, s.RPM)
	}
	return out
}

func unpaired(r *results.Results, paired map[int]bool) []float64 {
	var out []float64
	for i := range r.Steps {
		if !paired[r.Steps[i].ID] {
			out = append(out, r.Steps[i].RPM)
		}
	}
	return out
}

// row compares step a of ra with the k-th of the steps of rb.
func row(ra, rb *results.Results, a *results.Step, bs []*results.Step, k int) Row {
	b := bs[k]
	r := Row{StepA: a.ID, StepB: b.ID, RPMA: a.RPM, RPMB: b.RPM}
	for _, q := range quantities {
		curve := calc.Curve{RPM: rpms(bs)}
		for _, s := range bs {
			curve.Y = append(curve.Y, estimate(q.of(rb, s)))
		}
		f := q.figure(&r)
		f.A, f.B = estimate(q.of(ra, a)), curve.At(k, a.RPM)
		f.Diff = calc.Welch(f.A, f.B)
	}
	note := func(a, b bool, words string) {
		switch {
		case a && b:
			r.Notes = append(r.Notes, "A and B "+words)
		case a:
			r.Notes = append(r.Notes, "A "+words)
		case b:
			r.Notes = append(r.Notes, "B "+words)
		}
	}
	note(!a.CurrentCorrected, !b.CurrentCorrected, "in one direction only")
	note(a.FuelFrom != "", b.FuelFrom != "", "with burn from "+results.FromTankLevel)
	if da, db := drivenBy(ra, a), drivenBy(rb, b); da != db {
		r.Notes = append(r.Notes, "A driven by "+da+", B by "+db)
	}
	return r
}

func estimate(i *results.Interval) stat.Estimate {
	if i == nil {
		return stat.Estimate{Mean: math.NaN(), SE: math.NaN(), DOF: 1}
	}
	return calc.FromInterval(i.Mean, i.Lo95, i.Hi95)
}

// What two days may differ by before it is said. 1 % of mass is about half a
// per cent of speed on the plane; 3 kn of wind and half a knot of current are
// what a helmsman calls another day (our own judgement, no source).
const (
	massLimit    = 0.01
	windLimit    = 3.0
	currentLimit = 0.5
)

// conditions says how the days differ otherwise, and what is not known of that.
func conditions(a, b Side) []string {
	var out []string
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	va, vb := &a.Results.Vessel, &b.Results.Vessel
	if va.Name != vb.Name {
		add("the boats differ: %q and %q", va.Name, vb.Name)
	}
	if da, db := drive(a.Results), drive(b.Results); da != db {
		add("A is driven by %s, B by %s: what fuel gives and what batteries give are not set against each other", da, db)
	}
	if len(va.Engines) != len(vb.Engines) {
		add("%d engines in A, %d in B; steps are compared on equal numbers of engines", len(va.Engines), len(vb.Engines))
	}
	ma, mb := average(a.Results, massOf), average(b.Results, massOf)
	switch d := mb/ma - 1; {
	case math.IsNaN(d):
		add("the mass is not known on both days; it changes speed and burn")
	case math.Abs(d) > massLimit:
		add("mass %.0f kg in A, %.0f kg in B (%+.1f %%): on the plane about %+.1f %% of speed by itself, at equal power", ma, mb, 100*d, -50*d)
	}
	wa, wb := wind(a.Results), wind(b.Results)
	switch {
	case math.IsNaN(wa + wb):
		add("the wind was not heard on both days")
	case math.Abs(wa-wb) > windLimit:
		add("mean wind %.0f kn in A, %.0f kn in B: reciprocal passes cancel most of it, not all", wa, wb)
	}
	if ca, cb := average(a.Results, currentOf), average(b.Results, currentOf); math.Abs(ca-cb) > currentLimit {
		add("mean current %.1f kn in A, %.1f kn in B: taken out where steps are corrected", ca, cb)
	}
	for _, s := range []struct {
		name string
		side Side
	}{{"A", a}, {"B", b}} {
		if f := &s.side.Results.FuelCheck; differs(f.TopUp) || differs(f.Tank) {
			add("the fuel meters of %s disagree with tank or top-up: burn and economy may differ for that alone", s.name)
		}
	}
	return out
}

func differs(f *results.FuelScale) bool { return f != nil && f.Differs }

func massOf(s *results.Step) *float64    { return s.MassKg }
func currentOf(s *results.Step) *float64 { return s.CurrentKn }

// average is the mean of a figure over the steps that have it, NaN if none has.
func average(r *results.Results, of func(*results.Step) *float64) float64 {
	var v []float64
	for i := range r.Steps {
		if x := of(&r.Steps[i]); x != nil {
			v = append(v, *x)
		}
	}
	return stat.Mean(v)
}

func wind(r *results.Results) float64 {
	var v []float64
	for i := range r.Windows {
		if w := &r.Windows[i]; w.Accepted && w.WindKn != nil {
			v = append(v, *w.WindKn)
		}
	}
	return stat.Mean(v)
}
