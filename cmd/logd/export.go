package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode"
	"trialday.example/logd/decode/capture"
	"trialday.example/logd/decode/clock"
	"trialday.example/logd/decode/device"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/sink/export"
)

// formats of export: raw frames or decoded samples.
var formats = []string{"canlog", "pcapng", "csv", "parquet"}

func exportCommand() *cobra.Command {
	var format, out, config string
	c := &cobra.Command{
		Use:   "export --format canlog|pcapng|csv|parquet --out FILE JOURNAL",
		Short: "Write a journal's raw frames, or the samples decoded from them",
		Long: "Write a journal's raw frames (canlog: can-utils log text; pcapng: SocketCAN packets) or the\n" +
			"samples decoded from them in SI units, stamped in UTC (csv, parquet). Any capture that replay\n" +
			"reads is taken too. A FILE whose name ends in .zst is compressed.",
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !slices.Contains(formats, format) {
				return fmt.Errorf("--format %q: not a format; allowed: %s", format, strings.Join(formats, ", "))
			}
			cfg, err := configs.ReadFile(config)
			if err != nil {
				return err
			}
			n, err := exportTo(out, format, args[0], cfg, cmd.ErrOrStderr())
			if err == nil {
				fmt.Fprintf(cmd.OutOrStdout(), "%d %s in %s\n", n, unitOf(format), out)
			}
			return err
		},
	}
	c.Flags().StringVar(&format, "format", "canlog", "canlog, pcapng, csv or parquet")
	c.Flags().StringVar(&out, "out", "", "file to write")
	c.Flags().StringVar(&config, "config", "", "configuration (YAML): engine positions and preferred sources of samples")
	_ = c.MarkFlagRequired("out")
	return c
}

func unitOf(format string) string {
	if format == "csv" || format == "parquet" {
		return "samples"
	}
	return "frames"
}

func exportTo(out, format, from string, cfg configs.Config, log io.Writer) (n int64, err error) {
	src, err := capture.Open(from)
	if err != nil {
		return 0, err
	}
	defer src.Close()
	err = writeFile(out, func(w io.Writer) error {
		switch format {
		case "canlog":
			n, err = export.CanLog(w, src)
		case "pcapng":
			n, err = export.PCAPNG(w, src)
		default:
			n, err = exportSamples(w, format, from, src, cfg)
		}
		return err
	})
	reportFaults(log, src.Faults())
	return n, err
}

// exportSamples reads the journal twice: first for the clock, since a receiver
// heard late dates the whole day, then for the samples.
func exportSamples(w io.Writer, format, from string, first frame.Source, cfg configs.Config) (int64, error) {
	times := &sampleWriter{}
	dated := decode.New(day.Options(&cfg, first.Buses), times)
	if err := drain(first, dated); err != nil {
		return 0, err
	}
	table, err := newTable(w, format)
	if err != nil {
		return 0, err
	}
	src, err := capture.Open(from)
	if err != nil {
		return 0, err
	}
	defer src.Close()
	out := &sampleWriter{table: table, clock: dated.Clock(), buses: src.Buses}
	decoder := decode.New(day.Options(&cfg, src.Buses), out)
	out.devices = decoder.Devices
	if err := drain(src, decoder); err != nil {
		return out.n, err
	}
	return out.n, errors.Join(out.err, table.Close())
}

func drain(src frame.Source, d *decode.Decoder) error {
	_, err := frame.Each(src, func(f *frame.Frame) error {
		d.Frame(f)
		return nil
	})
	if err == nil {
		d.Finish()
	}
	return err
}

// table is what a sample can be written to.
type table interface {
	Write(export.Row) error
	Close() error
}

func newTable(w io.Writer, format string) (table, error) {
	if format == "csv" {
		return export.NewCSV(w)
	}
	return export.NewParquet(w)
}

// sampleWriter writes samples to a table; without a table it passes them over.
type sampleWriter struct {
	table   table
	clock   *clock.Clock
	buses   func() []string
	devices func() []*device.Device
	n       int64
	err     error
}

// Sample implements decode.Handler.
func (s *sampleWriter) Sample(v sample.Sample) {
	if s.table == nil || s.err != nil {
		return
	}
	s.err = s.table.Write(export.Row{
		TimeUTC:  time.Unix(0, s.clock.UTC(v.Time)),
		Quantity: v.Quantity.String(), Unit: v.Quantity.Unit(), Instance: int(v.Instance),
		Source: s.source(v.Source), Value: &v.Value, State: v.State.String(),
	})
	s.n++
}

// source names a device by interface and address.
func (s *sampleWriter) source(index uint16) string {
	d := s.devices()[index]
	name := ""
	if buses := s.buses(); int(d.Bus) < len(buses) {
		name = buses[d.Bus]
	}
	return fmt.Sprintf("%s/%d", name, d.Address())
}

// Event implements decode.Handler.
func (s *sampleWriter) Event(decode.Event) {}
