package tiles

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"lidwright/kiln"
)

// SheetNeeds is what is there already that a sheet refers to.
type SheetNeeds struct {
	Batches map[ClayID][]Batch
	Bars    map[Code]Bar // those that the sheet names and that are there
	Loads   []Load
	Free    []Code                   // for rows without a code, in order
	NewID   func(text string) string // the same id for the same text, whenever
	Judge   func(Bar, *Reading)      // sees whether a length can be believed, and says so in the reading
	At      time.Time
}

// TakeSheet makes out of the rows what is to be kept, and judges every length. Rows that do not fit
// what is there are told, and nothing of the sheet is to be kept then.
func TakeSheet(rows []SheetRow, have SheetNeeds) (Taken, []BadRow) {
	t := taking{SheetNeeds: have, loads: map[string]*Load{}, stated: map[string]int{}}
	t.out.There = map[Code]bool{}
	for _, row := range rows {
		t.row(row)
	}
	for _, id := range slices.Sorted(maps.Keys(t.loads)) {
		t.out.Loads = append(t.out.Loads, *t.loads[id])
	}
	return t.out, t.bad
}

type taking struct {
	SheetNeeds
	out    Taken
	bad    []BadRow
	loads  map[string]*Load // that get bars, by id
	stated map[string]int   // bars in loads of a stated heat work so far
}

func (t *taking) fault(row SheetRow, kind, field, why string) {
	t.bad = append(t.bad, BadRow{row.Line, Invalid{field, why, kind}})
}

func (t *taking) row(row SheetRow) {
	faults := len(t.bad)
	b := row.Bar
	old, there := t.Bars[b.Code]
	switch {
	case there:
		if b.Clay != "" && b.Clay != old.Clay || b.Batch != "" && b.Batch != old.Batch || b.Forming != "" && b.Forming != old.Forming {
			t.fault(row, "code-taken", "code", fmt.Sprintf("%s is a bar of %s, %s: change that on its page, or take another code", b.Code, old.BatchRef, old.Forming))
			return
		}
	case b.Clay == "":
		t.fault(row, Missing, "clay", "is needed for a new bar")
		return
	default:
		batches, known := t.Batches[b.Clay]
		if !known {
			t.fault(row, "unknown-clay", "clay", fmt.Sprintf("%q is no clay here: keep it first, on the Clays page", b.Clay))
			return
		}
		if b.Batch == "" {
			b.Batch = NewestOpen(batches)
		}
		if !slices.ContainsFunc(batches, func(x Batch) bool { return x.BatchRef == b.BatchRef }) {
			t.fault(row, "unknown-batch", "batch", fmt.Sprintf("%q is no batch of %s", b.Batch, b.Clay))
			return
		}
		if b.Code == "" {
			if len(t.Free) == 0 {
				t.fault(row, OutOfRange, "code", "there are no free codes left")
				return
			}
			b.Code, t.Free = t.Free[0], t.Free[1:]
		}
		if b.Forming == "" {
			b.Forming = ThrownRing
		}
		b.ID = t.NewID("bar " + string(b.Code))
		old = b
		old.Readings = nil
		if err := old.Validate(); err != nil {
			t.fault(row, OutOfRange, "code", err.Error())
			return
		}
	}
	// The loads come first: a bisque or fired length counts at the heat that came before it.
	placed := t.place(row, &old, "load_bisque", row.LoadBisque, kiln.Bisque)
	placed = t.place(row, &old, "load_fired", row.LoadFired, kiln.Glaze) || placed
	if row.Work.Known() {
		name := fmt.Sprintf("%.0f", float64(row.Work))
		part := t.stated[name] / mostBars
		t.stated[name]++
		id := t.NewID(fmt.Sprintf("load %s %d", name, part))
		if !slices.ContainsFunc(old.Firings, func(h Heat) bool { return h.Load == id }) {
			if t.loads[id] == nil {
				t.loads[id] = &Load{ID: id, Kind: kiln.Glaze, Atmosphere: kiln.UnknownAtmosphere, Stated: row.Work, Note: "from a sheet of bars"}
			}
			t.loads[id].Bars = append(t.loads[id].Bars, Placed{Bar: old.Code})
			old.Firings = append(slices.Clip(old.Firings), Heat{Load: id, Kind: kiln.Glaze, Work: row.Work, At: t.At})
			placed = true
		}
	}
	if len(t.bad) > faults {
		return
	}
	t.read(row, old, b.Readings, there, placed)
}

// NewestOpen is the batch that bars are made of if none is named: the open one entered last.
func NewestOpen(batches []Batch) BatchID {
	var newest Batch
	for _, b := range batches {
		if b.Open && (newest.Batch == "" || b.Made.After(newest.Made)) {
			newest = b
		}
	}
	return newest.Batch
}

// place puts a bar into a load that is there, by its number or id; false if it lay in it already.
func (t *taking) place(row SheetRow, bar *Bar, field, name string, kind kiln.Kind) bool {
	if name == "" {
		return false
	}
	number := strings.TrimSpace(strings.TrimPrefix(strings.ToLower(name), "load"))
	for _, l := range t.Loads {
		if l.ID != name && fmt.Sprint(l.Number) != number {
			continue
		}
		if Measures(l.Kind) != Measures(kind) {
			t.fault(row, OutOfRange, field, fmt.Sprintf("load %d is a %s load", l.Number, l.Kind))
			return false
		}
		in := t.loads[l.ID]
		if in == nil {
			in = &l
			in.Bars = slices.Clone(l.Bars)
		}
		if slices.ContainsFunc(in.Bars, func(p Placed) bool { return p.Bar == bar.Code }) {
			return false
		}
		t.loads[l.ID] = in
		if in.Bars = append(in.Bars, Placed{Bar: bar.Code}); len(in.Bars) > mostBars {
			t.fault(row, OutOfRange, field, fmt.Sprintf("load %d has more than %d bars", l.Number, mostBars))
		}
		return true
	}
	t.fault(row, "unknown-load", field, fmt.Sprintf("%q is no load here: its number, as in Load 14", name))
	return false
}

func (t *taking) read(row SheetRow, bar Bar, readings []Reading, there, placed bool) {
	kept := bar
	kept.Readings = nil
	for _, r := range readings {
		r.Bar, r.At = bar.Code, t.At
		said := strings.Join([]string{"reading", string(r.Bar), string(r.Stage), r.AsTyped, r.Unit, r.Instrument, r.By}, " ")
		r.ID = t.NewID(said)
		if slices.ContainsFunc(bar.Readings, func(o Reading) bool {
			return o.ID == r.ID || o.Stage == r.Stage && o.Mark <= 1 && o.Length == r.Length
		}) {
			t.out.Same++
			continue
		}
		if err := r.Validate(bar); err != nil {
			t.fault(row, OutOfRange, string(r.Stage), err.Error())
			return
		}
		t.Judge(bar, &r)
		if r.Unusual {
			t.out.Asked = append(t.out.Asked, SheetQuestion{row.Line, r.Bar, r.Stage, r.EntryError, r.Question, r.Needs()})
		}
		bar.Readings = append(slices.Clip(bar.Readings), r)
		kept.Readings = append(kept.Readings, r)
	}
	t.out.Number += len(kept.Readings)
	if there && len(kept.Readings) == 0 && !placed {
		return
	}
	t.out.There[kept.Code] = there
	t.out.Bars = append(t.out.Bars, kept)
}
