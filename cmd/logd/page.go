package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"trialday.example/logd/cmd/logd/aboard"
	"trialday.example/logd/configs"
	"trialday.example/logd/sink/page"
	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/sheet"
)

func pageCommand() *cobra.Command {
	var config, dir, listen string
	c := &cobra.Command{
		Use:   "page --journal DIR [--listen ADDRESS]",
		Short: "Serve the page of trials that were recorded",
		Long: "Serve the page of the trials in a directory, in the evening and on any machine: a directory of\n" +
			"trials, one trial, or what replay or demo wrote. Nothing is recorded. After an amendment results are\n" +
			"derived again with the configuration kept with the trial or, where none was kept, that of --config;\n" +
			"without either the amendment is refused. An address that others can reach needs page.password_file\n" +
			"or page.token_file in the configuration.",
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			cfg, err := configs.ReadFile(config)
			if err != nil {
				return err
			}
			if dir != "" {
				cfg.Journal.Dir = dir
			}
			if listen != "" {
				cfg.Page.Listen = listen
			}
			ctx, stop := signal.NotifyContext(cmd.Context(), syscall.SIGTERM, syscall.SIGINT)
			defer stop()
			return servePage(ctx, cfg, config != "", cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	c.Flags().StringVar(&config, "config", "", "configuration (YAML)")
	c.Flags().StringVar(&dir, "journal", "", "directory of the trials (default: journal.dir of the configuration)")
	c.Flags().StringVar(&listen, "listen", "", "host:port to serve at (default: page.listen of the configuration)")
	c.AddCommand(pagePasswordCommand())
	return c
}

// servePage serves the trials of journal.dir until ctx ends. Configured tells
// that cfg is of the boat.
func servePage(ctx context.Context, cfg configs.Config, configured bool, told, errors io.Writer) error {
	trials, err := page.Open(cfg.Journal.Dir)
	if err != nil {
		return err
	}
	log := slog.New(aboard.Quiet(slog.NewTextHandler(errors, nil)))
	access := aboard.Access(&cfg)
	access.KeyFile = "" // nothing is written beside what is shown
	still := &results.Live{Version: version, Archive: true, Hold: results.Hold{State: results.HoldFree, Why: "nothing is recorded here"},
		Recording: results.Recording{Problems: []string{"This page shows trials that were recorded; it records nothing."}}}
	amender := aboard.Amender{Config: cfg, Unconfigured: !configured, Version: version, Write: writeResults}
	h, err := page.New(page.Options{
		Trials: trials, Access: access, Log: log, Amend: amender.Amend, Make: madeFiles(true),
		Live: func() (*results.Live, <-chan struct{}) { return still, nil },
	})
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", cfg.Page.Listen)
	if err != nil {
		return fmt.Errorf("page: %w; choose another address with --listen", err)
	}
	fmt.Fprintf(told, "the page is at %s until this is ended\n", addressOf(l.Addr()))
	return page.Serve(ctx, l, h, log)
}

// addressOf is what to give to a browser.
func addressOf(a net.Addr) string {
	at, ok := a.(*net.TCPAddr)
	if ok && at.IP.IsUnspecified() {
		return fmt.Sprintf("http://localhost:%d, and at every other address of this machine,", at.Port)
	}
	return "http://" + a.String()
}

// madeFiles are the files of a trial that are made when somebody asks for them:
// the tables, and the PDF where a browser may be started.
func madeFiles(pdf bool) map[string]func(context.Context, io.Writer, string) error {
	made := make(map[string]func(context.Context, io.Writer, string) error)
	for i, table := range sheet.Tables(new(results.Results)) {
		from := func(write func(*sheet.Table, io.Writer) error) func(context.Context, io.Writer, string) error {
			return func(_ context.Context, w io.Writer, dir string) error {
				r, err := readResultsFile(dir)
				if err != nil {
					return err
				}
				return write(sheet.Tables(r)[i], w)
			}
		}
		made[table.Name+".csv"] = from((*sheet.Table).WriteCSV)
		made[table.Name+".parquet"] = from((*sheet.Table).WriteParquet)
	}
	if pdf {
		made["sheet.pdf"] = func(ctx context.Context, w io.Writer, dir string) error {
			r, err := readResultsFile(dir)
			if err != nil {
				return err
			}
			line, err := readTimeline(dir, r.Vessel.Engines)
			if err != nil {
				return err
			}
			return sheet.WritePDF(ctx, w, r, line, sheet.A4)
		}
	}
	return made
}

func pagePasswordCommand() *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:   "password [--out FILE]",
		Short: "Make the file for page.password_file",
		Long: "Ask for a password, or read it from a pipe, and write its hash: the line that page.password_file\n" +
			"holds. The password itself is not kept.",
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			password, err := askPassword(cmd.InOrStdin(), cmd.ErrOrStderr())
			if err != nil {
				return err
			}
			hash, err := page.HashPassword(password)
			if err != nil {
				return err
			}
			if out == "" {
				fmt.Fprintln(cmd.OutOrStdout(), hash)
				return nil
			}
			return replacePrivate(out, hash+"\n")
		},
	}
	c.Flags().StringVar(&out, "out", "", "file to write, for its owner and group only (default: print the line)")
	return c
}

// replacePrivate writes a file that only its owner and group can read.
func replacePrivate(path, text string) error {
	part := filepath.Clean(path) + ".part"
	f, err := os.OpenFile(part, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o640)
	if err != nil {
		return err
	}
	if _, err := f.WriteString(text); err != nil {
		f.Close()
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return os.Rename(part, path)
}

// askPassword asks twice on a terminal; what comes through a pipe is one line.
func askPassword(in io.Reader, prompt io.Writer) (string, error) {
	f, ok := in.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		line, err := bufio.NewReader(io.LimitReader(in, 4096)).ReadString('\n')
		if err != nil && err != io.EOF {
			return "", err
		}
		return strings.TrimRight(line, "\r\n"), nil
	}
	var given [2]string
	for i, text := range []string{"password: ", "again: "} {
		fmt.Fprint(prompt, text)
		b, err := term.ReadPassword(int(f.Fd()))
		fmt.Fprintln(prompt)
		if err != nil {
			return "", err
		}
		given[i] = string(b)
	}
	if given[0] != given[1] {
		return "", fmt.Errorf("the two are not the same; nothing is written")
	}
	return given[0], nil
}
