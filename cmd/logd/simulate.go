package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/klauspost/compress/zstd"
	"github.com/spf13/cobra"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs/scenarios"
	"trialday.example/logd/sink/export"
)

func simulateCommand() *cobra.Command {
	var scenario, out, truth string
	var seed uint64
	c := &cobra.Command{
		Use:   "simulate --scenario FILE --out FILE.log --truth FILE.json",
		Short: "Make the CAN frames of an invented trial day, and the truth behind them",
		Long: "Make the CAN frames of an invented trial day in the log text of the Linux can-utils\n" +
			"(compressed where the name ends in .zst), and beside it the truth to compare figures with.\n" +
			"FILE is a scenario file or one of the embedded names demo-triple, demo-single, accuracy.",
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			s, err := loadScenario(scenario)
			if err != nil {
				return err
			}
			n, err := simulateTo(s, seed, out, truth)
			if err == nil {
				fmt.Fprintf(cmd.OutOrStdout(), "%d frames in %s, truth in %s\n", n, out, truth)
			}
			return err
		},
	}
	c.Flags().StringVar(&scenario, "scenario", "demo-triple", "scenario file or embedded name")
	c.Flags().StringVar(&out, "out", "", "capture to write")
	c.Flags().StringVar(&truth, "truth", "", "truth to write, JSON")
	c.Flags().Uint64Var(&seed, "seed", 1, "seed of everything random")
	_ = c.MarkFlagRequired("out")
	_ = c.MarkFlagRequired("truth")
	return c
}

func loadScenario(name string) (*simulate.Scenario, error) {
	text, err := scenarios.Load(name)
	if err != nil {
		return nil, err
	}
	s, err := simulate.Parse(text)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return s, nil
}

// simulateTo writes the day's frames and its truth, and returns the number of
// frames.
func simulateTo(s *simulate.Scenario, seed uint64, out, truth string) (n int64, err error) {
	day := s.Start(seed)
	err = writeFile(out, func(w io.Writer) error {
		n, err = export.CanLog(w, day)
		return err
	})
	if err != nil {
		return n, err
	}
	return n, writeFile(truth, func(w io.Writer) error {
		e := json.NewEncoder(w)
		e.SetIndent("", "  ")
		return e.Encode(day.Truth())
	})
}

// writeFile creates a file, compressed with zstd where its name ends in .zst,
// and has it filled. A file that could not be finished is removed.
func writeFile(name string, fill func(io.Writer) error) (err error) {
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	defer func() {
		if cerr := f.Close(); err == nil {
			err = cerr
		}
		if err != nil {
			os.Remove(name)
		}
	}()
	if !strings.HasSuffix(name, ".zst") {
		b := bufio.NewWriterSize(f, 1<<18)
		if err := fill(b); err != nil {
			return err
		}
		return b.Flush()
	}
	z, err := zstd.NewWriter(f, zstd.WithEncoderLevel(zstd.SpeedFastest))
	if err != nil {
		return err
	}
	if err := fill(z); err != nil {
		return err
	}
	return z.Close()
}
