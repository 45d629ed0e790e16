package tiles

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"lidwright/kiln"
	"lidwright/kiln/heatwork"
)

// SheetColumns are the columns of a sheet of bars, one row a bar; any may be left out, and they may
// stand in any order. A sheet out has all of them.
var SheetColumns = []string{"code", "clay", "batch", "forming", "mark_length_mm", "practice", "unit", "wet", "soft", "leather", "dry", "bisque", "fired",
	"instrument", "load_bisque", "load_fired", "heat_work_c", "cone", "by", "note"}

// SheetRow is one row of a sheet: a bar with the lengths that were read on it.
type SheetRow struct {
	Line       int // of the file, from 1
	Bar        Bar // without an id; without a code where the next free one is meant
	LoadBisque string
	LoadFired  string
	Work       kiln.Celsius // heat work of its last firing as stated; NaN: not stated
}

// Taken is a sheet that was read and found good: what is to be kept of it.
type Taken struct {
	Bars   []Bar         // new ones whole; of those that are there the code and the new readings
	There  map[Code]bool // of Bars, those that are there
	Loads  []Load        // with the bars that they get; one without a number is new
	Asked  []SheetQuestion
	Same   int // readings that were said before
	Number int // readings that are new
}

// SheetQuestion is a reading of a sheet that is not believed: kept not confirmed, and out of the fit.
type SheetQuestion struct {
	Line       int
	Bar        Code
	Stage      Stage
	EntryError EntryError
	Question   string
	Needs      string
}

// BadRow is what is wrong with one row.
type BadRow struct {
	Line int
	Invalid
}

const mostSheetRows = 20000

// ReadSheet reads a sheet of bars. The separator is the comma, semicolon or tab of the header line.
// usual is the unit of lengths where a row has none. Rows at fault are told each with its line, and
// the good ones are given all the same; the error is an *Invalid of field "table" for a file that is
// no such table.
func ReadSheet(text string, usual LengthUnit, codes Alphabet) ([]SheetRow, []BadRow, error) {
	text = strings.TrimPrefix(text, "\ufeff")
	header, _, _ := strings.Cut(text, "\n")
	r := csv.NewReader(strings.NewReader(text))
	r.FieldsPerRecord = -1
	for _, sep := range "\t;" {
		if strings.ContainsRune(header, sep) {
			r.Comma = sep
		}
	}
	no := func(format string, args ...any) ([]SheetRow, []BadRow, error) {
		return nil, nil, &Invalid{Field: "table", Why: fmt.Sprintf(format, args...), Type: "table-unreadable"}
	}
	names, err := r.Read()
	if err != nil {
		return no("has no header line: %s", strings.Join(SheetColumns, ","))
	}
	at := map[string]int{}
	for i, n := range names {
		n = strings.ToLower(strings.TrimSpace(n))
		if !slices.Contains(SheetColumns, n) {
			return no("line 1: no column is called %q; there are %s", n, strings.Join(SheetColumns, ", "))
		}
		if _, twice := at[n]; twice {
			return no("line 1: the column %s stands twice", n)
		}
		at[n] = i
	}
	var rows []SheetRow
	var bad []BadRow
	seen := map[Code]int{}
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var broken *csv.ParseError
		if errors.As(err, &broken) {
			bad = append(bad, BadRow{broken.StartLine, Invalid{"table", "the quotes of this row do not match: " + broken.Err.Error(), "table-unreadable"}})
			continue
		}
		if err != nil {
			return no("cannot be read: %v", err)
		}
		line, _ := r.FieldPos(0)
		if len(rows)+len(bad) >= mostSheetRows {
			return no("has more than %d rows; send it in parts", mostSheetRows)
		}
		if !slices.ContainsFunc(cells, func(c string) bool { return strings.TrimSpace(c) != "" }) {
			continue
		}
		if len(cells) > len(names) {
			bad = append(bad, BadRow{line, Invalid{"table", fmt.Sprintf("has %d cells under %d columns: a comma too many?", len(cells), len(names)), "table-unreadable"}})
			continue
		}
		row, faults := sheetRow(func(name string) string {
			if i, ok := at[name]; ok && i < len(cells) {
				return plainCell(cells[i])
			}
			return ""
		}, usual, codes)
		row.Line = line
		if c := row.Bar.Code; c != "" {
			if before, twice := seen[c]; twice {
				faults = append(faults, &Invalid{"code", fmt.Sprintf("%s stands in line %d already", c, before), GivenTwice})
			}
			seen[c] = line
		}
		for _, f := range faults {
			bad = append(bad, BadRow{line, *f})
		}
		if len(faults) == 0 {
			rows = append(rows, row)
		}
	}
	if len(rows) == 0 && len(bad) == 0 {
		return no("has no rows under its header")
	}
	return rows, bad, nil
}

// plainCell takes off the sign that keeps a spreadsheet from reckoning with a text.
func plainCell(cell string) string {
	cell = strings.TrimSpace(cell)
	if len(cell) > 1 && cell[0] == '\'' && strings.ContainsRune("=+-@\t", rune(cell[1])) {
		return cell[1:]
	}
	return cell
}

// SafeCell puts that sign before a text that a spreadsheet would take for a formula.
func SafeCell(text string) string {
	if text != "" && strings.ContainsRune("=+-@\t", rune(text[0])) {
		return "'" + text
	}
	return text
}

func sheetRow(cell func(string) string, usual LengthUnit, codes Alphabet) (SheetRow, InvalidFields) {
	var f Faults
	row := SheetRow{LoadBisque: cell("load_bisque"), LoadFired: cell("load_fired"), Work: kiln.NoTemperature()}
	b := &row.Bar
	if c := cell("code"); c != "" {
		code, err := codes.Parse("code", c)
		f.take(err)
		b.Code = code
	}
	b.Clay, b.Batch = ClayID(cell("clay")), BatchID(cell("batch"))
	if b.Clay == "" && b.Code == "" {
		f.Add(Missing, "clay", "is needed for a new bar")
	}
	if v := cell("forming"); v != "" {
		b.Forming = Forming(strings.ReplaceAll(strings.ToLower(v), " ", "_"))
		OneOf(&f, "forming", b.Forming, Formings()...)
	}
	if v := cell("mark_length_mm"); v != "" {
		l, err := ParsePiece("mark_length_mm", v, MM)
		f.take(err)
		b.MarkLength = l.Millimetre()
	}
	switch strings.ToLower(cell("practice")) {
	case "", "no", "0", "false":
	case "yes", "1", "true":
		b.Practice = true
	default:
		f.Add(UnknownValue, "practice", "yes or no")
	}
	b.By, b.Note = cell("by"), cell("note")
	f.Maker("by", &b.By)
	f.Text("note", &b.Note, LongestNote)
	unit, err := ParseLengthUnit("unit", cell("unit"), usual)
	f.take(err)
	for _, stage := range Stages() {
		v := cell(string(stage))
		if v == "" {
			continue
		}
		l, err := ParsePiece(string(stage), v, unit)
		if err != nil {
			f.take(err)
			continue
		}
		b.Readings = append(b.Readings, Reading{Stage: stage, Mark: 1, Length: l.Millimetre(), AsTyped: l.Typed, Unit: string(l.Unit), Instrument: cell("instrument"), By: b.By})
	}
	heat, cone := cell("heat_work_c"), cell("cone")
	switch {
	case heat != "" && cone != "" || row.LoadFired != "" && (heat != "" || cone != ""):
		f.Add(GivenTwice, "heat_work_c", "give one of load_fired, heat_work_c and cone")
	case heat != "":
		v, err := strconv.ParseFloat(strings.Replace(heat, ",", ".", 1), 64)
		if err != nil || math.IsNaN(v) || v < lowestWork || v > highestWork {
			f.Add(OutOfRange, "heat_work_c", "must lie from 550 to 1400 °C")
		}
		row.Work = kiln.Celsius(v)
	case cone != "":
		v, err := heatwork.MainConeScale().Parse(cone)
		if err != nil {
			f.Add(UnknownValue, "cone", err.Error())
		}
		row.Work = v
	}
	return row, f.all
}
