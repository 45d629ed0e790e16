package main

import (
	"fmt"
	"io"
	"net/url"
	"strings"

	"lidwright/api/wire"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"lidwright/api"
	"lidwright/tiles"
)

func lidCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "lid",
		Short: "How wide to throw a lid, its gap, or the gallery for it",
		Long: `Sizes a lid from bars (with --clay, asks the daemon) or from rates that you state (needs no daemon).
A length is written 104.5, 104,5, 104.5mm, 3 3/4 in; a share 0.06 or 6%.`,
		Example: `  lidwright lid --collar 104.5 --opening 92.5 --clay tern
  lidwright lid --collar 91.5 --collar-stage fired --clay tern       a lid for a fired pot
  lidwright lid --lid 103.0 --clay tern                              the gallery for a lid
  lidwright lid --collar 96 --body-drying-ratio 0.06 --body-firing-ratio 0.07 --play-mm 1.5`,
		Args: cobra.NoArgs,
		RunE: sizeLid,
	}
	c.Example += `
  lidwright lid --collar 91.5 --collar-stage fired --wet-collar 104.6 --clay tern     by what the pot itself lost
  lidwright lid --collar 104.5 --clay tern --trim yes                thrown large, trimmed at leather-hard
  lidwright lid --collar 104.5 --clay tern --lid-wet 103.5 --lid-now 100.1 --collar-now 100.6     trim it to`
	c.Flags().SortFlags = false // "the same in mm" stands behind what it is the same as
	parameterFlags(c, api.LidParameters())
	c.Flags().Bool("yes", false, "answer though a size is asked about: accept=unusual")
	return c
}

// parameterFlags makes a flag of each parameter of a question.
func parameterFlags(c *cobra.Command, all []api.Parameter) {
	for _, p := range all {
		for _, n := range p.Names() {
			flag := strings.ReplaceAll(n, "_", "-")
			if p.Most > 1 {
				c.Flags().StringArray(flag, nil, p.Help(n))
			} else {
				c.Flags().String(flag, "", p.Help(n))
			}
		}
	}
}

// parameterNames are the names by which a query has parameters.
func parameterNames(all []api.Parameter) (names []string) {
	for _, p := range all {
		names = append(names, p.Names()...)
	}
	return names
}

// asked gathers the flags that were given as parameters of the question.
func asked(c *cobra.Command, known []string) url.Values {
	q := url.Values{}
	c.Flags().Visit(func(f *pflag.Flag) {
		name := strings.ReplaceAll(f.Name, "-", "_")
		for _, k := range known {
			if k != name {
				continue
			}
			if many, ok := f.Value.(pflag.SliceValue); ok {
				q[name] = many.GetSlice()
			} else {
				q.Set(name, f.Value.String())
			}
		}
	})
	return q
}

func sizeLid(c *cobra.Command, _ []string) error {
	q := askedLengths(c, parameterNames(api.LidParameters()))
	if yes, _ := c.Flags().GetBool("yes"); yes {
		if q.Get("accept") == "wide" {
			q.Set("accept", "all")
		} else {
			q.Set("accept", "unusual")
		}
	}
	var a lidSaid
	done, err := askOrReckon(c, "/v1/lid", q, api.NamesClay(q), api.StatedLid, &a)
	if err != nil {
		return err
	}
	out := c.OutOrStdout()
	unit, _ := tiles.ParseLengthUnit("unit", q.Get("unit"), tiles.MM)
	width := func(mm float64) string { return unit.Format(tiles.Millimetre(mm)) }
	if plain, _ := c.Flags().GetBool("plain"); plain && !done && a.SetMM != nil {
		text := width(*a.SetMM)
		fmt.Fprintln(out, text[:strings.LastIndexByte(text, ' ')])
	} else if !done {
		a.print(out, width)
	}
	if a.HeldBack != nil || a.Asked.Rates != "stated" && weak(a.Trust) {
		return &exit{code: exitWeakRate}
	}
	return nil
}

// lidSaid is what the command says of a lid.
type lidSaid wire.Lid

// print says the answer in words; width writes a length in the unit that was asked for.
func (a lidSaid) print(out io.Writer, width func(mm float64) string) {
	if a.For.String() != "" {
		fmt.Fprintf(out, "For %s.\n", a.For)
	}
	fmt.Fprintln(out, a.Says)
	if a.FitChance != nil {
		fmt.Fprintf(out, "Chance that it fits: %.0f %%\n", 100**a.FitChance)
	}
	for _, s := range a.Spread {
		if s.Lids > 1 {
			var sizes []string
			for _, v := range s.SizesMM {
				sizes = append(sizes, width(*v))
			}
			fmt.Fprintf(out, "%d lids of %s: %.0f %%\n", s.Lids, strings.Join(sizes, ", "), 100**s.FitChance)
		}
	}
	if a.Bowl != nil && !a.Bowl.Says.IsZero() {
		fmt.Fprintln(out, a.Bowl.Says)
	}
	if a.Cheapest != nil && !a.Cheapest.Says.IsZero() {
		fmt.Fprintln(out, a.Cheapest.Says)
	}
	if len(a.Sharpen) > 0 {
		fmt.Fprintf(out, "What would help most: %s (%.0f %%)\n", a.Sharpen[0].Does,
			100**a.Sharpen[0].FitChance)
	}
	printTrust(out, a.Trust, a.TrustWhy.String())
	for _, l := range a.LeftOut {
		fmt.Fprintln(out, looksWrong(l.Bar, l.Stage, l.OffMM, l.Why.String()))
	}
	printCautions(out, a.Cautions)
}

func printTrust(out io.Writer, trust, why string) {
	fmt.Fprintf(out, "Trust: %s (%s)\n", words(trust), why)
}

func printCautions(out io.Writer, ids []string) {
	for _, id := range ids {
		fmt.Fprintf(out, "Mind: %s\n", api.CautionOf(id))
	}
}
