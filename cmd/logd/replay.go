package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"trialday.example/logd/calc"
	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/cmd/logd/readings"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode/capture"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/journal"
	"trialday.example/logd/sink/logbook"
	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/sheet"
	"trialday.example/logd/sink/timeline"
)

func replayCommand() *cobra.Command {
	var config, out, notes, amendments string
	var original bool
	c := &cobra.Command{
		Use:   "replay --config FILE --out DIR CAPTURE...",
		Short: "Derive the figures and the trial sheet from captures or journals",
		Long: "Derive the figures and the trial sheet from captures, read one after another as one day.\n" +
			"A capture is can-utils log text, pcap or pcapng of SocketCAN (each also as .gz or .zst),\n" +
			"or a journal directory. Without --config the tables of speed and burn are still made.\n" +
			"The frames of a trial take the trial's amendments with them.",
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, captures []string) error {
			cfg, err := configs.ReadFile(config)
			if err != nil {
				return err
			}
			var noted []calc.Reading
			if notes != "" {
				if noted, err = readings.ReadFile(notes); err != nil {
					return err
				}
			}
			how := replaying{out: out, log: cmd.ErrOrStderr()}
			how.trial, captures = trialOf(captures)
			how.given = day.Given{Config: cfg, Version: version, Readings: noted}
			switch {
			case original:
			case amendments != "":
				how.given.Amendments, err = elsewhere(amendments)
			case how.trial != nil:
				how.given.Amendments, err = day.ReadAmendments(*how.trial)
			}
			if err != nil {
				return err
			}
			r, err := how.run(captures)
			if err != nil {
				return err
			}
			printTable(cmd.OutOrStdout(), r)
			fmt.Fprintf(cmd.OutOrStdout(), "\nsheet: %s\n", filepath.Join(out, "sheet.html"))
			return nil
		},
	}
	c.Flags().StringVar(&config, "config", "", "configuration (YAML)")
	c.Flags().StringVar(&out, "out", "out", "directory for results.json, sheet.html, steps.csv and windows.csv")
	c.Flags().StringVar(&amendments, "amendments", "", "amendments of a trial (amendments.jsonl) whose frames are in these captures")
	c.Flags().BoolVar(&original, "original", false, "leave the trial's amendments out")
	c.MarkFlagsMutuallyExclusive("amendments", "original")
	c.Flags().StringVar(&notes, "readings", "", "hand readings (CSV: time or rpm, sound_dba, sea_state, comment)")
	return c
}

// replay runs captures through the pipeline, joins hand readings to them and
// writes the results to dir. The frames of a trial take its amendments with
// them. Skipped lines are told on log at the end.
func replay(cfg configs.Config, captures []string, noted []calc.Reading, dir string, log io.Writer) (*results.Results, error) {
	how := replaying{given: day.Given{Config: cfg, Version: version, Readings: noted}, out: dir, log: log}
	how.trial, captures = trialOf(captures)
	if how.trial != nil {
		var err error
		if how.given.Amendments, err = day.ReadAmendments(*how.trial); err != nil {
			return nil, err
		}
	}
	return how.run(captures)
}

// replaying is a replay of captures.
type replaying struct {
	given day.Given
	trial *logbook.Trial // whose frames they are; nil for none
	out   string         // directory for the results
	log   io.Writer
}

func (p *replaying) run(captures []string) (*results.Results, error) {
	src, err := capture.OpenAll(captures...)
	if err != nil {
		return nil, err
	}
	defer src.Close()
	frames, quiet := p.standing()
	d := day.New(p.given.Config, p.given.Version, src.Buses)
	d.Beside()
	d.Note(p.given.Readings)
	d.Amend(p.given.Amendments)
	bar := newProgress(src)
	n := 0
	_, err = frame.Each(src, func(f *frame.Frame) error {
		d.Frame(f)
		if n++; n%4096 == 0 {
			bar.update()
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	bar.done()
	faults := src.Faults()
	r, line := d.Finish(faults.Total)
	reportFaults(p.log, faults)
	if err := writeResults(p.out, r, line); err != nil {
		return r, err
	}
	if quiet && sameFile(p.out, p.trial.Dir) && !p.trial.Busy() {
		return r, d.Evidence(faults.Total).Keep(p.trial.Dir, p.given, frames, true)
	}
	return r, nil
}

// standing tells how many frames a trial has that nobody adds to.
func (p *replaying) standing() (frames uint64, quiet bool) {
	if p.trial == nil || p.trial.Busy() {
		return 0, false
	}
	frames, err := journal.Count(p.trial.Frames())
	return frames, err == nil
}

// trialOf tells whether the only capture is a trial's directory, or its
// frames, and gives the captures to read.
func trialOf(captures []string) (*logbook.Trial, []string) {
	if len(captures) != 1 {
		return nil, captures
	}
	for _, dir := range []string{captures[0], filepath.Dir(filepath.Clean(captures[0]))} {
		if t, err := logbook.At(dir); err == nil && (dir == captures[0] || sameFile(captures[0], t.Frames())) {
			return &t, []string{t.Frames()}
		}
	}
	return nil, captures
}

func sameFile(a, b string) bool {
	x, err1 := os.Stat(a)
	y, err2 := os.Stat(b)
	return err1 == nil && err2 == nil && os.SameFile(x, y)
}

// elsewhere reads amendments for frames that may begin or end elsewhere than the
// trial's: their windows are found by UTC.
func elsewhere(path string) (day.Amendments, error) {
	list, faults, err := logbook.ReadAmendments(path)
	for i := range list {
		for k := range list[i].Windows {
			list[i].Windows[k].FromS, list[i].Windows[k].ToS = nil, nil
		}
	}
	return day.Amendments{List: list, Faults: faults}, err
}

// reportFaults tells what was skipped, each with its place.
func reportFaults(log io.Writer, faults capture.Faults) {
	for _, f := range faults.First {
		fmt.Fprintf(log, "skipped: %s\n", f)
	}
	if more := faults.Total - int64(len(faults.First)); more > 0 {
		fmt.Fprintf(log, "skipped: and %d more\n", more)
	}
}

// writeResults writes the files of a finished day.
func writeResults(dir string, r *results.Results, line *results.Timeline) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("output directory: %w", err)
	}
	type file struct {
		name string
		fill func(io.Writer) error
	}
	files := []file{
		{"results.json", r.WriteJSON},
		{"sheet.html", func(w io.Writer) error { return sheet.WriteHTML(w, r, line) }},
		{"steps.csv", func(w io.Writer) error { return sheet.WriteStepsCSV(w, r) }},
		{"windows.csv", func(w io.Writer) error { return sheet.WriteWindowsCSV(w, r) }},
	}
	if line.Zoom != nil {
		files = append(files, file{timeline.File, line.Zoom.Write})
	}
	for _, f := range files {
		if err := replaceFile(filepath.Join(dir, f.name), f.fill); err != nil {
			return err
		}
	}
	return nil
}

// replaceFile makes a file under another name first, so that an earlier one is
// either kept whole or replaced whole.
func replaceFile(path string, fill func(io.Writer) error) error {
	if err := writeFile(path+".part", fill); err != nil {
		return err
	}
	return os.Rename(path+".part", path)
}

// progress shows how far reading has come, on a terminal only.
type progress struct {
	src *capture.Reader
	bar *progressbar.ProgressBar
}

func newProgress(src *capture.Reader) *progress {
	p := &progress{src: src}
	_, total := src.Bytes()
	if total > 0 && term.IsTerminal(int(os.Stderr.Fd())) {
		p.bar = progressbar.DefaultBytes(total, "reading")
	}
	return p
}

func (p *progress) update() {
	if p.bar != nil {
		read, _ := p.src.Bytes()
		_ = p.bar.Set64(read)
	}
}

func (p *progress) done() {
	if p.bar != nil {
		_ = p.bar.Finish()
	}
}
