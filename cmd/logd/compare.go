package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"trialday.example/logd/sink/compare"
	"trialday.example/logd/sink/results"
)

func compareCommand() *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:   "compare A B",
		Short: "Compare two trial days, or two conditions of one boat, step by step",
		Long: "Compare two trial days, or two conditions such as two sets of propellers, at equal rpm.\n" +
			"A and B are results.json files or the directories that replay wrote them to. Prints the\n" +
			"table and writes compare.html and compare.csv.",
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			var sides [2]compare.Side
			for i, path := range args {
				r, err := readResultsFile(path)
				if err != nil {
					return err
				}
				sides[i] = compare.Side{Label: filepath.Base(strings.TrimSuffix(filepath.Clean(path), "results.json")), Results: r}
			}
			both := compare.Of(sides[0], sides[1])
			if err := writeComparison(out, both); err != nil {
				return err
			}
			if err := both.WriteText(cmd.OutOrStdout()); err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "\ncomparison: %s\n", filepath.Join(out, "compare.html"))
			return nil
		},
	}
	c.Flags().StringVar(&out, "out", "compare", "directory for compare.html and compare.csv")
	return c
}

// readResultsFile reads a results.json, given itself or by its directory.
func readResultsFile(path string) (*results.Results, error) {
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		path = filepath.Join(path, "results.json")
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("%w; give a results.json or the directory that replay wrote it to", err)
	}
	defer f.Close()
	r, err := results.ReadJSON(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w; replay the capture again to make it anew", path, err)
	}
	return r, nil
}

func writeComparison(dir string, c *compare.Comparison) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("output directory: %w", err)
	}
	for name, fill := range map[string]func(io.Writer) error{"compare.html": c.WriteHTML, "compare.csv": c.WriteCSV} {
		if err := writeFile(filepath.Join(dir, name), fill); err != nil {
			return err
		}
	}
	return nil
}
