package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/sheet"
	"trialday.example/logd/sink/timeline"
)

// sheetOptions says which forms of the sheet are asked for; "" for none.
type sheetOptions struct{ pdf, html, csv, parquet, paper, units string }

func sheetCommand() *cobra.Command {
	var o sheetOptions
	c := &cobra.Command{
		Use:   "sheet [--pdf FILE] [--html FILE] [--csv DIR] [--parquet DIR] RESULTS|DIR",
		Short: "Render the trial sheet of finished results: PDF, HTML, CSV, Parquet",
		Long: "Render the trial sheet of finished results: a results.json, or the directory that replay or a trial\n" +
			"wrote it to. Without any of --pdf, --html, --csv and --parquet it writes sheet.pdf beside the results.\n" +
			"PDF is printed by an installed browser (" + sheet.Browsers[0] + ") without a window and without the network.",
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return renderSheet(cmd.Context(), args[0], o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	c.Flags().StringVar(&o.pdf, "pdf", "", "write the sheet as PDF to this file")
	c.Flags().StringVar(&o.html, "html", "", "write the sheet as HTML to this file")
	c.Flags().StringVar(&o.csv, "csv", "", "write steps.csv, windows.csv and runs.csv to this directory")
	c.Flags().StringVar(&o.parquet, "parquet", "", "write steps.parquet, windows.parquet and runs.parquet to this directory")
	c.Flags().StringVar(&o.paper, "paper", string(sheet.A4), "paper of the PDF: a4 or letter")
	c.Flags().StringVar(&o.units, "units", "", "units that stand first, metric or us (default: as in the results)")
	return c
}

// renderSheet writes what is asked for and says where; log is told what is left
// out.
func renderSheet(ctx context.Context, from string, o sheetOptions, said, log io.Writer) error {
	paper, err := sheet.ParsePaper(o.paper)
	if err != nil {
		return fmt.Errorf("--paper: %w", err)
	}
	r, err := readResultsFile(from)
	if err != nil {
		return err
	}
	switch o.units {
	case "":
	case "metric", "us":
		r.Trial.Units = o.units
	default:
		return fmt.Errorf("--units %q: no such units; allowed: metric, us", o.units)
	}
	if o.pdf+o.html+o.csv+o.parquet == "" {
		o.pdf = filepath.Join(resultsDir(from), "sheet.pdf")
	}
	line, err := readTimeline(resultsDir(from), r.Vessel.Engines)
	if err != nil {
		fmt.Fprintf(log, "the day is not drawn: %v\n", err)
	}
	for _, f := range sheetFiles(ctx, r, line, paper, o) {
		if err := os.MkdirAll(filepath.Dir(f.path), 0o755); err != nil {
			return fmt.Errorf("output directory: %w", err)
		}
		if err := replaceFile(f.path, f.fill); err != nil {
			return err
		}
		fmt.Fprintln(said, f.path)
	}
	return nil
}

// sheetFile is one file to be written.
type sheetFile struct {
	path string
	fill func(io.Writer) error
}

// sheetFiles lists what the options ask for.
func sheetFiles(ctx context.Context, r *results.Results, line *results.Timeline, paper sheet.Paper, o sheetOptions) []sheetFile {
	var files []sheetFile
	if o.pdf != "" {
		files = append(files, sheetFile{o.pdf, func(w io.Writer) error { return sheet.WritePDF(ctx, w, r, line, paper) }})
	}
	if o.html != "" {
		files = append(files, sheetFile{o.html, func(w io.Writer) error { return sheet.WriteHTML(w, r, line) }})
	}
	for _, t := range sheet.Tables(r) {
		if o.csv != "" {
			files = append(files, sheetFile{filepath.Join(o.csv, t.Name+".csv"), t.WriteCSV})
		}
		if o.parquet != "" {
			files = append(files, sheetFile{filepath.Join(o.parquet, t.Name+".parquet"), t.WriteParquet})
		}
	}
	return files
}

// resultsDir is the directory of a results.json that is given itself or by its
// directory.
func resultsDir(path string) string {
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return path
	}
	return filepath.Dir(path)
}

// drawnPoints is how many of the day's line are drawn at the most; more cannot
// be seen in print.
const drawnPoints = 20_000

// readTimeline reads the day's line from beside the results, nil where there is
// none.
func readTimeline(dir string, engines []results.Engine) (*results.Timeline, error) {
	t, err := timeline.Open(filepath.Join(dir, timeline.File))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	v := t.View(math.Inf(-1), math.Inf(1), drawnPoints)
	n := len(v.Time)
	if n < 2 {
		return nil, nil
	}
	line := &results.Timeline{StartUnix: v.Time[0], StepS: (v.Time[n-1] - v.Time[0]) / float64(n-1),
		SpeedKn: v.Channels["sog_kn"].Mean, FuelLPH: v.Channels["fuel_lph"].Mean}
	if line.SpeedKn == nil { // none was heard
		line.SpeedKn = slices.Repeat([]float64{math.NaN()}, n)
	}
	for _, e := range engines {
		line.RPM = append(line.RPM, v.Channels["rpm_"+e.Name].Mean)
	}
	return line, nil
}
