package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"trialday.example/logd/configs"
)

func demoCommand() *cobra.Command {
	var out, boat string
	c := &cobra.Command{
		Use:   "demo [--out DIR] [--boat triple|single]",
		Short: "Simulate an invented trial day, replay it and write its trial sheet",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			w := cmd.OutOrStdout()
			text, err := configs.Demo(boat)
			if err != nil {
				return err
			}
			cfg, err := configs.Parse(bytes.NewReader(text), "demo-"+boat+".yaml")
			if err != nil {
				return err
			}
			s, err := loadScenario("demo-" + boat)
			if err != nil {
				return err
			}
			if err := os.MkdirAll(out, 0o755); err != nil {
				return fmt.Errorf("output directory: %w", err)
			}
			log, truth := filepath.Join(out, "capture.log.zst"), filepath.Join(out, "truth.json")
			fmt.Fprintln(w, "simulating a trial day of an invented boat ...")
			n, err := simulateTo(s, 1, log, truth)
			if err != nil {
				return err
			}
			fmt.Fprintf(w, "replaying %d CAN frames from %s ...\n\n", n, log)
			r, err := replay(cfg, []string{log}, nil, out, cmd.ErrOrStderr())
			if err != nil {
				return err
			}
			printTable(w, r)
			sheet, err := filepath.Abs(filepath.Join(out, "sheet.html"))
			if err != nil {
				return err
			}
			fmt.Fprintf(w, "\ntrial sheet: file://%s\n", sheet)
			fmt.Fprintf(w, "in the page: logd page --journal %s\n", out)
			fmt.Fprintf(w, "figures:     %s (results.json, steps.csv, windows.csv; the simulation's truth is in truth.json)\n", out)
			return nil
		},
	}
	c.Flags().StringVar(&out, "out", "out", "directory to write to")
	c.Flags().StringVar(&boat, "boat", "triple", "the invented boat: triple or single")
	return c
}
