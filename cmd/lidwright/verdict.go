package main

import (
	"fmt"
	"net/url"
	"strings"

	"github.com/spf13/cobra"
)

func verdictCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "verdict", Short: "How the lids of a whole board sat, in counts", Args: cobra.NoArgs, RunE: keepVerdict,
		Long: `Set it on: it won't go in, too big. Turn it full circle: it binds one way, tight. Push it to one
side: it slips past the ledge, drops in. Let go: it rattles, loose; else good. One measured play a
board teaches as much as several verdicts.`,
		Example: `  lidwright verdict --find "kt teapot 2026-01-15" --good 13 --tight 2 --rocks 1 --play 1.3
  lidwright verdict --pot ID --pot ID --good 2 --load ID
  lidwright verdict list
  lidwright verdict strike ID --why "wrong board"`,
	}
	f := c.Flags()
	for name, help := range map[string]string{"too-big": "won't go in", "tight": "binds one way", "good": "sits", "loose": "rattles", "drops-in": "slips past the ledge", "not-looked-at": "nobody tried them",
		"glued": "lost: held by glaze", "rocks": "lost: warped", "chipped": "lost: broken at the edge", "dropped": "lost: fell", "lids": "lids on the board; those not told of count as not looked at"} {
		f.Int(name, 0, help)
	}
	for name, help := range map[string]string{"find": "the pot cards that have all these words are the board", "load": "id of the load", "form": "form, without cards", "maker": "mark of who threw the lids", "clay": "clay and batch, without cards: tern/B", "by": "mark of who looked"} {
		f.String(name, "", help)
	}
	f.StringArray("pot", nil, "id of a pot card of the board; may be given again")
	f.StringArray("play", nil, "a play measured on a fired pair, across; may be given again")
	f.StringArray("thrown", nil, "width of a lid as thrown; may be given again")
	strike := &cobra.Command{
		Use: "strike ID", Short: "Cross a board out; it stays to be seen", Args: cobra.ExactArgs(1), Example: "  lidwright verdict strike 0193d0a0-0000-7000-8000-000000000006 --why \"wrong board\"",
		RunE: func(c *cobra.Command, args []string) error {
			why, _ := c.Flags().GetString("why")
			if strings.TrimSpace(why) == "" {
				return &exit{exitWrongUse, "say why it is crossed out: --why \"wrong board\""}
			}
			done, err := put(c, "/v1/verdicts/"+url.PathEscape(args[0])+"/strike", map[string]any{"why": why}, nil)
			if err == nil && !done {
				fmt.Fprintln(c.OutOrStdout(), "Struck.")
			}
			return err
		},
	}
	strike.Flags().String("why", "", "why it is crossed out")
	list := &cobra.Command{
		Use: "list", Short: "The tally, and what lids taught", Args: cobra.NoArgs, Example: "  lidwright verdict list", RunE: listVerdicts,
	}
	list.Flags().String("form", "", "only of this form")
	list.Flags().String("clay", "", "only of this clay")
	c.AddCommand(strike, list)
	return c
}

// partSaid is a part difference as the daemon says it.
type partSaid struct {
	Value  *float64
	Likely []*float64
	Fits   int
}

func (p partSaid) String() string {
	if p.Value == nil || len(p.Likely) != 2 || p.Likely[0] == nil || p.Likely[1] == nil {
		return "-"
	}
	return fmt.Sprintf("%+.2f points, likely %+.2f to %+.2f, from %d lids", 100**p.Value, 100**p.Likely[0], 100**p.Likely[1], p.Fits)
}

func keepVerdict(c *cobra.Command, _ []string) error {
	f := c.Flags()
	counts, losses := map[string]int{}, map[string]int{}
	body := map[string]any{"counts": counts, "losses": losses}
	for _, group := range []struct {
		to    map[string]int
		names []string
	}{{counts, []string{"too-big", "tight", "good", "loose", "drops-in", "not-looked-at"}}, {losses, []string{"glued", "rocks", "chipped", "dropped"}}} {
		for _, n := range group.names {
			if v, _ := f.GetInt(n); v != 0 {
				group.to[strings.ReplaceAll(n, "-", "_")] = v
			}
		}
	}
	if n, _ := f.GetInt("lids"); n != 0 {
		body["lids"] = n
	}
	for member, flag := range map[string]string{"load": "load", "form": "form", "maker": "maker", "body": "clay", "by": "by"} {
		if v, _ := f.GetString(flag); v != "" {
			body[member] = v
		}
	}
	for member, flag := range map[string]string{"plays_mm": "play", "thrown_mm": "thrown"} {
		list, _ := f.GetStringArray(flag)
		var mm []float64
		for _, l := range list {
			v, err := lengthOf(c, "--"+flag, l)
			if err != nil {
				return err
			}
			mm = append(mm, v)
		}
		if mm != nil {
			body[member] = mm
		}
	}
	pots, _ := f.GetStringArray("pot")
	if words, _ := f.GetString("find"); words != "" {
		cl, err := clientOf(c)
		if err != nil {
			return err
		}
		b, err := cl.Get(c.Context(), "/v1/pots", url.Values{"find": {words}, "limit": {"500"}}, "")
		if err != nil {
			return err
		}
		var found struct{ Items []struct{ ID string } }
		if err := decode(b, &found); err != nil {
			return err
		}
		if len(found.Items) == 0 {
			return &exit{exitFailed, "no pot card has all of these words: " + words}
		}
		for _, p := range found.Items {
			pots = append(pots, p.ID)
		}
	}
	if pots != nil {
		body["pots"] = pots
	}
	id := newID(c)
	var a struct {
		Part     partSaid `json:"part_difference_ratio"`
		Says     []string
		Cautions []string
	}
	done, err := put(c, "/v1/verdicts/"+id, body, &a)
	if err != nil || done {
		return err
	}
	out := c.OutOrStdout()
	fmt.Fprintf(out, "Kept. Lids less bodies: %s\n", a.Part)
	for _, s := range a.Says {
		fmt.Fprintf(out, "Note: %s\n", s)
	}
	if len(a.Cautions) > 0 {
		fmt.Fprintf(out, "Mind: %s\n", strings.Join(a.Cautions, ", "))
	}
	fmt.Fprintf(out, "Undo: lidwright verdict strike %s --why ...\n", id)
	return nil
}

func listVerdicts(c *cobra.Command, _ []string) error {
	var a struct {
		Tally []struct {
			Form, Body, Lid, Maker string
			Boards                 int
			Counts                 map[string]int
			Losses                 map[string]int
			Part                   partSaid `json:"part_difference_ratio"`
		}
		Held    int `json:"answers_held"`
		HeldOf  int `json:"answers_held_of"`
		LeftOut int `json:"left_out"`
		Makers  []struct {
			Maker          string
			Lids, Readings int
			Throw          *float64 `json:"throw_sd_mm"`
			Measure        *float64 `json:"measure_sd_mm"`
		}
	}
	done, err := get(c, "/v1/verdicts", asked(c, []string{"form", "clay"}), &a)
	if err != nil || done {
		return err
	}
	out := c.OutOrStdout()
	rows := [][]string{{"FORM", "CLAY", "BY", "BOARDS", "TOO BIG", "TIGHT", "GOOD", "LOOSE", "DROPS IN", "LOST", "LIDS LESS BODIES"}}
	for _, t := range a.Tally {
		lost := 0
		for _, n := range t.Losses {
			lost += n
		}
		n := func(what string) string { return fmt.Sprint(t.Counts[what]) }
		rows = append(rows, []string{t.Form, t.Body, t.Maker, fmt.Sprint(t.Boards), n("too_big"), n("tight"), n("good"), n("loose"), n("drops_in"), fmt.Sprint(lost), t.Part.String()})
	}
	table(out, rows)
	for _, m := range a.Makers {
		fmt.Fprintf(out, "%s throws to %s mm and measures to %s mm, one sd, from %d lids measured after throwing and %d repeats and plays\n", m.Maker, num(m.Throw, "%.2f"), num(m.Measure, "%.2f"), m.Lids, m.Readings)
	}
	if a.HeldOf > 0 {
		fmt.Fprintf(out, "Our ranges held %d times of %d.\n", a.Held, a.HeldOf)
	}
	if a.LeftOut > 0 {
		fmt.Fprintf(out, "%d boards left out: most of their lids were not looked at.\n", a.LeftOut)
	}
	return nil
}
