package main

import (
	"errors"
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"lidwright/api/wire"
)

// firing is what the commands show of one.
type firing wire.Firing

var firingHead = []string{"FIRING", "BEGAN", "KIND", "STATUS", "TOP °C", "TO TOP h", "COOLING h",
	"HEAT WORK °C", "CONE", "ID"}

func (f firing) row() []string {
	return []string{f.Name, str(f.StartedAt), f.Kind, f.Status, num(f.PeakC, "%.0f"),
		num(f.HoursToTop, "%.1f"),
		num(f.CoolingHours, "%.1f"), num(f.HeatWorkC, "%.0f"), f.ConeWords.String(), f.ID}
}

func firingsCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "firings [ID]", Short: "List firings, show one, compare some; begin and stop one by hand",
		Args:    cobra.MaximumNArgs(1),
		Example: "  lidwright firings --kiln big-blue --kind glaze\n  lidwright firings curve big-blue/last --csv\n  lidwright firings compare big-blue/2 big-blue/4 --at 1000\n  lidwright firings trend big-blue\n  lidwright firings begin big-blue",
		RunE: func(c *cobra.Command, args []string) error {
			var items []firing
			var done bool
			var err error
			if len(args) == 1 {
				if err := goesWith(c, "a list, not with one firing", "kiln", "kind",
					"atmosphere", "status"); err != nil {
					return err
				}
				var f firing
				var id string
				if id, err = firingID(c, args[0]); err != nil {
					return err
				}
				done, err = get(c, "/v1/firings/"+url.PathEscape(id), nil, &f)
				items = []firing{f}
			} else {
				var a wire.List[firing]
				done, err = get(c, "/v1/firings", asked(c, []string{"kiln", "kind", "atmosphere", "status"}),
					&a)
				items = a.Items
			}
			if err != nil || done {
				return err
			}
			rows := [][]string{firingHead}
			for _, f := range items {
				rows = append(rows, f.row())
			}
			table(c.OutOrStdout(), rows)
			return nil
		},
	}
	c.Flags().String("kiln", "", "only of this kiln")
	c.Flags().String("kind", "", "only of this kind: bisque, glaze, once, other")
	c.Flags().String("atmosphere", "", "only of this one: oxidation, reduction, unknown")
	c.Flags().String("status", "", "only running, ended or incomplete ones")
	c.AddCommand(curveCommand(), compareCommand(), trendCommand(), beginCommand(),
		stopCommand(), oldLogCommand())
	return c
}

func curveCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "curve ID", Short: "The curve of a firing: lowest and highest of each step",
		Args:    cobra.ExactArgs(1),
		Example: "  lidwright firings curve big-blue/last --csv > firing.csv\n  lidwright firings curve big-blue/8 --step 1 --channel all --csv",
		RunE: func(c *cobra.Command, args []string) error {
			cl, err := clientOf(c)
			if err != nil {
				return err
			}
			id, err := firingID(c, args[0])
			if err != nil {
				return err
			}
			accept := "application/json"
			asJSON, _ := c.Flags().GetBool("json")
			if asCSV, _ := c.Flags().GetBool("csv"); asCSV || !asJSON {
				accept = "text/csv"
			}
			b, err := cl.Get(c.Context(), "/v1/firings/"+url.PathEscape(id)+"/curve",
				asked(c, []string{"points", "step", "channel"}), accept)
			if err == nil {
				_, err = c.OutOrStdout().Write(b)
			}
			return err
		},
	}
	c.Flags().Int("points", 0, "at most so many steps, 1 to 800; 400 if neither is said")
	c.Flags().Int("step", 0, "length of a step in seconds, 1 to 3600; 1 gives the readings themselves")
	c.Flags().String("channel", "", "channel; the control probe if not said, all for every one")
	c.Flags().Bool("csv", false, "a row a step, as a spreadsheet reads it (so it is without --json too)")
	return c
}

func compareCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "compare ID [ID...]", Short: "Hold up to four firings against the first",
		Args:    cobra.RangeArgs(1, 4),
		Example: "  lidwright firings compare big-blue/2 big-blue/4\n  lidwright firings compare big-blue/2 big-blue/4 --at 1000",
		RunE: func(c *cobra.Command, args []string) error {
			ids := make([]string, len(args))
			for i, name := range args {
				var err error
				if ids[i], err = firingID(c, name); err != nil {
					return err
				}
			}
			q := url.Values{"firings": {strings.Join(ids, ",")}}
			if c.Flags().Changed("at") {
				at, _ := c.Flags().GetFloat64("at")
				q.Set("at_c", strconv.FormatFloat(at, 'f', -1, 64))
			}
			var a wire.Compare
			done, err := get(c, "/v1/compare", q, &a)
			if err != nil || done {
				return err
			}
			rows := [][]string{firingHead[:len(firingHead)-1]}
			for _, i := range a.Items {
				r := firing(i.Firing).row()
				rows = append(rows, r[:len(r)-1])
			}
			table(c.OutOrStdout(), rows)
			for _, i := range a.Items {
				if i.Says.String() != "" {
					fmt.Fprintf(c.OutOrStdout(), "%s: %s.\n", i.Firing.Name, i.Says)
				}
			}
			return nil
		},
	}
	c.Flags().Float64("at", 0, "lay them over one another where each first reached this temperature, °C")
	return c
}

func trendCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "trend KILN", Short: "How the firings of a kiln changed over the year", Args: cobra.ExactArgs(1),
		Example: "  lidwright firings trend big-blue --kind bisque",
		RunE: func(c *cobra.Command, args []string) error {
			q := asked(c, []string{"kind", "atmosphere", "years"})
			q.Set("kiln", args[0])
			var a wire.Trend
			done, err := get(c, "/v1/trend", q, &a)
			if err != nil || done {
				return err
			}
			fmt.Fprintf(c.OutOrStdout(), "%s, %s %s\n", args[0], a.Kind, a.Atmosphere)
			for _, i := range a.Items {
				fmt.Fprintln(c.OutOrStdout(), i.Says)
			}
			return nil
		},
	}
	c.Flags().String("kind", "", "bisque, glaze, once, other; that of the newest firing if not said")
	c.Flags().String("atmosphere", "", "oxidation, reduction, unknown; that of the newest firing if not said")
	c.Flags().Int("years", 1, "how far back")
	return c
}

func beginCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "begin KILN", Short: "Begin a firing at once; records only, nothing is sent to a kiln",
		Args:    cobra.ExactArgs(1),
		Example: "  lidwright firings begin big-blue --kind other",
		RunE: func(c *cobra.Command, args []string) error {
			kind, _ := c.Flags().GetString("kind")
			atmosphere, _ := c.Flags().GetString("atmosphere")
			yes, _ := c.Flags().GetBool("yes")
			body := map[string]any{"kiln": args[0], "sure": yes}
			if kind != "" {
				body["kind"] = kind
			}
			if atmosphere != "" {
				body["atmosphere"] = atmosphere
			}
			var f firing
			done, err := put(c, "/v1/firings/"+newID(c)+"/begin", body, &f)
			if err = orYes(err); err == nil && !done {
				fmt.Fprintf(c.OutOrStdout(),
					"Recording %s. It ends by itself when the kiln is cold; by hand: lidwright firings stop %s\n", f.Name, args[0])
			}
			return err
		},
	}
	c.Flags().String("kind", "", "bisque, glaze, once, other")
	c.Flags().String("atmosphere", "", "oxidation, reduction, unknown")
	c.Flags().Bool("yes", false, "end the record of a firing that goes on, without being asked")
	return c
}

func stopCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "stop KILN", Short: "Stop recording the firing of a kiln; the kiln goes on as it will",
		Args: cobra.ExactArgs(1),
		Long: `It asks first; --yes answers that. For ten minutes --undo takes it back: the record goes on as if it had never been
stopped, with all that was received meanwhile. The same takes back a firing that was begun in the place of another.`,
		Example: "  lidwright firings stop big-blue --yes\n  lidwright firings stop big-blue --undo",
		RunE: func(c *cobra.Command, args []string) error {
			now, err := recordOf(c, args[0])
			if err != nil {
				return err
			}
			if undo, _ := c.Flags().GetBool("undo"); undo {
				if now.Stopped == nil {
					return errors.New("no record of " + args[0] + " was stopped within the last ten minutes")
				}
				return goOn(c, now.Stopped.Firing)
			}
			if now.Firing == nil {
				return errors.New("no firing of " + args[0] + " is being recorded")
			}
			yes, _ := c.Flags().GetBool("yes")
			var f firing
			done, err := put(c, "/v1/firings/"+url.PathEscape(*now.Firing)+"/stop",
				map[string]any{"sure": yes}, &f)
			if err = orYes(err); err == nil && !done {
				fmt.Fprintf(c.OutOrStdout(),
					"%s is recorded no more. Nothing was switched: the kiln goes on as it will.\nWithin ten minutes this takes it back: lidwright firings stop %s --undo\n", f.Name, args[0])
			}
			return err
		},
	}
	c.Flags().Bool("yes", false, "stop without being asked")
	c.Flags().Bool("undo", false, "take back that it was stopped")
	return c
}

// recordOf is what a kiln does, asked before its record is begun or ended.
func recordOf(c *cobra.Command, name string) (now wire.KilnNow, err error) {
	cl, err := clientOf(c)
	if err != nil {
		return now, err
	}
	b, err := cl.Get(c.Context(), "/v1/now/"+url.PathEscape(name), nil, "application/json")
	if err == nil {
		err = decode(b, &now)
	}
	return now, err
}

func goOn(c *cobra.Command, id string) error {
	cl, err := clientOf(c)
	if err != nil {
		return err
	}
	raw, err := cl.Delete(c.Context(), "/v1/firings/"+url.PathEscape(id)+"/stop")
	if err != nil {
		return err
	}
	var f firing
	done, err := show(c, raw, &f)
	if err == nil && !done {
		fmt.Fprintf(c.OutOrStdout(), "Recording %s goes on, as if it had never been stopped.\n", f.Name)
	}
	return err
}

// orYes tells, where something is asked first, how a command answers it.
func orYes(err error) error {
	if p := (*wire.Problem)(nil); errors.As(err, &p) && strings.HasSuffix(p.Type, "/are-you-sure") {
		return &exit{exitFailed, p.Detail.String() + " If so, add --yes"}
	}
	return err
}
