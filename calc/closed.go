package calc

// Closed returns the runs that have ended so far and the windows found in them,
// by rising id. They do not change any more, but for the step that a window
// counts in, which is known when the trial is finished. The slices are the
// trial's own and must not be written to.
func (t *Trial) Closed() ([]Run, []Window) { return t.report.Runs, t.report.Windows }
