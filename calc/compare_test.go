package calc

import (
	"math"
	"math/rand/v2"
	"testing"

	"trialday.example/logd/calc/scipy"
	"trialday.example/logd/calc/stat"
)

// TestWelchAgainstSciPy: the samples' means and errors against SciPy's Welch
// test of the same samples.
func TestWelchAgainstSciPy(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for n := 4; n < 12; n += 3 {
		a, b := make([]float64, n), make([]float64, 3*n)
		for i := range a {
			a[i] = 20 + 0.3*r.NormFloat64()
		}
		for i := range b {
			b[i] = 20.3 + 0.8*r.NormFloat64()
		}
		of := func(x []float64) stat.Estimate {
			return stat.Estimate{Mean: stat.Mean(x), SE: stat.SD(x) / math.Sqrt(float64(len(x))), DOF: float64(len(x) - 1)}
		}
		var want [2]float64
		scipy.Run(t, "r = scipy.stats.ttest_ind(x[1], x[0], equal_var=False)\nprint(json.dumps([r.statistic, r.pvalue]))", [][]float64{a, b}, &want)
		d := Welch(of(a), of(b))
		within(t, "t", d.Mean/d.SE, want[0], 1e-9)
		within(t, "p", d.P, want[1], 1e-9)
	}
}

func TestWelchWithoutError(t *testing.T) {
	one, two := stat.Estimate{Mean: 1, DOF: 5}, stat.Estimate{Mean: 2, DOF: 5}
	if d := Welch(one, one); d.P != 1 || d.Significant() {
		t.Errorf("equal: %+v", d)
	}
	if d := Welch(one, two); d.P != 0 || !d.Significant() {
		t.Errorf("different: %+v", d)
	}
}

// TestIntervalsClaimNoMoreThanTheyMay: from means and intervals alone, equal
// figures are told apart in at most 5 % of cases whatever the degrees of
// freedom, and real differences still are.
func TestIntervalsClaimNoMoreThanTheyMay(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	const tries = 2500
	quantile := map[int]float64{}
	for _, n := range [][2]int{{3, 3}, {4, 20}, {30, 30}} {
		quantile[n[0]], quantile[n[1]] = stat.StudentT975(float64(n[0]-1)), stat.StudentT975(float64(n[1]-1))
		draw := func(n int, shift float64) stat.Estimate {
			x := make([]float64, n)
			for i := range x {
				x[i] = shift + r.NormFloat64()
			}
			half := quantile[n] * stat.SD(x) / math.Sqrt(float64(n))
			return FromInterval(stat.Mean(x), stat.Mean(x)-half, stat.Mean(x)+half)
		}
		false5, found := 0.0, 0.0
		for range tries {
			a, b, c := draw(n[0], 0), draw(n[1], 0), draw(n[1], 6)
			if d := Welch(a, b); d.Significant() {
				false5++
			}
			if d := Welch(a, c); d.Significant() {
				found++
			}
		}
		if p := false5 / tries; p > 0.06 { // 0.05 and 2.3 standard errors of it
			t.Errorf("%v values: %.1f %% of equal figures are told apart", n, 100*p)
		}
		if p := found / tries; p < 0.6 {
			t.Errorf("%v values: only %.0f %% of clear differences are found", n, 100*p)
		}
	}
}

func TestStepsAreMatchedOnce(t *testing.T) {
	a := []float64{800, 1000, 1600, 2400, 2990}
	b := []float64{830, 1020, 1040, 1700, 2350, 2420, 3300}
	got := MatchSteps(a, b, 0.03, 50)
	want := [][2]int{{0, 0}, {1, 1}, {3, 5}}
	if len(got) != len(want) {
		t.Fatalf("%v, want %v", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%v, want %v", got, want)
		}
	}
	if len(MatchSteps(a, nil, 0.03, 50)) != 0 {
		t.Error("matched with nothing")
	}
}

func TestFigureIsMovedToTheOtherRPM(t *testing.T) {
	at := func(v float64) stat.Estimate { return stat.Estimate{Mean: v, SE: 0.05, DOF: 10} }
	c := Curve{RPM: []float64{1000, 2000, 3000}, Y: []stat.Estimate{at(10), at(20), at(40)}}
	for _, x := range []struct {
		i         int
		rpm, want float64
	}{{1, 2000, 20}, {1, 2050, 21}, {1, 1950, 19.5}, {0, 950, 9.5}, {2, 3030, 40.6}} {
		got := c.At(x.i, x.rpm)
		within(t, "figure", got.Mean, x.want, 1e-9)
		within(t, "error", got.SE, math.Hypot(0.05, math.Abs(x.want-c.Y[x.i].Mean)/2), 1e-9)
	}
	alone := Curve{RPM: []float64{1000}, Y: []stat.Estimate{at(10)}}
	within(t, "a step alone", alone.At(0, 1020).Mean, 10, 0)
	hole := Curve{RPM: []float64{1000, 1100}, Y: []stat.Estimate{at(10), at(math.NaN())}}
	within(t, "a neighbour without the figure", hole.At(0, 1020).Mean, 10, 0)
}
