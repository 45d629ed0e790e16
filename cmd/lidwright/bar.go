package main

import (
	"encoding/json"
	"fmt"
	"net/url"
	"os"
	"strconv"
	"strings"

	"lidwright/api/wire"
	"lidwright/kiln/message"

	"github.com/spf13/cobra"
)

func clayCommand() *cobra.Command {
	c := &cobra.Command{Use: "clay", Short: "Clays and their batches",
		Example: "  lidwright clay list\n  lidwright clay add tern --name \"Tern stoneware\" --matures 6"}
	add := &cobra.Command{
		Use: "add CLAY", Short: "Keep a clay, with batch A to begin with", Args: cobra.ExactArgs(1),
		Example: "  lidwright clay add tern --name \"Tern stoneware\" --matures 6 --stated 0.12",
		RunE: func(c *cobra.Command, args []string) error {
			name, _ := c.Flags().GetString("name")
			cone, _ := c.Flags().GetString("matures")
			stated, _ := c.Flags().GetFloat64("stated")
			done, err := put(c, "/v1/clays/"+url.PathEscape(args[0]),
				map[string]any{"name": first(name, args[0]), "matures_cone": cone,
					"stated_total_ratio": stated}, nil)
			if err == nil && !done {
				fmt.Fprintf(c.OutOrStdout(),
					"%s kept. No bar counts in its rate yet. Next: lidwright bars new 2 --clay %s\n", args[0],
					args[0])
			}
			return err
		},
	}
	add.Flags().String("name", "", "name as it stands on the bag")
	add.Flags().String("matures", "", "cone on the bag")
	add.Flags().Float64("stated", 0, "supplier's total shrinkage as a share: 0.12")
	list := &cobra.Command{
		Use: "list", Short: "Every clay", Args: cobra.NoArgs, Example: "  lidwright clay list",
		RunE: func(c *cobra.Command, _ []string) error {
			var a wire.List[wire.ClayJSON]
			done, err := get(c, "/v1/clays", nil, &a)
			if err != nil || done {
				return err
			}
			rows := [][]string{{"CLAY", "NAME", "CONE", "BATCHES"}}
			for _, i := range a.Items {
				var b []string
				for _, x := range i.Batches {
					b = append(b, x.Batch)
				}
				rows = append(rows, []string{i.Clay, i.Name, i.MaturesCone, strings.Join(b, " ")})
			}
			table(c.OutOrStdout(), rows)
			return nil
		},
	}
	batch := &cobra.Command{
		Use: "batch CLAY BATCH", Short: "Keep a new batch of a clay", Args: cobra.ExactArgs(2),
		Example: "  lidwright clay batch tern B --stamp 2025-11\n  lidwright clay batch tern M --kind blend --from tern/A=2,wren/A=1",
		RunE: func(c *cobra.Command, args []string) error {
			stamp, _ := c.Flags().GetString("stamp")
			kind, _ := c.Flags().GetString("kind")
			from, _ := c.Flags().GetStringSlice("from")
			body := map[string]any{"kind": kind, "stamp": stamp, "open": true}
			if len(from) > 0 {
				body["parents"] = from
			}
			done, err := put(c, "/v1/clays/"+url.PathEscape(args[0])+"/batches/"+url.PathEscape(args[1]),
				body, nil)
			if err == nil && !done {
				fmt.Fprintf(c.OutOrStdout(),
					"%s/%s kept. No bar of it counts yet: lidwright bars new 2 --clay %[1]s --batch %[2]s\n",
					args[0], args[1])
			}
			return err
		},
	}
	batch.Flags().String("stamp", "", "as printed on the bag")
	batch.Flags().StringSlice("from", nil,
		"what it was mixed from, each with its parts of the mix: tern/A=2,wren/A=1; without parts: equal shares")
	batch.Flags().String("kind", "bought", "bought, reclaim, blend or repugged")
	c.AddCommand(add, list, batch)
	return c
}

func barsCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "bars", Short: "List bars, or make new ones", Args: cobra.NoArgs,
		Example: "  lidwright bars --clay tern --waiting\n  lidwright bars new 7 --clay tern",
		RunE: func(c *cobra.Command, _ []string) error {
			var a wire.List[wire.BarJSON]
			q := asked(c, []string{"clay", "waiting"})
			q.Set("limit", "500")
			done, err := get(c, "/v1/bars", q, &a)
			if err != nil || done {
				return err
			}
			rows := [][]string{{"BAR", "CLAY", "MADE AS", "SO FAR", "NEXT"}}
			for _, b := range a.Items {
				so := "-"
				if b.Shrunk != nil {
					so = fmt.Sprintf("%.1f %%", 100**b.Shrunk)
				}
				rows = append(rows, []string{b.Bar, b.Clay + "/" + b.Batch, b.Forming, so,
					first(b.Next, "done")})
			}
			table(c.OutOrStdout(), rows)
			return nil
		},
	}
	c.Flags().String("clay", "", "only bars of this clay")
	c.Flags().Bool("waiting", false, "only those that a fired load waits for")
	fresh := &cobra.Command{
		Use: "new N|CODE...", Short: "Make new bars: N free codes, or those scratched in already",
		Args:    cobra.MinimumNArgs(1),
		Example: "  lidwright bars new 7 --clay tern\n  lidwright bars new BQ7 BQ4 --clay tern",
		RunE: func(c *cobra.Command, args []string) error {
			var free wire.List[string]
			cl, err := clientOf(c)
			if err != nil {
				return err
			}
			if _, err := strconv.Atoi(args[0]); err == nil && len(args) == 1 {
				b, err := cl.Get(c.Context(), "/v1/bars/free-codes", url.Values{"count": {args[0]}}, "")
				if err != nil {
					return err
				}
				if err := decode(b, &free); err != nil {
					return err
				}
			} else {
				free.Items = args
			}
			clay, _ := c.Flags().GetString("clay")
			batch, _ := c.Flags().GetString("batch")
			forming, _ := c.Flags().GetString("forming")
			by, _ := c.Flags().GetString("by")
			asJSON, _ := c.Flags().GetBool("json")
			var kept []json.RawMessage
			for _, code := range free.Items {
				b, err := cl.Put(c.Context(), "/v1/bars/"+url.PathEscape(code), map[string]any{"id": newID(c),
					"clay": clay, "batch": batch, "forming": forming, "by": by})
				if err != nil {
					return err
				}
				if kept = append(kept, b); !asJSON {
					fmt.Fprintln(c.OutOrStdout(), code)
				}
			}
			if asJSON {
				return printJSON(c, map[string]any{"items": kept})
			}
			return nil
		},
	}
	fresh.Flags().String("clay", "", "clay of the bars")
	fresh.Flags().String("batch", "", "batch; the newest open one if not said")
	fresh.Flags().String("forming", "thrown_ring", "how they are made")
	fresh.Flags().String("by", "", "maker's mark")
	fresh.MarkFlagRequired("clay")
	c.AddCommand(fresh, flagCommand(), storyCommand())
	c.AddCommand(barTables()...)
	return c
}

func flagCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "flag CODE [bent|bloated|glazed_mark|broken...]",
		Short: "Say what is wrong with a bar, so that it is in no rate", Args: cobra.MinimumNArgs(1),
		Long: `The flags named are all that the bar has from now on; --none takes them off, and it counts again.
A bar with a flag is in no rate and no load waits for it. What was measured on it stays.`,
		Example: "  lidwright bars flag BQ7 broken\n  lidwright bars flag BQ7 --none",
		RunE: func(c *cobra.Command, args []string) error {
			none, _ := c.Flags().GetBool("none")
			if none == (len(args) > 1) {
				return &exit{exitWrongUse,
					"say which bar and what is wrong with it: lidwright bars flag CODE and bent, bloated, glazed_mark or broken; or --none"}
			}
			flags := append([]string{}, args[1:]...)
			done, err := put(c, "/v1/bars/"+url.PathEscape(args[0])+"/flags",
				map[string]any{"flags": flags}, nil)
			if err != nil || done {
				return err
			}
			if none {
				fmt.Fprintf(c.OutOrStdout(), "%s has no flag: what was measured on it counts again\n",
					args[0])
				return nil
			}
			fmt.Fprintf(c.OutOrStdout(), "%s: %s. It is in no rate and no load waits for it. Undo: lidwright bars flag %s --none\n",
				args[0], strings.ReplaceAll(strings.Join(flags, ", "), "_", " "), args[0])
			return nil
		},
	}
	c.Flags().Bool("none", false, "nothing is wrong with it")
	return c
}

func barCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "bar CODE STAGE LENGTH", Short: "Enter what was measured on a bar, or correct it",
		Long: `CODE is what is scratched into the bar; lidwright bars new hands codes out. STAGE is wet, soft, leather,
dry, bisque or fired. LENGTH is the distance between its two marks, cold: 87.6, 87,6, 87.6mm or 3 15/16 in.

A bisque or fired length counts at the heat of its firing. Where no load tells which that was, say it: --firing
last, --firing big-blue/8, or --cone 6 where no firing is known. Without that it counts at an assumed heat, until
three bars of that clay with a known one are there; say it later with: lidwright bar BQ7 heat last --cone 6.

A reading that is not believed is asked about, and kept with --yes alone. Then it is not confirmed, and does not
count until you measure that stage again and enter what you read: if both agree (0.4 mm by calliper, 1 mm by
rule), both count. To confirm it in a word is the owner's, and so is a length that no clay shrinks to. Nothing is
overwritten: what was wrong is crossed out and stays to be seen.`,
		Example: "  lidwright bar BQ7 fired 87.6\n  lidwright bar BQ7 fired 87.6 --cone 6\n  lidwright bar BQ7 heat last --firing last\n  lidwright bar BQ7 confirm last\n  lidwright bar BQ7 count last --why \"it bloated\"\n  lidwright bar BQ7 wet \"3 15/16 in\"\n  lidwright bar BQ7 dry 94.5 --instrument rule --step 0.5 --mark 2\n  lidwright bar BQ7 cross-out last --why \"wrong mark\"",
		Args:    cobra.ExactArgs(3),
		RunE: func(c *cobra.Command, args []string) error {
			why, _ := c.Flags().GetString("why")
			by, _ := c.Flags().GetString("by")
			unit, _ := c.Flags().GetString("units")
			switch args[1] {
			case "heat":
				if err := goesWith(c, "a length", "why", "by", "instrument", "step",
					"mark", "yes"); err != nil {
					return err
				}
				return tellHeat(c, args[0], args[2])
			case "cross-out", "confirm", "count":
				if err := goesWith(c, "a length", "instrument", "step", "mark", "firing",
					"cone", "yes"); err != nil {
					return err
				}
				act, did := args[1], map[string]string{"cross-out": "crossed out", "confirm": "confirmed",
					"count": "counts"}[args[1]]
				if act == "cross-out" {
					act = "strike" // as the API has it
				}
				id, err := readingID(c, args[0], args[2], func(r wire.Reading) bool { return true })
				if err != nil {
					return err
				}
				done, err := put(c, "/v1/bars/"+url.PathEscape(args[0])+"/readings/"+url.PathEscape(id)+"/"+
					act, map[string]string{"why": why, "by": by}, nil)
				if err == nil && !done {
					fmt.Fprintf(c.OutOrStdout(), "%s: %s\n", args[0], did)
				}
				return err
			}
			if err := goesWith(c, "cross-out and count", "why"); err != nil {
				return err
			}
			body := map[string]any{"stage": args[1], "length": args[2], "unit": first(unit, "mm"), "by": by}
			for name, v := range firingTold(c) {
				body[name] = v
			}
			if v, _ := c.Flags().GetString("instrument"); v != "" {
				body["instrument"] = v
			}
			if v, _ := c.Flags().GetFloat64("step"); c.Flags().Changed("step") {
				body["step_mm"] = v
			}
			if v, _ := c.Flags().GetInt("mark"); c.Flags().Changed("mark") {
				body["mark"] = v
			}
			return enterReading(c, args[0], args[1], body)
		},
	}
	c.Flags().String("why", "", "reason, for cross-out and count")
	c.Flags().String("by", "", "maker's mark")
	c.Flags().String("instrument", "", "what it was measured with: calliper or rule; calliper if not said")
	c.Flags().Float64("step", 0, "smallest step of that, mm: 0.05; as usual for it if not said")
	c.Flags().Int("mark", 1, "of a bar with several pairs of lines: which pair, 1 to 9")
	c.Flags().String("firing", "", "of a bisque or fired length: the firing it came out of, as big-blue/8, or last")
	c.Flags().String("cone", "", "of a bisque or fired length: the cone that its firing reached, where none is known")
	c.Flags().Bool("yes", false, "keep the length though it is asked about; it does not count until it is confirmed")
	return c
}

// barOf asks the daemon for a bar.
func barOf(c *cobra.Command, bar string) (b wire.BarJSON, err error) {
	cl, err := clientOf(c)
	if err != nil {
		return b, err
	}
	raw, err := cl.Get(c.Context(), "/v1/bars/"+url.PathEscape(bar), nil, "")
	if err != nil {
		return b, err
	}
	return b, decode(raw, &b)
}

// readingID is the id of a reading of a bar: as it is given, or of the last one that stands and that passes.
func readingID(c *cobra.Command, bar, id string, passes func(wire.Reading) bool) (string, error) {
	if id != "last" {
		return id, nil
	}
	b, err := barOf(c, bar)
	if err != nil {
		return "", err
	}
	for _, r := range b.Readings {
		if r.Struck == nil && passes(r) {
			id = r.ID
		}
	}
	return id, nil
}

// firingTold is what --firing and --cone say.
func firingTold(c *cobra.Command) map[string]string {
	told := map[string]string{}
	for _, name := range []string{"firing", "cone"} {
		if v, _ := c.Flags().GetString(name); v != "" {
			told[name] = v
		}
	}
	return told
}

// tellHeat says which firing a length came out of, or what cone that reached.
func tellHeat(c *cobra.Command, bar, reading string) error {
	told := firingTold(c)
	if len(told) != 1 {
		return &exit{exitWrongUse, "say which firing " + bar +
			" came out of: --firing last, --firing big-blue/8, or --cone 6 where none is known"}
	}
	id, err := readingID(c, bar, reading, func(r wire.Reading) bool {
		return r.Stage == "bisque" || r.Stage == "fired"
	})
	if err != nil {
		return err
	}
	var r keptReading
	done, err := put(c, "/v1/bars/"+url.PathEscape(bar)+"/readings/"+url.PathEscape(id)+"/firing", told, &r)
	if err != nil || done {
		return err
	}
	fmt.Fprintln(c.OutOrStdout(), r.says(bar, r.Stage)+".")
	return nil
}

// enterReading keeps a length. One that is asked about is kept with --yes, or when the person at the terminal
// says so.
func enterReading(c *cobra.Command, bar, stage string, body map[string]any) error {
	path := "/v1/bars/" + url.PathEscape(bar) + "/readings/" + newID(c)
	yes, _ := c.Flags().GetBool("yes")
	ask := "?ask=true"
	if yes {
		ask = ""
	}
	for {
		var r keptReading
		done, err := put(c, path+ask, body, &r)
		switch {
		case err != nil || done && !r.NotKept:
			return err
		case !r.NotKept:
			fmt.Fprintf(c.OutOrStdout(), "%s. Undo: lidwright bar %s cross-out last --why ...\n",
				r.says(bar, stage), bar)
			return nil
		case done || !atTerminal(c):
			return &exit{exitWrongUse, r.Question.String() +
				" Nothing was kept. If it was read right, say so: --yes"}
		}
		fmt.Fprintf(c.OutOrStdout(), "%s Keep it all the same? [no]: ", r.Question)
		var said string
		fmt.Fscanln(c.InOrStdin(), &said)
		if said = strings.ToLower(said); said != "y" && said != "yes" {
			return &exit{exitWrongUse, "nothing was kept. If it was read right, say so: --yes"}
		}
		ask = ""
	}
}

// atTerminal reports whether a person can answer.
func atTerminal(c *cobra.Command) bool {
	f, ok := c.InOrStdin().(*os.File)
	if !ok {
		return false
	}
	i, err := f.Stat()
	return err == nil && i.Mode()&os.ModeCharDevice != 0
}

// keptReading is what the command says of a reading that was just kept.
type keptReading struct {
	MM       *float64 `json:"length_mm"`
	Ratio    *float64 `json:"total_ratio"`
	Question message.Message
	Needs    string
	Confirms string
	Pending  bool
	NotKept  bool `json:"not_kept"`
	Stage    string
	Assumed  *wire.HeatAssumed `json:"heat_assumed"`
	Earlier  *wire.Earlier
	WhyNot   *wire.WhyNot `json:"why_not"`
}

// says tells the reading, and whether it counts.
func (r keptReading) says(bar, stage string) string {
	says := fmt.Sprintf("%s %s %s mm", bar, stage, num(r.MM, "%.2f"))
	if r.Ratio != nil {
		says += fmt.Sprintf(", %.2f %% since wet", 100**r.Ratio)
	}
	switch {
	case r.Confirms != "":
		says += ". It agrees with what was read before: both are confirmed and count"
	case r.Needs == "confirm":
		says += ". " + r.Question.String() +
			" It is not confirmed and does not count yet. Measure it again, and enter what you read then: lidwright bar " + bar + " " + stage +
			" LENGTH. If both agree, both count. Without a second reading it is the owner's: lidwright bar " +
			bar + " confirm last"
	case r.Needs == "count":
		says += ". " + r.Question.String() +
			" Outside 0.72 to 1.01 of the wet length; it does not count until the owner says: lidwright bar " + bar + " count last --why ..."
	case r.WhyNot != nil:
		if says += ". "; r.WhyNot.Fix != nil { // where there is nothing to mend it is said calmly
			says += "It does not count: "
		}
		says += strings.TrimSuffix(r.WhyNot.Text.String(), ".")
		switch {
		case r.WhyNot.Code == "no_firing", r.WhyNot.Code == "heat_assumed":
			says += ". " + r.WhyNot.Fix.Text.String() + " lidwright bar " + bar +
				" heat last --firing last, or --cone 6"
		case r.WhyNot.Fix != nil:
			says += ". " + r.WhyNot.Fix.Text.String() + ": " + r.WhyNot.Fix.Link
		}
	case r.Pending:
		says += ". It will count in a moment"
	default:
		says += ". It counts"
	}
	if r.Assumed != nil {
		says += ". " + strings.TrimSuffix(r.Assumed.Text.String(), ".") +
			". Which firing was it? lidwright bar " + bar + " heat last --firing last, or --cone 6"
	}
	if e := r.Earlier; e != nil {
		says += ". " + e.Question.String() + " Look at it: lidwright bars story " + bar +
			", or cross it out: lidwright bar " + bar + " cross-out " + e.ID + " --why ..."
	}
	return says
}
