package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"lidwright/config"
	"lidwright/daemon"
	"lidwright/kiln/practice"
)

// practiceSettings is the settings file of the practice studio.
const practiceSettings = `# A practice studio: the kiln is a program on the other end of a pseudo-terminal.
[site]
name = "practice studio"
atmosphere = "oxidation"

[store]
folder = %q

[listen]
address = %q

[kiln.big-blue]
port = %q
reply = "columns"
limit_c = 1290

[kiln.big-blue.channel.1]
from = "1"
unit = "c"

[kiln.big-blue.probe.1]
type = "K"
`

func practiceCommand() *cobra.Command {
	c := &cobra.Command{
		Use:     "practice",
		Short:   "Try it without a kiln: a made-up studio and a practice kiln",
		Long:    "Starts the daemon on a practice kiln, which speaks through a pseudo-terminal to the same serial code\nthat reads a real controller, with a made-up studio to look at. Ctrl-C stops it.",
		Example: "  lidwright practice --folder run",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			folder, _ := c.Flags().GetString("folder")
			address, _ := c.Flags().GetString("address")
			folder, err := filepath.Abs(folder)
			if err != nil {
				return err
			}
			if err := os.MkdirAll(filepath.Join(folder, "store"), 0o700); err != nil {
				return err
			}
			plug := &practice.Plug{Link: filepath.Join(folder, "practice-kiln")}
			if err := plug.Plug(); err != nil {
				return err
			}
			defer plug.Unplug()
			file := filepath.Join(folder, "lidwright.toml")
			if err := os.WriteFile(file, fmt.Appendf(nil, practiceSettings, filepath.Join(folder, "store"), address, plug.Link), 0o600); err != nil {
				return err
			}
			cfg, err := config.Load(file, os.Environ(), nil)
			if err != nil {
				return err
			}
			fmt.Fprintln(c.OutOrStdout(), "Furnishing the practice studio ...")
			g, ctx := errgroup.WithContext(c.Context())
			var furnish error
			g.Go(func() error {
				return runDaemon(ctx, cfg, func(d *daemon.Daemon) {
					d.Now = daemon.PracticeClock()
					p, err := d.Furnish(ctx, "big-blue")
					if err != nil {
						furnish = err
						return
					}
					g.Go(func() error { return p.PlayOn(ctx, plug, d.Now) })
					ready := d.Ready
					d.Ready = func(a string) {
						ready(a)
						fmt.Fprintf(c.OutOrStdout(), "\n  The page: http://%s\n  The lid:  http://%s/lid?collar=104.5&opening=92.5&clay=tern\n  Ctrl-C stops it. The studio is invented; so are its figures.\n\n", a, a)
					}
				})
			})
			err = g.Wait()
			if furnish != nil {
				return furnish
			}
			return err
		},
	}
	c.Flags().String("folder", "run", "where the practice studio is kept")
	c.Flags().String("address", "127.0.0.1:8573", "address of the page")
	return c
}
