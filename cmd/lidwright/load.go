package main

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"lidwright/api/wire"

	"github.com/spf13/cobra"
)

// loadSeen is what the commands of a load print of it.
type loadSeen wire.Load

func (l loadSeen) number() string { return strings.TrimPrefix(l.Name.String(), "Load ") }

// next tells what is to be done with the load next; empty: nothing.
func (l loadSeen) next() string {
	switch l.StateWords.String() {
	case "packing", "packed, not fired yet":
		return "The next firing of " + l.Kiln +
			" takes it, if no other load is packed there. If it was in one already: lidwright load attach " +
			l.number() + " " + l.Kiln + "/last"
	case "firing", "fired":
		return "When it is out of the kiln: lidwright load unpacked " + l.number()
	case "unpacked":
		return fmt.Sprintf("Bars to measure: %d. lidwright bar CODE STAGE LENGTH", l.Waiting)
	}
	return ""
}

// says is the load in one sentence, and what is next.
func (l loadSeen) says() string {
	out := l.Name.String() + ", " + l.StateWords.String() + "."
	if next := l.next(); next != "" {
		out += " " + next
	}
	return out
}

// loadID finds a load by its number, by last, the newest, or by its id.
func loadID(c *cobra.Command, name string) (string, error) {
	query := url.Values{"limit": {"1"}}
	if name != "last" {
		n, err := strconv.Atoi(name)
		if err != nil || n < 1 {
			return name, nil
		}
		query.Set("number", name)
	}
	cl, err := clientOf(c)
	if err != nil {
		return "", err
	}
	raw, err := cl.Get(c.Context(), "/v1/loads", query, "")
	if err != nil {
		return "", err
	}
	var a wire.List[wire.Load]
	if err := decode(raw, &a); err != nil {
		return "", err
	}
	if len(a.Items) == 0 {
		return "", &exit{exitFailed, "there is no load " + name + "; lidwright load list shows them"}
	}
	return a.Items[0].ID, nil
}

// isLoad is an error where there is no load of that id.
func isLoad(c *cobra.Command, id string) error {
	cl, err := clientOf(c)
	if err == nil {
		_, err = cl.Get(c.Context(), "/v1/loads/"+url.PathEscape(id), nil, "")
	}
	return err
}

// toLoad sends something about a load and prints the load as it is then.
func toLoad(c *cobra.Command, method, name, path string, body any) error {
	id, err := loadID(c, name)
	if err != nil {
		return err
	}
	return sendLoad(c, method, "/v1/loads/"+url.PathEscape(id)+path, body)
}

func sendLoad(c *cobra.Command, method, path string, body any) error {
	cl, err := clientOf(c)
	if err != nil {
		return err
	}
	var raw []byte
	switch method {
	case "PUT":
		raw, err = cl.Put(c.Context(), path, body)
	case "DELETE":
		raw, err = cl.Delete(c.Context(), path)
	default:
		raw, err = cl.Post(c.Context(), path, body)
	}
	if err = orYes(err); err != nil {
		return err
	}
	var l loadSeen
	done, err := show(c, raw, &l)
	if err == nil && !done {
		fmt.Fprintln(c.OutOrStdout(), l.says())
	}
	return err
}

func loadCommand() *cobra.Command {
	c := &cobra.Command{Use: "load", Short: "Loads: what is packed into a kiln",
		Long: `A LOAD is named by its number, by its id, or by last, the newest one.

It is packing until a firing of its kiln begins, which takes the only load that is packed there. A firing that breaks
off, or stays below 550 °C as candling does, leaves it packed for the next one. Once it is out of the kiln it is
unpacked, and with every bar measured done.`,
		Example: "  lidwright load open big-blue glaze BQ7 BQ4\n  lidwright load list\n  lidwright load unpacked 14"}
	c.AddCommand(openLoad(), listLoads(), unpackLoad(), attachLoad(), detachLoad(), moveBars(), splitLoad(),
		joinLoads(), callOffLoad(), shelvesCommand())
	return c
}

func openLoad() *cobra.Command {
	c := &cobra.Command{
		Use: "open [KILN KIND] [CODE...]", Short: "Open a load with the bars in it",
		Long: `CODE@SHELF says on which shelf of the kiln a bar lies; --shelf where all the others do. With --like last, or the number
of a load, kiln, kind, atmosphere and shelves are as in that one, bar by bar, and only the codes are named.`,
		Example: "  lidwright load open big-blue glaze BQ7@top BQ4@bottom\n  lidwright load open --like last BQ7 BQ4\n  lidwright load open old-red glaze BQ7 --cone 6",
		RunE: func(c *cobra.Command, args []string) error {
			like, _ := c.Flags().GetString("like")
			body := map[string]any{}
			if like == "" {
				if len(args) < 2 {
					return &exit{exitWrongUse,
						"name a kiln and a kind: lidwright load open big-blue glaze BQ7 BQ4; or pack it as the last one: --like last BQ7 BQ4"}
				}
				body["kiln"], body["kind"], args = args[0], args[1], args[2:]
			} else {
				id, err := loadID(c, like)
				if err == nil {
					err = isLoad(c, id)
				}
				if err != nil {
					return err
				}
				body["like"] = id
			}
			all, _ := c.Flags().GetString("shelf")
			bars := []wire.Slot{}
			for _, code := range args {
				code, shelf, _ := strings.Cut(code, "@")
				bars = append(bars, wire.Slot{Bar: code, Shelf: first(shelf, all)})
			}
			body["bars"] = bars
			if h, _ := c.Flags().GetFloat64("heat-work-c"); h != 0 {
				body["heat_work_c"] = h
			}
			if cone, _ := c.Flags().GetString("cone"); cone != "" {
				body["cone"] = cone
			}
			if yes, _ := c.Flags().GetBool("yes"); yes {
				body["move"] = true
			}
			return sendLoad(c, "PUT", "/v1/loads/"+newID(c), body)
		},
	}
	c.Flags().String("like", "", "as this load, by its number, or last: kiln, kind, atmosphere and shelves, not its bars")
	c.Flags().String("shelf", "", "shelf of all bars that have none of their own")
	c.Flags().Float64("heat-work-c", 0, "heat work stated by hand, for a kiln without a line")
	c.Flags().String("cone", "", "the cone that it reached, for a kiln without a line")
	c.Flags().Bool("yes", false, "take the bars out of the load that they are packed in")
	return c
}

func listLoads() *cobra.Command {
	c := &cobra.Command{
		Use: "list", Short: "List loads, newest first", Args: cobra.NoArgs,
		Example: "  lidwright load list\n  lidwright load list --kiln big-blue --in",
		RunE: func(c *cobra.Command, _ []string) error {
			var a wire.List[loadSeen]
			done, err := get(c, "/v1/loads", asked(c, []string{"kiln", "in"}), &a)
			if err != nil || done {
				return err
			}
			rows := [][]string{{"LOAD", "KILN", "KIND", "STATE", "MEASURED", "BARS"}}
			for _, l := range a.Items {
				var bars []string
				for _, b := range l.Bars {
					bars = append(bars, b.Bar)
				}
				rows = append(rows, []string{l.number(), l.Kiln, l.Kind, l.StateWords.String(),
					fmt.Sprintf("%d of %d", l.Measured, l.Measured+l.Waiting), strings.Join(bars, " ")})
			}
			table(c.OutOrStdout(), rows)
			return nil
		},
	}
	c.Flags().String("kiln", "", "only those of this kiln")
	c.Flags().Bool("in", false, "only those that are neither unpacked nor called off")
	return c
}

func unpackLoad() *cobra.Command {
	c := &cobra.Command{
		Use: "unpacked LOAD", Short: "Say that a load is out of its kiln", Args: cobra.ExactArgs(1),
		Long: `A LOAD is named by its number, by its id, or by last. Where its kiln reads over 200 °C, its peak is not passed, or it
was never fired, that is asked first: --yes answers it. The record of a kiln that is still hot goes on all the same.`,
		Example: "  lidwright load unpacked 14\n  lidwright load unpacked last --yes\n  lidwright load unpacked 14 --undo",
		RunE: func(c *cobra.Command, args []string) error {
			if undo, _ := c.Flags().GetBool("undo"); undo {
				return toLoad(c, "DELETE", args[0], "/unpacked", nil)
			}
			by, _ := c.Flags().GetString("by")
			yes, _ := c.Flags().GetBool("yes")
			return toLoad(c, "POST", args[0], "/unpacked", map[string]any{"by": by, "sure": yes})
		},
	}
	c.Flags().String("by", "", "maker's mark")
	c.Flags().Bool("yes", false, "it is out, whatever the kiln reads")
	c.Flags().Bool("undo", false, "take back that it was unpacked, or called off")
	return c
}

func attachLoad() *cobra.Command {
	return &cobra.Command{
		Use: "attach LOAD FIRING", Short: "Say that a load went, or goes, through a firing",
		Args:    cobra.ExactArgs(2),
		Long:    "A LOAD is named by its number, by its id, or by last; a FIRING by its id, or as big-blue/143 or big-blue/last.",
		Example: "  lidwright load attach 14 big-blue/last",
		RunE: func(c *cobra.Command, args []string) error {
			f, err := firingID(c, args[1])
			if err != nil {
				return err
			}
			return toLoad(c, "PUT", args[0], "/firings/"+url.PathEscape(f), struct{}{})
		},
	}
}

func detachLoad() *cobra.Command {
	return &cobra.Command{
		Use: "detach LOAD FIRING", Short: "Say that a load did not go through a firing",
		Args:    cobra.ExactArgs(2),
		Long:    "A LOAD is named by its number, by its id, or by last; a FIRING by its id, or as big-blue/143 or big-blue/last.",
		Example: "  lidwright load detach 14 big-blue/last",
		RunE: func(c *cobra.Command, args []string) error {
			f, err := firingID(c, args[1])
			if err != nil {
				return err
			}
			return toLoad(c, "DELETE", args[0], "/firings/"+url.PathEscape(f), nil)
		},
	}
}

func moveBars() *cobra.Command {
	c := &cobra.Command{
		Use: "move CODE...", Short: "Move bars into another load", Args: cobra.MinimumNArgs(1),
		Long:    "The bars come from the load given with --from, else from the newest one that each lies in.",
		Example: "  lidwright load move BQ7 --to 15\n  lidwright load move BQ7 BQ4 --from 14 --to 15 --shelf top",
		RunE: func(c *cobra.Command, args []string) error {
			name, _ := c.Flags().GetString("to")
			shelf, _ := c.Flags().GetString("shelf")
			to, err := loadID(c, name)
			if err != nil {
				return err
			}
			from, _ := c.Flags().GetString("from")
			if from != "" {
				return toLoad(c, "POST", from, "/move", map[string]any{"bars": args,
					"to": to, "shelf": shelf})
			}
			for _, bar := range args {
				if from, err = newestLoadOf(c, bar, to); err != nil {
					return err
				}
				if err := toLoad(c, "POST", from, "/move", map[string]any{"bars": []string{bar}, "to": to,
					"shelf": shelf}); err != nil {
					return err
				}
			}
			return nil
		},
	}
	c.Flags().String("to", "", "load that they go to")
	c.Flags().String("from", "", "load that they lie in")
	c.Flags().String("shelf", "", "shelf of the kiln; as it was if not said")
	c.MarkFlagRequired("to")
	return c
}

// newestLoadOf is the newest load that a bar lies in, apart from one.
func newestLoadOf(c *cobra.Command, bar, but string) (string, error) {
	b, err := barOf(c, bar)
	if err != nil {
		return "", err
	}
	for i := len(b.Firings) - 1; i >= 0; i-- {
		if l := b.Firings[i].Load; l != "" && l != but {
			return l, nil
		}
	}
	return "", &exit{exitFailed, "bar " + bar +
		" lies in no other load; pack it with the load's own page, or lidwright load open"}
}

func splitLoad() *cobra.Command {
	return &cobra.Command{
		Use: "split LOAD CODE...", Short: "Move bars of a load into a new one of the same kiln and kind",
		Args:    cobra.MinimumNArgs(2),
		Long:    "A LOAD is named by its number, by its id, or by last. The new load is not fired yet: attach it to its firing.",
		Example: "  lidwright load split 14 BQ7 BQ4",
		RunE: func(c *cobra.Command, args []string) error {
			return toLoad(c, "POST", args[0], "/move", map[string]any{"bars": args[1:]})
		},
	}
}

func joinLoads() *cobra.Command {
	return &cobra.Command{
		Use: "join LOAD INTO", Short: "Make one load of two: all bars of LOAD go into INTO",
		Args:    cobra.ExactArgs(2),
		Long:    "Both are named by number, by id, or by last. LOAD is called off if nobody fired it.",
		Example: "  lidwright load join 15 14",
		RunE: func(c *cobra.Command, args []string) error {
			to, err := loadID(c, args[1])
			if err != nil {
				return err
			}
			return toLoad(c, "POST", args[0], "/move", map[string]any{"to": to})
		},
	}
}

func callOffLoad() *cobra.Command {
	c := &cobra.Command{
		Use: "call-off LOAD", Short: "Say that nobody fired a load, and nobody will",
		Args:    cobra.ExactArgs(1),
		Long:    "A LOAD is named by its number, by its id, or by last. To take it back: lidwright load unpacked LOAD --undo.",
		Example: "  lidwright load call-off 15",
		RunE: func(c *cobra.Command, args []string) error {
			by, _ := c.Flags().GetString("by")
			return toLoad(c, "POST", args[0], "/called-off", map[string]string{"by": by})
		},
	}
	c.Flags().String("by", "", "maker's mark")
	return c
}
