package main

import (
	"fmt"
	"net/url"
	"strings"

	"lidwright/api/wire"

	"github.com/spf13/cobra"
)

// barTables are the commands that take bars in and out as tables and on paper.
func barTables() []*cobra.Command {
	in := &cobra.Command{
		Use: "import FILE", Short: "Take a table of bars in: all of it or nothing", Args: cobra.ExactArgs(1),
		Example: "  lidwright bars import sheet.csv --dry-run\n  lidwright bars import sheet.csv\n  lidwright bars import - < sheet.csv",
		Long:    "Take a table of bars in, as lidwright import does: all of it or nothing. See lidwright import --help for its columns.",
		RunE:    func(c *cobra.Command, args []string) error { return importFile(c, args[0], "bars", nil) },
	}
	importFlags(in)
	out := &cobra.Command{
		Use: "export", Short: "Print the bars as a table that can be taken in again", Args: cobra.NoArgs,
		Example: "  lidwright bars export > bars.csv\n  lidwright bars export --clay tern --readings > readings.csv",
		RunE: func(c *cobra.Command, _ []string) error {
			path := "/bars.csv"
			if all, _ := c.Flags().GetBool("readings"); all {
				path = "/readings.csv"
			}
			cl, err := clientOf(c)
			if err != nil {
				return err
			}
			b, err := cl.Get(c.Context(), path, asked(c, []string{"clay"}), "text/csv")
			if err != nil {
				return err
			}
			return printTable(c, b)
		},
	}
	out.Flags().String("clay", "", "only bars of this clay")
	out.Flags().Bool("readings", false, "every reading with all that was done to it, with what is crossed out")
	sheet := &cobra.Command{
		Use: "sheet [CODE...]", Short: "Print a sheet of bars to write on", Args: cobra.ArbitraryArgs,
		Example: "  lidwright bars sheet --clay tern | lp\n  lidwright bars sheet BQ7 BQ4",
		RunE: func(c *cobra.Command, args []string) error {
			q := asked(c, []string{"clay"})
			a, done, err := barsOf(c, q, args)
			if err != nil || done {
				return err
			}
			rows := [][]string{{"BAR", "CLAY", "MADE AS", "WET", "DRY", "BISQUE", "FIRED", "BY"}}
			for _, b := range a.Items {
				line := "________"
				rows = append(rows, []string{b.Bar, b.Clay + "/" + b.Batch,
					strings.ReplaceAll(b.Forming, "_", " "), line, line, line, line, "____"})
			}
			table(c.OutOrStdout(), rows)
			named, _ := c.Flags().GetString("site")
			site, err := siteNamed(named)
			fmt.Fprintf(c.ErrOrStderr(), "With codes that a phone opens: %s/bars/sheet?%s\n",
				strings.TrimSuffix(site.Address, "/"),
				url.Values{"codes": {strings.Join(args, " ")}, "clay": {q.Get("clay")}}.Encode())
			return err
		},
	}
	sheet.Flags().String("clay", "", "only bars of this clay")
	return []*cobra.Command{in, out, sheet}
}

// barsOf are the bars of the codes that were named, else those that q asks for.
func barsOf(c *cobra.Command, q url.Values, codes []string) (a wire.List[wire.BarJSON], done bool,
	err error) {
	if len(codes) == 0 {
		q.Set("limit", "500")
		done, err = get(c, "/v1/bars", q, &a)
		return a, done, err
	}
	if err := goesWith(c, "a sheet without codes", "clay"); err != nil {
		return a, false, err
	}
	for _, code := range codes {
		b, err := barOf(c, code)
		if err != nil {
			return a, false, err
		}
		a.Items = append(a.Items, b)
	}
	if asJSON, _ := c.Flags().GetBool("json"); asJSON {
		return a, true, printJSON(c, a)
	}
	return a, false, nil
}

// storyCommand tells all that happened to a bar.
func storyCommand() *cobra.Command {
	return &cobra.Command{
		Use: "story CODE", Short: "All that happened to a bar: readings, what was crossed out, loads, and what it did to the rate", Args: cobra.ExactArgs(1),
		Example: "  lidwright bars story BQ7",
		RunE: func(c *cobra.Command, args []string) error {
			var a wire.Story
			done, err := get(c, "/v1/bars/"+url.PathEscape(args[0])+"/story", nil, &a)
			if err != nil || done {
				return err
			}
			rows := [][]string{{"WHEN", "WHAT", "OF IT", "BY", "WHY"}}
			for _, i := range a.Items {
				at := "still to come"
				if i.At != nil && len(*i.At) >= 16 {
					at = (*i.At)[:10] + " " + (*i.At)[11:16]
				}
				what := i.What
				if what == "struck" {
					what = "crossed out"
				}
				rows = append(rows, []string{at, what, i.Says.String(), i.By, i.Why})
			}
			table(c.OutOrStdout(), rows)
			return nil
		},
	}
}
