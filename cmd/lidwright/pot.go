package main

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"lidwright/api/wire"

	"github.com/spf13/cobra"

	"lidwright/tiles"
)

func potCommand() *cobra.Command {
	c := &cobra.Command{Use: "pot", Short: "Pot cards: the sizes of pots, made at the wheel",
		Example: "  lidwright pot new --form \"teapot 0.9 l\" --collar 104.5 --opening 92.5 --clay tern\n  lidwright pot find kt 212"}
	fresh := &cobra.Command{
		Use: "new", Short: "Keep the card of a pot, or of a board of them alike",
		Args: cobra.NoArgs, RunE: newPots,
		Example: "  lidwright pot new --form \"teapot 0.9 l\" --mark KT --number 212 --collar 104.5 --opening 92.5 --clay tern --count 12",
	}
	f := fresh.Flags()
	for name, help := range map[string]string{"form": "name of the form", "mark": "maker's mark",
		"number":  "as scratched into the first pot; the others count on",
		"seat":    "inset (if not said), flange, cap, drop_in, over, stopper",
		"opening": "of the ledge", "collar-stage": "wet if not said",
		"together": "in_place, same_load, apart", "clay": "of the pots: tern, or tern/B",
		"lid-clay": "of the lids, if another", "set": "width the lids will be set to",
		"made-on": "2026-01-15"} {
		f.String(name, "", help)
	}
	f.StringArray("collar", nil, "gallery, wall to wall; again for another way round")
	f.Bool("seat-glazed", false, "seat and lid edge are glazed")
	f.Int("count", 1, "how many alike")
	find := &cobra.Command{
		Use: "find [WORDS]", Short: "Find cards by mark, number, form or date",
		Example: "  lidwright pot find kt 212",
		RunE: func(c *cobra.Command, args []string) error {
			var a wire.List[wire.Pot]
			done, err := get(c, "/v1/pots", url.Values{"find": {strings.Join(args, " ")}}, &a)
			if err != nil || done {
				return err
			}
			rows := [][]string{{"ID", "MARK", "NUMBER", "FORM", "MADE", "GALLERY", "OPENING", "SET", "LID"}}
			for _, p := range a.Items {
				var collars []string
				for _, w := range p.Collar {
					collars = append(collars, fmt.Sprintf("%.1f", w))
				}
				rows = append(rows, []string{p.ID, p.Mark, p.Number, p.Form, p.MadeOn,
					strings.Join(collars, "/"), num(p.Opening, "%.1f"), num(p.Set, "%.1f"),
					num(p.Measured, "%.1f")})
			}
			table(c.OutOrStdout(), rows)
			return nil
		},
	}
	lid := &cobra.Command{
		Use: "lid ID WIDTH", Short: "Write on a card how wide its lid was thrown, measured once",
		Args: cobra.ExactArgs(2), Example: "  lidwright pot lid 0193d0a0-0000-7000-8000-000000000006 102.3",
		RunE: func(c *cobra.Command, args []string) error {
			width, err := lengthOf(c, "WIDTH", args[1])
			if err != nil {
				return err
			}
			cl, err := clientOf(c)
			if err != nil {
				return err
			}
			b, err := cl.Get(c.Context(), "/v1/pots/"+url.PathEscape(args[0]), nil, "")
			if err != nil {
				return err
			}
			card := map[string]any{}
			if err := decode(b, &card); err != nil {
				return err
			}
			delete(card, "id")
			delete(card, "lid_question")
			card["lid_mm"] = width
			done, err := put(c, "/v1/pots/"+url.PathEscape(args[0]), card, nil)
			if err == nil && !done {
				fmt.Fprintf(c.OutOrStdout(), "Lid of %s %s thrown %.1f mm.\n",
					card["form"], card["number"], width)
			}
			return err
		},
	}
	c.AddCommand(fresh, find, lid)
	return c
}

// lengthOf reads a length from the command line, in mm.
func lengthOf(c *cobra.Command, field, text string) (float64, error) {
	u, _ := c.Flags().GetString("units")
	unit, err := tiles.ParseLengthUnit("units", u, tiles.MM)
	if err != nil {
		return 0, err
	}
	l, err := tiles.ParseLength(field, text, unit)
	if err != nil {
		return 0, err
	}
	return float64(l.Millimetre()), nil
}

func newPots(c *cobra.Command, _ []string) error {
	f := c.Flags()
	text := func(name string) string { v, _ := f.GetString(name); return v }
	body := map[string]any{"form": text("form"), "body": text("clay")}
	for member, flag := range map[string]string{"mark": "mark", "seat": "seat",
		"collar_stage": "collar-stage", "together": "together", "lid": "lid-clay", "made_on": "made-on"} {
		if v := text(flag); v != "" {
			body[member] = v
		}
	}
	if glazed, _ := f.GetBool("seat-glazed"); glazed {
		body["seat_glazed"] = true
	}
	collars, _ := f.GetStringArray("collar")
	widths := []float64{}
	for _, w := range collars {
		mm, err := lengthOf(c, "--collar", w)
		if err != nil {
			return err
		}
		widths = append(widths, mm)
	}
	body["collar_mm"] = widths
	for member, flag := range map[string]string{"opening_mm": "opening", "set_mm": "set"} {
		if v := text(flag); v != "" {
			mm, err := lengthOf(c, "--"+flag, v)
			if err != nil {
				return err
			}
			body[member] = mm
		}
	}
	count, _ := f.GetInt("count")
	if count < 1 || count > 60 {
		return &exit{exitWrongUse, "--count must lie from 1 to 60"}
	}
	from, numbered := strconv.Atoi(text("number"))
	for i := range count {
		if n := text("number"); n != "" {
			body["number"] = n
			if numbered == nil {
				body["number"] = strconv.Itoa(from + i)
			} else if count > 1 {
				body["number"] = fmt.Sprintf("%s-%d", n, i+1)
			}
		}
		id := newID(c)
		done, err := put(c, "/v1/pots/"+id, body, nil)
		if err != nil {
			return err
		}
		if !done {
			fmt.Fprintf(c.OutOrStdout(), "%s %v %v\n", id, body["form"], body["number"])
		}
	}
	return nil
}
