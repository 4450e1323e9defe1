package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"trialday.example/logd/configs"
	"trialday.example/logd/sink/logbook"
)

func trialCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "trial",
		Short: "Begin, close and list trials",
		Long: "Begin, close and list trials. Each trial has a directory of its own in journal.dir. A logger that\n" +
			"is running follows within a second; it never stops recording: after a trial is closed, the next\n" +
			"frame begins another.",
	}
	c.AddCommand(trialNewCommand(), trialCloseCommand(), trialListCommand())
	return c
}

// withLogbook gives a command the logbook of its configuration.
func withLogbook(c *cobra.Command, do func(cmd *cobra.Command, cfg configs.Config, book *logbook.Logbook, args []string) error) *cobra.Command {
	var config string
	c.Flags().StringVar(&config, "config", "", "configuration (YAML)")
	c.RunE = func(cmd *cobra.Command, args []string) error {
		cfg, err := configs.ReadFile(config)
		if err != nil {
			return err
		}
		book, err := logbook.Open(cfg.Journal.Dir)
		if err != nil {
			return err
		}
		return do(cmd, cfg, book, args)
	}
	return c
}

func trialNewCommand() *cobra.Command {
	return withLogbook(&cobra.Command{
		Use:   "new [NAME]",
		Short: "Close the open trial and begin another",
		Args:  cobra.MaximumNArgs(1),
	}, func(cmd *cobra.Command, cfg configs.Config, book *logbook.Logbook, args []string) error {
		name := cfg.Trial.Name
		if len(args) == 1 {
			name = args[0]
		}
		t, err := book.New(name, time.Now())
		if err == nil {
			fmt.Fprintf(cmd.OutOrStdout(), "%s begun in %s\n", t.String(), t.Dir)
		}
		return err
	})
}

func trialCloseCommand() *cobra.Command {
	return withLogbook(&cobra.Command{
		Use:   "close",
		Short: "Close the open trial and write its results",
		Args:  cobra.NoArgs,
	}, func(cmd *cobra.Command, cfg configs.Config, book *logbook.Logbook, _ []string) error {
		t, ok, err := book.Close(time.Now())
		if err != nil {
			return err
		}
		if !ok {
			return fmt.Errorf("no trial is open in %s", book.Dir())
		}
		w := cmd.OutOrStdout()
		fmt.Fprintf(w, "%s closed\n", t.String())
		if t.Size() == 0 {
			return nil
		}
		if t.Busy() {
			fmt.Fprintf(w, "the running logger writes the results to %s\n", t.Dir)
			return nil
		}
		if _, err := replay(cfg, []string{t.Frames()}, nil, t.Dir, cmd.ErrOrStderr()); err != nil {
			return err
		}
		fmt.Fprintf(w, "results in %s\n", t.Dir)
		return t.SetDerived()
	})
}

func trialListCommand() *cobra.Command {
	return withLogbook(&cobra.Command{
		Use:   "list",
		Short: "List the trials",
		Args:  cobra.NoArgs,
	}, func(cmd *cobra.Command, _ configs.Config, book *logbook.Logbook, _ []string) error {
		list, err := book.Trials()
		if err != nil {
			return err
		}
		if len(list) == 0 {
			fmt.Fprintf(cmd.OutOrStdout(), "no trial in %s yet\n", book.Dir())
			return nil
		}
		return printTrials(cmd.OutOrStdout(), list)
	})
}

// printTrials prints one line a trial. Times are by the recorder's clock.
func printTrials(w io.Writer, list []logbook.Trial) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "trial\tname\tstate\tbegun (recorder's clock)\tlast frame\tframes\tMB\tresults")
	for i := range list {
		x := &list[i]
		last, frames := "-", "-"
		if p, ok := x.Pulse(); ok {
			last, frames = p.Wall.Format(time.RFC3339), fmt.Sprint(p.Frames)
		}
		fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", x.Number, orDash(x.Name()), state(x), x.Begun(), last, frames,
			megabytes(x.Size()), outcome(x))
	}
	return t.Flush()
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

func state(t *logbook.Trial) string {
	switch {
	case t.Busy():
		return "recording"
	case t.Closed():
		return "closed"
	}
	return "open"
}

func outcome(t *logbook.Trial) string {
	if t.Derived() {
		return t.Dir
	}
	if _, err := os.Stat(t.Dir + "/results.json"); err == nil {
		return t.Dir + " (so far)"
	}
	return "-"
}

// megabytes rounds up, so that only nothing is 0.
func megabytes(n int64) string { return fmt.Sprint(math.Ceil(float64(n)/1e5) / 10) }
