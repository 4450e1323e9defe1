package influx

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
)

// cursor is how far the server has confirmed.
type cursor struct {
	Stream   string `json:"stream"`   // fingerprint of what is counted
	Points   int64  `json:"points"`   // confirmed, or rejected for good
	Rejected int64  `json:"rejected"` // of these
	Done     bool   `json:"done"`     // the whole of a closed trial
	Frames   uint64 `json:"frames"`   // in its journal then
}

// cursorName is the file of the cursor, beside the journal's segments or in the
// trial's directory.
const cursorName = "influx.json"

func cursorFile(journal string) string {
	if dir := trialDir(journal); dir != "" {
		return filepath.Join(dir, cursorName)
	}
	return filepath.Join(journal, cursorName)
}

// readCursor returns the cursor of a stream; the beginning if there is none, or
// one that cannot be read: sending again adds nothing.
func readCursor(file, stream string) cursor {
	var c cursor
	text, err := os.ReadFile(file)
	if err != nil || json.Unmarshal(text, &c) != nil || c.Stream != stream || c.Points < 0 {
		return cursor{Stream: stream}
	}
	return c
}

// save replaces the file whole: what a power cut leaves is the old or the new.
func (c *cursor) save(file string) error {
	text, err := json.Marshal(c)
	if err != nil {
		return err
	}
	if err := replace(file, append(text, '\n')); err != nil {
		return fmt.Errorf("cursor: %w; check the rights and the space of the journal's directory", err)
	}
	return nil
}

func replace(file string, text []byte) error {
	f, err := os.CreateTemp(filepath.Dir(file), cursorName+".part-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // fails where it was renamed
	_, err = f.Write(text)
	if err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = os.Rename(f.Name(), file)
	}
	if err != nil {
		return err
	}
	dir, err := os.Open(filepath.Dir(file))
	if err != nil {
		return err
	}
	defer dir.Close()
	return dir.Sync()
}
