package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"lidwright/api"
)

// tablesCommand takes every kind of what is kept out as tables.
func tablesCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "tables [KIND]", Short: "Print a table (CSV) of everything kept of a kind, with what is crossed out", Args: cobra.MaximumNArgs(1), ValidArgs: api.Tables(),
		Example: "  lidwright tables firings > firings.csv\n  lidwright tables --folder /media/stick/tables",
		Long: "Print a table of everything kept of a kind, with what is crossed out: " +
			strings.Join(api.Tables(), ", ") + ".\n" +
			"Commas, CRLF and quotes as RFC 4180 has them; a text that a spreadsheet would take for a formula has a ' before it.\n" +
			"Each but gaps and dips can be taken in again by lidwright import, a folder of them whole. A curve is had by\n" +
			"lidwright firings curve ID --csv, and taken in by lidwright firings import; everything together goes by lidwright carry.",
		RunE: printTables,
	}
	c.Flags().String("folder", "", "write every table into this folder, made where it is not there; no file that is there is touched")
	return c
}

func printTables(c *cobra.Command, args []string) error {
	folder, _ := c.Flags().GetString("folder")
	kinds := args
	switch {
	case len(args) == 1 && !slices.Contains(api.Tables(), args[0]):
		return &exit{exitWrongUse, fmt.Sprintf("there is no table %q; there are %s", args[0],
			strings.Join(api.Tables(), ", "))}
	case (len(args) == 0) == (folder == ""):
		return &exit{exitWrongUse, "name one table, or a folder for all of them with --folder"}
	case folder != "":
		kinds = api.Tables()
		if err := os.MkdirAll(folder, 0o700); err != nil {
			return err
		}
	}
	cl, err := clientOf(c)
	if err != nil {
		return err
	}
	asJSON, _ := c.Flags().GetBool("json")
	var written []writtenTable
	for _, kind := range kinds {
		text, err := cl.Get(c.Context(), "/"+kind+".csv", nil, "text/csv")
		if err != nil {
			return err
		}
		if folder == "" {
			return printTable(c, text)
		}
		path := filepath.Join(folder, kind+".csv")
		out, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if err != nil {
			return fmt.Errorf("write the table: %w", err)
		}
		if _, err := out.Write(text); err != nil {
			out.Close()
			return fmt.Errorf("write %s: %w", path, err)
		}
		if err := out.Close(); err != nil {
			return fmt.Errorf("write %s: %w", path, err)
		}
		if !asJSON {
			fmt.Fprintf(c.OutOrStdout(), "%s  %d bytes\n", path, len(text))
		}
		written = append(written, writtenTable{kind, path, len(text)})
	}
	if asJSON {
		return printJSON(c, map[string]any{"items": written})
	}
	return nil
}

// writtenTable is a table that was written into a folder.
type writtenTable struct {
	Table string `json:"table"`
	File  string `json:"file"`
	Bytes int    `json:"bytes"`
}

// printTable prints a table as it came; with --json its rows, each by the headings.
func printTable(c *cobra.Command, text []byte) error {
	if asJSON, _ := c.Flags().GetBool("json"); !asJSON {
		_, err := c.OutOrStdout().Write(text)
		return err
	}
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil || len(rows) == 0 {
		return fmt.Errorf("the daemon's table cannot be read (is it another version?): %w", err)
	}
	items := []map[string]string{}
	for _, row := range rows[1:] {
		item := map[string]string{}
		for i, heading := range rows[0] {
			item[heading] = row[i]
		}
		items = append(items, item)
	}
	return printJSON(c, map[string]any{"items": items})
}
