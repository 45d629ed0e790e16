package main

import (
	"fmt"
	"net/url"
	"slices"
	"strings"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles"

	"github.com/spf13/cobra"
)

func kilnCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "kiln", Short: "Kilns: list them, add one without a line, say that one has another name now",
		Example: "  lidwright kiln list\n  lidwright kiln add little-red --fuel gas\n  lidwright kiln rename little-red annex",
	}
	c.AddCommand(kilnListCommand(), kilnAddCommand(), kilnRenameCommand(), kilnUsualCommand())
	return c
}

func kilnListCommand() *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "Every kiln, what is usual there, and kilns of the record that have no name here",
		Args:    cobra.NoArgs,
		Example: "  lidwright kiln list",
		RunE: func(c *cobra.Command, _ []string) error {
			var a wire.Kilns
			done, err := get(c, "/v1/kilns", nil, &a)
			if err != nil || done {
				return err
			}
			rows := [][]string{{"KILN", "FUEL", "LIMIT °C", "USUAL"}}
			for _, k := range a.Items {
				var usual []string
				for _, u := range k.Usual {
					usual = append(usual, u.Kind+" cone "+u.Cone)
				}
				rows = append(rows, []string{k.Kiln, first(k.Fuel, "-"), num(k.LimitC, "%.0f"),
					first(strings.Join(usual, ", "), "-")})
			}
			table(c.OutOrStdout(), rows)
			for _, s := range a.Strays {
				fmt.Fprintln(c.OutOrStdout(), "LOOK "+s.Says.String())
			}
			for _, s := range a.Says {
				fmt.Fprintln(c.OutOrStdout(), s)
			}
			return nil
		},
	}
}

func kilnAddCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "add KILN", Short: "Add a kiln without a line, whose firings are logged by hand (owner)",
		Args:    cobra.ExactArgs(1),
		Long:    "KILN is a name of small letters, digits and hyphens. No settings file is needed. A kiln of the\nsame name in the settings is the same one: what stands there holds, field by field.",
		Example: "  lidwright kiln add little-red --fuel gas",
		RunE: func(c *cobra.Command, args []string) error {
			done, err := put(c, "/v1/kilns/"+url.PathEscape(args[0]), flagsOf(c, "fuel"), nil)
			if err == nil && !done {
				fmt.Fprintf(c.OutOrStdout(),
					"%s is there. Log a firing: lidwright firing hand %s glaze --cone 6=down --ended-at TIME\n", args[0], args[0])
			}
			return err
		},
	}
	c.Flags().String("fuel", "", "electric, gas, wood or other")
	return c
}

func kilnRenameCommand() *cobra.Command {
	return &cobra.Command{
		Use: "rename OLD NEW", Short: "Say that a kiln has another name now: its record goes along (owner)",
		Args: cobra.ExactArgs(2),
		Long: `OLD is the name that firings were recorded under, NEW is the name in the settings now, or of a kiln that
was added. Firings, loads, probes and what is usual go along; firings keep their numbers, and those
that NEW has already are counted on behind them. Said again it does nothing. The same is said in the
settings, before the next start, by was = ["OLD"] in the table of NEW.`,
		Example: "  lidwright kiln rename little-red annex",
		RunE: func(c *cobra.Command, args []string) error {
			cl, err := clientOf(c)
			if err != nil {
				return err
			}
			b, err := cl.Post(c.Context(), "/v1/kilns/"+url.PathEscape(args[0])+"/rename",
				map[string]any{"to": args[1]})
			if err != nil {
				return err
			}
			var a wire.RenamedKiln
			done, err := show(c, b, &a)
			if err == nil && !done {
				fmt.Fprintln(c.OutOrStdout(), a.Says)
			}
			return err
		},
	}
}

func kilnUsualCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "usual KILN KIND", Short: "Pin a usual firing by hand, or say that the last ones are a new or a second one (owner)", Args: cobra.ExactArgs(2),
		Long:    "Without a flag it says what is usual. Where the last firings lay beside the usual one, near one another, tell\nwhether they are the new usual, or a second one that has a name of its own.",
		Example: "  lidwright kiln usual big-blue glaze\n  lidwright kiln usual big-blue glaze --pin 6\n  lidwright kiln usual big-blue glaze --release\n  lidwright kiln usual big-blue glaze --second \"cone 10\"",
		RunE:    sayUsual,
	}
	c.Flags().String("pin", "", "cone that is usual, whatever is fired")
	c.Flags().Bool("release", false, "go by the firings again")
	c.Flags().Bool("new", false, "the last firings are the new usual")
	c.Flags().String("second", "", "name of a second usual: firings near the last ones, or near --cone")
	c.Flags().String("cone", "", "cone of a second usual")
	c.Flags().String("atmosphere", "", "oxidation, reduction or unknown; that of most firings of the kind if not said")
	c.Flags().String("by", "", "maker's mark")
	return c
}

func sayUsual(c *cobra.Command, args []string) error {
	body := flagsOf(c, "atmosphere", "cone", "by")
	body["kind"] = args[1]
	pin, _ := c.Flags().GetString("pin")
	second, _ := c.Flags().GetString("second")
	release, _ := c.Flags().GetBool("release")
	anew, _ := c.Flags().GetBool("new")
	said := 0
	for what, so := range map[string]bool{"pin": pin != "", "second": second != "",
		"release": release, "new": anew} {
		if so {
			body["what"] = what
			said++
		}
	}
	if said > 1 {
		return &exit{exitWrongUse, "say one of --pin, --release, --new and --second"}
	}
	if pin != "" {
		body["cone"] = pin
	}
	if second != "" {
		body["name"] = second
	}
	if !slices.Contains(tiles.Kinds(), kiln.Kind(args[1])) {
		return &exit{exitWrongUse, "KIND: " + args[1] + " is none of bisque, glaze, once, other"}
	}
	if second == "" {
		if err := goesWith(c, "--second; --pin takes the cone itself", "cone"); err != nil {
			return err
		}
	}
	if said == 0 {
		if err := goesWith(c, "--pin, --release, --new or --second", "atmosphere", "by"); err != nil {
			return err
		}
	}
	var k wire.KilnJSON
	path := "/v1/kilns/" + url.PathEscape(args[0])
	done, err := false, error(nil)
	if said == 0 {
		done, err = get(c, path, nil, &k)
	} else {
		done, err = put(c, path+"/usual/"+newID(c), body, &k)
	}
	if err != nil || done {
		return err
	}
	none := true
	for _, u := range k.Usual {
		if u.Kind != args[1] {
			continue
		}
		none = false
		line := fmt.Sprintf("%s, %s: cone %s", u.Kind, u.Atmosphere, u.Cone)
		if u.Name != "" {
			line = fmt.Sprintf("%s, %s, %s: cone %s", u.Kind, u.Name, u.Atmosphere, u.Cone)
		}
		if u.Says.String() != "" {
			line += "; " + u.Says.String()
		}
		fmt.Fprintln(c.OutOrStdout(), line)
	}
	if none {
		fmt.Fprintf(c.OutOrStdout(), "No usual %s yet: it begins with the third whole firing, or is pinned: --pin 6\n", args[1])
	}
	return nil
}
