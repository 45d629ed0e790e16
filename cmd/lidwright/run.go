package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"runtime/debug"

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
			file, _ := c.Flags().GetString("config")
			cfg, err := config.Load(file, os.Environ(), nil)
			if err != nil {
				return err
			}
			return runDaemon(c.Context(), cfg, func(d *daemon.Daemon) {})
		},
	}
	c.Flags().String("config", "", "settings file (lidwright.toml)")
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
	slog.SetDefault(slog.New(handler))
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(100 << 20)
	}
	for _, a := range cfg.Advice {
		slog.Warn(a.String())
	}
	d, err := daemon.New(ctx, cfg, version)
	if err == nil {
		d.Ready = func(address string) {
			slog.Info("ready", "version", version, "page", "http://"+address, "store", cfg.Store.Folder, "kilns", len(cfg.Kilns))
		}
		set(d)
		err = d.Run(ctx)
	}
	if errors.Is(err, daemon.ErrCannotStart) {
		return &exit{exitCannotStart, err.Error()}
	}
	return err
}

func checkCommand() *cobra.Command {
	c := &cobra.Command{
		Use:     "check",
		Short:   "Say in words whether the settings work, without starting",
		Example: "  lidwright check --config lidwright.toml",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			file, _ := c.Flags().GetString("config")
			cfg, err := config.Load(file, os.Environ(), nil)
			if err != nil {
				return err
			}
			out := c.OutOrStdout()
			fmt.Fprintf(out, "ok    settings  %s\n", first(cfg.File, "none: defaults"))
			for _, a := range cfg.Advice {
				fmt.Fprintf(out, "LOOK  settings  %s\n", a)
			}
			if _, err := os.Stat(cfg.Store.Folder); err != nil {
				fmt.Fprintf(out, "LOOK  store     %s is not there yet; run makes it\n", cfg.Store.Folder)
			} else {
				fmt.Fprintf(out, "ok    store     %s\n", cfg.Store.Folder)
			}
			if len(cfg.Kilns) == 0 {
				fmt.Fprintln(out, "LOOK  kiln      none in the settings: bars and lids work, nothing is heard")
			}
			for _, k := range cfg.Kilns {
				if _, err := os.Stat(k.Port); k.Port != "" && err != nil {
					fmt.Fprintf(out, "LOOK  port      %s: %s is not there\n", k.ID, k.Port)
				} else if k.Port != "" {
					fmt.Fprintf(out, "ok    port      %s: %s\n", k.ID, k.Port)
				}
				for _, p := range k.PollBytes {
					fmt.Fprintf(out, "ok    sends     %s: %q every %s, and nothing else\n", k.ID, p, k.Every)
				}
			}
			fmt.Fprintln(out, "ok    ways      what is heard stands on the page More of the running daemon")
			return nil
		},
	}
	c.Flags().String("config", "", "settings file (lidwright.toml)")
	return c
}

func first(a, b string) string {
	if a != "" {
		return a
	}
	return b
}
