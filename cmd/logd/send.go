package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"path/filepath"
	"slices"
	"syscall"

	"github.com/spf13/cobra"
	"golang.org/x/sys/unix"

	"trialday.example/logd/configs"
	sender "trialday.example/logd/sink/influx"
	"trialday.example/logd/sink/logbook"
)

func sendCommand() *cobra.Command {
	var dir, config, cursor string
	var verify bool
	c := &cobra.Command{
		Use:   "send --journal DIR [--config FILE] [--verify]",
		Short: "Send a journal's samples and figures to the server, or compare the two",
		Long: "Send the samples, runs, steady windows and steps of a journal to the server that influx.url\n" +
			"names. What was sent before is not sent again; what is sent twice is stored once. DIR is a\n" +
			"journal or the directory of a trial. With --verify nothing is sent: counts and sums of every\n" +
			"field in every run are compared with the server's, and differences are told.",
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			cfg, err := configs.ReadFile(config)
			if err != nil {
				return err
			}
			ctx, stop := signal.NotifyContext(cmd.Context(), syscall.SIGTERM, syscall.SIGINT)
			defer stop()
			journal := sender.Frames(dir)
			o := sender.Options{
				Config: cfg, Version: version, Journal: journal, Cursor: cursor, Once: true,
				Final: func() bool { return isFinal(journal) },
				Log:   slog.New(slog.NewTextHandler(cmd.ErrOrStderr(), nil)),
			}
			if verify {
				return verifySent(ctx, cmd.OutOrStdout(), o)
			}
			return send(ctx, cmd.OutOrStdout(), o)
		},
	}
	c.Flags().StringVar(&dir, "journal", "", "journal, or directory of a trial")
	c.Flags().StringVar(&config, "config", "", "configuration (YAML)")
	c.Flags().StringVar(&cursor, "cursor", "", "file that keeps how far the server has confirmed (default: beside the journal)")
	c.Flags().BoolVar(&verify, "verify", false, "compare the server with the journal instead")
	_ = c.MarkFlagRequired("journal")
	return c
}

func send(ctx context.Context, out io.Writer, o sender.Options) error {
	s, err := sender.New(o)
	if err != nil {
		return err
	}
	defer s.Close()
	err = s.Run(ctx)
	c := s.Stats.Counts()
	fmt.Fprintf(out, "%d points confirmed, %d of them now, in %d requests; %d rejected\n", c.Points, c.Sent, c.Requests, c.Rejected)
	for _, r := range c.First {
		fmt.Fprintf(out, "rejected: %s: %s\n", r.Why, r.Line)
	}
	switch {
	case errors.Is(err, context.Canceled):
		return errors.New("stopped before all was sent; the same command goes on from here")
	case err != nil:
		return err
	case c.Behind:
		fmt.Fprintln(out, "the trial is not closed: its last run and the figures of the day follow when it is")
	}
	return nil
}

func verifySent(ctx context.Context, out io.Writer, o sender.Options) error {
	v, err := sender.Verify(ctx, o)
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "%d points, %d values in %d series of fields compared\n", v.Points, v.Values, v.Series)
	for _, d := range v.First {
		fmt.Fprintf(out, "differs: %s\n", d)
	}
	if v.Differences > 0 {
		return fmt.Errorf("%d differences between journal and server", v.Differences)
	}
	fmt.Fprintln(out, "the server holds what the journal gives")
	return nil
}

// isFinal reports whether a journal will grow no more: the trial that it is of
// is closed, or, outside of a logbook, nobody writes it.
func isFinal(journal string) bool {
	abs, err := filepath.Abs(journal)
	if err != nil || sender.Frames(filepath.Dir(abs)) != abs {
		return !beingWritten(journal)
	}
	book, err := logbook.Open(filepath.Dir(filepath.Dir(abs)))
	if err != nil {
		return false
	}
	list, err := book.Trials()
	return err == nil && slices.ContainsFunc(list, func(t logbook.Trial) bool {
		return filepath.Base(t.Dir) == filepath.Base(filepath.Dir(abs)) && t.Closed()
	})
}

// beingWritten reports whether a writer holds the journal.
func beingWritten(dir string) bool {
	d, err := os.Open(dir)
	if err != nil {
		return false
	}
	defer d.Close()
	return errors.Is(unix.Flock(int(d.Fd()), unix.LOCK_SH|unix.LOCK_NB), unix.EWOULDBLOCK)
}
