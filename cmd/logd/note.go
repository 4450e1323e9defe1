package main

import (
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"trialday.example/logd/configs"
	"trialday.example/logd/sink/logbook"
)

func noteCommand() *cobra.Command {
	return withLogbook(&cobra.Command{
		Use:   "note TEXT...",
		Short: "Add a note, with the time, to the open trial",
		Args:  cobra.MinimumNArgs(1),
	}, func(cmd *cobra.Command, _ configs.Config, book *logbook.Logbook, args []string) error {
		t, open, err := book.Current()
		if err != nil {
			return err
		}
		if !open {
			return fmt.Errorf("no trial is open in %s: begin one with: logd trial new", book.Dir())
		}
		if err := t.Note(strings.Join(args, " "), time.Now()); err != nil {
			return err
		}
		fmt.Fprintf(cmd.OutOrStdout(), "noted in %s\n", t.String())
		return nil
	})
}
