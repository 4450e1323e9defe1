package main

import (
	"context"
	"log/slog"
	"net"
	"os/signal"
	"syscall"

	"github.com/coreos/go-systemd/v22/daemon"
	"github.com/spf13/cobra"

	"trialday.example/logd/cmd/logd/aboard"
	"trialday.example/logd/configs"
)

func runCommand() *cobra.Command {
	var config string
	c := &cobra.Command{
		Use:   "run --config FILE",
		Short: "Record the buses aboard, all day",
		Long: "Record every frame of the configured CAN interfaces in the journal of the present trial, and\n" +
			"derive its figures. Nothing is ever sent on a bus. Stopped by SIGTERM or an interrupt, it puts\n" +
			"everything on the disk and writes the results into the trial's directory.",
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			cfg, err := configs.ReadFile(config)
			if err != nil {
				return err
			}
			ctx, stop := signal.NotifyContext(cmd.Context(), syscall.SIGTERM, syscall.SIGINT)
			defer stop()
			runAboard(ctx, cfg, slog.New(aboard.Quiet(slog.NewTextHandler(cmd.ErrOrStderr(), nil))))
			return nil
		},
	}
	c.Flags().StringVar(&config, "config", "", "configuration (YAML)")
	return c
}

func runAboard(ctx context.Context, cfg configs.Config, log *slog.Logger) {
	watchdog, err := daemon.SdWatchdogEnabled(false)
	if err != nil {
		log.Warn("the service manager's watchdog is not served", "why", err.Error())
	}
	aboard.Run(ctx, aboard.Options{
		Config: cfg, Version: version, Log: log,
		Sources:  aboard.Open(cfg.Bus.Interfaces),
		Write:    writeResults,
		Notify:   func(state string) { _, _ = daemon.SdNotify(false, state) },
		Watchdog: watchdog,
		Listen:   func() (net.Listener, error) { return net.Listen("tcp", cfg.Page.Listen) },
		Make:     madeFiles(false), // a browser is no company for a recorder
	})
}
