package main

import (
	"bytes"
	"fmt"
	"net/url"
	"os"
	"strconv"
	"strings"

	"lidwright/api/wire"

	"github.com/spf13/cobra"
)

func firingCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "firing FIRING", Short: "What one firing tells; cones, notes, and firings by hand",
		Args:    cobra.ExactArgs(1),
		Long:    "A FIRING is named by its id, or by kiln and number as big-blue/143, or as big-blue/last.",
		Example: "  lidwright firing big-blue/last\n  lidwright firing cone big-blue/last 6 45 --shelf middle\n  lidwright firing hand little-red bisque --sitter 06 --began-at 2026-01-13T18:00:00+01:00",
		RunE:    showFiring,
	}
	c.AddCommand(firingConeCommand(), firingNoteCommand(), firingSayCommand(), firingHandCommand())
	return c
}

// firingID finds the firing that people name.
func firingID(c *cobra.Command, name string) (string, error) {
	kiln, number, named := strings.Cut(name, "/")
	if !named {
		return name, nil
	}
	cl, err := clientOf(c)
	if err != nil {
		return "", err
	}
	b, err := cl.Get(c.Context(), "/v1/firings", url.Values{"kiln": {kiln}, "limit": {"500"}},
		"application/json")
	if err != nil {
		return "", err
	}
	var a wire.List[wire.Firing]
	if err := decode(b, &a); err != nil {
		return "", err
	}
	for _, f := range a.Items {
		if number == "last" || f.Name == kiln+" "+number {
			return f.ID, nil
		}
	}
	return "", &exit{exitFailed, "no firing " + name + "; lidwright firings lists them"}
}

func showFiring(c *cobra.Command, args []string) error {
	id, err := firingID(c, args[0])
	if err != nil {
		return err
	}
	var f wire.FiringWhole
	done, err := get(c, "/v1/firings/"+url.PathEscape(id), nil, &f)
	if err != nil || done {
		return err
	}
	w := c.OutOrStdout()
	fmt.Fprintln(w, strings.TrimSpace(fmt.Sprintf("%s, %s, %s, atmosphere %s. %s", f.Name, f.Status,
		first(f.Kind, "kind not said"), f.Atmosphere, f.Says)))
	fmt.Fprintf(w, "Cone: %s\n", first(f.ConeWords.String(), "not known"))
	if f.HeatWorkC != nil {
		likely := ""
		switch {
		case len(f.HeatLikely) == 2 && f.HeatLikely[1] != nil:
			likely = fmt.Sprintf(", likely %.0f to %.0f", *f.HeatLikely[0], *f.HeatLikely[1])
		case len(f.HeatLikely) == 2:
			likely = fmt.Sprintf(", at least %.0f", *f.HeatLikely[0])
		}
		fmt.Fprintf(w, "Heat work: %.1f °C%s", *f.HeatWorkC, likely)
		if f.CorrectionC != nil && f.AsIndicated != nil {
			fmt.Fprintf(w, "; the probe indicated %s, %+.1f °C was added to every reading",
				num(f.AsIndicated.HeatWorkC, "%.1f"), *f.CorrectionC)
		}
		fmt.Fprintln(w)
	}
	for _, s := range f.HandSays {
		fmt.Fprintln(w, s)
	}
	for _, r := range f.Remarks {
		fmt.Fprint(w, "- "+r.Says.String())
		if r.Limit.String() != "" {
			fmt.Fprintf(w, " %s (%s)", r.Limit, r.Standing)
		}
		fmt.Fprintln(w)
	}
	if f.ProbeSays.String() != "" {
		fmt.Fprintln(w, f.ProbeSays)
	}
	for _, k := range f.Cones {
		says := k.Words.String()
		if k.Shelf != "" {
			says += ", shelf " + k.Shelf
		}
		if k.Struck != nil {
			says += ", crossed out: " + k.Struck.Why
		} else if k.Says.String() != "" {
			says += ". " + k.Says.String()
		}
		fmt.Fprintf(w, "Witness: %s [%s]\n", says, k.ID)
	}
	for _, n := range f.Notes {
		if n.Struck == nil {
			fmt.Fprintf(w, "%s: %s\n", map[bool]string{true: "Incident", false: "Note"}[n.Incident], n.Text)
		}
	}
	return nil
}

// stood puts how a cone stood into a body: a word, or a tilt in degrees.
func stood(body map[string]any, text string) {
	if t, err := strconv.ParseFloat(strings.TrimSuffix(text, "°"), 64); err == nil {
		body["tilt_deg"] = t
		return
	}
	body["seen"] = text
}

func firingConeCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "cone FIRING CONE STOOD", Short: "Tell of a witness cone at unloading, or cross one out",
		Args:    cobra.ExactArgs(3),
		Long:    "STOOD is upright, leaning, down, or the tilt in degrees: 90 is level.",
		Example: "  lidwright firing cone big-blue/last 6 down --shelf middle\n  lidwright firing cone big-blue/last 7 45\n  lidwright firing cone big-blue/last cross-out 0193c0c1-0000-7000-8000-000000000005 --why \"wrong shelf\"",
		RunE: func(c *cobra.Command, args []string) error {
			id, err := firingID(c, args[0])
			if err != nil {
				return err
			}
			flag := func(name string) string { v, _ := c.Flags().GetString(name); return v }
			path := "/v1/firings/" + url.PathEscape(id) + "/cones/"
			if args[1] == "cross-out" {
				if err := goesWith(c, "a cone that is told", "shelf", "series"); err != nil {
					return err
				}
				done, err := put(c, path+url.PathEscape(args[2])+"/strike",
					map[string]any{"why": flag("why"), "by": flag("by")}, nil)
				if err == nil && !done {
					fmt.Fprintln(c.OutOrStdout(), "crossed out")
				}
				return err
			}
			if err := goesWith(c, "cross-out", "why"); err != nil {
				return err
			}
			body := map[string]any{"cone": args[1], "shelf": flag("shelf"), "by": flag("by")}
			if s := flag("series"); s != "" {
				body["series"] = s
			}
			stood(body, args[2])
			var k wire.Cone
			done, err := put(c, path+newID(c), body, &k)
			if err != nil || done {
				return err
			}
			says := map[string]string{"at": "", "under": "less than ", "over": "more than "}[k.Side]
			fmt.Fprintf(c.OutOrStdout(), "%s: %s%s °C\n", k.Words, says, num(k.HeatWorkC, "%.0f"))
			fmt.Fprintln(c.OutOrStdout(), countsSaid(k.Counted, k.Pending, k.WhyNot)+".")
			for _, s := range []string{k.Says.String(), k.ProbeSays.String()} {
				if s != "" && (k.WhyNot == nil || s != k.WhyNot.Text.String()) {
					fmt.Fprintln(c.OutOrStdout(), s)
				}
			}
			fmt.Fprintf(c.OutOrStdout(), "Undo: lidwright firing cone %s cross-out %s --why ...\n", args[0],
				k.ID)
			return nil
		},
	}
	c.Flags().String("shelf", "", "where it stood")
	c.Flags().String("series", "", "series of the cone; the studio's usual one if not said")
	c.Flags().String("by", "", "maker's mark")
	c.Flags().String("why", "", "reason, for cross-out")
	return c
}

func firingNoteCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "note FIRING TEXT", Short: "Write a note or an incident beside a firing",
		Args:    cobra.ExactArgs(2),
		Example: "  lidwright firing note big-blue/last \"vent off for 5 min\"\n  lidwright firing note big-blue/last \"the door seal glowed\" --incident",
		RunE: func(c *cobra.Command, args []string) error {
			id, err := firingID(c, args[0])
			if err != nil {
				return err
			}
			incident, _ := c.Flags().GetBool("incident")
			by, _ := c.Flags().GetString("by")
			done, err := put(c, "/v1/firings/"+url.PathEscape(id)+"/notes/"+newID(c),
				map[string]any{"text": args[1], "incident": incident, "by": by}, nil)
			if err == nil && !done {
				fmt.Fprintln(c.OutOrStdout(), "Kept beside the firing. A note changes no number.")
			}
			return err
		},
	}
	c.Flags().Bool("incident", false, "something that should not happen again")
	c.Flags().String("by", "", "maker's mark")
	return c
}

func firingSayCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "say FIRING", Short: "Say kind, atmosphere or status of a firing", Args: cobra.ExactArgs(1),
		Example: "  lidwright firing say big-blue/last --kind glaze --atmosphere reduction",
		RunE: func(c *cobra.Command, args []string) error {
			id, err := firingID(c, args[0])
			if err != nil {
				return err
			}
			var f wire.Firing
			done, err := put(c, "/v1/firings/"+url.PathEscape(id),
				flagsOf(c, "kind", "atmosphere", "status", "note", "by"), &f)
			if err == nil && !done {
				fmt.Fprintf(c.OutOrStdout(), "%s: %s, %s, %s\n", f.Name, f.Kind, f.Atmosphere, f.Status)
			}
			return err
		},
	}
	c.Flags().String("kind", "", "bisque, glaze, once or other")
	c.Flags().String("atmosphere", "", "oxidation, reduction or unknown")
	c.Flags().String("status", "", "ended or incomplete")
	c.Flags().String("note", "", "a word on it")
	c.Flags().String("by", "", "maker's mark")
	return c
}

// flagsOf is a body of the flags that were given; hyphens become underscores.
func flagsOf(c *cobra.Command, names ...string) map[string]any {
	body := map[string]any{}
	for _, n := range names {
		if v, _ := c.Flags().GetString(n); v != "" {
			body[strings.ReplaceAll(n, "-", "_")] = v
		}
	}
	return body
}

func firingHandCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "hand KILN KIND", Short: "Keep a firing that was not recorded", Args: cobra.ExactArgs(2),
		Long:    "Any part alone is enough. The heat work comes from readings every half hour or oftener near the top, else the\ncones on the shelf, else the sitter, else the cone that was meant. FILE has a line each: hours, a comma, °C.",
		Example: "  lidwright firing hand little-red bisque --sitter 06 --dropped-at 2026-01-14T03:35:00+01:00\n  lidwright firing hand little-red bisque --cone 06=down --cone 05=upright --ended-at 2026-01-14T04:00:00+01:00\n  lidwright firing hand little-red glaze --typed readings.csv --began-at 2026-01-13T18:00:00+01:00",
		RunE: func(c *cobra.Command, args []string) error {
			body := flagsOf(c, "atmosphere", "began-at", "ended-at", "intended-cone", "load", "note", "by")
			body["source"], body["kiln"], body["kind"] = "hand", args[0], args[1]
			if s := flagsOf(c, "sitter", "dropped-at"); s["sitter"] != nil {
				body["sitter"] = map[string]any{"cone": s["sitter"]}
				if d := s["dropped_at"]; d != nil {
					body["sitter"].(map[string]any)["dropped_at"] = d
				}
			}
			if file, _ := c.Flags().GetString("typed"); file != "" {
				typed, err := typedFile(file)
				if err != nil {
					return err
				}
				body["typed"] = typed
			}
			cones, _ := c.Flags().GetStringSlice("cone")
			shelf, _ := c.Flags().GetString("shelf")
			for _, text := range cones {
				if cone, how, _ := strings.Cut(text, "="); cone == "" || how == "" {
					return &exit{exitWrongUse,
						"--cone " + text + ": a cone and how it stood, as 06=down or 06=45"}
				}
			}
			if body["sitter"] == nil && c.Flags().Changed("dropped-at") {
				return &exit{exitWrongUse, "--dropped-at needs the cone in the sitter: --sitter 06"}
			}
			if len(cones) == 0 && c.Flags().Changed("shelf") {
				return &exit{exitWrongUse, "--shelf needs the cones that stood on it: --cone 06=down"}
			}
			if len(cones) > 0 && body["began_at"] == nil && body["ended_at"] == nil &&
				body["sitter"] == nil && body["typed"] == nil && body["intended_cone"] == nil {
				return &exit{exitWrongUse, "--ended-at is needed with cones alone: when was it over?"}
			}
			id := newID(c)
			path := "/v1/firings/" + id
			cl, err := clientOf(c)
			if err != nil {
				return err
			}
			if _, err := cl.Put(c.Context(), path, body); err != nil {
				return err
			}
			for _, text := range cones {
				cone, how, _ := strings.Cut(text, "=")
				k := map[string]any{"cone": cone, "shelf": shelf}
				stood(k, how)
				if _, err := cl.Put(c.Context(), path+"/cones/"+newID(c), k); err != nil {
					return fmt.Errorf("the firing is kept, its cone %s is not: %w", text, err)
				}
			}
			return showFiring(c, []string{id})
		},
	}
	f := c.Flags()
	f.String("atmosphere", "", "oxidation, reduction or unknown")
	f.String("began-at", "", "when it was switched on, as 2026-01-13T18:00:00+01:00")
	f.String("ended-at", "", "when it was over")
	f.String("sitter", "", "cone in the sitter")
	f.String("dropped-at", "", "when the sitter dropped")
	f.String("intended-cone", "", "cone that was meant to be reached")
	f.StringSlice("cone", nil, "a cone as it stood, 06=down or 06=45; may be repeated")
	f.String("shelf", "", "shelf of the cones")
	f.String("typed", "", "file of readings")
	f.String("load", "", "id of its load")
	f.String("note", "", "a word on it")
	f.String("by", "", "maker's mark")
	return c
}

// typedFile reads hours and °C; a header line is passed over.
func typedFile(name string) (map[string]any, error) {
	b, err := os.ReadFile(name)
	if err != nil {
		return nil, unreadable("--typed", name, err)
	}
	hours, degrees := []float64{}, []float64{}
	for n, line := range strings.Split(string(bytes.TrimSpace(b)), "\n") {
		f := strings.FieldsFunc(strings.TrimSpace(line), func(c rune) bool {
			return c == ' ' || c == '\t' || c == ',' || c == ';'
		})
		if len(f) == 0 || n == 0 && strings.Trim(f[0], "0123456789.") != "" {
			continue
		}
		if len(f) != 2 {
			return nil, &exit{exitWrongUse, fmt.Sprintf("%s, line %d: write hours, a comma, °C", name, n+1)}
		}
		h, err := strconv.ParseFloat(f[0], 64)
		t, err2 := strconv.ParseFloat(f[1], 64)
		if err != nil || err2 != nil {
			return nil, &exit{exitWrongUse, fmt.Sprintf("%s, line %d: write hours, a comma, °C", name, n+1)}
		}
		hours, degrees = append(hours, h), append(degrees, t)
	}
	return map[string]any{"hours": hours, "temperature_c": degrees}, nil
}

func probeCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "probe KILN", Short: "What the cones tell of a kiln's probes, or a new probe fitted",
		Args:    cobra.ExactArgs(1),
		Example: "  lidwright probe big-blue\n  lidwright probe new big-blue K --fitted-on 2026-01-06",
		RunE: func(c *cobra.Command, args []string) error {
			var k wire.KilnJSON
			done, err := get(c, "/v1/kilns/"+url.PathEscape(args[0]), nil, &k)
			if err != nil || done {
				return err
			}
			for _, p := range k.Probes {
				life := "Channel " + p.Channel
				if p.Type != "" {
					life += ", type " + p.Type
				}
				if p.FittedOn != nil {
					life += ", fitted " + *p.FittedOn
				}
				if p.RemovedOn != nil {
					life += ", removed " + *p.RemovedOn
				}
				if p.Shelf != "" {
					life += ", by the cones of shelf " + p.Shelf
				}
				fmt.Fprintf(c.OutOrStdout(), "%s, %d firings. %s\n", life, p.Firings, p.Says)
				if p.Notable {
					fmt.Fprintln(c.OutOrStdout(),
						"LOOK: more than 8 °C off after each of the last two firings.")
				}
			}
			return nil
		},
	}
	fresh := &cobra.Command{
		Use: "new KILN TYPE", Short: "Tell that a probe was fitted: a new life, of which no cone has told",
		Args:    cobra.ExactArgs(2),
		Example: "  lidwright probe new big-blue K --fitted-on 2026-01-06 --class 2",
		RunE: func(c *cobra.Command, args []string) error {
			body := flagsOf(c, "channel", "fitted-on", "removed-on", "note")
			body["type"] = args[1]
			if class, _ := c.Flags().GetInt("class"); class != 0 {
				body["class"] = class
			}
			done, err := put(c, "/v1/kilns/"+url.PathEscape(args[0])+"/probes/"+newID(c), body, nil)
			if err == nil && !done {
				fmt.Fprintf(c.OutOrStdout(),
					"Kept. Its life begins with the first firing on or after %s; cones of before count for the one before.\n", body["fitted_on"])
			}
			return err
		},
	}
	fresh.Flags().String("channel", "", "channel of the kiln; the control probe if not said")
	fresh.Flags().String("fitted-on", "", "day, as 2026-01-06")
	fresh.Flags().String("removed-on", "", "day, if it is gone already")
	fresh.Flags().Int("class", 0, "tolerance class, 1 or 2; 2 if not said")
	fresh.Flags().String("note", "", "a word on it")
	fresh.MarkFlagRequired("fitted-on")
	c.AddCommand(fresh)
	return c
}
