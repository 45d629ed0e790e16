package main

import (
	"fmt"
	"net/url"
	"os"
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

// watched does something each second until the command is stopped, which is its good end. On a terminal each time
// takes the place of the last; what goes wrong once ends it.
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
	return nil
}

// worded is a message that may not be there.
func worded(m *message.Message) string {
	if m == nil {
		return "-"
	}
	return m.String()
}
