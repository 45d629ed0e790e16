package tables

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/delimited"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// Take takes a table in, by its kind. A table adds what is not there: a row that is there as it stands is
// known, one that is there and says something else is left out and told, and nothing that was struck comes
// back.
func (s Tables) Take(ctx context.Context, text []byte, ask Ask) (wire.Import, error) {
	switch {
	case ask.Kind == "" || ask.Kind == "bars":
		return s.takeBars(ctx, text, ask)
	case ask.Kind == "readings":
		return s.takeReadings(ctx, text, ask)
	}
	i := slices.IndexFunc(All, func(t Table) bool { return t.Name == ask.Kind && t.takes != nil })
	if i < 0 {
		return wire.Import{}, usecase.UnknownWord("kind", ask.Kind, In()...)
	}
	return s.takeFacts(ctx, All[i], text, ask)
}

// keeper keeps one row of a table for good.
type keeper func(ctx context.Context, now kiln.Stamp) error

// tableTaker takes one table in: what is there already that its rows refer to.
type tableTaker struct {
	*usecase.Studio
	clays   map[tiles.ClayID]bool
	batches map[tiles.BatchRef]tiles.Batch
	bars    map[tiles.Code]bool
	loads   map[string]tiles.KeptLoad
	firings map[kiln.FiringID]kiln.Firing
	pots    map[string]bool
	places  map[string]*placing // of bars in loads, by load
	out     *wire.Import
}

// placing is the bars that a table puts into one load.
type placing struct {
	load tiles.Load
	bars []tiles.Placed
}

// tableRow reads the cells of one row by the names of their columns; what cannot be read is a fault.
type tableRow struct {
	line   int
	cells  []string
	at     map[string]int
	table  *delimited.Table
	zone   *time.Location
	faults tiles.Faults
	left   message.Message // why the row is no fault and is not taken in
}

func (r *tableRow) raw(name string) string {
	if i, ok := r.at[name]; ok && i < len(r.cells) {
		return r.cells[i]
	}
	return ""
}

func (r *tableRow) text(name string) string { return tiles.PlainCell(r.raw(name)) }

func (r *tableRow) number(name string) float64 {
	cell := r.raw(name)
	if delimited.Nothing(cell) {
		return 0
	}
	v, ok := r.table.Number(cell)
	if !ok {
		r.faults.Add(tiles.UnknownValue, name, "{1} is no number", strconv.Quote(cell))
	}
	return v
}

func (r *tableRow) numbers(name string) (all []float64) {
	for _, cell := range strings.Fields(r.raw(name)) {
		v, ok := r.table.Number(cell)
		if !ok {
			r.faults.Add(tiles.UnknownValue, name, "{1} is no number", strconv.Quote(cell))
		}
		all = append(all, v)
	}
	return all
}

func (r *tableRow) whole(name string) int {
	v := r.number(name)
	if v != float64(int(v)) {
		r.faults.Add(tiles.UnknownValue, name, "is no whole number")
	}
	return int(v)
}

func (r *tableRow) yes(name string) bool {
	switch strings.ToLower(strings.TrimSpace(r.raw(name))) {
	case "true", "yes", "1", "ja", "wahr":
		return true
	case "", "false", "no", "0", "nein", "falsch", "na":
	default:
		r.faults.Add(tiles.UnknownValue, name, "true or false")
	}
	return false
}

func (r *tableRow) moment(name string) time.Time {
	cell := r.raw(name)
	if delimited.Nothing(cell) {
		return time.Time{}
	}
	at, _, err := delimited.Days{Order: delimited.DayFirst}.Read(cell, r.zone)
	if err != nil {
		r.faults.Add(tiles.UnknownValue, name, "{1}", message.Of(err))
	}
	return at
}

// stamp is when a row was said, as it tells; now where it does not.
func (r *tableRow) stamp(now kiln.Stamp) kiln.Stamp {
	return stampAt(r.moment("at"), r.yes("clock_trusted"), now)
}

// stampAt is a moment that was told with no running of the machine to it.
func stampAt(at time.Time, trusted bool, now kiln.Stamp) kiln.Stamp {
	if at.IsZero() {
		return now
	}
	return kiln.Stamp{Boot: usecase.TypedBoot, Wall: at, Trusted: trusted}
}

// act is what was done to a fact afterwards, such as struck_at, struck_why, struck_by; nil if nothing was.
func (r *tableRow) act(what string) *tiles.Act {
	at := r.moment(what + "_at")
	if at.IsZero() {
		return nil
	}
	a := &tiles.Act{At: at, Why: r.text(what + "_why"), By: r.text(what + "_by")}
	if err := a.Validate(what == "struck"); err != nil {
		r.fault(err)
	}
	return a
}

// fault takes down what a check of the trade says.
func (r *tableRow) fault(err error) {
	var all tiles.InvalidFields
	var one *tiles.Invalid
	switch {
	case errors.As(err, &all):
		for _, f := range all {
			r.faults.Add(f.Type, f.Field, "{1}", f.Why)
		}
	case errors.As(err, &one):
		r.faults.Add(one.Type, one.Field, "{1}", one.Why)
	case err != nil:
		field := "table"
		var refused *usecase.Refusal
		if errors.As(err, &refused) && len(refused.Fields) > 0 {
			field = refused.Fields[0].Name
		}
		r.faults.Add(tiles.UnknownValue, field, "{1}", message.Of(err))
	}
}

// strike crosses out what the row says was crossed out.
func (r *tableRow) strike(id string, strike func(ctx context.Context, id, by, why string,
	at kiln.Stamp) error) keeper {
	a := r.act("struck")
	return func(ctx context.Context, now kiln.Stamp) error {
		if a == nil {
			return nil
		}
		return strike(ctx, id, a.By, a.Why, stampAt(a.At, true, now))
	}
}

// mostRows is how many rows such a table may have.
const mostRows = 50_000

// openTable reads a table whose columns have names of their own.
func (s Tables) openTable(text []byte, columns string, ask Ask, out *wire.Import) ([]*tableRow, error) {
	known := strings.Split(columns, ",")
	no := func(why message.Key, args ...any) ([]*tableRow, error) {
		return nil, &tiles.Invalid{Field: "table", Why: message.New(why, args...), Type: "table-unreadable"}
	}
	table, err := delimited.Open(text, func(name string) bool { return slices.Contains(known, name) })
	if err != nil {
		return no("{1}", message.Of(err))
	}
	out.Understood.Separator, out.Understood.Encoding, out.Understood.Line = table.Separated(),
		table.Encoding, table.Line
	at := map[string]int{}
	var others []string
	for i, name := range table.Names {
		as := strings.ToLower(name)
		if !slices.Contains(known, as) {
			as = ""
			if name != "" {
				others = append(others, strconv.Quote(name))
			}
		} else if _, twice := at[as]; twice {
			return no("line {1}: the column {2} stands twice", table.Line, as)
		} else {
			at[as] = i
		}
		if name != "" {
			out.Understood.Columns = append(out.Understood.Columns, wire.TableColumn{Name: name, As: as})
		}
	}
	if len(at) == 0 {
		return no("line {1}: no column is known; there are {2}", table.Line, strings.Join(known, ", "))
	}
	if len(others) > 0 && ask.Others == "" {
		out.Questions = append(out.Questions, wire.TableQuestion{Field: "others",
			Text:    message.New("Not known: {1}. Leave them out?", strings.Join(others, ", ")),
			Options: answers["others"][1:]})
	}
	var rows []*tableRow
	for {
		row, err := table.Read()
		var broken *delimited.Fault
		switch {
		case err == io.EOF:
			return rows, nil
		case errors.As(err, &broken):
			out.Bad = append(out.Bad, wire.BadRow{Line: broken.Line, Field: "table", Says: broken.Why})
		case row.Blank():
		case len(rows) == mostRows:
			return no("has more than {1} rows; send it in parts", mostRows)
		default:
			rows = append(rows, &tableRow{line: row.Line,
				cells: slices.Clone(row.Cells), at: at, table: table,
				zone: s.Site.Zone})
		}
		if len(out.Bad) > mostRows {
			return no("has no row that can be read")
		}
	}
}

// same reports whether a cell says what stands there already, each in its own way of writing.
func (r *tableRow) same(cell, stands string) bool {
	cell, stands = tiles.PlainCell(strings.ReplaceAll(cell, "\r\n", "\n")), tiles.PlainCell(stands)
	if cell == stands || delimited.Nothing(cell) && stands == "" {
		return true
	}
	if a, ok := r.table.Number(cell); ok {
		b, ok := r.table.Number(stands)
		return ok && a == b
	}
	if strings.EqualFold(cell, stands) && (stands == "true" || stands == "false") {
		return true
	}
	days := delimited.Days{Order: delimited.DayFirst}
	a, _, errA := days.Read(cell, r.zone)
	b, _, errB := days.Read(stands, r.zone)
	return errA == nil && errB == nil && a.Equal(b)
}

// takeFacts takes a table in, row by row once all rows are good.
func (s Tables) takeFacts(ctx context.Context, kind Table, text []byte, ask Ask) (wire.Import, error) {
	out := newImport(kind.Name, ask)
	rows, err := s.openTable(text, kind.Columns, ask, &out)
	if err != nil {
		return out, err
	}
	out.Rows = len(rows)
	if kind.newest {
		slices.Reverse(rows)
	}
	t, err := s.taker(ctx, &out)
	if err != nil {
		return out, err
	}
	standing, err := s.Rows(ctx, kind)
	if err != nil {
		return out, err
	}
	stands := map[string][]string{}
	for _, row := range standing {
		stands[strings.Join(row[:kind.key], "\x00")] = row
	}
	var keep []keeper
	seen := map[string]int{}
	for _, r := range rows {
		k, key := t.row(kind, r, stands)
		if before := seen[key]; before > 0 {
			r.faults.Add(tiles.GivenTwice, strings.Split(kind.Columns, ",")[kind.key-1],
				"stands in line {1} already", before)
		}
		seen[key] = r.line
		for _, f := range r.bad() {
			out.Bad = append(out.Bad, wire.BadRow{Line: r.line, Field: f.Field, Says: f.Why})
		}
		switch {
		case !r.left.IsZero():
			out.LeftOut = append(out.LeftOut, wire.BadRow{Line: r.line, Says: r.left})
		case k != nil:
			keep = append(keep, k)
			out.New++
		case len(r.bad()) == 0:
			out.SameRows++
		}
	}
	byLine(out.Bad)
	byLine(out.LeftOut)
	if ask.Dry || len(out.Bad)+len(out.Questions) > 0 {
		return out, nil
	}
	if err := s.keepRows(ctx, &out, keep, ask); err != nil {
		return out, err
	}
	return out, nil
}

func byLine(rows []wire.BadRow) {
	slices.SortStableFunc(rows, func(a, b wire.BadRow) int { return a.Line - b.Line })
}

func (r *tableRow) bad() tiles.InvalidFields {
	all, _ := r.faults.Err().(tiles.InvalidFields)
	return all
}

// keepRows keeps row after row. Where it is stopped in between, those before are kept, and the same table
// again goes on.
func (s Tables) keepRows(ctx context.Context, out *wire.Import, keep []keeper, ask Ask) error {
	defer func() {
		s.Shrink.Touch()
		for _, k := range s.KilnNames() {
			s.Heat.Again(context.WithoutCancel(ctx), k)
		}
	}()
	for i, k := range keep {
		err := ctx.Err()
		if err == nil {
			err = k(ctx, s.Now())
		}
		if err != nil {
			return fmt.Errorf("%d of %d rows were kept; the same table again goes on: %w", i, len(keep), err)
		}
		out.Done = i + 1
		if ask.Told != nil && (i%20 == 19 || i+1 == len(keep)) {
			ask.Told(i+1, len(keep))
		}
	}
	out.Kept = true
	return nil
}

// row looks whether a row is there, and else reads it. The keeper is nil where nothing is to be kept.
func (t *tableTaker) row(kind Table, r *tableRow, stands map[string][]string) (k keeper, key string) {
	names := strings.Split(kind.Columns, ",")
	var keys []string
	for _, name := range names[:kind.key] {
		cell := r.text(name)
		if cell == "" && name != "batch" {
			r.faults.Add(tiles.Missing, name, "is needed")
			return nil, fmt.Sprint("line ", r.line)
		}
		keys = append(keys, cell)
	}
	key = strings.Join(keys, "\x00")
	old, there := stands[key]
	if !there {
		k = kind.takes(t, r)
		if len(r.bad()) > 0 || !r.left.IsZero() {
			k = nil
		}
		return k, key
	}
	acts := false
	for i, name := range names {
		if _, in := r.at[name]; !in || slices.Contains(strings.Fields(kind.derived), name) ||
			r.same(r.raw(name), old[i]) {
			continue
		}
		switch {
		case slices.Contains(strings.Fields(kind.acts), name) && old[i] == "":
			acts = true
		case slices.Contains(strings.Fields(kind.acts), name):
		case kind.Name == "batches" && untouched(t.batches[tiles.BatchRef{Clay: tiles.ClayID(keys[0]),
			Batch: tiles.BatchID(keys[1])}]):
			return kind.takes(t, r), key
		default:
			r.left = message.New("is here with another {1}: {2}", name, or(tiles.PlainCell(old[i]), "none"))
			return nil, key
		}
	}
	if acts {
		k = kind.takes(t, r) // keeping it again keeps what was done to it
		if len(r.bad()) > 0 {
			k = nil
		}
	}
	return k, key
}

func or(text, other string) string {
	if text == "" {
		return other
	}
	return text
}

// untouched reports whether a batch is as every clay begins with.
func untouched(b tiles.Batch) bool {
	return b.Batch == usecase.FirstBatch && b.Kind == tiles.Bought && b.Open && b.Stamp == "" &&
		b.Arrived == "" && b.Note == "" && len(b.Parents) == 0
}

// taker gathers what is there.
func (s Tables) taker(ctx context.Context, out *wire.Import) (*tableTaker, error) {
	t := &tableTaker{Studio: s.Studio, clays: map[tiles.ClayID]bool{},
		batches: map[tiles.BatchRef]tiles.Batch{},
		loads:   map[string]tiles.KeptLoad{}, firings: map[kiln.FiringID]kiln.Firing{},
		pots: map[string]bool{}, places: map[string]*placing{}, out: out}
	clays, err := s.Archive.Clays(ctx)
	if err != nil {
		return nil, err
	}
	for _, c := range clays {
		t.clays[c.ID] = true
	}
	batches, err := s.Archive.Batches(ctx)
	if err != nil {
		return nil, err
	}
	for _, b := range batches {
		t.batches[b.BatchRef] = b.Batch
	}
	if t.bars, err = s.Archive.UsedCodes(ctx); err != nil {
		return nil, err
	}
	loads, err := s.Archive.Loads(ctx, tiles.LoadFilter{})
	if err != nil {
		return nil, err
	}
	for _, l := range loads {
		t.loads[l.ID] = l
	}
	firings, err := s.Archive.Firings(ctx, kiln.FiringFilter{})
	if err != nil {
		return nil, err
	}
	for _, f := range firings {
		t.firings[f.ID] = f
	}
	pots, err := s.Archive.Pots(ctx, lidPots)
	if err != nil {
		return nil, err
	}
	for _, p := range pots {
		t.pots[p.ID] = true
	}
	return t, nil
}
