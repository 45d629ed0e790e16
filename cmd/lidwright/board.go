package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"lidwright/api/wire"

	"github.com/spf13/cobra"

	"lidwright/api"
	"lidwright/tiles"
)

func boardCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "board [FILE]",
		Short: "Lids for a whole board: sizes and counts, or which lid goes with which pot",
		Long: `Asks which lids to throw for 8 to 30 pots when any lid may go on any pot. FILE is a table of the
pots with the columns pot, collar_mm, collar_2_mm, collar_3_mm, opening_mm (only collar_mm is needed; columns of
inches end in _in; - is standard input). With --lids-measured, a table with the columns lid, lid_mm, lid_stage,
it tells which lid goes with which pot. Commas, semicolons or tabs may stand between the columns.`,
		Example: `  lidwright board galleries.csv --clay tern --together in_place
  lidwright board --gauge 104.5 --gauge-opening 92.5 --gauge-count 12 --clay tern
  lidwright board galleries.csv --clay tern --lids-measured lids.csv`,
		Args: cobra.MaximumNArgs(1),
		RunE: sizeBoard,
	}
	c.Flags().SortFlags = false
	parameterFlags(c, api.BoardParameters())
	c.Flags().String("lids-measured", "", "table of the lids as measured: lid, lid_mm, lid_stage")
	return c
}

func sizeBoard(c *cobra.Command, args []string) error {
	q := askedLengths(c, parameterNames(api.BoardParameters()))
	if len(args) > 0 {
		rows, err := readTable(c, "FILE", args[0])
		if err != nil {
			return err
		}
		q.Set("galleries", galleryLines(rows))
	}
	if file, _ := c.Flags().GetString("lids-measured"); file != "" {
		rows, err := readTable(c, "--lids-measured", file)
		if err != nil {
			return err
		}
		lines, stage, err := lidLines(rows)
		if err != nil {
			return err
		}
		q.Set("measured_lids", lines)
		if stage != "" {
			q.Set("measured_stage", stage)
		}
	}
	if len(q["galleries"])+len(q["gauge"])+len(q["gauge_mm"]) == 0 {
		return &exit{exitWrongUse, "name a file of pots, or --gauge and --gauge-count; see lidwright board --help"}
	}
	var a wire.Board
	done, err := askOrReckon(c, "/v1/lids/board", q, api.NamesClay(q), api.StatedBoard, &a)
	if err != nil {
		return err
	}
	out := c.OutOrStdout()
	unit, _ := tiles.ParseLengthUnit("unit", q.Get("unit"), tiles.MM)
	width := func(mm float64) string { return unit.Format(tiles.Millimetre(mm)) }
	plain, _ := c.Flags().GetBool("plain")
	switch {
	case done:
	case plain:
		for _, s := range a.Sizes {
			fmt.Fprintf(out, "%d %g\n", s.Count, *s.SizeMM)
		}
		for _, p := range a.Pairs {
			fmt.Fprintf(out, "%s %s\n", potOf(p), str(p.Lid))
		}
	default:
		printBoard(out, a, width)
	}
	if a.HeldBack != nil || api.NamesClay(q) && weak(a.Trust) {
		return &exit{code: exitWeakRate}
	}
	return nil
}

// printBoard says the answer in words; width writes a length in the unit that was asked for.
func printBoard(out io.Writer, a wire.Board, width func(mm float64) string) {
	fmt.Fprintln(out, a.Says)
	if len(a.Pairs) > 0 {
		rows := [][]string{{"POT", "LID", "CHANCE"}}
		for _, p := range a.Pairs {
			if p.Lid == nil {
				rows = append(rows, []string{potOf(p), "-", "throw " + width(*p.SetMM)})
			} else {
				rows = append(rows, []string{potOf(p), *p.Lid, fmt.Sprintf("%.0f %%", 100**p.FitChance)})
			}
		}
		table(out, rows)
	}
	if a.ExpectedPairs != nil {
		fmt.Fprintf(out, "To expect: %.1f of %d pots\n", *a.ExpectedPairs, a.Galleries)
	}
	if a.OneToOneChance != nil {
		fmt.Fprintf(out, "Each lid kept with its own pot: all fit %.0f %%\n", 100**a.OneToOneChance)
	}
	printTrust(out, a.Trust, a.TrustWhy.String())
	printCautions(out, a.Cautions)
}

// potOf is what a pot of a board is called: its name, else its number from 1.
func potOf(p wire.BoardPair) string {
	if p.Pot != nil {
		return *p.Pot
	}
	return strconv.Itoa(p.Gallery + 1)
}

// galleryLines writes a table of pots as the question takes them: a line a pot, "name: gallery;
// opening; another way round".
func galleryLines(rows []map[string]string) string {
	var b strings.Builder
	for _, r := range rows {
		if name := r["pot"]; name != "" {
			b.WriteString(name + ": ")
		}
		fmt.Fprintf(&b, "%s; %s; %s; %s\n", r["collar"], r["opening"], r["collar_2"], r["collar_3"])
	}
	return b.String()
}

// lidLines writes a table of measured lids as the question takes them, and the stage they share.
func lidLines(rows []map[string]string) (lines, stage string, err error) {
	var b strings.Builder
	for i, r := range rows {
		name := r["lid"]
		if name == "" {
			name = strconv.Itoa(i + 1)
		}
		if i > 0 && r["stage"] != stage {
			return "", "", &exit{exitWrongUse,
				"lid_stage: measure all lids of a board at one stage, or ask for each stage apart"}
		}
		stage = r["stage"]
		fmt.Fprintf(&b, "%s: %s\n", name, r["width"])
	}
	return b.String(), stage, nil
}

// boardColumns are the columns of both tables, and what a cell of them is; lengths end in their unit.
var boardColumns = map[string]string{"pot": "pot", "collar": "collar", "collar_2": "collar_2",
	"collar_3": "collar_3", "opening": "opening",
	"lid": "lid", "lid_stage": "stage"}

// readTable reads a table with a header line, its columns apart by comma, semicolon or tab.
func readTable(c *cobra.Command, what, file string) ([]map[string]string, error) {
	var b []byte
	var err error
	if file == "-" {
		b, err = io.ReadAll(io.LimitReader(c.InOrStdin(), 1<<20))
	} else {
		b, err = os.ReadFile(file)
	}
	if err != nil {
		return nil, unreadable(what, file, err)
	}
	head, _, _ := strings.Cut(string(b), "\n")
	r := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(b), "\ufeff")))
	r.TrimLeadingSpace = true
	for _, sep := range ";\t" {
		if strings.ContainsRune(head, sep) {
			r.Comma = sep
		}
	}
	rows, err := r.ReadAll()
	if err != nil {
		return nil, &exit{exitWrongUse, fmt.Sprintf("%s: %v", file, err)}
	}
	if len(rows) < 2 {
		return nil, &exit{exitWrongUse, file +
			": needs a line with the names of the columns and a line a piece"}
	}
	var names, units []string
	for _, cell := range rows[0] {
		name, unit := strings.ToLower(strings.TrimSpace(cell)), ""
		for _, u := range []string{"mm", "cm", "in"} {
			if rest, ok := strings.CutSuffix(name, "_"+u); ok {
				name, unit = rest, u
			}
		}
		as, ok := boardColumns[name]
		if name == "lid" && unit != "" {
			as = "width"
		}
		if !ok {
			return nil, &exit{exitWrongUse,
				fmt.Sprintf("%s: no column %q is known here; see lidwright board --help", file, cell)}
		}
		names, units = append(names, as), append(units, unit)
	}
	var all []map[string]string
	for _, row := range rows[1:] {
		one := map[string]string{}
		for i, cell := range row {
			if cell = strings.TrimSpace(cell); cell != "" {
				one[names[i]] = cell + units[i]
			}
		}
		all = append(all, one)
	}
	return all, nil
}
