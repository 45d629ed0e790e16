package main

import (
	"fmt"
	"net/url"
	"os"
	"strings"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln/message"

	"github.com/spf13/cobra"
	"golang.org/x/term"
)

func nowCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "now [KILN]", Short: "What every kiln does now, or one", Args: cobra.MaximumNArgs(1),
		Example: "  lidwright now\n  lidwright now big-blue\n  lidwright now --watch",
		RunE: func(c *cobra.Command, args []string) error {
			q := url.Values{}
			if len(args) > 0 {
				q.Set("kiln", args[0])
			}
			if watch, _ := c.Flags().GetBool("watch"); watch {
				return watched(c, func() error { return tellNow(c, q) })
			}
			return tellNow(c, q)
		},
	}
	c.Flags().Bool("watch", false, "say it anew every second until Ctrl-C")
	return c
}

// watched does something each second until the command is stopped, which is its good end. On a terminal each
// time takes the place of the last; what goes wrong once ends it.
func watched(c *cobra.Command, say func() error) error {
	out, screen := c.OutOrStdout(), false
	if f, is := out.(*os.File); is {
		screen = term.IsTerminal(int(f.Fd()))
	}
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		if screen {
			fmt.Fprint(out, "\x1b[H\x1b[2J") // ECMA-48: to the upper left, erase the screen
		}
		if err := say(); err != nil {
			if c.Context().Err() != nil {
				return nil
			}
			return err
		}
		select {
		case <-c.Context().Done():
			return nil
		case <-tick.C:
		}
	}
}

func tellNow(c *cobra.Command, q url.Values) error {
	var a wire.Now
	done, err := get(c, "/v1/now", q, &a)
	if err != nil || done {
		return err
	}
	rows := [][]string{{"KILN", "STATE", "°C", "°C/h", "READ", "CONE SO FAR"}}
	for _, k := range a.Items {
		read := k.Waits
		if k.ReadAgeS != nil {
			read = message.New("{1} s ago", *k.ReadAgeS)
		}
		rows = append(rows, []string{k.Kiln, k.State, num(k.TemperatureC, "%.1f"), num(k.RateCPerH, "%+.0f"),
			read.String(), worded(k.ConeWords)})
	}
	table(c.OutOrStdout(), rows)
	for _, k := range a.Items {
		if says := foreseen(k); says != "" {
			fmt.Fprintf(c.OutOrStdout(), "%s: %s\n", k.Kiln, says)
		}
	}
	return nil
}

// foreseen is when a kiln is at its peak and reads below what it is kept shut above, or why nobody can say;
// empty where nothing is foreseen. It is no leave to open, and says so.
func foreseen(k wire.KilnNow) string {
	var parts []string
	if k.PeakAt != nil {
		parts = append(parts, "peak about "+soon(*k.PeakAt))
		if says := k.AheadSays.String(); says != "" {
			parts[0] = says + ", " + parts[0]
		}
	}
	if k.BelowKeepShutAt != nil && len(k.BelowKeepShutLikely) > 1 {
		parts = append(parts, fmt.Sprintf("below %s °C about %s (likely %s to %s)",
			num(k.KeepShutAboveC, "%.0f"),
			soon(*k.BelowKeepShutAt), soon(k.BelowKeepShutLikely[0]), soon(k.BelowKeepShutLikely[1])))
	} else if !k.BelowKeepShutSays.IsZero() {
		return k.BelowKeepShutSays.String()
	}
	if len(parts) == 0 {
		return ""
	}
	return strings.Join(parts, ", ") +
		". A forecast of a reading, and no leave to open: whoever is in charge decides."
}

// soon is a moment of the next days as people say it; as it came where it cannot be read.
func soon(moment string) string {
	at, err := time.Parse(time.RFC3339, moment)
	if err != nil {
		return moment
	}
	return at.Format("Mon 15:04")
}

// worded is a message that may not be there.
func worded(m *message.Message) string {
	if m == nil {
		return "-"
	}
	return m.String()
}
