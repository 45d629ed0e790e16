package main

import (
	"fmt"
	"net/url"
	"strings"

	"lidwright/api/wire"

	"github.com/spf13/cobra"
)

func resultCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "result", Short: "How the lids of a whole board sat, in counts",
		Args: cobra.NoArgs, RunE: keepResult,
		Long: `Set it on: it won't go in, too big. Turn it full circle: it binds one way, tight. Push it to one
side: it slips past the ledge, drops in. Let go: it rattles, loose; else good. One measured play a
board teaches as much as several counts.`,
		Example: `  lidwright result --find "kt teapot 2026-01-15" --good 13 --tight 2 --rocks 1 --play 1.3
  lidwright result --pot ID --pot ID --good 2 --load last
  lidwright result list
  lidwright result cross-out ID --why "wrong board"`,
	}
	f := c.Flags()
	for name, help := range map[string]string{"too-big": "won't go in", "tight": "binds one way",
		"good": "sits", "loose": "rattles", "drops-in": "slips past the ledge",
		"not-looked-at": "nobody tried them",
		"glued":         "lost: held by glaze", "rocks": "lost: warped",
		"chipped": "lost: broken at the edge", "dropped": "lost: fell",
		"lids": "lids on the board; those not told of count as not looked at"} {
		f.Int(name, 0, help)
	}
	for name, help := range map[string]string{"find": "the pot cards that have all these words are the board",
		"load": "the load, by its number, its id, or last", "form": "form, without cards",
		"maker": "mark of who threw the lids", "clay": "clay and batch, without cards: tern/B",
		"by": "mark of who looked"} {
		f.String(name, "", help)
	}
	f.StringArray("pot", nil, "id of a pot card of the board; may be given again")
	f.StringArray("play", nil, "a play measured on a fired pair, across; may be given again")
	f.StringArray("thrown", nil, "width of a lid as thrown; may be given again")
	crossOut := &cobra.Command{
		Use: "cross-out ID", Short: "Cross a board out; it stays to be seen", Args: cobra.ExactArgs(1),
		Example: "  lidwright result cross-out 0193d0a0-0000-7000-8000-000000000006 --why \"wrong board\"",
		RunE: func(c *cobra.Command, args []string) error {
			why, _ := c.Flags().GetString("why")
			if strings.TrimSpace(why) == "" {
				return &exit{exitWrongUse, "say why it is crossed out: --why \"wrong board\""}
			}
			done, err := put(c, "/v1/lid-results/"+url.PathEscape(args[0])+"/strike",
				map[string]any{"why": why}, nil)
			if err == nil && !done {
				fmt.Fprintln(c.OutOrStdout(), "Crossed out.")
			}
			return err
		},
	}
	crossOut.Flags().String("why", "", "why it is crossed out")
	list := &cobra.Command{
		Use: "list", Short: "How lids sat up to now, and what they taught", Args: cobra.NoArgs,
		Example: "  lidwright result list", RunE: listResults,
	}
	list.Flags().String("form", "", "only of this form")
	list.Flags().String("clay", "", "only of this clay")
	c.AddCommand(crossOut, list)
	return c
}

// partSaid is how lids shrink beside the pots that they were made for.
type partSaid wire.LidDifference

func (p partSaid) known() bool {
	return p.Fits > 0 && p.Value != nil && len(p.Likely) == 2 && p.Likely[0] != nil && p.Likely[1] != nil
}

// than is a difference in per cent without a minus sign.
func (p partSaid) than(ratio *float64) string {
	if *ratio < 0 {
		return fmt.Sprintf("%.2f %% less", -100**ratio)
	}
	return fmt.Sprintf("%.2f %% more", 100**ratio)
}

func (p partSaid) short() string {
	if !p.known() {
		return "-"
	}
	return p.than(p.Value)
}

func (p partSaid) String() string {
	if !p.known() {
		return "No lid told yet whether your lids shrink as your pots do."
	}
	return fmt.Sprintf("Your lids shrink %s than your pots, likely %s to %s, from %d lids.", p.than(p.Value),
		p.than(p.Likely[0]), p.than(p.Likely[1]), p.Fits)
}

func keepResult(c *cobra.Command, _ []string) error {
	f := c.Flags()
	count := func(flag string) int { n, _ := f.GetInt(flag); return n }
	text := func(flag string) string { v, _ := f.GetString(flag); return v }
	body := wire.LidResultBody{
		Load: text("load"), Form: text("form"), Maker: text("maker"), Body: text("clay"),
		By: text("by"), Lids: count("lids"),
		Counts: wire.Sat{TooBig: count("too-big"), Tight: count("tight"), Good: count("good"),
			Loose:   count("loose"),
			DropsIn: count("drops-in"), NotLookedAt: count("not-looked-at")},
		Losses: wire.Losses{Glued: count("glued"), Rocks: count("rocks"), Chipped: count("chipped"),
			Dropped: count("dropped")},
	}
	var err error
	if body.Plays, err = lengthsOf(c, "play"); err != nil {
		return err
	}
	if body.Thrown, err = lengthsOf(c, "thrown"); err != nil {
		return err
	}
	if body.Pots, err = potsOf(c); err != nil {
		return err
	}
	if body.Load != "" {
		if body.Load, err = loadID(c, body.Load); err == nil {
			err = isLoad(c, body.Load)
		}
		if err != nil {
			return err
		}
	}
	id := newID(c)
	var a wire.LidResultKept
	done, err := put(c, "/v1/lid-results/"+id, body, &a)
	if err != nil || done {
		return err
	}
	out := c.OutOrStdout()
	fmt.Fprintf(out, "Kept. %s. %s\n", countsSaid(a.Counted, false, a.WhyNot),
		partSaid(a.LidDifference))
	for _, s := range a.Says {
		if a.WhyNot != nil && strings.EqualFold(s.String()+".", a.WhyNot.Text.String()) {
			continue
		}
		fmt.Fprintf(out, "Note: %s\n", s)
	}
	if len(a.Cautions) > 0 {
		printCautions(out, a.Cautions)
	}
	fmt.Fprintf(out, "Undo: lidwright result cross-out %s --why ...\n", id)
	return nil
}

// countsSaid says whether what was kept counts, and if not why and what to do, without a full stop.
func countsSaid(counts, pending bool, why *wire.WhyNot) string {
	switch {
	case why != nil && why.Fix != nil:
		return "It does not count: " + why.Text.String() + " " + why.Fix.Text.String() + ": " + why.Fix.Link
	case why != nil:
		return "It does not count: " + strings.TrimSuffix(why.Text.String(), ".")
	case counts && pending:
		return "It counts once its firing is over"
	}
	return "It counts"
}

// lengthsOf reads the lengths of a flag that may be given again, in mm.
func lengthsOf(c *cobra.Command, flag string) (mm []float64, err error) {
	list, _ := c.Flags().GetStringArray(flag)
	for _, l := range list {
		v, err := lengthOf(c, "--"+flag, l)
		if err != nil {
			return nil, err
		}
		mm = append(mm, v)
	}
	return mm, nil
}

// potsOf are the ids of the pot cards that the flags name, and of those that --find finds.
func potsOf(c *cobra.Command) ([]string, error) {
	pots, _ := c.Flags().GetStringArray("pot")
	words, _ := c.Flags().GetString("find")
	if words == "" {
		return pots, nil
	}
	cl, err := clientOf(c)
	if err != nil {
		return nil, err
	}
	b, err := cl.Get(c.Context(), "/v1/pots", url.Values{"find": {words}, "limit": {"500"}}, "")
	if err != nil {
		return nil, err
	}
	var found wire.List[wire.Pot]
	if err := decode(b, &found); err != nil {
		return nil, err
	}
	if len(found.Items) == 0 {
		return nil, &exit{exitFailed, "no pot card has all of these words: " + words +
			"; see lidwright pot find"}
	}
	for _, p := range found.Items {
		pots = append(pots, p.ID)
	}
	return pots, nil
}

func listResults(c *cobra.Command, _ []string) error {
	var a wire.LidResults
	done, err := get(c, "/v1/lid-results", asked(c, []string{"form", "clay"}), &a)
	if err != nil || done {
		return err
	}
	out := c.OutOrStdout()
	rows := [][]string{{"FORM", "CLAY", "BY", "BOARDS", "TOO BIG", "TIGHT", "GOOD", "LOOSE", "DROPS IN",
		"LOST", "LIDS SHRINK"}}
	for _, t := range a.Tally {
		lost := t.Losses.Glued + t.Losses.Rocks + t.Losses.Chipped + t.Losses.Dropped
		rows = append(rows, []string{t.Form, t.Body, t.Maker, fmt.Sprint(t.Boards),
			fmt.Sprint(t.Counts.TooBig), fmt.Sprint(t.Counts.Tight), fmt.Sprint(t.Counts.Good),
			fmt.Sprint(t.Counts.Loose), fmt.Sprint(t.Counts.DropsIn), fmt.Sprint(lost),
			partSaid(t.LidDifference).short()})
	}
	table(out, rows)
	for _, m := range a.Makers {
		fmt.Fprintf(out, "%s throws to %s mm and measures to %s mm, one sd, from %d lids measured after throwing and %d repeats and plays\n", m.Maker, num(m.ThrowSD, "%.2f"), num(m.MeasureSD, "%.2f"), m.Lids, m.Readings)
	}
	if a.HeldOf > 0 {
		fmt.Fprintf(out, "Our ranges held %d times of %d.\n", a.Held, a.HeldOf)
	}
	if a.LeftOut > 0 {
		fmt.Fprintf(out, "%d boards left out: most of their lids were not looked at.\n", a.LeftOut)
	}
	return nil
}
