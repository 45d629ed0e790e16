package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"lidwright/api"
	"lidwright/api/client"
	"lidwright/api/wire"
)

// importCommand takes tables in.
func importCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "import FILE|FOLDER", Short: "Take a notebook or an exported table in; a folder of tables in their order", Args: cobra.ExactArgs(1),
		Example: "  lidwright import notebook.csv --dry-run\n  lidwright import notebook.csv --days day_first\n  lidwright import pots.csv\n  lidwright import /media/stick/tables",
		Long: `Take a table in (owner passcode): a notebook of test bars as a spreadsheet saves it (CSV), or a table that
lidwright tables gave. A folder that lidwright tables --folder wrote is taken in whole, in the order that is needed.

A notebook has a row for each bar (columns such as code, clay, wet, dry, bisque, fired) or for each reading (code,
stage, length). Headings may be plain words, a unit may stand behind them: Wet (mm). A day of its own has each length
in wet_on, dry_on ... fired_on, or all of a row in date, with the time of day in time. What a bar was fired to stands
in cone, heat_work_c, firing_fired (big-blue/8) or load_fired, for its bisque in cone_bisque, firing_bisque or
load_bisque. A bar without a code gets the next free one. Comma, semicolon or tab, decimal point or comma.

--dry-run says how the table was understood, what it would bring, which readings will not count and why, and asks what the
table does not tell. A table adds what is not there and changes nothing that is: the same table again brings nothing
new. Readings that are not believed are kept, and do not count until confirmed.`,
		RunE: func(c *cobra.Command, args []string) error {
			if at, err := os.Stat(args[0]); err == nil && at.IsDir() {
				return importFolder(c, args[0])
			}
			kind, _ := c.Flags().GetString("kind")
			if kind == "" {
				kind = kindOf(args[0])
			}
			return importFile(c, args[0], kind, nil)
		},
	}
	c.Flags().String("kind", "", "what the table holds, where its name does not say: "+
		strings.Join(api.TablesIn(), ", "))
	importFlags(c)
	return c
}

func importFlags(c *cobra.Command) {
	c.Flags().Bool("dry-run", false, "say what it would bring and which rows are bad; keep nothing")
	c.Flags().String("days", "", "which number of a day such as 3/4/2023 comes first, where the table does not tell: day_first or month_first")
	c.Flags().String("others", "", "what becomes of columns that are not known: note (kept in the note of each bar) or leave")
}

// kindOf is what a table holds by the name of its file; of bars where it does not say.
func kindOf(path string) string {
	name := strings.TrimSuffix(strings.ToLower(filepath.Base(path)), ".csv")
	if slices.Contains(api.TablesIn(), name) {
		return name
	}
	return "bars"
}

// importFolder takes the tables of a folder in, each that is there, in the order in which they refer to one
// another.
func importFolder(c *cobra.Command, folder string) error {
	any := false
	has := func(kind string) bool {
		_, err := os.Stat(filepath.Join(folder, kind+".csv"))
		return err == nil
	}
	for _, kind := range api.TablesIn() {
		if !has(kind) {
			continue
		}
		any = true
		more := url.Values{}
		if kind == "bars" && has("readings") {
			more.Set("lengths", "leave")
		}
		if err := importFile(c, filepath.Join(folder, kind+".csv"), kind, more); err != nil {
			return err
		}
		if dry, _ := c.Flags().GetBool("dry-run"); dry && kind == "clays" {
			fmt.Fprintln(c.ErrOrStderr(), "In a dry run nothing is kept between tables: one that refers to another says so as long as that is not there.")
		}
	}
	if !any {
		return &exit{exitWrongUse, fmt.Sprintf("there is no table in %s: they are called %s.csv", folder,
			strings.Join(api.TablesIn(), ".csv, "))}
	}
	return nil
}

// importFile takes one table in.
func importFile(c *cobra.Command, path, kind string, more url.Values) error {
	var text []byte
	var err error
	if path == "-" {
		text, err = io.ReadAll(c.InOrStdin())
	} else {
		text, err = os.ReadFile(path)
	}
	if err != nil {
		return unreadable("FILE", path, err)
	}
	cl, err := clientOf(c)
	if err != nil {
		return err
	}
	q := asked(c, []string{"days", "others"})
	q.Set("kind", kind)
	for name, v := range more {
		q[name] = v
	}
	dry, _ := c.Flags().GetBool("dry-run")
	if dry {
		q.Set("dry_run", "true")
	}
	told, over := progressOn(c, "taking in "+strings.ReplaceAll(kind, "_", " "))
	b, err := cl.Table(c.Context(), "/v1/import", q, string(text), told)
	over()
	if err != nil {
		if c.Context().Err() != nil {
			return stopped(cl, q, text)
		}
		return err
	}
	var a wire.Import
	done, err := show(c, b, &a)
	if err != nil {
		return err
	}
	if empty := more != nil && a.Rows+len(a.Bad) == 0; !done && !empty {
		sayImport(c.OutOrStdout(), a)
	}
	switch {
	case len(a.Questions) > 0 && !dry:
		return &exit{exitWrongUse, "nothing was kept: answer first what is asked"}
	case len(a.Bad) > 0 && dry:
		return &exit{exitWrongUse, fmt.Sprintf("%d rows are bad: nothing would be kept", len(a.Bad))}
	case len(a.Bad) > 0:
		return &exit{exitWrongUse, fmt.Sprintf("%d rows are bad: nothing was kept", len(a.Bad))}
	}
	return nil
}

// stopped says, after Ctrl-C, what of a table is kept; it asks the daemon, which has stopped too by then.
func stopped(cl *client.Client, q url.Values, text []byte) error {
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	q.Set("dry_run", "true")
	says := "stopped. Run it again: what is kept is known then, and the rest comes"
	b, err := cl.Table(ctx, "/v1/import", q, string(text), nil)
	var a wire.Import
	if err == nil && json.Unmarshal(b, &a) == nil {
		kept, of := a.SameRows, a.SameRows+a.New
		if a.Kind == "bars" || a.Kind == "readings" {
			kept, of = a.Same, a.Same+a.Readings
		}
		switch {
		case kept == 0:
			says = "stopped: nothing of it is kept. Run it again to take it in"
		case kept == of:
			says = "stopped when all of it was kept"
		default:
			says = fmt.Sprintf("stopped: %d of %d are kept. Run it again: it goes on with the rest", kept, of)
		}
	}
	return &exit{exitFailed, says}
}

// sayImport prints what came of a table.
func sayImport(w io.Writer, a wire.Import) {
	if a.DryRun || len(a.Questions) > 0 {
		sayUnderstood(w, a)
	}
	for _, q := range a.Questions {
		var values []string
		for _, o := range q.Options {
			values = append(values, "--"+q.Field+" "+o.Value)
		}
		fmt.Fprintf(w, "%s Say %s.\n", q.Text, strings.Join(values, " or "))
	}
	for _, r := range a.Bad {
		fmt.Fprintf(w, "line %d, %s: %s\n", r.Line, r.Field, r.Says)
	}
	for _, r := range a.LeftOut {
		fmt.Fprintf(w, "line %d is left out: it %s\n", r.Line, r.Says)
	}
	for _, r := range a.Asked {
		fmt.Fprintf(w, "line %d, %s %s: %s\n", r.Line, r.Bar, r.Stage, r.Question)
	}
	if len(a.Bad) > 0 || len(a.Questions) > 0 && !a.DryRun {
		return
	}
	word := "kept"
	if a.DryRun {
		word = "would be kept"
	}
	switch a.Kind {
	case "bars":
		fmt.Fprintf(w, "%s\n", strings.TrimSpace(fmt.Sprintf("%d new bars, %d readings %s; %d readings known already. %s", a.NewBars, a.Readings, word, a.Same, strings.Join(a.Codes, " "))))
	case "readings":
		fmt.Fprintf(w, "%d readings %s; %d known already.\n", a.Readings, word, a.Same)
	default:
		fmt.Fprintf(w, "%s: %d rows %s; %d known already.\n", strings.ReplaceAll(a.Kind, "_", " "),
			a.New, word, a.SameRows)
	}
	sayCounting(w, a)
}

// sayCounting says which of the new readings count, and why the others do not.
func sayCounting(w io.Writer, a wire.Import) {
	if a.Readings == 0 {
		return
	}
	switch {
	case a.DryRun:
		fmt.Fprintf(w, "%d of them would count.\n", a.Counting)
	case a.Pending > 0:
		fmt.Fprintf(w, "%d of them count; %d of these are being worked into the rates.\n", a.Counting,
			a.Pending)
	default:
		fmt.Fprintf(w, "%d of them count.\n", a.Counting)
	}
	if a.Assumed > 0 {
		fmt.Fprintf(w, "%d of these at an assumed heat, since nothing tells their firing: columns firing_fired, cone or heat_work_c do.\n", a.Assumed)
	}
	for _, n := range a.NotCounting {
		lines := make([]string, len(n.Lines))
		for i, l := range n.Lines {
			lines[i] = fmt.Sprint(l)
		}
		more := ""
		if len(lines) > 8 {
			lines, more = lines[:8], " and more"
		}
		fix := ""
		if n.Fix != nil {
			fix = " " + n.Fix.Text.String() + "."
		}
		fmt.Fprintf(w, "%d not: %s%s (line %s%s)\n", n.Readings, n.Text, fix, strings.Join(lines, ", "), more)
	}
}

// sayUnderstood says how a table was read.
func sayUnderstood(w io.Writer, a wire.Import) {
	u := a.Understood
	row := ""
	if u.OneRow != "" {
		row = ", a row for each " + u.OneRow
	}
	sign := ""
	if u.DecimalComma {
		sign = ", decimal comma"
	}
	fmt.Fprintf(w, "A table of %s%s: %s%s, %s, its columns named in line %d.\n",
		strings.ReplaceAll(a.Kind, "_", " "), row, u.Separator, sign, u.Encoding, u.Line)
	var as []string
	for _, c := range u.Columns {
		switch {
		case c.As == "":
			as = append(as, c.Name+": not known")
		case c.Unit != "":
			as = append(as, fmt.Sprintf("%s: %s in %s", c.Name, c.As, c.Unit))
		case !strings.EqualFold(c.Name, c.As):
			as = append(as, c.Name+": "+c.As)
		}
	}
	if len(as) > 0 {
		fmt.Fprintln(w, "Taken as: "+strings.Join(as, "; "))
	}
	if u.Days != "" {
		fmt.Fprintln(w, "Days: "+strings.TrimSuffix(strings.ReplaceAll(u.Days, "_", " ")+", "+u.DaysFrom,
			", "))
	}
	if !u.SerialDays.IsZero() {
		fmt.Fprintln(w, u.SerialDays.String()+".")
	}
}

// progressOn shows on a terminal how far something is; elsewhere it shows nothing. over ends it.
func progressOn(c *cobra.Command, what string) (told func(done, of int), over func()) {
	f, ok := c.ErrOrStderr().(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return func(int, int) {}, func() {}
	}
	var bar *progressbar.ProgressBar
	told = func(done, of int) {
		if bar == nil {
			bar = progressbar.NewOptions(of, progressbar.OptionSetWriter(f),
				progressbar.OptionSetDescription(what), progressbar.OptionShowCount(),
				progressbar.OptionSetPredictTime(true), progressbar.OptionSetWidth(24),
				progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(100*time.Millisecond))
		}
		bar.Set(done)
	}
	return told, func() {
		if bar != nil {
			bar.Exit()
			bar.Clear()
		}
	}
}
