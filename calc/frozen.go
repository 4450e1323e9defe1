package calc

// Frozen is a stretch of the day in which a sensor repeated one value that the
// boat must have moved (calc/installation, Stuck). Such a value looks steadier
// than any other.
type Frozen struct {
	Reason   Reason // says of what
	From, To int64  // trial time of the first of the equal samples and of the last, ns
}

// frozenTime, ns: the first of the equal samples was a true one.
const frozenTime = second

// rejectFrozen takes their acceptance from the windows that reach into a frozen
// stretch: a mean over such a part is wrong by no one knows how much.
func rejectFrozen(windows []Window, list []Frozen) {
	for _, f := range list {
		for i := range windows {
			w := &windows[i]
			if w.Accepted() && min(w.End, f.To)-max(w.Start, f.From) > frozenTime {
				w.Reason = f.Reason
			}
		}
	}
}
