package logbook

import (
	"fmt"
	"path/filepath"
)

// At is the trial in a directory, wherever that is.
func At(dir string) (Trial, error) {
	whole, err := filepath.Abs(dir)
	if err != nil {
		return Trial{}, fmt.Errorf("logbook: %w", err)
	}
	n, ok := number(filepath.Base(whole))
	if !ok {
		return Trial{}, fmt.Errorf("logbook: %s is no trial: its name does not begin with a number", dir)
	}
	t := Trial{Dir: dir, Number: n}
	return t, t.Reload()
}
