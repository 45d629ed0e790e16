package tiles

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// SheetNeeds is what is there already that a sheet refers to.
type SheetNeeds struct {
	Batches map[ClayID][]Batch // of each clay
	Clays   map[string]ClayID  // by name and id, in small letters
	Bars    map[Code]Bar       // those that the sheet names and that are there
	ByID    map[string]Code    // bars that are there, where a row has no code
	Loads   []Load             // all that bars may be put into
	// what a bar of each load had, by its id; those that were not fired are left out
	Heats   map[string]Heat
	Firings map[string]SheetFiring   // those that rows name, as they name them
	Free    []Code                   // for rows without a code, in order
	NewID   func(text string) string // the same id for the same text, whenever
	Judge   func(Bar, *Reading)      // sees whether a length can be believed, and says so in the reading
	At      time.Time                // moment of a reading whose row tells none
}

// SheetQuestion is a reading of a sheet that is not believed: kept not confirmed, and out of the fit.
type SheetQuestion struct {
	// of the row
	Line int
	// its code
	Bar Code
	// of the length
	Stage Stage
	// the mistake that it looks like
	EntryError EntryError
	// what is asked
	Question message.Message
	// count or confirm: see Reading.Needs
	Needs string
}

// SheetFiring is a firing that a row names.
type SheetFiring struct {
	Heat
	// of the firing
	Atmosphere kiln.Atmosphere
}

// Taken is a sheet that was read and found good: what is to be kept of it.
type Taken struct {
	Bars   []Bar           // new ones whole; of those that are there the code and the new readings
	There  map[Code]bool   // of Bars, those that are there
	Loads  []Load          // with the bars that they get; without a number: new, opened then if it says when
	Asked  []SheetQuestion // readings that are not believed; they are kept all the same
	Same   int             // readings that were said before
	Number int             // readings that are new

	Whole map[Code]Bar   // of Bars, with all readings and firings that they then have
	Line  map[string]int // of each new reading, by its id
}

// TakeSheet makes out of the rows what is to be kept, and judges every length. Rows that do not fit
// what is there are told, and nothing of the sheet is to be kept then.
func TakeSheet(rows []SheetRow, have SheetNeeds) (Taken, []BadRow) {
	t := taking{SheetNeeds: have, loads: map[string]*Load{}, stated: map[string]int{},
		place: map[Code]int{}, nth: map[string]int{}}
	t.out.There, t.out.Whole, t.out.Line = map[Code]bool{}, map[Code]Bar{}, map[string]int{}
	for _, row := range rows {
		t.row(row)
	}
	for _, id := range slices.Sorted(maps.Keys(t.loads)) {
		t.out.Loads = append(t.out.Loads, *t.loads[id])
	}
	return t.out, t.bad
}

// taking is a sheet on its way in.
type taking struct {
	SheetNeeds
	out    Taken
	bad    []BadRow
	loads  map[string]*Load // that get bars, by id
	stated map[string]int   // bars in loads of a stated heat work so far
	place  map[Code]int     // of bars in out.Bars
	nth    map[string]int   // rows without a code that say the same so far
}

// fault takes down what is wrong with a row.
func (t *taking) fault(row SheetRow, kind, field string, why message.Key, args ...any) {
	t.bad = append(t.bad, BadRow{row.Line, Invalid{field, message.New(why, args...), kind}})
}

// row takes one row: finds or makes its bar, puts the bar into the loads of its heat, then takes its
// readings. A row at fault leaves nothing of it in what is kept; an earlier row of the same bar counts as
// being there.
func (t *taking) row(row SheetRow) {
	faults := len(t.bad)
	if clay, ok := t.Clays[strings.ToLower(string(row.Bar.Clay))]; ok {
		row.Bar.Clay = clay
	}
	// the same row sent again finds the bar that it made, by an id made of what it says
	if row.Bar.Code == "" {
		said := rowText(row)
		t.nth[said]++
		row.Bar.ID = cmp.Or(row.Bar.ID, t.NewID(fmt.Sprintf("row %d %s", t.nth[said], said)))
		row.Bar.Code = t.ByID[row.Bar.ID] // taken in before
	}
	b := row.Bar
	old, there := t.out.Whole[b.Code]
	if !there {
		old, there = t.Bars[b.Code]
	}
	// a bar that is there must be the same one; else it is made
	switch {
	case there:
		if b.ID != "" && b.ID != old.ID {
			t.fault(row, "code-taken", "code", "{1} is another bar here, of {2}: take another code", b.Code,
				old.BatchRef)
			return
		}
		if b.Clay != "" && b.Clay != old.Clay || b.Batch != "" && b.Batch != old.Batch ||
			b.Forming != "" && b.Forming != old.Forming {
			t.fault(row, "code-taken", "code",
				"{1} is a bar of {2}, {3}: change that on its page, or take another code", b.Code,
				old.BatchRef, old.Forming)
			return
		}
	default:
		var ok bool
		if old, ok = t.fresh(row); !ok {
			return
		}
	}
	old.Firings = slices.Clip(old.Firings)
	// The loads come first: a bisque or fired length counts at the heat that came before it.
	placed := t.inLoad(row, &old, "load_bisque", row.LoadBisque, kiln.Bisque)
	placed = t.inLoad(row, &old, "load_fired", row.LoadFired, kiln.Glaze) || placed
	placed = t.inFiring(row, &old, "firing_bisque", row.FiringBisque, Biscuit) || placed
	placed = t.inFiring(row, &old, "firing_fired", row.FiringFired, Fired) || placed
	placed = t.inStated(row, &old, row.WorkBisque, kiln.Bisque) || placed
	placed = t.inStated(row, &old, row.Work, kiln.Glaze) || placed
	if len(t.bad) > faults {
		return
	}
	t.read(row, old, b.Readings, there, placed)
}

// rowText is what tells a row without a code from others.
func rowText(row SheetRow) string {
	b := row.Bar
	said := []string{string(b.Clay), string(b.Batch), string(b.Forming),
		fmt.Sprint(b.MarkLength), b.MadeOn, b.By, b.Note}
	for _, r := range b.Readings {
		said = append(said, string(r.Stage), r.AsTyped, r.Unit)
	}
	return strings.Join(said, "|")
}

// fresh is a bar that is not there yet, without its readings.
func (t *taking) fresh(row SheetRow) (Bar, bool) {
	b := row.Bar
	if b.Clay == "" {
		t.fault(row, Missing, "clay", "is needed for a new bar")
		return b, false
	}
	batches, known := t.Batches[b.Clay]
	if !known {
		t.fault(row, "unknown-clay", "clay", "{1} is no clay here: keep it first, on the Clays page",
			strconv.Quote(string(b.Clay)))
		return b, false
	}
	if b.Batch == "" {
		b.Batch = newestOpen(batches)
	}
	if !slices.ContainsFunc(batches, func(x Batch) bool { return x.BatchRef == b.BatchRef }) {
		t.fault(row, "unknown-batch", "batch", "{1} is no batch of {2}", strconv.Quote(string(b.Batch)),
			b.Clay)
		return b, false
	}
	if b.Code == "" {
		if len(t.Free) == 0 {
			t.fault(row, OutOfRange, "code", "there are no free codes left")
			return b, false
		}
		b.Code, t.Free = t.Free[0], t.Free[1:]
	}
	b.Forming = cmp.Or(b.Forming, ThrownRing)
	b.ID = cmp.Or(b.ID, t.NewID("bar "+string(b.Code)))
	b.Readings = nil
	if err := b.Validate(); err != nil {
		t.fault(row, OutOfRange, "code", "{1}", message.Of(err))
		return b, false
	}
	return b, true
}

// newestOpen is the batch that bars are made of if none is named: the open one entered last.
func newestOpen(batches []Batch) BatchID {
	var newest Batch
	for _, b := range batches {
		if b.Open && (newest.Batch == "" || b.Made.After(newest.Made)) {
			newest = b
		}
	}
	return newest.Batch
}

// inLoad puts a bar into a load that is there, by its number or id; false if it lay in it already.
func (t *taking) inLoad(row SheetRow, bar *Bar, field, name string, kind kiln.Kind) bool {
	if name == "" {
		return false
	}
	number := strings.TrimSpace(strings.TrimPrefix(strings.ToLower(name), "load"))
	for _, l := range t.Loads {
		if l.ID != name && fmt.Sprint(l.Number) != number {
			continue
		}
		if Measures(l.Kind) != Measures(kind) {
			t.fault(row, OutOfRange, field, "load {1} is a {2} load", l.Number, l.Kind)
			return false
		}
		return t.put(row, bar, field, l, t.Heats[l.ID])
	}
	t.fault(row, "unknown-load", field, "{1} is no load here: its number, as in Load 14", strconv.Quote(name))
	return false
}

// inFiring puts a bar into the load of a firing that is there; a load is made for one that has none.
func (t *taking) inFiring(row SheetRow, bar *Bar, field, name string, stage Stage) bool {
	if name == "" {
		return false
	}
	f, ok := t.Firings[name]
	if !ok {
		t.fault(row, "unknown-firing", field, "{1} is no firing here: its name, as in big-blue/8",
			strconv.Quote(name))
		return false
	}
	if sort := Measures(f.Kind); sort != stage && sort != "" {
		t.fault(row, OutOfRange, field, "{1} is a {2} firing", name, f.Kind)
		return false
	}
	l := Load{ID: t.NewID("load of firing " + string(f.Firing)), Kiln: f.Kiln, Kind: f.Kind,
		Atmosphere: f.Atmosphere, Firing: f.Firing, Note: "from a sheet of bars"}
	if i := slices.IndexFunc(t.Loads, func(l Load) bool { return l.Firing == f.Firing }); i >= 0 {
		l = t.Loads[i]
	}
	heat := f.Heat
	heat.Load = l.ID
	return t.put(row, bar, field, l, heat)
}

// inStated puts a bar into a load of a heat work that the row states: one for those that were measured on one
// day.
func (t *taking) inStated(row SheetRow, bar *Bar, work kiln.Celsius, kind kiln.Kind) bool {
	if !work.Known() {
		return false
	}
	at, day := t.At, ""
	for _, r := range row.Bar.Readings {
		if r.Stage == Measures(kind) && !r.At.IsZero() {
			at, day = r.At, r.At.Format(time.DateOnly)
		}
	}
	name := fmt.Sprintf("%s %.0f %s", kind, float64(work), day)
	part := t.stated[name] / mostBars
	t.stated[name]++
	l := Load{ID: t.NewID(fmt.Sprintf("load %s %d", name, part)), Kind: kind,
		Atmosphere: kiln.UnknownAtmosphere, Stated: work, Note: "from a sheet of bars"}
	if day != "" {
		l.Opened = at
	}
	return t.put(row, bar, "heat_work_c", l, Heat{Load: l.ID, Kind: kind, Work: work, At: at})
}

// put puts a bar into a load and gives it its heat, if it had any; false if it lay in it already.
func (t *taking) put(row SheetRow, bar *Bar, field string, l Load, heat Heat) bool {
	in := t.loads[l.ID]
	if in == nil {
		in = &l
		in.Bars = slices.Clone(l.Bars)
	}
	lies := func(p Placed) bool { return p.Bar == bar.Code }
	if slices.ContainsFunc(in.Bars, lies) || slices.ContainsFunc(bar.Firings,
		func(h Heat) bool { return h.Load == l.ID }) {
		return false
	}
	t.loads[l.ID] = in
	if !l.Opened.IsZero() && l.Number == 0 && l.Opened.Before(in.Opened) {
		in.Opened = l.Opened
	}
	if in.Bars = append(in.Bars, Placed{Bar: bar.Code}); len(in.Bars) > mostBars {
		t.fault(row, OutOfRange, field, "load {1} has more than {2} bars", l.Number, mostBars)
	}
	heat.Load, heat.Kind = l.ID, l.Kind
	if heat.At.IsZero() && heat.Peak.IsZero() {
		heat.Work = kiln.NoTemperature() // not fired yet
	}
	bar.Firings = append(bar.Firings, heat)
	return true
}

// aDay is within which two readings of one length are one and the same.
const aDay = 24 * time.Hour

// read takes the readings of a row that are not there yet. A reading that stands there with the same
// length and no other moment is the same one; each new one is judged with those before it.
func (t *taking) read(row SheetRow, bar Bar, readings []Reading, there, placed bool) {
	kept := bar
	kept.Readings = nil
	for _, r := range readings {
		// an id made of what the row says, so that the sheet can be sent twice
		told := !r.At.IsZero()
		said := []string{"reading", string(bar.Code), string(r.Stage), r.AsTyped, r.Unit, r.Instrument, r.By}
		if told {
			said = append(said, r.At.UTC().Format(time.RFC3339))
		} else {
			r.At = t.At
		}
		if r.Mark > 1 {
			said = append(said, fmt.Sprint("mark ", r.Mark))
		}
		r.Bar, r.ID = bar.Code, t.NewID(strings.Join(said, " "))
		// said before
		if slices.ContainsFunc(bar.Readings, func(o Reading) bool {
			return o.ID == r.ID || o.Stage == r.Stage && max(o.Mark, 1) == r.Mark && o.Length == r.Length &&
				(!told || o.At.Sub(r.At).Abs() < aDay)
		}) {
			t.out.Same++
			continue
		}
		if err := r.Validate(bar); err != nil {
			t.fault(row, OutOfRange, string(r.Stage), "{1}", message.Of(err))
			return
		}
		t.Judge(bar, &r)
		if r.Unusual {
			t.out.Asked = append(t.out.Asked, SheetQuestion{row.Line, r.Bar, r.Stage,
				r.EntryError, r.Question, r.Needs()})
		}
		bar.Readings = append(slices.Clip(bar.Readings), r)
		kept.Readings = append(kept.Readings, r)
		t.out.Line[r.ID] = row.Line
	}
	t.out.Number += len(kept.Readings)
	// nothing new of this bar
	if there && len(kept.Readings) == 0 && !placed {
		return
	}
	t.out.Whole[kept.Code] = bar
	if at, again := t.place[kept.Code]; again { // in an earlier row
		t.out.Bars[at].Readings = append(t.out.Bars[at].Readings, kept.Readings...)
		return
	}
	t.place[kept.Code] = len(t.out.Bars)
	t.out.There[kept.Code] = there
	t.out.Bars = append(t.out.Bars, kept)
}
