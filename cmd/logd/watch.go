package main

import (
	"fmt"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"trialday.example/logd/cmd/logd/watch"
)

func watchCommand() *cobra.Command {
	var address, tokenFile string
	var once bool
	c := &cobra.Command{
		Use:   "watch [--url URL] [--token-file FILE]",
		Short: "Show in a terminal how the trial stands",
		Long: "Show in a terminal what the service tells now: the figures, how long to hold, which steps are\n" +
			"done and which pass is missing, and what is not well. It comes back by itself after a restart of\n" +
			"the service. Ended by q; the service is not touched.",
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			o := watch.Options{URL: address}
			if tokenFile != "" {
				text, err := os.ReadFile(tokenFile)
				if err != nil {
					return fmt.Errorf("token: %w; check --token-file and its rights", err)
				}
				o.Token = strings.TrimSpace(string(text))
			}
			ctx, stop := signal.NotifyContext(cmd.Context(), syscall.SIGTERM, syscall.SIGINT)
			defer stop()
			if once {
				return watch.Once(ctx, o, cmd.OutOrStdout())
			}
			if !term.IsTerminal(int(os.Stdout.Fd())) || !term.IsTerminal(int(os.Stdin.Fd())) {
				return fmt.Errorf("watch needs a terminal; print the state once with: logd watch --once")
			}
			return watch.Run(ctx, o, os.Stdin, os.Stdout)
		},
	}
	c.Flags().StringVar(&address, "url", "http://127.0.0.1:8642", "address of the service's page")
	c.Flags().StringVar(&tokenFile, "token-file", "", "file with the service's token (page.token_file), where it wants one")
	c.Flags().BoolVar(&once, "once", false, "print the state as text and end")
	return c
}
