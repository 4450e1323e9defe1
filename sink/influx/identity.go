package influx

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"trialday.example/logd/configs"
)

// identity says whose points they are.
type identity struct {
	vessel, trial string
	journal       string // id, in hexadecimal
}

func (i identity) tags() []Tag { return []Tag{{"trial", i.trial}, {"vessel", i.vessel}} }

// trialFile marks the directory of a trial in a logbook; framesDir is the
// journal in it. See sink/logbook.
const (
	trialFile = "trial.json"
	framesDir = "frames"
)

// segments are the files of a journal.
const segments = "*.seg"

// Frames returns the journal of a directory: the frames of a trial's directory,
// else the directory itself.
func Frames(dir string) string {
	if _, err := os.Stat(filepath.Join(dir, trialFile)); err == nil {
		return filepath.Join(dir, framesDir)
	}
	return dir
}

// trialDir is the logbook's directory of a trial, "" if the journal is in none.
func trialDir(journal string) string {
	abs, err := filepath.Abs(journal)
	if err != nil || filepath.Base(abs) != framesDir {
		return ""
	}
	if dir := filepath.Dir(abs); Frames(dir) != dir {
		return dir
	}
	return ""
}

// errNoFrames says that a journal holds nothing yet.
var errNoFrames = errors.New("no frame in the journal yet")

// identify names vessel and trial. In a logbook the trial has the name of its
// directory, which no other of that boat has; elsewhere the configured name, or
// the journal's id.
func identify(journal string, cfg *configs.Config) (identity, error) {
	id, err := journalID(journal)
	if err != nil {
		return identity{}, err
	}
	name := cfg.Trial.Name
	if dir := trialDir(journal); dir != "" {
		name = filepath.Base(dir)
	}
	return identity{clean(cfg.Vessel.Name, "unnamed"), clean(name, "journal "+id[:8]), id}, nil
}

// journalID reads the id that all segments of a journal carry: bytes 16 to 31
// of the first one's header, see sink/journal.
func journalID(dir string) (string, error) {
	list, err := filepath.Glob(filepath.Join(dir, segments))
	if err != nil || len(list) == 0 {
		return "", errNoFrames
	}
	for _, path := range list { // sorted by name, so by number
		f, err := os.Open(path)
		if err != nil {
			return "", fmt.Errorf("journal: %w", err)
		}
		var head [32]byte
		_, err = io.ReadFull(f, head[:])
		f.Close()
		if err == nil {
			return hex.EncodeToString(head[16:]), nil
		}
	}
	return "", errNoFrames
}

// fingerprint stands for all that the points and their place depend on. A
// cursor of another one is of no use.
func fingerprint(o *Options, id identity) string {
	cfg := o.Config
	target := []string{cfg.Influx.URL, cfg.Influx.Org, cfg.Influx.Bucket}
	thin := configs.Influx{RateHz: cfg.Influx.RateHz, Thin: cfg.Influx.Thin}
	cfg.Influx, cfg.Page, cfg.Bus, cfg.Journal = thin, configs.Page{}, configs.Bus{}, configs.Journal{}
	text, err := json.Marshal(struct {
		Layout          int
		Version         string
		Target          []string
		Vessel, Trial   string
		Configured      configs.Config
		JournalIdentity string
	}{layout, o.Version, target, id.vessel, id.trial, cfg, id.journal})
	if err != nil {
		return "" // a configuration holds nothing that JSON cannot
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}
