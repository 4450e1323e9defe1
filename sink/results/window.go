package results

import "trialday.example/logd/calc"

// Window gives one window as it stands in results.json, for what cannot wait
// until the day is over. Its step is known only then.
func (e Edge) Window(w *calc.Window) Window { return e.window(w) }
