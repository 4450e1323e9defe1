package calc

import (
	"math"
	"math/cmplx"
	"sort"

	"trialday.example/logd/calc/stat"
)

// Boat is what calculation needs to know of the boat. NaN where not known.
type Boat struct {
	Length float64 // m
	Usable float64 // m³ of fuel that may be used: tank less reserve
	Tank   float64 // m³, all tanks
	// Section is how far a tank's section may be from its mean at the levels of
	// the day: a ratio, half of a 95 % interval.
	Section float64
	Mass    float64 // kg at the start of the day
	Full    float64 // kg, as at the start of the day but with full tanks
	Fuel    float64 // kg/m³
	Cruise  float64 // load ratio of the maker's recommended cruise
	Planes  bool    // whether the hull is made to plane
	// Electric is the electric drive, if there is one.
	Electric ElectricDrive
}

// Step is one throttle setting: all its passes together.
type Step struct {
	ID        int
	Windows   []int // ids
	Passes    int
	Engines   EngineSet
	RPM       float64 // 1/s, mean of the driving engines
	Speed     stat.Estimate
	Corrected bool
	Flow      complex128                // current, m/s, by the fit of the day; NaN where not corrected
	Fuel      stat.Estimate             // m³/s
	ByEngine  [MaxEngines]stat.Estimate // m³/s, NaN where an engine gives none
	FromTank  bool                      // Fuel and what follows from it are those of Tank
	Tank      TankBurn                  // what the tank's level tells, worth showing or not
	Economy   stat.Estimate             // m of way per m³ of fuel
	Range     stat.Estimate             // m on the usable fuel
	BurnOff   float64                   // m, range as the boat grows lighter; see BurnOffRange
	Load      float64
	Pitch     float64
	Trim      float64
	Mass      float64 // kg
	Drive     Drive
	Electric  Electric
}

// stepFloor, 1/s (50 rpm): passes closer than this are one step however slow
// the engine turns; the coarsest tachometer a throttle is set by.
const stepFloor = 50.0 / 60

// Steps gathers the accepted windows into rpm steps by rising rpm, and numbers
// both. Windows belong to one step when the same engines drive and all their
// rpm lie within ratio of each other (complete-linkage clustering in one
// dimension).
func Steps(windows []Window, ratio float64, b Boat) []Step {
	var steps []Step
	day := dayLevelsOf(windows, b)
	for _, group := range clusters(windows, ratio) {
		steps = append(steps, newStep(windows, group, b, day))
	}
	sort.SliceStable(steps, func(i, j int) bool { return steps[i].RPM < steps[j].RPM })
	for i := range steps {
		steps[i].ID = i + 1
		for _, id := range steps[i].Windows {
			windows[id-1].Step = i + 1
		}
	}
	return steps
}

// clusters returns groups of indices into windows: those next to each other in
// rpm are merged, closest first, while the group stays within ratio. Windows
// that a person merged start as one group.
func clusters(windows []Window, ratio float64) [][]int {
	rpm := func(i int) float64 { return windows[i].MeanRPM() }
	bySet := map[EngineSet][][]int{}
	var sets []EngineSet
	for _, group := range together(windows) {
		sortBy(group, rpm)
		set := windows[group[0]].Engines
		if bySet[set] == nil {
			sets = append(sets, set)
		}
		bySet[set] = append(bySet[set], group)
	}
	var out [][]int
	for _, set := range sets {
		groups := bySet[set]
		sort.SliceStable(groups, func(i, j int) bool { return rpm(groups[i][0]) < rpm(groups[j][0]) })
		out = append(out, mergeClosest(groups, ratio, rpm)...)
	}
	return out
}

// together returns the indices of the windows that count, each alone or with
// those that it was merged with.
func together(windows []Window) [][]int {
	var out [][]int
	merged := map[int]int{} // amendment to the place in out of what it merged
	for i := range windows {
		w := &windows[i]
		if !w.counts() || w.Engines == 0 {
			continue
		}
		k, ok := merged[w.By]
		if w.Amended == Merged && ok {
			out[k] = append(out[k], i)
			continue
		}
		if w.Amended == Merged {
			merged[w.By] = len(out)
		}
		out = append(out, []int{i})
	}
	return out
}

func sortBy(group []int, rpm func(int) float64) {
	sort.SliceStable(group, func(i, j int) bool { return rpm(group[i]) < rpm(group[j]) })
}

// mergeClosest merges neighbours of groups sorted by rpm, each sorted inside.
func mergeClosest(groups [][]int, ratio float64, rpm func(int) float64) [][]int {
	for {
		best, at := math.Inf(1), -1
		for i := 0; i+1 < len(groups); i++ {
			lo, hi := rpm(groups[i][0]), math.Max(rpm(last(groups[i])), rpm(last(groups[i+1])))
			if d := hi - lo; d <= math.Max(ratio*lo, stepFloor) && d < best {
				best, at = d, i
			}
		}
		if at < 0 {
			return groups
		}
		merged := append(append([]int(nil), groups[at]...), groups[at+1]...)
		sortBy(merged, rpm) // groups overlap where a person merged windows
		groups = append(groups[:at], groups[at+1:]...)
		groups[at] = merged
	}
}

func last(group []int) int { return group[len(group)-1] }

// passGroup is the windows of one run in one step, or of runs that were merged:
// one pass.
type passGroup struct {
	windows []*Window
	weights []float64 // by duration, add to 1
}

func passesOf(windows []Window, group []int) []passGroup {
	sort.Ints(group)
	pass := passesByRun(windows, group)
	place := map[int]int{} // pass to its place in out
	var out []passGroup
	for _, i := range group {
		w := &windows[i]
		k, ok := place[pass[w.Run]]
		if !ok {
			k = len(out)
			place[pass[w.Run]] = k
			out = append(out, passGroup{})
		}
		out[k].windows = append(out[k].windows, w)
	}
	for i := range out {
		out[i].weigh()
	}
	return out
}

func (p *passGroup) weigh() {
	total := 0.0
	for _, w := range p.windows {
		total += float64(w.End - w.Start)
	}
	for _, w := range p.windows {
		p.weights = append(p.weights, float64(w.End-w.Start)/total)
	}
}

// passesByRun names the pass of each run of a group by the least run in it: a
// run is one pass, and merged windows join the passes of their runs.
func passesByRun(windows []Window, group []int) map[int]int {
	pass, merged := map[int]int{}, map[int]int{} // run to pass; amendment to the first run it merged
	for _, i := range group {
		w := &windows[i]
		if _, ok := pass[w.Run]; !ok {
			pass[w.Run] = w.Run
		}
		if w.Amended != Merged {
			continue
		}
		if _, ok := merged[w.By]; !ok {
			merged[w.By] = w.Run
		}
		a, b := pass[merged[w.By]], pass[w.Run]
		for run, name := range pass {
			if name == max(a, b) {
				pass[run] = min(a, b)
			}
		}
	}
	return pass
}

// mean averages a figure over the pass; NaN if any window lacks it.
func (p *passGroup) mean(f func(*Window) float64) float64 {
	m := 0.0
	for i, w := range p.windows {
		m += p.weights[i] * f(w)
	}
	return m
}

func (p *passGroup) estimate(f func(*Window) stat.Estimate) stat.Estimate {
	parts := make([]stat.Estimate, len(p.windows))
	for i, w := range p.windows {
		parts[i] = f(w)
	}
	return stat.Sum(parts, p.weights)
}

// pass returns the passage as the current fit takes it.
func (p *passGroup) pass() Pass {
	var out Pass
	out.SOG = p.estimate(func(w *Window) stat.Estimate { return w.SOG })
	out.Time = p.mean(func(w *Window) float64 { return float64(w.Start+w.End) / 2e9 })
	var u complex128
	for i, w := range p.windows {
		out.Ground += complex(p.weights[i], 0) * w.Ground
		u += cmplx.Rect(p.weights[i], w.Direction())
	}
	out.Heading = cmplx.Phase(u)
	return out
}

// newStep makes a step of a group of windows, by index.
func newStep(windows []Window, group []int, b Boat, day dayLevels) Step {
	passes := passesOf(windows, group)
	s := Step{Passes: len(passes), Engines: windows[group[0]].Engines}
	fit := make([]Pass, len(passes))
	for i := range passes {
		fit[i] = passes[i].pass()
		for _, w := range passes[i].windows {
			s.Windows = append(s.Windows, w.ID)
		}
	}
	c := SeparateCurrent(fit)
	s.Speed, s.Corrected, s.Flow = c.Speed, c.Corrected, c.Flow
	weigh := func(f func(*Window) float64) float64 {
		m := 0.0
		for i := range passes {
			m += c.Weights[i] * passes[i].mean(f)
		}
		return m
	}
	estimate := func(f func(*Window) stat.Estimate) stat.Estimate {
		parts := make([]stat.Estimate, len(passes))
		for i := range passes {
			parts[i] = passes[i].estimate(f)
		}
		return stat.Sum(parts, c.Weights)
	}
	s.RPM = weigh((*Window).MeanRPM)
	s.Fuel = estimate(func(w *Window) stat.Estimate { return w.Total })
	for e := range s.ByEngine {
		s.ByEngine[e] = estimate(func(w *Window) stat.Estimate { return w.Fuel[e] })
	}
	// What concerns the speed alone: the receiver's floor and the current's
	// drift between passes.
	ratio := estimate(func(w *Window) stat.Estimate { return w.Ratio.WithFloor(gnssFloor / w.SOG.Mean) })
	if math.IsNaN(s.Fuel.Mean) {
		s.Tank = tankBurn(passes, b, day, cubes(&s))
		if s.FromTank = s.Tank.Worth(); s.FromTank {
			s.Fuel = s.Tank.Burn
			ratio = quotientError(s.Speed, s.Fuel)
		}
	}
	s.Economy = Economy(s.Speed, s.Fuel, ratio.WithFloor(c.Drift/s.Speed.Mean))
	s.Load = weigh(func(w *Window) float64 { return w.Load.Mean })
	s.Pitch = weigh(func(w *Window) float64 { return w.Pitch.Mean })
	s.Trim = weigh(func(w *Window) float64 { return w.Trim.Mean })
	s.Drive = driveOf(weigh)
	s.Mass = b.Mass - b.Fuel*weigh(func(w *Window) float64 { return w.Burnt })
	s.Range = s.Economy.Scale(b.Usable)
	s.BurnOff = BurnOffRange(s.Economy.Mean, s.Mass, b.Full, b.Usable, b.Fuel)
	s.electric(estimate, c.Drift, b)
	return s
}

// Economy returns the way made per fuel, V/F in m/m³. Relative is the relative
// error of the ratio, in which the correlation of speed and fuel is accounted
// for.
func Economy(speed, fuel, relative stat.Estimate) stat.Estimate {
	if !(fuel.Mean > 0) {
		return unknown
	}
	e := speed.Mean / fuel.Mean
	return stat.Estimate{Mean: e, SE: e * relative.SE, DOF: relative.DOF}
}
