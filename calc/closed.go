package calc

// Closed returns the runs that have ended so far and the windows found in them,
// by rising id. They do not change any more; the step that a window counts in
// stands in the report only. The slices are the trial's own and must not be
// written to.
func (t *Trial) Closed() ([]Run, []Window) { return t.found.Runs, t.found.Windows }
