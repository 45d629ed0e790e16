package main

import (
	"fmt"
	"io"
	"net/url"
	"os"
	"strings"

	"github.com/spf13/cobra"
)

// barTables are the commands that take bars in and out as tables and on paper.
func barTables() []*cobra.Command {
	in := &cobra.Command{
		Use: "import FILE", Short: "Take a table of bars in: all of it or nothing", Args: cobra.ExactArgs(1),
		Example: "  lidwright bars import sheet.csv --dry-run\n  lidwright bars import sheet.csv\n  lidwright bars import - < sheet.csv",
		Long: `Take a table of bars in: all of it or nothing. The first line names the columns, those that
there are: code,clay,batch,forming,mark_length_mm,practice,unit,wet,soft,leather,dry,bisque,
fired,instrument,load_bisque,load_fired,heat_work_c,cone,by,note. One row a bar; a row without
a code gets the next free one. The separator is the comma, semicolon or tab of the first line.
Lengths that are not believed are kept, and stay out of the rate until confirmed.`,
		RunE: importBars,
	}
	in.Flags().Bool("dry-run", false, "say what it would bring and which rows are bad; keep nothing")
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
			if err == nil {
				_, err = c.OutOrStdout().Write(b)
			}
			return err
		},
	}
	out.Flags().String("clay", "", "only bars of this clay")
	out.Flags().Bool("readings", false, "every reading with all that was done to it, struck ones too")
	sheet := &cobra.Command{
		Use: "sheet [CODE...]", Short: "Print a sheet of bars to write on", Args: cobra.ArbitraryArgs,
		Example: "  lidwright bars sheet --clay tern | lp\n  lidwright bars sheet BQ7 BQ4",
		RunE: func(c *cobra.Command, args []string) error {
			var a struct {
				Items []struct{ Bar, Clay, Batch, Forming string }
			}
			q := asked(c, []string{"clay"})
			q.Set("limit", "500")
			done, err := get(c, "/v1/bars", q, &a)
			if err != nil || done {
				return err
			}
			rows := [][]string{{"BAR", "CLAY", "MADE AS", "WET", "DRY", "BISQUE", "FIRED", "BY"}}
			for _, b := range a.Items {
				if len(args) > 0 && !strings.Contains(" "+strings.ToUpper(strings.Join(args, " "))+" ", " "+b.Bar+" ") {
					continue
				}
				line := "________"
				rows = append(rows, []string{b.Bar, b.Clay + "/" + b.Batch, strings.ReplaceAll(b.Forming, "_", " "), line, line, line, line, "____"})
			}
			table(c.OutOrStdout(), rows)
			site, _ := c.Flags().GetString("site")
			fmt.Fprintf(c.ErrOrStderr(), "With codes that a phone opens: %s/bars/sheet?%s\n", strings.TrimSuffix(site, "/"), url.Values{"codes": {strings.Join(args, " ")}, "clay": {q.Get("clay")}}.Encode())
			return nil
		},
	}
	sheet.Flags().String("clay", "", "only bars of this clay")
	return []*cobra.Command{in, out, sheet}
}

func importBars(c *cobra.Command, args []string) error {
	var text []byte
	var err error
	if args[0] == "-" {
		text, err = io.ReadAll(c.InOrStdin())
	} else {
		text, err = os.ReadFile(args[0])
	}
	if err != nil {
		return fmt.Errorf("read the table: %w", err)
	}
	cl, err := clientOf(c)
	if err != nil {
		return err
	}
	q := url.Values{"kind": {"bars"}}
	dry, _ := c.Flags().GetBool("dry-run")
	if dry {
		q.Set("dry_run", "true")
	}
	b, err := cl.Table(c.Context(), "/v1/import", q, string(text), func(done, of int) {
		fmt.Fprintf(c.ErrOrStderr(), "%d of %d bars\n", done, of)
	})
	if err != nil {
		return err
	}
	var a struct {
		NewBars  int `json:"new_bars"`
		Readings int `json:"new_readings"`
		Same     int `json:"readings_known"`
		Codes    []string
		Bad      []struct {
			Line        int
			Field, Says string
		} `json:"bad_rows"`
		Asked []struct {
			Line                 int
			Bar, Stage, Question string
		}
	}
	done, err := show(c, b, &a)
	if err != nil {
		return err
	}
	if !done {
		w := c.OutOrStdout()
		for _, r := range a.Bad {
			fmt.Fprintf(w, "line %d, %s: %s\n", r.Line, r.Field, r.Says)
		}
		for _, r := range a.Asked {
			fmt.Fprintf(w, "line %d, %s %s: %s\n", r.Line, r.Bar, r.Stage, r.Question)
		}
		word := "kept"
		if dry {
			word = "would be kept"
		}
		if len(a.Bad) == 0 {
			fmt.Fprintf(w, "%d new bars, %d readings %s; %d readings known already. %s\n", a.NewBars, a.Readings, word, a.Same, strings.Join(a.Codes, " "))
		}
	}
	if len(a.Bad) > 0 {
		return &exit{exitWrongUse, fmt.Sprintf("%d rows are bad: nothing was kept", len(a.Bad))}
	}
	return nil
}
