package tables

import (
	"context"
	"slices"
	"strings"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/delimited"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// ReadingColumns are those of the table of readings.
const ReadingColumns = "id,bar,mark,stage,length_mm,as_typed,unit,instrument,step_mm,dry_g,saturated_g,suspended_g,by,at,clock_trusted,queued_s,unusual,slip,confirmed_at,counted_at,struck_at,struck_why,struck_by,supersedes," +
	"outside,question,step_g,confirmed_by,confirmed_why,counted_by,counted_why"

// takeReadings takes the table of readings in, with all that was done to them. One without ids is a table of
// bars with a row for each reading. A reading of which the table does not say whether it was asked about is
// judged as if it came now.
func (s Tables) takeReadings(ctx context.Context, text []byte, ask Ask) (wire.Import, error) {
	known := strings.Split(ReadingColumns, ",")
	if table, err := delimited.Open(text, func(name string) bool {
		return slices.Contains(known,
			name)
	}); err == nil && !slices.ContainsFunc(table.Names,
		func(n string) bool { return strings.EqualFold(n, "id") }) {
		ask.Kind = "bars"
		return s.takeBars(ctx, text, ask)
	}
	out := newImport("readings", ask)
	rows, err := s.openTable(text, ReadingColumns, ask, &out)
	if err != nil {
		return out, err
	}
	out.Rows, out.Understood.OneRow = len(rows), "reading"
	t := readingsTaker{Tables: s, out: &out, fit: s.Bars().LastFit(), now: s.Now(),
		bars: map[tiles.Code]tiles.Bar{}, ids: map[string]bool{}, place: map[tiles.Code]int{},
		taken: tiles.Taken{There: map[tiles.Code]bool{}, Whole: map[tiles.Code]tiles.Bar{},
			Line: map[string]int{}}}
	all, err := s.Archive.Bars(ctx, tiles.BarFilter{}, s.Channel)
	if err != nil {
		return out, err
	}
	for _, b := range all {
		t.bars[b.Code] = b.Bar
	}
	for _, r := range rows {
		t.ids[r.text("id")] = true
	}
	for _, r := range rows {
		t.row(r)
	}
	byLine(out.Bad)
	out.Readings, out.New = t.taken.Number, t.taken.Number
	if ask.Dry || len(out.Bad)+len(out.Questions) > 0 {
		s.countSheet(&out, t.taken, t.taken.Whole, t.fit)
		return out, nil
	}
	if err := s.Archive.KeepSheet(ctx, t.taken, t.now, ask.Told); err != nil {
		return out, err
	}
	if err := s.keepRows(ctx, &out, t.acts, Ask{}); err != nil {
		return out, err
	}
	out.Kept, out.Done = true, out.New
	return out, s.countKept(ctx, &out, t.taken)
}

// readingsTaker takes one table of readings in.
type readingsTaker struct {
	Tables
	out   *wire.Import
	fit   *shrinkage.Fit
	now   kiln.Stamp
	bars  map[tiles.Code]tiles.Bar // as they will be
	ids   map[string]bool          // of the table
	place map[tiles.Code]int       // of bars among the taken
	taken tiles.Taken
	acts  []keeper // what was done to readings
}

func (t *readingsTaker) row(r *tableRow) {
	code, err := t.Codes.Parse("bar", r.text("bar"))
	r.fault(err)
	bar, there := t.bars[code]
	if err == nil && !there {
		r.faults.Add("unknown-bar", "bar", "{1} is no bar here: take the table of bars in first",
			string(code))
	}
	rd := t.reading(r, bar)
	old := slices.IndexFunc(bar.Readings, func(o tiles.Reading) bool { return o.ID == rd.ID })
	if old < 0 { // a table of bars may have brought it under another id
		old = slices.IndexFunc(bar.Readings, func(o tiles.Reading) bool {
			return !t.ids[o.ID] && o.Mass == nil && rd.Mass == nil && o.Stage == rd.Stage &&
				max(o.Mark, 1) == max(rd.Mark, 1) && o.Length == rd.Length &&
				o.At.Sub(rd.At).Abs() < time.Second
		})
	}
	if old >= 0 && len(r.bad()) == 0 && !sameReading(bar.Readings[old], rd) {
		r.left = message.New("is here with another length or stage: {1} {2}", bar.Readings[old].Stage,
			bar.Readings[old].AsTyped)
	}
	for _, f := range r.bad() {
		t.out.Bad = append(t.out.Bad, wire.BadRow{Line: r.line, Field: f.Field, Says: f.Why})
	}
	switch {
	case len(r.bad()) > 0:
		return
	case !r.left.IsZero():
		t.out.LeftOut = append(t.out.LeftOut, wire.BadRow{Line: r.line, Says: r.left})
		return
	case old >= 0:
		bar.Readings = slices.Clone(bar.Readings)
		rd.ID = bar.Readings[old].ID
		if !t.done(rd, bar.Readings[old]) {
			t.out.Same++
		}
		return
	}
	if r.raw("unusual") == "" && rd.Mass == nil {
		shrinkage.Judge(bar, &rd, t.fit)
	}
	if rd.Needs() != "" {
		t.out.Asked = append(t.out.Asked, wire.AskedRow{Line: r.line, Bar: string(code),
			Stage: string(rd.Stage),
			Slip:  string(rd.EntryError), Question: rd.Question, Needs: rd.Needs()})
	}
	bar.Readings = append(slices.Clip(bar.Readings), rd)
	t.bars[code], t.taken.Whole[code] = bar, bar
	at, again := t.place[code]
	if !again {
		at = len(t.taken.Bars)
		t.place[code] = at
		t.taken.There[code] = true
		t.taken.Bars = append(t.taken.Bars, tiles.Bar{Code: code})
	}
	t.taken.Bars[at].Readings = append(t.taken.Bars[at].Readings, rd)
	t.taken.Line[rd.ID] = r.line
	t.taken.Number++
	t.done(rd, tiles.Reading{})
}

func sameReading(a, b tiles.Reading) bool {
	return a.Stage == b.Stage && max(a.Mark, 1) == max(b.Mark, 1) && a.Length == b.Length &&
		(a.Mass == nil) == (b.Mass == nil)
}

// done has what was done to a reading done, where it was not yet; it reports whether anything is.
func (t *readingsTaker) done(rd, old tiles.Reading) (any bool) {
	for _, w := range []struct {
		says, stands *tiles.Act
		do           func(ctx context.Context, bar tiles.Code, id, by, why string, at kiln.Stamp) error
	}{{rd.Confirmed, old.Confirmed, t.Archive.ConfirmReading}, {rd.Counted, old.Counted,
		t.Archive.CountReading},
		{rd.Struck, old.Struck, t.Archive.StrikeReading}} {
		if w.says == nil || w.stands != nil {
			continue
		}
		any = true
		t.acts = append(t.acts, func(ctx context.Context, now kiln.Stamp) error {
			return w.do(ctx, rd.Bar, rd.ID, w.says.By, w.says.Why, stampAt(w.says.At, true, now))
		})
	}
	return any
}

// reading reads a row.
func (t *readingsTaker) reading(r *tableRow, bar tiles.Bar) tiles.Reading {
	rd := tiles.Reading{ID: r.text("id"), Bar: bar.Code, Mark: r.whole("mark"),
		Stage: tiles.Stage(r.text("stage")), Length: tiles.Millimetre(r.number("length_mm")),
		AsTyped: r.text("as_typed"), Unit: r.text("unit"),
		Instrument: r.text("instrument"), Step: tiles.Millimetre(r.number("step_mm")), By: r.text("by"),
		At: r.moment("at"), Trusted: r.raw("clock_trusted") == "" || r.yes("clock_trusted"),
		Queued: time.Duration(r.number("queued_s") * float64(time.Second)), Unusual: r.yes("unusual"),
		Outside: r.yes("outside"), EntryError: tiles.EntryError(r.text("slip")),
		Question:  message.Read(r.text("question")),
		Confirmed: r.act("confirmed"), Counted: r.act("counted"), Struck: r.act("struck"),
		Supersedes: r.text("supersedes")}
	if rd.At.IsZero() {
		rd.At, rd.Trusted = t.now.Wall, t.now.Trusted
	}
	if dry := r.number("dry_g"); dry != 0 {
		rd.Mass = &tiles.Mass{Dry: dry, Saturated: r.number("saturated_g"),
			Suspended: r.number("suspended_g"),
			Step:      r.number("step_g")}
	} else {
		if rd.AsTyped == "" {
			rd.AsTyped, rd.Unit = r.raw("length_mm"), string(tiles.MM)
		}
		if rd.Unit == "" {
			rd.Unit = string(tiles.MM)
		}
	}
	r.fault(rd.Validate(bar))
	return rd
}
