package main

import (
	"fmt"
	"net/url"
	"os"
	"strings"

	"lidwright/api/wire"

	"github.com/google/uuid"
	"github.com/spf13/cobra"
)

// oldLogCommand takes the curve of an old firing in.
func oldLogCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "import FILE", Short: "Take the curve of an old firing in from another logger's table: all of it or nothing", Args: cobra.ExactArgs(1),
		Long: `Take the curve of one old firing in from a table: all of it or nothing (owner passcode). The first line
names the columns; the separator is its comma, semicolon or tab. Columns are found by their names:
hours, minutes, seconds, or time with a date; temperatures end in _c or _f. Other names are yours to
say with --time and --column. The same file taken in twice is the same firing.`,
		Example: "  lidwright firings import march.csv --kiln big-blue --kind glaze --began 2024-03-09T08:00:00+01:00 --dry-run\n" +
			"  lidwright firings import log.csv --kiln big-blue --kind bisque --time stamp --column T1=f --column T2=f",
		RunE: importOldLog,
	}
	f := c.Flags()
	f.String("kiln", "", "kiln of the settings")
	f.String("kind", "", "bisque, glaze, once or other")
	f.String("atmosphere", "", "oxidation, reduction or unknown")
	f.String("began", "", "when it began, where the file only counts: 2024-03-09T08:00:00+01:00")
	f.String("time", "", "name of the column of times")
	f.StringArray("column", nil, "name of a column of temperatures, with =c or =f behind it; the first is the control probe")
	f.String("note", "", "what is to be known of it")
	f.Bool("dry-run", false, "say what it would bring and which rows are bad; keep nothing")
	return c
}

func importOldLog(c *cobra.Command, args []string) error {
	text, err := os.ReadFile(args[0])
	if err != nil {
		return unreadable("FILE", args[0], err)
	}
	cl, err := clientOf(c)
	if err != nil {
		return err
	}
	q := asked(c, []string{"kiln", "kind", "atmosphere", "time", "note"})
	if began, _ := c.Flags().GetString("began"); began != "" {
		q.Set("began_at", began)
	}
	if columns, _ := c.Flags().GetStringArray("column"); len(columns) > 0 {
		q.Set("columns", strings.Join(columns, ","))
	}
	dry, _ := c.Flags().GetBool("dry-run")
	if dry {
		q.Set("dry_run", "true")
	}
	id := uuid.NewSHA1(uuid.NameSpaceURL, append([]byte("lidwright old log: "+q.Get("kiln")+" "+
		q.Get("began_at")+"\n"), text...))
	if !dry {
		fmt.Fprintf(c.ErrOrStderr(), "sending %.1f MB\n", float64(len(text))/1e6)
	}
	b, err := cl.Table(c.Context(), "/v1/firings/"+url.PathEscape(id.String())+"/curve", q, string(text), nil)
	if err != nil {
		return err
	}
	var a wire.OldLog
	done, err := show(c, b, &a)
	if err != nil {
		return err
	}
	w := c.OutOrStdout()
	if !done {
		for _, r := range a.Bad {
			fmt.Fprintf(w, "line %d, %s: %s\n", r.Line, shortened(flagOf(c, r.Field)),
				shortened(r.Says.String()))
		}
	}
	if len(a.Bad) > 0 {
		return &exit{exitWrongUse, fmt.Sprintf("%d rows are bad: nothing was kept", len(a.Bad))}
	}
	if !done {
		word := "known already"
		switch {
		case dry:
			word = "would be kept"
		case a.New:
			word = "kept"
		}
		fmt.Fprintf(w, "%s: %.1f h from %s, %d readings of %s, top %s °C, cone %s\n", word, a.Hours,
			a.BeganAt, a.Readings, strings.Join(a.Columns, " "), num(a.PeakC, "%.0f"), a.Cone)
	}
	return nil
}
