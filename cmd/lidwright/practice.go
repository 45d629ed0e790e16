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
folder = %[1]q

[listen]
address = %[2]q
`

// practiceKiln are the settings of one of its kilns.
const practiceKiln = `
[kiln.%[1]s]
port = %[2]q
reply = "columns"
limit_c = 1290

[kiln.%[1]s.channel.1]
from = "1"
unit = "c"

[kiln.%[1]s.probe.1]
type = "K"
`

func practiceCommand() *cobra.Command {
	c := &cobra.Command{
		Use:     "practice",
		Short:   "Try it without a kiln: a made-up studio and a practice kiln",
		Long:    "Starts the daemon on a practice kiln, which speaks through a pseudo-terminal to the same serial code\nthat reads a real controller, with a made-up studio to look at. Ctrl-C stops it.\n\n--replay plays a line that check --record kept, at its own pace, to a daemon with an empty record.",
		Example: "  lidwright practice --folder run\n  lidwright practice --replay line.txt --folder run/replay",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			folder, _ := c.Flags().GetString("folder")
			address, _ := c.Flags().GetString("address")
			which, _ := c.Flags().GetInt("studio")
			if file, _ := c.Flags().GetString("replay"); file != "" {
				if !c.Flags().Changed("folder") {
					folder = filepath.Join(folder, "replay")
				}
				return replay(c, file, folder, address)
			}
			return playStudio(c, which, folder, address)
		},
	}
	c.Flags().String("folder", "run", "where the practice studio is kept")
	c.Flags().String("address", "127.0.0.1:8573", "address of the page")
	c.Flags().Int("studio", 1, "which of the invented studios; there are three unlike ones")
	c.Flags().String("replay", "", "play a line that check --record kept, in place of the made-up studio")
	return c
}

// playStudio runs a daemon with one of the made-up studios and its kilns, until ctx ends.
func playStudio(c *cobra.Command, which int, folder, address string) error {
	all := daemon.PracticeStudios()
	if which < 1 || which > len(all) {
		return misused(fmt.Errorf("--studio %d: there are 1 to %d", which, len(all)))
	}
	of := all[which-1]
	if which == 1 {
		of = daemon.WholePracticeStudio()
	}
	folder, err := filepath.Abs(folder)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Join(folder, "store"), 0o700); err != nil {
		return unreadable("--folder", folder, err)
	}
	plug := &practice.Plug{Link: filepath.Join(folder, "practice-kiln")}
	if err := plug.Plug(); err != nil {
		return err
	}
	defer plug.Unplug()
	file := filepath.Join(folder, "lidwright.toml")
	cold := &practice.Plug{Link: filepath.Join(folder, "cold-kiln")}
	if err := cold.Plug(); err != nil {
		return err
	}
	defer cold.Unplug()
	if err := writePractice(file, folder, address, of, plug.Link, cold.Link); err != nil {
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
			p, err := d.FurnishAs(ctx, of)
			if err != nil {
				furnish = err
				return
			}
			g.Go(func() error { return p.PlayOn(ctx, plug, d.Now) })
			if of.Cold != "" {
				g.Go(func() error { return daemon.ColdKiln(d.Now()).PlayOn(ctx, cold, d.Now) })
			}
			d.Invented()
			ready := d.Ready
			d.Ready = func(a string) {
				ready(a)
				fmt.Fprintf(c.OutOrStdout(),
					"\n  The page: http://%s\n  The lid:  http://%s/lid?collar=104.5&opening=92.5&clay=%s\n  Ctrl-C stops it. The studio is invented; so are its figures.\n\n", a, a, of.Clay())
			}
		})
	})
	err = g.Wait()
	if furnish != nil {
		return furnish
	}
	return err
}

// replay runs a daemon on a recorded line, with the settings that stand in front of it, until ctx ends.
func replay(c *cobra.Command, file, folder, address string) error {
	recorded, err := readRecording(file)
	if err != nil {
		return err
	}
	if folder, err = filepath.Abs(folder); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Join(folder, "store"), 0o700); err != nil {
		return err
	}
	plug := &practice.Plug{Link: filepath.Join(folder, "recorded-line")}
	text, err := replayed(recorded, plug.Link, filepath.Join(folder, "store"), address)
	if err != nil {
		return misused(fmt.Errorf("--replay: %s: %w", file, err))
	}
	settings := filepath.Join(folder, "lidwright.toml")
	cfg, err := config.LoadText(settings, text, os.Environ())
	if err == nil {
		err = os.WriteFile(settings, []byte(text), 0o600)
	}
	if err == nil {
		err = plug.Plug()
	}
	if err != nil {
		return err
	}
	defer plug.Unplug()
	g, ctx := errgroup.WithContext(c.Context())
	g.Go(func() error {
		return runDaemon(ctx, cfg, func(d *daemon.Daemon) {
			ready := d.Ready
			d.Ready = func(a string) {
				ready(a)
				fmt.Fprintf(c.OutOrStdout(),
					"\n  The page: http://%s\n  The recording lasts %s. Ctrl-C stops it.\n\n", a,
					lasts(recorded))
			}
		})
	})
	g.Go(func() error {
		if err := recorded.Play(ctx, plug); err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return err
		}
		fmt.Fprintln(c.OutOrStdout(), "The recording is over; the daemon runs on. Ctrl-C stops it.")
		return nil
	})
	return g.Wait()
}

// writePractice writes the settings of a practice studio, whose kilns are at the end of these lines.
func writePractice(file, folder, address string, of daemon.PracticeStudio, line, cold string) error {
	settings := fmt.Appendf(nil, practiceSettings, filepath.Join(folder, "store"), address)
	settings = fmt.Appendf(settings, practiceKiln, of.Kiln, line)
	if of.Cold != "" {
		settings = fmt.Appendf(settings, practiceKiln, of.Cold, cold)
	}
	return os.WriteFile(file, settings, 0o600)
}
