package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"trialday.example/logd/decode/capture"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/journal"
)

func importCommand() *cobra.Command {
	var dir string
	c := &cobra.Command{
		Use:   "import --journal DIR CAPTURE...",
		Short: "Append captures to a journal, frame for frame",
		Args:  cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, captures []string) error {
			src, err := capture.OpenAll(captures...)
			if err != nil {
				return err
			}
			defer src.Close()
			n, err := importTo(dir, src)
			reportFaults(cmd.ErrOrStderr(), src.Faults())
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%d frames appended to %s\n", n, dir)
			return nil
		},
	}
	c.Flags().StringVar(&dir, "journal", "", "journal directory; made if it is not there")
	_ = c.MarkFlagRequired("journal")
	return c
}

// importTo appends all frames of src to the journal in dir.
func importTo(dir string, src frame.Source) (n int64, err error) {
	w, err := journal.Create(dir, journal.Options{Packed: true})
	if err != nil {
		return 0, err
	}
	defer func() {
		if cerr := w.Close(); err == nil {
			err = cerr
		}
	}()
	return frame.Each(src, func(f *frame.Frame) error { return w.Append(f, src.Buses()[f.Bus]) })
}
