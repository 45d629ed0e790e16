package main

import (
	"fmt"
	"net/url"
	"strings"

	"lidwright/api/wire"

	"github.com/spf13/cobra"

	"lidwright/api"
)

func sizeCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "size", Short: "Any fired length or capacity to wet, and back", Args: cobra.NoArgs,
		Long: `Sizes a piece from bars (with --clay, asks the daemon) or from rates that you state (needs no daemon).
Tells its size at every stage, so that a spout's foot and its hole can be read leather-hard.`,
		Example: `  lidwright size --fired 62 --clay tern
  lidwright size --fired-ml 900 --clay tern                          a capacity, to the fill line
  lidwright size --fired 24 --part hole --play 0.5 --clay tern       a hole for a bought cork of 24 mm
  lidwright size --wet 100 --drying-ratio 6% --firing-ratio 7%`,
		RunE: askSize,
	}
	names, help := api.SizeParameters()
	c.Flags().SortFlags = false
	for _, n := range names {
		c.Flags().String(strings.ReplaceAll(n, "_", "-"), "", help[n])
	}
	c.AddCommand(setCommand("nest", "How pots that stand in one another come out",
		"  lidwright size nest --outside 100 --inside 95 --outside 112 --inside 104.5 --clay tern", "outside",
		"inside"),
		setCommand("shared", "One lid for several pots",
			"  lidwright size shared --collar 104.5 --collar 105 --lid 103 --clay tern",
			"collar", "lid", "seat"))
	scale := &cobra.Command{
		Use: "scale", Short: "A whole form made larger or smaller by its capacity", Args: cobra.NoArgs,
		Example: "  lidwright size scale --length 104.5 --length 92.5 --was-ml 500 --fired-ml 1000",
		RunE: func(c *cobra.Command, _ []string) error {
			var a wire.Scale
			done, err := get(c, "/v1/size/scale", asked(c, []string{"pot", "length", "was_ml", "fired_ml"}),
				&a)
			if err != nil || done {
				return err
			}
			fmt.Fprintf(c.OutOrStdout(), "Every length times %.4f\n", *a.Times)
			for _, l := range a.Lengths {
				fmt.Fprintf(c.OutOrStdout(), "%s: %.1f -> %.1f mm\n", l.Name, *l.WasMM, *l.MM)
			}
			fmt.Fprintln(c.OutOrStdout(), a.Says)
			return nil
		},
	}
	scale.Flags().String("pot", "", "id of the pot card that is scaled")
	scale.Flags().StringArray("length", nil, "any length of the form; may be given again")
	scale.Flags().String("was-ml", "", "its capacity now, ml")
	scale.Flags().String("fired-ml", "", "the capacity wanted, ml")
	c.AddCommand(scale)
	return c
}

// setCommand asks about a set of pots, whose shrink is said as that of a size.
func setCommand(use, short, example string, own ...string) *cobra.Command {
	names, help := api.SetParameters()
	names = append(names, own...)
	c := &cobra.Command{
		Use: use, Short: short, Example: example, Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			var a wire.Nest
			q := asked(c, names)
			done, err := get(c, "/v1/size/"+use, q, &a)
			if err != nil {
				return err
			}
			if !done {
				for _, g := range a.Gaps {
					fmt.Fprintf(c.OutOrStdout(), "%d in %d: %.1f mm of room, %.1f at worst\n", g.Inner,
						g.Outer, *g.PlayMM, *g.WorstMM)
				}
				fmt.Fprintln(c.OutOrStdout(), a.Says)
			}
			return weakExit(q, a.Trust)
		},
	}
	for _, n := range names {
		switch n {
		case "outside", "inside", "collar":
			c.Flags().StringArray(n, nil, map[string]string{"outside": "largest outside of a pot, the smallest pot first", "inside": "its inside where the smaller one stands", "collar": "gallery of a pot, once for each"}[n])
		case "lid":
			c.Flags().String(n, "", "width of the one lid")
		case "seat":
			c.Flags().String(n, "", "inset, flange, cap, drop_in, over, stopper")
		default:
			c.Flags().String(strings.ReplaceAll(n, "_", "-"), "", help[n])
		}
	}
	return c
}

// weakExit ends with the code of a weak rate, where a clay was asked about.
func weakExit(q url.Values, trust string) error {
	if q.Get("clay") != "" && weak(trust) {
		return &exit{code: exitWeakRate}
	}
	return nil
}

func askSize(c *cobra.Command, _ []string) error {
	names, _ := api.SizeParameters()
	q := askedLengths(c, names)
	var a wire.Size
	done, err := askOrReckon(c, "/v1/size", q, q.Get("clay") != "", api.StatedSize, &a)
	if err != nil {
		return err
	}
	out := c.OutOrStdout()
	value, unit, stage, likely := a.WetMM, "mm", a.Asked.Stage, a.LikelyMM
	switch {
	case a.FiredMM != nil:
		value, stage = a.FiredMM, "fired"
	case a.WetML != nil:
		value, unit, likely = a.WetML, "ml", a.LikelyML
	case a.FiredML != nil:
		value, unit, stage, likely = a.FiredML, "ml", "fired", a.LikelyML
	}
	if plain, _ := c.Flags().GetBool("plain"); plain && value != nil {
		fmt.Fprintf(out, "%g\n", *value)
	} else if !done && value != nil {
		fmt.Fprintf(out, "%s: %.1f %s", stage, *value, unit)
		if len(likely) == 2 {
			fmt.Fprintf(out, ", likely %.1f to %.1f", *likely[0], *likely[1])
		}
		fmt.Fprintln(out)
		var stages []string
		for _, s := range a.Stages {
			v := s.MM
			if v == nil {
				v = s.ML
			}
			stages = append(stages, s.Stage+" "+num(v, "%.1f"))
		}
		fmt.Fprintf(out, "The same piece: %s %s\n", strings.Join(stages, ", "), unit)
		printTrust(out, a.Trust, a.TrustWhy.String())
		printCautions(out, a.Cautions)
	}
	return weakExit(q, a.Trust)
}
