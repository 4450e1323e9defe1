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
	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/sheet"
	"trialday.example/logd/sink/timeline"
)

func replayCommand() *cobra.Command {
	var config, out, notes string
	c := &cobra.Command{
		Use:   "replay --config FILE --out DIR CAPTURE...",
		Short: "Derive the figures and the trial sheet from captures or journals",
		Long: "Derive the figures and the trial sheet from captures, read one after another as one day.\n" +
			"A capture is can-utils log text, pcap or pcapng of SocketCAN (each also as .gz or .zst),\n" +
			"or a journal directory. Without --config the tables of speed and burn are still made.",
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
			r, err := replay(cfg, captures, noted, out, cmd.ErrOrStderr())
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
	c.Flags().StringVar(&notes, "readings", "", "hand readings (CSV: time or rpm, sound_dba, sea_state, comment)")
	return c
}

// replay runs captures through the pipeline, joins hand readings to them and
// writes the results to dir. Skipped lines are told on log at the end.
func replay(cfg configs.Config, captures []string, noted []calc.Reading, dir string, log io.Writer) (*results.Results, error) {
	src, err := capture.OpenAll(captures...)
	if err != nil {
		return nil, err
	}
	defer src.Close()
	d := day.New(cfg, version, src.Buses)
	d.Note(noted)
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
	reportFaults(log, faults)
	return r, writeResults(dir, r, line)
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
