package tables

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/delimited"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Ask is how a table is to be taken in.
type Ask struct {
	Kind   string // of the table; empty: bars
	Dry    bool   // tell only
	Days   string // day_first, month_first; empty: as the table tells
	Others string // what becomes of columns that are not known: note, leave
	// of a table of bars: its lengths come with a table of readings, its loads with theirs
	NoLengths bool
	Told      func(done, of int) // hears how far it is; nil: nobody
}

// takeBars reads a table of bars and, unless it is a dry run, a row is bad or something must be said first,
// keeps it whole.
func (s Tables) takeBars(ctx context.Context, text []byte, ask Ask) (wire.Import, error) {
	out := newImport("bars", ask)
	now := s.Now()
	sheet, err := tiles.ReadSheet(text, tiles.SheetChoice{Unit: s.Unit(), Codes: s.Codes, Zone: s.Site.Zone,
		Now: now.Wall, Days: delimited.Order(ask.Days), Others: ask.Others})
	if err != nil {
		return out, err
	}
	out.Understood, out.Questions = understood(sheet), questions(sheet)
	for i := range sheet.Rows {
		if ask.NoLengths {
			sheet.Rows[i].Bar.Readings, sheet.Rows[i].LoadBisque, sheet.Rows[i].LoadFired = nil, "", ""
		}
		if sheet.Rows[i].Bar.MarkLength == 0 {
			sheet.Rows[i].Bar.MarkLength = s.Site.MarkLength
		}
	}
	have, err := s.sheetNeeds(ctx, sheet.Rows, text, now)
	if err != nil {
		return out, err
	}
	taken, more := tiles.TakeSheet(sheet.Rows, have)
	bad := append(sheet.Bad, more...)
	slices.SortStableFunc(bad, func(a, b tiles.BadRow) int { return a.Line - b.Line })
	for _, b := range bad {
		out.Bad = append(out.Bad, wire.BadRow{Line: b.Line, Field: b.Field, Says: b.Why})
	}
	for _, a := range taken.Asked {
		out.Asked = append(out.Asked, wire.AskedRow{Line: a.Line, Bar: string(a.Bar), Stage: string(a.Stage),
			Slip: string(a.EntryError), Question: a.Question, Needs: a.Needs})
	}
	out.Rows, out.Readings, out.Same, out.Loads = len(sheet.Rows), taken.Number, taken.Same, len(taken.Loads)
	handed := map[tiles.Code]bool{}
	for _, c := range have.Free {
		handed[c] = true
	}
	for _, b := range taken.Bars {
		if !taken.There[b.Code] {
			out.NewBars++
		}
		if handed[b.Code] {
			out.Codes = append(out.Codes, string(b.Code))
		}
	}
	if ask.Dry || len(bad) > 0 || len(out.Questions) > 0 {
		s.countSheet(&out, taken, taken.Whole, s.Bars().LastFit())
		return out, nil
	}
	if err := s.Archive.KeepSheet(ctx, taken, now, ask.Told); err != nil {
		return out, err
	}
	out.Kept = true
	s.Shrink.Touch()
	return out, s.countKept(ctx, &out, taken)
}

func newImport(kind string, ask Ask) wire.Import {
	return wire.Import{Kind: kind, DryRun: ask.Dry, Codes: []string{}, Bad: []wire.BadRow{},
		Asked: []wire.AskedRow{}, Questions: []wire.TableQuestion{}, NotCounting: []wire.NotCounting{},
		LeftOut: []wire.BadRow{}, Understood: wire.Understood{Columns: []wire.TableColumn{}}}
}

// understood is how a sheet was read, for whoever sent it.
func understood(sheet tiles.Sheet) wire.Understood {
	u := wire.Understood{Separator: sheet.Separator, Encoding: sheet.Encoding, Line: sheet.Line,
		DecimalComma: sheet.Commas, Columns: []wire.TableColumn{},
		Days: string(sheet.Days.Order), OneRow: "bar"}
	if sheet.Long {
		u.OneRow = "reading"
	}
	for _, c := range sheet.Columns {
		u.Columns = append(u.Columns, wire.TableColumn{Name: c.Name, As: c.As,
			Unit: string(c.Unit), Like: c.Like})
	}
	d := sheet.Days
	switch {
	case d.Order == delimited.Unasked || d.Order == delimited.Unclear:
		u.Days = ""
	case d.Line > 0:
		u.DaysFrom = fmt.Sprintf("as line %d tells: %s", d.Line, d.Told)
	}
	if d.Serial > 0 {
		u.SerialDays = message.New("{1} in line {2} is {3}: a day as spreadsheets count from 1900",
			d.SerialCell, d.SerialLine, d.SerialDay.Format("2 January 2006"))
	}
	return u
}

// answers are what may be said to each question of a sheet.
var answers = map[string][]wire.TableOption{
	"days": {{Value: string(delimited.DayFirst), Text: message.New("Day first")},
		{Value: string(delimited.MonthFirst), Text: message.New("Month first")}},
	"others": {{Value: tiles.OthersToNote, Text: message.New("Keep them in the note")},
		{Value: tiles.OthersLeft, Text: message.New("Leave them out")}},
}

func questions(sheet tiles.Sheet) []wire.TableQuestion {
	out := []wire.TableQuestion{}
	for _, a := range sheet.Asks {
		out = append(out, wire.TableQuestion{Field: a.Field, Text: a.Text, Options: answers[a.Field]})
	}
	return out
}

// countKept says of what was kept what counts by the fit that has it.
func (s Tables) countKept(ctx context.Context, out *wire.Import, taken tiles.Taken) error {
	fit := s.Bars().SettledIn(ctx, settleTable)
	whole := map[tiles.Code]tiles.Bar{}
	codes := make([]tiles.Code, len(taken.Bars))
	for i, b := range taken.Bars {
		codes[i] = b.Code
	}
	if len(codes) > 0 {
		bars, err := s.Archive.Bars(ctx, tiles.BarFilter{Codes: codes}, s.Channel)
		if err != nil {
			return err
		}
		for _, b := range bars {
			whole[b.Code] = b.Bar
		}
	}
	s.countSheet(out, taken, whole, fit)
	return nil
}

// mostLines is how many lines are named for each reason.
const mostLines = 50

// countSheet says how many new readings count, and why the others do not. A fit that has not heard of them
// yet says what is assumed of their heat.
func (s Tables) countSheet(out *wire.Import, taken tiles.Taken, whole map[tiles.Code]tiles.Bar,
	fit *shrinkage.Fit) {
	by := map[string]*wire.NotCounting{}
	for _, kept := range taken.Bars {
		b := whole[kept.Code]
		for _, r := range b.Readings {
			line, new := taken.Line[r.ID]
			if !new {
				continue
			}
			var j wire.Reading
			if usecase.Counted(&j, b, r, fit); j.WhyNot == nil {
				out.Counting++
				if j.Pending && out.Kept {
					out.Pending++
				}
				if j.HeatAssumed != nil {
					out.Assumed++
				}
				continue
			}
			g := by[j.WhyNot.Code]
			if g == nil {
				g = &wire.NotCounting{WhyNot: *j.WhyNot, Lines: []int{}}
				by[j.WhyNot.Code] = g
			}
			if g.Readings++; len(g.Lines) < mostLines && !slices.Contains(g.Lines, line) {
				g.Lines = append(g.Lines, line)
			}
		}
	}
	for _, code := range slices.Sorted(maps.Keys(by)) {
		slices.Sort(by[code].Lines)
		out.NotCounting = append(out.NotCounting, *by[code])
	}
}

// tableID makes the same id of the same text, whenever: what a table brings twice is the same.
func tableID(text string) string {
	return uuid.NewSHA1(uuid.NameSpaceURL, []byte("lidwright table: "+text)).String()
}

// sheetNeeds gathers what is there of what the rows refer to.
func (s Tables) sheetNeeds(ctx context.Context, rows []tiles.SheetRow, text []byte,
	now kiln.Stamp) (tiles.SheetNeeds, error) {
	fit := s.Bars().LastFit()
	have := tiles.SheetNeeds{Batches: map[tiles.ClayID][]tiles.Batch{}, Clays: map[string]tiles.ClayID{},
		Bars: map[tiles.Code]tiles.Bar{}, ByID: map[string]tiles.Code{}, At: now.Wall,
		Heats: map[string]tiles.Heat{}, Firings: map[string]tiles.SheetFiring{},
		Judge: func(bar tiles.Bar, r *tiles.Reading) { shrinkage.Judge(bar, r, fit) }, NewID: tableID}
	batches, err := s.Archive.Batches(ctx)
	if err != nil {
		return have, err
	}
	for _, b := range batches {
		have.Batches[b.Clay] = append(have.Batches[b.Clay], b.Batch)
	}
	clays, err := s.Archive.Clays(ctx)
	if err != nil {
		return have, err
	}
	for _, c := range clays {
		have.Clays[strings.ToLower(c.Name)] = c.ID
	}
	for _, c := range clays { // an id goes before a name
		have.Clays[strings.ToLower(string(c.ID))] = c.ID
	}
	if err := s.sheetBars(ctx, rows, text, &have); err != nil {
		return have, err
	}
	return have, s.sheetHeats(ctx, rows, &have)
}

// sheetBars gathers the bars that rows name, and codes for those that name none: the same ones for the same
// table, as long as no other bar takes one.
func (s Tables) sheetBars(ctx context.Context, rows []tiles.SheetRow, text []byte,
	have *tiles.SheetNeeds) error {
	used, err := s.Archive.UsedCodes(ctx)
	if err != nil {
		return err
	}
	var named []tiles.Code
	without := 0
	in := map[tiles.Code]bool{}
	for _, r := range rows {
		switch {
		case r.Bar.Code == "":
			without++
		case used[r.Bar.Code] && !in[r.Bar.Code]:
			named = append(named, r.Bar.Code)
		}
		in[r.Bar.Code] = true
	}
	if len(named) > 0 || without > 0 {
		filter := tiles.BarFilter{Codes: named}
		if without > 0 {
			filter.Codes = nil // rows without a code may be any
		}
		bars, err := s.Archive.Bars(ctx, filter, s.Channel)
		if err != nil {
			return err
		}
		for _, b := range bars {
			have.Bars[b.Code], have.ByID[b.ID] = b.Bar, b.Code
		}
	}
	if without > 0 {
		sum := sha256.Sum256(text)
		dice := rand.New(rand.NewPCG(binary.LittleEndian.Uint64(sum[:]), binary.LittleEndian.Uint64(sum[8:])))
		left := len(s.Codes)*len(s.Codes)*(len(s.Codes)+1) - len(used)
		free, err := s.Codes.Free(min(without, max(left-len(in), 0)),
			func(c tiles.Code) bool { return used[c] || in[c] }, dice)
		if err != nil {
			return &usecase.Refusal{Kind: "out-of-range", Says: message.Stopped(message.Of(err)),
				Fields: []wire.Field{{Name: "code", Says: message.New("not enough free codes")}}}
		}
		have.Free = free
	}
	return nil
}

// sheetHeats gathers the loads and firings that rows name, and the heat that their bars had.
func (s Tables) sheetHeats(ctx context.Context, rows []tiles.SheetRow, have *tiles.SheetNeeds) error {
	loads, named := false, map[string]bool{}
	for _, r := range rows {
		loads = loads || r.LoadBisque != "" || r.LoadFired != ""
		for _, name := range []string{r.FiringBisque, r.FiringFired} {
			if name != "" {
				named[name] = true
			}
		}
	}
	if !loads && len(named) == 0 {
		return nil
	}
	all, err := s.Archive.Loads(ctx, tiles.LoadFilter{})
	if err != nil {
		return err
	}
	firings, err := s.Archive.Firings(ctx, kiln.FiringFilter{})
	if err != nil {
		return err
	}
	byID := map[kiln.FiringID]kiln.Firing{}
	for _, f := range firings {
		byID[f.ID] = f
	}
	for _, l := range all {
		have.Loads = append(have.Loads, l.Load)
		if f, ok := byID[l.Firing]; ok {
			have.Heats[l.ID] = s.heatOf(f)
		} else if l.Stated.Known() && l.Stated != 0 {
			have.Heats[l.ID] = tiles.Heat{Kind: l.Kind, Kiln: l.Kiln, Work: l.Stated, At: l.Opened}
		}
	}
	for name := range named {
		for _, f := range firings {
			if string(f.ID) == name || strings.ReplaceAll(strings.ToLower(f.Name()), " ",
				"/") == strings.ReplaceAll(strings.ToLower(name), " ", "/") {
				have.Firings[name] = tiles.SheetFiring{Heat: s.heatOf(f), Atmosphere: f.Atmosphere}
			}
		}
	}
	return nil
}

// heatOf is what a bar had that lay in a firing, as the control probe tells it.
func (s Tables) heatOf(f kiln.Firing) tiles.Heat {
	h := tiles.Heat{Kind: f.Kind, Kiln: f.Kiln, Firing: f.ID, Status: f.Status, Work: kiln.NoTemperature()}
	if f.Status == kiln.Running {
		return h
	}
	h.At = f.Over.Wall
	if f.Status != kiln.Ended {
		return h
	}
	if f.PeakAfter > 0 {
		h.Peak = f.Began.Wall.Add(f.PeakAfter)
	}
	if w, ok := f.WorkOn(s.Channel(f.Kiln, ""), ""); ok && w.C.Known() {
		h.Work = w.C
	}
	return h
}

// settleTable is how long the end of a table waits for the fit to have it.
const settleTable = 3 * time.Second
