package main

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"runtime/debug"
	"time"

	"github.com/spf13/cobra"

	"lidwright/config"
	"lidwright/daemon"
)

func runCommand() *cobra.Command {
	c := &cobra.Command{
		Use:     "run",
		Short:   "Start the daemon",
		Long:    "Record the kilns of the settings and answer on the settings' address until stopped (Ctrl-C, SIGTERM).\nA port that is not there is no reason to stop: the page works and says what is waited for.",
		Example: "  lidwright run --config lidwright.toml",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			cfg, err := settingsOf(c)
			if err != nil {
				return err
			}
			return runDaemon(c.Context(), cfg, func(d *daemon.Daemon) {})
		},
	}
	return c
}

// runDaemon starts the daemon of cfg; set may swap its fields first.
func runDaemon(ctx context.Context, cfg config.Config, set func(*daemon.Daemon)) error {
	level := slog.LevelInfo
	level.UnmarshalText([]byte(cfg.Log.Level))
	options := &slog.HandlerOptions{Level: level}
	var handler slog.Handler = slog.NewTextHandler(os.Stderr, options)
	if cfg.Log.Format == "json" {
		handler = slog.NewJSONHandler(os.Stderr, options)
	}
	slog.SetDefault(slog.New(daemon.ThinLog(handler, time.Now)))
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(100 << 20)
	}
	for _, a := range cfg.Advice {
		slog.Warn(a.String())
	}
	d, err := daemon.New(ctx, cfg, version)
	if err == nil {
		d.Ready = func(address string) {
			slog.Info("ready", "version", version, "page", "http://"+address, "store", cfg.Store.Folder,
				"kilns", len(cfg.Kilns))
		}
		set(d)
		err = d.Run(ctx)
	}
	if errors.Is(err, daemon.ErrCannotStart) {
		return &exit{exitCannotStart, err.Error()}
	}
	return err
}

func first(a, b string) string {
	if a != "" {
		return a
	}
	return b
}
