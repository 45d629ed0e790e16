package tiles

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/delimited"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
)

// SheetRow is one row of a sheet: a bar with the lengths that were read on it.
type SheetRow struct {
	Line int // of the file, from 1
	// without a code: the next free one; readings have a time where the row tells one
	Bar          Bar
	LoadBisque   string       // number or id of the load of its bisque firing; "" none
	LoadFired    string       // the same of its last firing
	FiringBisque string       // name of a firing, as big-blue/8; "" none
	FiringFired  string       // the same of its last firing
	Work         kiln.Celsius // heat work of its last firing as stated; NaN: not stated
	WorkBisque   kiln.Celsius // the same of its bisque
}

// SheetChoice is what somebody says of a sheet that it does not say itself, and what it is read by.
type SheetChoice struct {
	Unit  LengthUnit      // of lengths without one
	Codes Alphabet        // signs that codes are made of
	Zone  *time.Location  // of days and times of day
	Now   time.Time       // nothing was measured later
	Days  delimited.Order // which number of a day comes first; empty: not said
	// what becomes of columns that are not known: OthersToNote, OthersLeft; empty: not said
	Others string
}

// What becomes of columns that are not known.
const (
	OthersToNote = "note" // their texts go to the note of the bar
	OthersLeft   = "leave"
)

// Sheet is a sheet of bars as it was understood.
type Sheet struct {
	Rows []SheetRow // those without a fault
	Bad  []BadRow   // those with one, and lines that are no row

	Separator string         // comma, semicolon, tab
	Encoding  string         // UTF-8, UTF-16 or Windows-1252
	Line      int            // of the names
	Columns   []SheetColumn  // in the order of the sheet, without those that are passed over
	Days      delimited.Days // how its days are read
	Long      bool           // one row a reading
	Commas    bool           // a length has a decimal comma
	Asks      []SheetAsk     // what must be said before it is kept; empty: nothing
}

// SheetAsk is what a sheet does not tell and somebody must say before it is kept.
type SheetAsk struct {
	Field string          // days, others
	Text  message.Message // the question
}

// BadRow is what is wrong with one row.
type BadRow struct {
	// of the file, from 1
	Line int
	Invalid
}

// mostSheetRows is how many rows one sheet may have (own).
const mostSheetRows = 20000

// ReadSheet reads a sheet of bars as delimited does. Rows at fault are told each with its line, and
// the good ones are given all the same; the error is an *Invalid of field "table" for a file that is
// no such table.
func ReadSheet(text []byte, choice SheetChoice) (Sheet, error) {
	no := func(why message.Key, args ...any) (Sheet, error) {
		return Sheet{}, &Invalid{Field: "table", Why: message.New(why, args...), Type: "table-unreadable"}
	}
	// how it is written, and which line names the columns
	table, err := delimited.Open(text, func(name string) bool { return columnOf(name).As != "" })
	if err != nil {
		return no("{1}", message.Of(err))
	}
	r := sheetReader{choice: choice, table: table, at: map[string]int{}}
	r.Separator, r.Encoding, r.Line = table.Separated(), table.Encoding, table.Line
	if len(table.Names) == 0 {
		return no("has no header line: {1}", strings.Join(SheetColumns, ","))
	}
	if err := r.lines(); err != nil {
		return no("{1}", message.Of(err))
	}
	if err := r.columns(); err != nil {
		return no("{1}", message.Of(err))
	}
	// the order of day and month is that of the whole sheet, so it is found before a row is read
	r.days()
	seen := map[Code]int{}
	for _, l := range r.rows {
		row, faults := r.row(l)
		// with a row for each bar a code stands once
		if c := row.Bar.Code; c != "" && !r.Long {
			if before, twice := seen[c]; twice {
				faults = append(faults, &Invalid{"code",
					message.New("{1} stands in line {2} already", c, before), GivenTwice})
			}
			seen[c] = row.Line
		}
		for _, f := range faults {
			r.Bad = append(r.Bad, BadRow{row.Line, *f})
		}
		if len(faults) == 0 {
			r.Rows = append(r.Rows, row)
		}
	}
	if len(r.Rows) == 0 && len(r.Bad) == 0 {
		return no("has no rows under its header")
	}
	return r.Sheet, nil
}

// sheetReader reads one sheet.
type sheetReader struct {
	Sheet
	choice SheetChoice
	table  *delimited.Table
	rows   []delimited.Row
	at     map[string]int // place of each known column
	notes  []int          // places of what goes to the note
	others []int          // places of columns that are not known and have texts
}

// lines reads every row.
func (r *sheetReader) lines() error {
	for {
		row, err := r.table.Read()
		if err == io.EOF {
			return nil
		}
		var broken *delimited.Fault
		if errors.As(err, &broken) {
			if r.Bad = append(r.Bad, BadRow{broken.Line, Invalid{"table", broken.Why,
				"table-unreadable"}}); len(r.Bad) > mostSheetRows {
				return err
			}
			continue
		}
		if row.Blank() {
			continue
		}
		if len(r.rows) >= mostSheetRows {
			return message.New("has more than {1} rows; send it in parts", mostSheetRows)
		}
		if len(row.Cells) > len(r.table.Names) &&
			!(delimited.Row{Cells: row.Cells[len(r.table.Names):]}).Blank() {
			r.Bad = append(r.Bad, BadRow{row.Line,
				Invalid{"table", message.New("has {1} cells under {2} columns: a {3} too many?",
					len(row.Cells), len(r.table.Names), r.Separator), "table-unreadable"}})
			continue
		}
		row.Cells = slices.Clone(row.Cells)
		r.rows = append(r.rows, row)
	}
}

// columns finds out what the headings stand for. One that is not known is passed over where nothing stands
// under it, or only the numbers of the rows.
func (r *sheetReader) columns() error {
	known := 0
	for i, name := range r.table.Names {
		c := columnOf(name)
		_, twice := r.at[c.As]
		// what each heading stands for; several may go to the note
		switch {
		case (name == "" || c.As == "code") && r.numbersRows(i), c.As == "" && r.empty(i):
			continue
		case c.As == "":
			r.others = append(r.others, i)
		case c.As == "note":
			r.notes = append(r.notes, i)
		case twice:
			return message.New("line {1}: the column {2} stands twice", r.Line, c.As)
		default:
			r.at[c.As] = i
		}
		if c.As != "" {
			known++
		}
		r.Columns = append(r.Columns, c)
	}
	if known == 0 {
		return message.New("line {1}: no column is known; there are {2}", r.Line,
			strings.Join(SheetColumns, ", "))
	}
	// stage and length together make it one row a reading
	_, stage := r.at["stage"]
	_, length := r.at["length"]
	if r.Long = stage && length; stage != length {
		return message.New("line {1}: a table with a row for each reading has both columns stage and length",
			r.Line)
	}
	// what nobody knows is asked about, with the name it is near to
	if len(r.others) > 0 && r.choice.Others == "" {
		var names []string
		for _, c := range r.Columns {
			switch {
			case c.As == "" && c.Like != "":
				names = append(names, fmt.Sprintf("%q (%s?)", c.Name, c.Like))
			case c.As == "":
				names = append(names, fmt.Sprintf("%q", c.Name))
			}
		}
		r.Asks = append(r.Asks, SheetAsk{"others",
			message.New("Not known: {1}. Keep what stands there in the note of each bar, or leave it out?",
				strings.Join(names, ", "))})
	}
	return nil
}

// empty reports whether nothing stands in a column.
func (r *sheetReader) empty(at int) bool {
	return !slices.ContainsFunc(r.rows, func(row delimited.Row) bool {
		return at < len(row.Cells) && strings.TrimSpace(row.Cells[at]) != ""
	})
}

// numbersRows reports whether a column counts the rows, as statistics programs put one before the others.
func (r *sheetReader) numbersRows(at int) bool {
	for i, row := range r.rows {
		n, err := strconv.Atoi(strings.TrimSpace(row.Cells[min(at, len(row.Cells)-1)]))
		if err != nil || n != i && n != i+1 {
			return false
		}
	}
	return true
}

// dayColumns are those that tell days.
func dayColumns() []string {
	names := []string{"made_on", "date"}
	for _, s := range Stages() {
		names = append(names, string(s)+"_on")
	}
	return names
}

// days learns from all days of the sheet which number comes first.
func (r *sheetReader) days() {
	for _, row := range r.rows {
		for _, name := range dayColumns() {
			if at, ok := r.at[name]; ok && at < len(row.Cells) && !delimited.Nothing(row.Cells[at]) {
				r.Days.Look(row.Line, row.Cells[at])
			}
		}
	}
	r.Days.Say(r.choice.Days)
	if r.Days.Order == delimited.Unclear {
		r.Asks = append(r.Asks, SheetAsk{"days",
			message.New("Does the day or the month come first in {1} (line {2})?", r.Days.Told, r.Days.Line)})
	}
}

// PlainCell takes off the sign that keeps a spreadsheet from reckoning with a text.
func PlainCell(cell string) string {
	cell = strings.TrimSpace(cell)
	if len(cell) > 1 && cell[0] == '\'' && strings.ContainsRune("=+-@\t'", rune(cell[1])) {
		return cell[1:]
	}
	return cell
}

// SafeCell puts that sign before a text that a spreadsheet would take for a formula, and before one that
// begins with it.
func SafeCell(text string) string {
	if text != "" && strings.ContainsRune("=+-@\t'", rune(text[0])) {
		return "'" + text
	}
	return text
}

// row reads one row.
func (r *sheetReader) row(l delimited.Row) (SheetRow, InvalidFields) {
	cell := func(name string) string {
		if i, ok := r.at[name]; ok && i < len(l.Cells) && !delimited.Nothing(l.Cells[i]) {
			return PlainCell(l.Cells[i])
		}
		return ""
	}
	var f Faults
	row := SheetRow{Line: l.Line, LoadBisque: cell("load_bisque"), LoadFired: cell("load_fired"),
		FiringBisque: cell("firing_bisque"), FiringFired: cell("firing_fired")}
	row.Bar = r.bar(l, cell, &f)
	if r.Days.Contrary == l.Line {
		f.Add(OutOfRange, "date", "puts day and month the other way round than line {1} ({2})", r.Days.Line,
			r.Days.Told)
	}
	r.lengths(&row.Bar, cell, &f)
	row.heats(cell, r.table, &f)
	return row, f.all
}

// bar is what a row says of its bar.
func (r *sheetReader) bar(l delimited.Row, cell func(string) string, f *Faults) (b Bar) {
	if c := cell("code"); c != "" {
		code, err := r.choice.Codes.Parse("code", c)
		f.take(err)
		b.Code = code
	}
	b.ID = cell("id")
	f.IDOrNone("id", &b.ID)
	b.Clay, b.Batch = ClayID(cell("clay")), BatchID(cell("batch"))
	// tern/B in one cell
	if clay, batch, ok := strings.Cut(string(b.Clay), "/"); ok && b.Batch == "" {
		b.Clay, b.Batch = ClayID(strings.TrimSpace(clay)), BatchID(strings.TrimSpace(batch))
	}
	switch {
	case b.Clay == "" && b.Code == "":
		f.Add(Missing, "clay", "is needed for a new bar")
	case b.Code == "" && r.Long:
		f.Add(Missing, "code", "is needed where each row is a reading")
	}
	if v := cell("forming"); v != "" {
		b.Forming = Forming(strings.ReplaceAll(strings.ToLower(v), " ", "_"))
		OneOf(f, "forming", b.Forming, Formings()...)
	}
	if v := cell("mark_length_mm"); v != "" {
		piece, err := ParsePiece("mark_length_mm", v, r.unitOf("mark_length_mm", MM))
		f.take(err)
		b.MarkLength = piece.Millimetre()
	}
	if v := cell("marks"); v != "" {
		n, err := strconv.Atoi(v)
		if err != nil || n < 1 || n > MostMarks {
			f.Add(OutOfRange, "marks", "must lie from 1 to 9")
		}
		b.Marks = n
	}
	switch strings.ToLower(cell("practice")) {
	case "", "no", "0", "false", "nein", "falsch":
	case "yes", "1", "true", "ja", "wahr":
		b.Practice = true
	default:
		f.Add(UnknownValue, "practice", "yes or no")
	}
	if v := cell("made_on"); v != "" {
		if at, ok := r.day("made_on", v, "", f); ok {
			b.MadeOn = at.Format(time.DateOnly)
		}
	}
	for _, v := range strings.Fields(strings.ReplaceAll(cell("flags"), ",", " ")) {
		b.Flags = append(b.Flags, Flag(strings.ToLower(v)))
		OneOf(f, "flags", b.Flags[len(b.Flags)-1], Flags()...)
	}
	b.By, b.Note = cell("by"), r.note(l)
	f.Maker("by", &b.By)
	f.Text("note", &b.Note)
	return b
}

// note joins what stands in the columns of notes and, if so said, in those that are not known.
func (r *sheetReader) note(l delimited.Row) string {
	var parts []string
	for _, i := range r.notes {
		if i < len(l.Cells) && !delimited.Nothing(l.Cells[i]) {
			parts = append(parts, PlainCell(l.Cells[i]))
		}
	}
	for _, i := range r.others {
		if r.choice.Others == OthersToNote && i < len(l.Cells) && !delimited.Nothing(l.Cells[i]) {
			name := r.table.Names[i]
			if name == "" {
				name = fmt.Sprintf("column %d", i+1)
			}
			parts = append(parts, name+": "+PlainCell(l.Cells[i]))
		}
	}
	return strings.Join(parts, "; ")
}

// stageOf is the stage that a notebook names.
func stageOf(word string) (Stage, bool) {
	s := Stage(columnNamed(strings.ToLower(strings.TrimSpace(word))))
	return s, slices.Contains(Stages(), s)
}

// lengths reads the readings of a row.
func (r *sheetReader) lengths(b *Bar, cell func(string) string, f *Faults) {
	unit, err := ParseLengthUnit("unit", cell("unit"), r.choice.Unit)
	f.take(err)
	if r.Long {
		stage, ok := stageOf(cell("stage"))
		if !ok {
			f.Add(UnknownValue, "stage", "one of wet, soft, leather, dry, bisque, fired")
			return
		}
		if v := cell("length"); v != "" {
			r.length(b, stage, "length", v, unit, cell, f)
		}
		return
	}
	for _, stage := range Stages() {
		if v := cell(string(stage)); v != "" {
			r.length(b, stage, string(stage), v, unit, cell, f)
		}
	}
}

// unitOf is the unit that the heading of a column says, else usual.
func (r *sheetReader) unitOf(column string, usual LengthUnit) LengthUnit {
	for _, c := range r.Columns {
		if c.As == column && c.Unit != "" {
			return c.Unit
		}
	}
	return usual
}

// length reads one length of a row into b, with its mark and day. What is a spreadsheet's number of a day
// is told as such: the column may be shifted.
func (r *sheetReader) length(b *Bar, stage Stage, field, typed string, unit LengthUnit,
	cell func(string) string, f *Faults) {
	l, err := ParsePiece(field, typed, r.unitOf(field, unit))
	var wrong *Invalid
	if errors.As(err, &wrong) {
		if v, ok := r.table.Number(typed); ok {
			if day, ok := delimited.SerialDay(v, time.UTC); ok {
				err = &Invalid{field, message.New("{1} is no length; as a day of a spreadsheet it is {2}: is the column shifted?", typed, day.Format("2 January 2006")), wrong.Type}
			}
		}
	}
	if err != nil {
		f.take(err)
		return
	}
	r.Commas = r.Commas || strings.ContainsRune(typed, ',')
	reading := Reading{Stage: stage, Mark: 1, Length: l.Millimetre(), AsTyped: l.Typed, Unit: string(l.Unit),
		Instrument: cell("instrument"), By: b.By}
	if v := cell("mark"); v != "" && r.Long {
		if reading.Mark, err = strconv.Atoi(v); err != nil || reading.Mark < 1 || reading.Mark > MostMarks {
			f.Add(OutOfRange, "mark", "must lie from 1 to 9")
		}
		b.Marks = max(b.Marks, reading.Mark)
	}
	// the day of the stage's own column, else that of the row
	day, clock, name := cell(string(stage)+"_on"), "", string(stage)+"_on"
	if day == "" {
		day, clock, name = cell("date"), cell("time"), "date"
	}
	if day != "" {
		reading.At, reading.Trusted = r.day(name, day, clock, f)
	}
	b.Readings = append(b.Readings, reading)
}

// day reads a moment that is not in the future. A day alone stands for its end, so that what was measured on
// the day of a firing counts as measured after it.
func (r *sheetReader) day(field, cell, clock string, f *Faults) (time.Time, bool) {
	if r.Days.Order == delimited.Unclear {
		return time.Time{}, false // asked first
	}
	at, whole, err := r.Days.Read(cell, r.choice.Zone)
	if err == nil && whole && clock != "" {
		field = "time"
		at, err = delimited.At(at, clock)
		whole = false
	}
	if err != nil {
		f.Add(UnknownValue, field, "{1}", message.Of(err))
		return at, false
	}
	if at.After(r.choice.Now.Add(time.Minute)) {
		f.Add(OutOfRange, field, "{1} is in the future", cell)
		return at, false
	}
	if at.Year() < 1950 {
		f.Add(OutOfRange, field, "{1} is before 1950", cell)
		return at, false
	}
	if whole && field != "made_on" {
		if at = at.AddDate(0, 0, 1).Add(-time.Second); at.After(r.choice.Now) {
			at = r.choice.Now
		}
	}
	return at, true
}

// heats reads what a row says of the heat that its bar had.
func (row *SheetRow) heats(cell func(string) string, table *delimited.Table, f *Faults) {
	row.Work, row.WorkBisque = kiln.NoTemperature(), kiln.NoTemperature()
	// one source of the last firing's heat alone
	told := 0
	for _, name := range []string{"load_fired", "firing_fired", "heat_work_c", "cone"} {
		if cell(name) != "" {
			told++
		}
	}
	if told > 1 {
		f.Add(GivenTwice, "heat_work_c", "give one of load_fired, firing_fired, heat_work_c and cone")
		return
	}
	if heat := cell("heat_work_c"); heat != "" {
		v, ok := table.Number(heat)
		if !ok || math.IsNaN(v) || v < LowestHeatWork || v > HighestHeatWork {
			f.Add(OutOfRange, "heat_work_c", "must lie from 550 to 1400 °C")
		}
		row.Work = kiln.Celsius(v)
	}
	for _, c := range []struct {
		name string
		into *kiln.Celsius
	}{{"cone", &row.Work}, {"cone_bisque", &row.WorkBisque}} {
		if cone := cell(c.name); cone != "" {
			v, err := heatwork.MainConeScale().Parse(cone)
			if err != nil {
				f.Add(UnknownValue, c.name, "{1}", message.Of(err))
				continue
			}
			*c.into = v
		}
	}
	if row.WorkBisque.Known() && (row.LoadBisque != "" || row.FiringBisque != "") ||
		row.LoadBisque != "" && row.FiringBisque != "" {
		f.Add(GivenTwice, "cone_bisque", "give one of load_bisque, firing_bisque and cone_bisque")
	}
}
