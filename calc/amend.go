package calc

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Action is what an amendment does.
type Action uint8

// The actions.
const (
	// Exclude: the windows count in no step.
	Exclude Action = iota
	// Merge: the windows, of one direction and rpm, are one pass.
	Merge
	// Withdraw: an earlier amendment is taken back.
	Withdraw
)

// Amendment is a person's judgement of windows. It changes how they count,
// never what was found.
type Amendment struct {
	ID        int // from 1, rising
	Action    Action
	Windows   []int  // ids, of Exclude and Merge
	Unknown   string // names a window that was not found, "" where all were
	Withdraws int    // id, of Withdraw
}

// Outcome tells what became of an amendment.
type Outcome struct {
	Applied bool
	Why     string // where not
}

// Amended is what amendments did to a window.
type Amended uint8

// What can have been done to a window.
const (
	NotAmended Amended = iota
	Excluded
	Merged
)

func (a Amended) String() string { return [...]string{"", "excluded", "merged"}[a] }

// oneDirection, rad (20 degrees): windows whose headings are further apart are
// not of one pass. Wind and sea then act on the boat alike (our own judgement,
// no source).
const oneDirection = 20 * math.Pi / 180

// amend marks windows by the amendments and tells what became of each, in
// their order.
//
// Each amendment is applied whole or not at all, and what results does not hang
// on the order of the list:
//
//   - A withdrawn amendment does nothing. A withdrawal can be withdrawn.
//   - Then windows are excluded. Excluding one twice, or one that is not steady
//     anyway, is no mistake.
//   - Then windows are merged, by rising id of the amendments. A merge is
//     refused if one of its windows is not steady, is excluded or merged
//     already, or if they are not of the same engines, the same rpm (as of a
//     step: ratio, stepFloor) and one direction (oneDirection).
//
// Merged windows are one pass, together with all other windows of the same
// runs in the same step. What is said of the pass is the mean of its windows
// weighted by their durations T,
//
//	m = sum(w[i]*m[i])   with w[i] = T[i]/sum(T)
//	u² = sum(w[i]²*u[i]²)
//	dof = u⁴ / sum(w[i]⁴*u[i]⁴/dof[i])
//
// with the windows' own standard errors u[i] and degrees of freedom, which are
// taken as independent: the law of propagation of uncertainty and the
// Welch-Satterthwaite formula (ISO/IEC Guide 98-3 (GUM), 5.1.2 and G.4.1). It is
// what windows of one run are averaged by. The fit of the day's current keeps
// taking each window at its own time.
func amend(windows []Window, ratio float64, list []Amendment) []Outcome {
	a := amending{windows, ratio}
	order := make([]int, len(list))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(list[i].ID, list[j].ID) })
	out := make([]Outcome, len(list))
	for _, step := range []func(*Amendment) string{a.withdrawals(list, order), a.exclude, a.merge} {
		for _, i := range order {
			if out[i].Why == "" {
				out[i].Why = step(&list[i])
			}
		}
	}
	for i := range out {
		out[i].Applied = out[i].Why == ""
	}
	return out
}

type amending struct {
	windows []Window
	ratio   float64
}

// withdrawals judges by falling id, so that a withdrawal that was withdrawn
// takes nothing back. What it returns refuses those taken back, and those that
// cannot be understood.
func (a *amending) withdrawals(list []Amendment, order []int) func(*Amendment) string {
	taken := map[int]int{} // id to that of its withdrawal
	for k := len(order) - 1; k >= 0; k-- {
		m := &list[order[k]]
		if m.Action == Withdraw && taken[m.ID] == 0 && m.Withdraws < m.ID {
			taken[m.Withdraws] = m.ID
		}
	}
	return func(m *Amendment) string {
		if by := taken[m.ID]; by != 0 {
			return fmt.Sprintf("withdrawn by amendment %d", by)
		}
		switch m.Action {
		case Withdraw:
			there := slices.ContainsFunc(list, func(o Amendment) bool { return o.ID == m.Withdraws })
			if m.Withdraws >= m.ID || !there {
				return fmt.Sprintf("there is no amendment %d before it", m.Withdraws)
			}
			return ""
		case Exclude, Merge:
			return a.known(m)
		}
		return "its action is not known"
	}
}

// known tells which of the windows is not there.
func (a *amending) known(m *Amendment) string {
	if m.Unknown != "" {
		return "no window was found " + m.Unknown
	}
	for _, id := range m.Windows {
		if id < 1 || id > len(a.windows) {
			return fmt.Sprintf("there is no window %d", id)
		}
	}
	if len(m.Windows) == 0 {
		return "it names no window"
	}
	return ""
}

func (a *amending) exclude(m *Amendment) string {
	if m.Action != Exclude {
		return ""
	}
	for _, id := range m.Windows {
		if w := &a.windows[id-1]; w.Amended == NotAmended {
			w.Amended, w.By = Excluded, m.ID
		}
	}
	return ""
}

func (a *amending) merge(m *Amendment) string {
	if m.Action != Merge {
		return ""
	}
	ids := slices.Compact(slices.Sorted(slices.Values(m.Windows)))
	if len(ids) < 2 {
		return "two windows are needed to merge"
	}
	for _, id := range ids {
		if why := a.free(id); why != "" {
			return why
		}
	}
	for i, id := range ids {
		for _, other := range ids[:i] {
			if why := a.apart(&a.windows[other-1], &a.windows[id-1]); why != "" {
				return why
			}
		}
	}
	for _, id := range ids {
		a.windows[id-1].Amended, a.windows[id-1].By = Merged, m.ID
	}
	return ""
}

// free tells why a window cannot be merged.
func (a *amending) free(id int) string {
	switch w := &a.windows[id-1]; {
	case !w.Accepted():
		return fmt.Sprintf("window %d is not steady: %s", id, w.Reason)
	case w.Engines == 0:
		return fmt.Sprintf("no engine drives in window %d", id)
	case w.Amended != NotAmended:
		return fmt.Sprintf("window %d is %s by amendment %d", id, w.Amended, w.By)
	}
	return ""
}

// apart tells why two windows are not of one pass.
func (a *amending) apart(v, w *Window) string {
	pair := fmt.Sprintf("windows %d and %d ", v.ID, w.ID)
	if v.Engines != w.Engines {
		return pair + "are not on the same engines"
	}
	n, o := v.MeanRPM(), w.MeanRPM()
	if d := math.Abs(n - o); d > math.Max(a.ratio*math.Min(n, o), stepFloor) {
		return pair + fmt.Sprintf("are %.0f rpm apart", d*60)
	}
	turn := math.Abs(math.Remainder(v.Direction()-w.Direction(), 2*math.Pi))
	switch {
	case math.IsNaN(turn):
		return pair + "cannot be compared: neither heading nor course was heard"
	case turn > oneDirection:
		return pair + fmt.Sprintf("run %.0f degrees apart", turn*180/math.Pi)
	}
	return ""
}
