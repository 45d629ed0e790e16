package main

import (
	"fmt"
	"io"
	"net/url"
	"strings"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln/message"

	"github.com/spf13/cobra"

	"lidwright/tiles/shrinkage"
)

func rateCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "rate CLAY", Short: "How much a clay shrinks, how sure that is, and why",
		Args: cobra.ExactArgs(1),
		Long: "Asks the daemon for a clay's shrink between two stages, at the usual firing or at another heat. With --why also what moved it and what would sharpen it.",
		Example: `  lidwright rate tern
  lidwright rate tern --batch B --cone 7
  lidwright rate tern --from dry --to bisque --heat-work-c 1060 --kind bisque
  lidwright rate tern --why`,
		RunE: askRate,
	}
	c.Flags().SortFlags = false
	for _, f := range rateFlags {
		c.Flags().String(strings.ReplaceAll(f[0], "_", "-"), "", f[1])
	}
	c.Flags().Bool("why", false, "what moved it, which reading looks wrong, which bar would sharpen it, batch against batch")
	return c
}

var rateFlags = [][2]string{
	{"batch", "newest open batch if not named"},
	{"kind", "bisque, glaze, once or other; glaze if not said"},
	{"atmosphere", "oxidation, reduction or unknown"},
	{"cone", "rate at this cone instead of the usual firing: 7, 6+0.1"},
	{"heat_work_c", "rate at this heat work, °C"},
	{"kiln", "kiln of the usual firing"},
	{"from", "stage: wet if not said"},
	{"to", "later stage: fired if not said"},
	{"forming", "thrown_ring if not said"},
}

func askRate(c *cobra.Command, args []string) error {
	var names []string
	for _, f := range rateFlags {
		names = append(names, f[0])
	}
	q := asked(c, names)
	path := "/v1/clays/" + url.PathEscape(args[0])
	if why, _ := c.Flags().GetBool("why"); why {
		q.Del("to")
		var w whyAnswer
		done, err := get(c, path+"/moves", q, &w)
		if err == nil && !done {
			w.print(c.OutOrStdout())
		}
		return err
	}
	var a rateAnswer
	done, err := get(c, path+"/shrinkage", q, &a)
	if err != nil {
		return err
	}
	if !done {
		a.print(c.OutOrStdout())
	}
	if weak(a.Trust) {
		return &exit{code: exitWeakRate}
	}
	return nil
}

// words is a trust word of an answer as a person reads it.
func words(trust string) string { return shrinkage.Reliability(trust).Words() }

// weak tells a rate that is not this batch's own.
func weak(trust string) bool {
	switch shrinkage.Reliability(trust) {
	case shrinkage.OutsideTestedHeat, shrinkage.NoBars, shrinkage.MadeOrFiredDifferently, shrinkage.Old:
		return true
	}
	return false
}

type rateAnswer wire.Shrinkage

func percent(v *float64) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf("%.1f", 100**v)
}

func (a rateAnswer) print(w io.Writer) {
	if a.At.For.String() != "" {
		fmt.Fprintf(w, "For %s.\n", a.At.For)
	}
	at := fmt.Sprintf("at the %s %s firing", a.At.From, a.At.Kind)
	switch a.At.From {
	case "bag":
		at = fmt.Sprintf("at the cone on the bag, %s", a.At.Kind)
	case "asked":
		at = fmt.Sprintf("at the %s firing asked about", a.At.Kind)
	}
	fmt.Fprintf(w, "%s/%s, %s to %s %s (%s): %s %%, likely %s to %s; the next piece %s to %s\nTrust: %s (%s)\n",
		a.Clay, a.Batch, a.From, a.To, at, worded(a.At.ConeWords), percent(a.TotalRatio),
		percent(a.LikelyLow),
		percent(a.LikelyHigh), percent(a.NextLow), percent(a.NextHigh), words(a.Trust), a.TrustWhy.String())
}

type whyAnswer wire.Why

func (a whyAnswer) print(w io.Writer) {
	many := func(n int, what string) string {
		if n != 1 {
			what += "s"
		}
		return fmt.Sprintf("%d %s", n, what)
	}
	fmt.Fprintf(w, "%s/%s rests on %s in %s, %s crossed out.\n", a.Clay, a.Batch, many(a.RestsOn.Bars, "bar"),
		many(a.RestsOn.Loads, "load"), many(a.RestsOn.Struck, "reading"))
	fmt.Fprintln(w, goesBy(a.Source, a.OtherStudios))
	if a.OtherStudios != nil {
		for _, says := range a.OtherStudios.Advice {
			fmt.Fprintln(w, says)
		}
	}
	if len(a.Items) == 0 {
		fmt.Fprintln(w, "Nothing moved it yet by 0.05 points.")
	}
	for _, m := range a.Items {
		day, _, _ := strings.Cut(str(m.At), "T")
		fmt.Fprintf(w, "%s  %s to %s %%  %s\n", day, percent(m.Was), percent(m.Now),
			message.Join(", ", m.Because...))
	}
	for _, l := range a.LeftOut {
		if l.Distrusted {
			fmt.Fprintln(w, looksWrong(l.Bar, l.Stage, l.OffMM, l.Why.String()))
		}
	}
	for _, b := range a.Batches {
		differs := "no difference seen"
		if b.Differs {
			differs = "differs"
		}
		fmt.Fprintf(w, "Against batch %s: %s mm smaller on %.0f mm, likely %s to %s: %s.\n", b.Batch,
			num(b.MoreMM, "%+.1f"), a.OnLidMM, num(b.LowMM, "%+.1f"), num(b.HighMM, "%+.1f"), differs)
		if b.Advice != nil {
			fmt.Fprintln(w, *b.Advice)
		}
	}
	if a.Sharpens {
		for _, g := range a.NextBars {
			fmt.Fprintf(w, "To sharpen it: %s.\n", g.Says)
		}
	} else {
		fmt.Fprintln(w, "One or two more bars would not sharpen it by 0.05 mm.")
	}
	for _, p := range a.Probes {
		if p.Disagree {
			fmt.Fprintf(w, "LOOK  The bars and the probe %s disagree: %s ± %s °C. Put witness cones in the next load.\n", p.Probe, num(p.DriftC, "%+.0f"), num(p.DriftSDC, "%.0f"))
		}
	}
}

// goesBy is what a rate goes by beside its own bars.
func goesBy(source string, others *wire.BodyTold) string {
	says := "Beside its own bars it goes by the handbook"
	switch {
	case source == string(shrinkage.FromOthers) && others != nil:
		return fmt.Sprintf("Beside its own bars it goes by %d other studios, %s (other_studios).",
			others.Studios,
			others.Made.Format(time.DateOnly))
	case source == string(shrinkage.FromSupplier):
		says = "Beside its own bars it goes by the supplier's figure"
	}
	if others != nil && others.LeftOut {
		says += fmt.Sprintf("; its own bars tell another rate than %d other studios, %s", others.Studios,
			others.Made.Format(time.DateOnly))
	}
	return says + " (" + source + ")."
}

// looksWrong says of a reading that it is left out, by how much it is off, why, and what to do.
func looksWrong(bar, stage string, off *float64, why string) string {
	return fmt.Sprintf("Looks wrong, left out: bar %s, %s, %s mm off: %s. Measure it again, or cross it out.",
		bar, stage, num(off, "%+.1f"), why)
}
