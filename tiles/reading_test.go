package tiles

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
)

// A reading is a length between one pair of marks, or masses, and each fault of it is told beside its field.
func TestFaultsOfReadings(t *testing.T) {
	length := func(change func(*Reading)) Reading {
		r := Reading{ID: anID, Stage: Dry, Mark: 1, Length: 94.1, AsTyped: "94.1", Unit: string(MM), By: "KT"}
		change(&r)
		return r
	}
	masses := func(dry, saturated, suspended, step float64) Reading {
		return Reading{ID: anID, Stage: Fired, By: "KT",
			Mass: &Mass{Dry: dry, Saturated: saturated, Suspended: suspended, Step: step}}
	}
	const other = "0193c0c1-0000-7000-8000-000000000002"
	for name, c := range map[string]struct {
		r     Reading
		marks int
		want  string
	}{
		"a length":            {length(func(*Reading) {}), 1, ""},
		"of marks not said":   {length(func(r *Reading) { r.Mark = 0 }), 0, ""},
		"its second mark":     {length(func(r *Reading) { r.Mark = 2 }), 2, ""},
		"a mark too far":      {length(func(r *Reading) { r.Mark = 3 }), 2, "mark"},
		"two of one mark":     {length(func(r *Reading) { r.Mark = 2 }), 1, "mark"},
		"two of marks unsaid": {length(func(r *Reading) { r.Mark = 2 }), 0, "mark"},
		"in place of another": {length(func(r *Reading) { r.Supersedes = other }), 1, ""},
		"in its own place":    {length(func(r *Reading) { r.Supersedes = anID }), 1, "supersedes"},
		"of no stage":         {length(func(r *Reading) { r.Stage = "" }), 1, "stage"},
		"of another stage":    {length(func(r *Reading) { r.Stage = "moist" }), 1, "stage"},
		"of no length":        {length(func(r *Reading) { r.Length = 0 }), 1, "length"},
		"the shortest":        {length(func(r *Reading) { r.Length = 5 }), 1, ""},
		"shorter":             {length(func(r *Reading) { r.Length = 4.99 }), 1, "length"},
		"the longest":         {length(func(r *Reading) { r.Length = 2000 }), 1, ""},
		"longer":              {length(func(r *Reading) { r.Length = 2000.1 }), 1, "length"},
		"no number":           {length(func(r *Reading) { r.Length = Millimetre(math.NaN()) }), 1, "length"},
		"not as typed":        {length(func(r *Reading) { r.AsTyped = " " }), 1, "length"},
		"in no unit":          {length(func(r *Reading) { r.Unit = "ell" }), 1, "unit"},
		"the coarsest step":   {length(func(r *Reading) { r.Step = 5 }), 1, ""},
		"a coarser one":       {length(func(r *Reading) { r.Step = 5.1 }), 1, "step_mm"},
		"a step below nought": {length(func(r *Reading) { r.Step = -1 }), 1, "step_mm"},
		"by a long mark":      {length(func(r *Reading) { r.By = "ninesigns" }), 1, "by"},
		"a long instrument": {length(func(r *Reading) { r.Instrument = strings.Repeat("x", 61) }), 1,
			"instrument"},
		"queued for 90 days": {length(func(r *Reading) { r.Queued = 90 * 24 * time.Hour }), 1, ""},
		"queued for longer":  {length(func(r *Reading) { r.Queued = 91 * 24 * time.Hour }), 1, "queued_s"},
		"masses":             {masses(50, 52, 30, 0), 1, ""},
		"not hung in water":  {masses(50, 52, 0, 0), 1, ""},
		"not dried":          {masses(0, 52, 30, 0), 1, "dry_g"},
		"not soaked":         {masses(50, 0, 30, 0), 1, "saturated_g"},
		"takes up nothing":   {masses(50, 50, 30, 0), 1, ""},
		"less within a step": {masses(50, 49.9, 30, .1), 1, ""},
		"less by more":       {masses(50, 49.8, 30, .1), 1, "saturated_g"},
		"hung as heavy":      {masses(50, 52, 50, 0), 1, "suspended_g"},
		"too heavy":          {masses(20_001, 20_002, 0, 0), 1, "dry_g saturated_g"},
		"masses and a length": {func() Reading { r := masses(50, 52, 30, 0); r.Length = 94; return r }(), 1,
			"mass_g"},
		"masses and its words": {func() Reading { r := masses(50, 52, 30, 0); r.AsTyped = "94"; return r }(),
			1, "mass_g"},
	} {
		if got := faulty(c.r.Validate(Bar{Marks: c.marks})); got != c.want {
			t.Errorf("%s: at fault %q, want %q", name, got, c.want)
		}
	}
	r := length(func(r *Reading) { r.Mark, r.By, r.AsTyped = 0, " KT ", " 94.1 " })
	if err := r.Validate(Bar{}); err != nil || r.Mark != 1 || r.By != "KT" || r.AsTyped != "94.1" {
		t.Errorf("in its usual form: %+v, %v", r, err)
	}
}

// What a reading is asked about, and whether it counts: who answers for which question stands in the words of
// the trade.
func TestWhatAReadingNeeds(t *testing.T) {
	act := &Act{By: "KT"}
	for name, c := range map[string]struct {
		r      Reading
		counts bool
		needs  string
	}{
		"believed":                {Reading{}, true, ""},
		"struck":                  {Reading{Struck: act}, false, ""},
		"struck and unusual":      {Reading{Struck: act, Unusual: true}, false, ""},
		"of masses":               {Reading{Mass: &Mass{}}, false, ""},
		"unusual":                 {Reading{Unusual: true}, false, "confirm"},
		"unusual, confirmed":      {Reading{Unusual: true, Confirmed: act}, true, ""},
		"unusual, counted":        {Reading{Unusual: true, Counted: act}, true, ""},
		"outside":                 {Reading{Unusual: true, Outside: true}, false, "count"},
		"outside, confirmed":      {Reading{Unusual: true, Outside: true, Confirmed: act}, false, "count"},
		"outside, counted":        {Reading{Unusual: true, Outside: true, Counted: act}, true, ""},
		"counted and then struck": {Reading{Outside: true, Counted: act, Struck: act}, false, ""},
	} {
		if c.r.Counts() != c.counts || c.r.Needs() != c.needs {
			t.Errorf("%s: counts %v, needs %q", name, c.r.Counts(), c.r.Needs())
		}
	}
	for _, b := range []struct {
		bar Bar
		in  bool
	}{{Bar{}, true}, {Bar{Practice: true}, false}, {Bar{Flags: []Flag{Bent}}, false}} {
		if b.bar.InFit() != b.in {
			t.Errorf("%+v is in the fit: %v", b.bar, b.bar.InFit())
		}
	}
}

// The wet length of a mark is the last that counts.
func TestWetLength(t *testing.T) {
	b := Bar{Readings: []Reading{{Stage: Wet, Length: 100}, {Stage: Wet, Mark: 2, Length: 98}, {Stage: Wet,
		Mark: 1, Length: 100.4},
		{Stage: Wet, Mark: 1, Length: 10, Unusual: true}, {Stage: Dry, Mark: 1, Length: 94}}}
	if b.WetLength() != 100.4 || b.WetLengthOf(2) != 98 || b.WetLengthOf(3) != 0 {
		t.Errorf("%v, %v, %v", b.WetLength(), b.WetLengthOf(2), b.WetLengthOf(3))
	}
}

// A length counts at the hottest firing that the bar came through before it; not known where one of its own
// sort is not, or where none of that sort was.
func TestHottest(t *testing.T) {
	noon := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	day := func(n int) time.Time { return noon.AddDate(0, 0, n) }
	fired := func(load string, kind kiln.Kind, on int, work kiln.Celsius) Heat {
		return Heat{Load: load, Firing: kiln.FiringID(load), Kind: kind, Status: kiln.Ended, Work: work,
			Began: day(on).Add(-20 * time.Hour),
			Peak:  day(on).Add(-9 * time.Hour), At: day(on)}
	}
	none := kiln.NoTemperature()
	broke := fired("broke", kiln.Glaze, 2, none)
	broke.Status = kiln.Incomplete
	told := Heat{Load: "told", Kind: kiln.Glaze, Work: 1230, At: day(9)}
	for name, c := range map[string]struct {
		stage   Stage
		firings []Heat
		load    string // "": not known
	}{
		"dry":       {Dry, []Heat{fired("a", kiln.Bisque, 1, 1000)}, ""},
		"not fired": {Fired, nil, ""},
		"a bisque":  {Biscuit, []Heat{fired("a", kiln.Bisque, 1, 1000)}, "a"},
		"a glaze firing": {Fired, []Heat{fired("a", kiln.Bisque, 1, 1000), fired("b", kiln.Glaze, 2,
			1222)}, "b"},
		"a cooler one after it": {Fired, []Heat{fired("a", kiln.Glaze, 1, 1222), fired("b", kiln.Glaze, 2,
			1190)}, "a"},
		"a hotter one after it": {Fired, []Heat{fired("a", kiln.Glaze, 1, 1190), fired("b", kiln.Glaze, 2,
			1222)}, "b"},
		"a firing after it": {Fired, []Heat{fired("a", kiln.Glaze, 1, 1222), fired("b", kiln.Glaze, 6,
			1280)}, "a"},
		"only a bisque": {Fired, []Heat{fired("a", kiln.Bisque, 1, 1000)}, ""},
		"bisque, glazed since": {Biscuit, []Heat{fired("a", kiln.Bisque, 1, 1000), fired("b", kiln.Glaze,
			2, 1222)}, "a"},
		"a firing of other kind": {Fired, []Heat{fired("a", kiln.Other, 1, 1222)}, "a"},
		"work not known":         {Fired, []Heat{fired("a", kiln.Glaze, 1, none)}, ""},
		"one of two not known": {Fired, []Heat{fired("a", kiln.Glaze, 1, 1222), fired("b", kiln.Glaze, 2,
			none)}, ""},
		"a bisque not known": {Fired, []Heat{fired("a", kiln.Bisque, 1, none), fired("b", kiln.Glaze, 2,
			1222)}, "b"},
		"one that broke off":      {Fired, []Heat{fired("a", kiln.Glaze, 1, 1222), broke}, "a"},
		"told of a load later":    {Fired, []Heat{fired("a", kiln.Bisque, 1, 1000), told}, "told"},
		"told beside a known one": {Fired, []Heat{fired("a", kiln.Glaze, 1, 1222), told}, "a"},
	} {
		got, ok := Bar{Firings: c.firings}.Hottest(Reading{Stage: c.stage, At: day(4)})
		if ok != (c.load != "") || ok && got.Load != c.load {
			t.Errorf("%s: %v of %q, want %q", name, ok, got.Load, c.load)
		}
	}
}

// A load is taken as it should be, and each fault of it is told beside its field.
func TestFaultsOfLoads(t *testing.T) {
	full := func(n int) (all []Placed) {
		for i := range n {
			all = append(all, Placed{Bar: Code(string([]byte{Signs[i/23%23], Signs[i%23], '2'}))})
		}
		return all
	}
	load := func(change func(*Load)) *Load {
		l := &Load{ID: anID, Kiln: "big-blue", Kind: kiln.Glaze, Atmosphere: kiln.Oxidation, PackedBy: " KT "}
		change(l)
		return l
	}
	for name, c := range map[string]struct {
		l    *Load
		want string
	}{
		"a load":               {load(func(*Load) {}), ""},
		"without an id":        {load(func(l *Load) { l.ID = "" }), "id"},
		"of no kiln":           {load(func(l *Load) { l.Kiln = "" }), "kiln"},
		"of a kiln misspelt":   {load(func(l *Load) { l.Kiln = "Big Blue" }), "kiln"},
		"of no kind":           {load(func(l *Load) { l.Kind = "raku pit" }), "kind"},
		"of no atmosphere":     {load(func(l *Load) { l.Atmosphere = "" }), "atmosphere"},
		"of a firing misspelt": {load(func(l *Load) { l.Firing = "4" }), "firing"},
		"by a long mark":       {load(func(l *Load) { l.PackedBy = "ninesigns" }), "packed_by"},
		"a long note":          {load(func(l *Load) { l.Note = strings.Repeat("x", 501) }), "note"},
		"the least heat told":  {load(func(l *Load) { l.Stated = 550 }), ""},
		"less":                 {load(func(l *Load) { l.Stated = 549 }), "heat_work_c"},
		"the most heat told":   {load(func(l *Load) { l.Stated = 1400 }), ""},
		"more":                 {load(func(l *Load) { l.Stated = 1401 }), "heat_work_c"},
		"heat not told":        {load(func(l *Load) { l.Stated = kiln.NoTemperature() }), ""},
		"500 bars":             {load(func(l *Load) { l.Bars = full(500) }), ""},
		"501 bars":             {load(func(l *Load) { l.Bars = full(501) }), "bars"},
		"a bar twice":          {load(func(l *Load) { l.Bars = append(full(3), full(1)...) }), "bars"},
		"a bar without a code": {load(func(l *Load) { l.Bars = []Placed{{}} }), "bars.bar"},
		"a long shelf": {load(func(l *Load) {
			l.Bars = []Placed{{Bar: "BQ7",
				Shelf: strings.Repeat("x", 61)}}
		}), "bars.shelf"},
	} {
		if got := faulty(c.l.Validate()); got != c.want {
			t.Errorf("%s: at fault %q, want %q", name, got, c.want)
		}
		if name == "a load" && c.l.PackedBy != "KT" {
			t.Errorf("packed by %q", c.l.PackedBy)
		}
	}
	for kind, want := range map[kiln.Kind]Stage{kiln.Bisque: Biscuit, kiln.Glaze: Fired, kiln.Once: Fired,
		kiln.Other: ""} {
		if got := Measures(kind); got != want {
			t.Errorf("after a firing of kind %s bars are %q", kind, got)
		}
	}
}

// A strike and a count need a reason; a confirmation does not.
func TestFaultsOfActs(t *testing.T) {
	for _, c := range []struct {
		a     Act
		needs bool
		want  string
	}{
		{Act{By: "KT", Why: "misread"}, true, ""}, {Act{By: "KT", Why: " "}, true, "why"}, {Act{By: "KT"},
			false, ""},
		{Act{By: "ninesigns", Why: "misread"}, true, "by"}, {Act{Why: strings.Repeat("x", 501)}, false,
			"why"},
	} {
		if got := faulty(c.a.Validate(c.needs)); got != c.want {
			t.Errorf("%+v, needed %v: at fault %q, want %q", c.a, c.needs, got, c.want)
		}
	}
}

// A sheet may have so many rows, and of rows at fault as many are told; a cell too many is told, an empty one
// not.
func TestLongSheets(t *testing.T) {
	var rows strings.Builder
	rows.WriteString("code,clay,stage,length\n")
	for range mostSheetRows {
		rows.WriteString("BQ7,tern,wet,100\n")
	}
	choice := SheetChoice{Unit: MM, Codes: Signs, Zone: time.UTC}
	if _, err := ReadSheet([]byte(rows.String()), choice); err != nil {
		t.Errorf("%d rows: %v", mostSheetRows, err)
	}
	rows.WriteString("BQ7,tern,wet,100\n")
	if _, err := ReadSheet([]byte(rows.String()), choice); faulty(err) != "table" {
		t.Errorf("a row more: %v", err)
	}
}

// A number that is a day of a spreadsheet, where a length is wanted, is told as that day: 46023 is 1 January
// 2026, so many days after 30 December 1899 (the 1900 date base, ISO/IEC 29500-1:2016, 18.17.4.1).
func TestDayInAColumnOfLengths(t *testing.T) {
	for cell, shifted := range map[string]bool{"46023": true, "4602": false, "long": false} {
		s := sheetOf(t, "code,clay,wet\nBQ7,tern,"+cell+"\n")
		if len(s.Bad) != 1 || s.Bad[0].Field != "wet" || strings.Contains(s.Bad[0].Why.String(),
			"1 January 2026") != shifted {
			t.Errorf("%s: %+v", cell, s.Bad)
		}
	}
}

// Bars of one stated bisque lie in one load though they were fired on different days after it, and in two
// where they were measured as bisque on different ones.
func TestDayOfAStatedLoad(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 3, n, 8, 0, 0, 0, time.UTC) }
	for second, loads := range map[int]int{1: 1, 2: 2} {
		var rows []SheetRow
		for i, on := range []int{1, second} {
			b := Bar{Code: Code([]string{"BQ7", "BQA"}[i]), BatchRef: BatchRef{"tern", "A"}}
			for stage, at := range map[Stage]time.Time{Biscuit: day(on), Fired: day(10 + i)} {
				b.Readings = append(b.Readings, Reading{Stage: stage, Length: 88, AsTyped: "88",
					Unit: string(MM), At: at})
			}
			slices.SortFunc(b.Readings, func(a, b Reading) int { return a.At.Compare(b.At) })
			rows = append(rows, SheetRow{Line: i + 2, Bar: b, Work: kiln.NoTemperature(), WorkBisque: 1000})
		}
		ids := map[string]string{}
		got, bad := TakeSheet(rows, SheetNeeds{Clays: map[string]ClayID{"tern": "tern"},
			Batches: map[ClayID][]Batch{"tern": {{BatchRef: BatchRef{"tern", "A"}, Kind: Bought,
				Open: true}}},
			NewID: func(text string) string {
				ids[text] = cmp.Or(ids[text], fmt.Sprintf("0193c0c1-0000-7000-8000-%012d", len(ids)+1))
				return ids[text]
			},
			Judge: func(Bar, *Reading) {}, At: day(20)})
		if len(bad) > 0 || len(got.Loads) != loads {
			t.Errorf("the second one measured on day %d: %d loads, bad %v", second, len(got.Loads), bad)
		}
	}
}

// Nothing typed is nothing long; an inch is shown to 0.001, what is no length as such.
func TestShownLengths(t *testing.T) {
	if (Length{}).Millimetre() != 0 {
		t.Error("no length has a length")
	}
	for _, c := range []struct {
		unit LengthUnit
		l    Millimetre
		want string
	}{{Inch, 94.35, "3.715 in"}, {MM, 94.351, "94.35 mm"}, {CM, 94.35, "9.435 cm"}, {Inch32nd, 94.45625,
		"3 23/32 in"},
		{Inch, Millimetre(math.NaN()), "no length"}, {Inch, Millimetre(math.Inf(1)), "no length"}} {
		if got := c.unit.Shown(c.l); got != c.want {
			t.Errorf("%v in %s is shown as %s, want %s", c.l, c.unit, got, c.want)
		}
	}
	if stages := Stages(); !slices.IsSortedFunc(stages, func(a, b Stage) int {
		if a.Before(b) {
			return -1
		}
		return 1
	}) || Wet.Before(Wet) || Fired.Before(Wet) {
		t.Error("stages are not in their order")
	}
}

// How a sheet is written, and how its rows are meant, is told with it.
func TestWhatASheetTellsOfItself(t *testing.T) {
	s := sheetOf(t, "Test bars of spring\n\ncode;clay;wet;forming;mark_length_mm\nBQ7;tern/A;100,5;Thrown ring;80\nBQA;tern/A;100;;\n")
	if s.Separator != "semicolon" || s.Encoding != "UTF-8" || s.Line != 3 || s.Long || !s.Commas ||
		len(s.Rows) != 2 {
		t.Fatalf("%+v", s)
	}
	one, two := s.Rows[0].Bar, s.Rows[1].Bar
	if one.BatchRef != (BatchRef{"tern", "A"}) || one.Forming != ThrownRing || one.MarkLength != 80 {
		t.Errorf("%+v", one)
	}
	if two.Forming == ThrownRing || two.MarkLength == 80 {
		t.Errorf("%+v", two)
	}
	long := sheetOf(t, "code,clay,stage,length\nBQ7,tern,wet,100\n")
	if long.Separator != "comma" || !long.Long || long.Commas {
		t.Errorf("%+v", long)
	}
	for text, want := range map[string]string{
		"code,clay,wet,forming\nBQ7,tern,100,blown\n":       "2!forming\n",
		"code,clay,wet,mark_length_mm\nBQ7,tern,100,3000\n": "2!mark_length_mm\n",
		"code,clay,wet\n,,100\n":                            "2!clay\n",
		"code,clay,stage,length\n,tern,wet,100\n":           "2!code\n",
	} {
		if got := told(sheetOf(t, text)); got != want {
			t.Errorf("%q: understood as %s", text, got)
		}
	}
}

// A column that nobody knows is asked about by its name, with the one that it is like.
func TestUnknownColumnsAreNamed(t *testing.T) {
	s := sheetOf(t, "code,clay,wet,smell,bathc\nBQ7,tern,100,musty,A\n")
	if len(s.Asks) != 1 || !strings.Contains(s.Asks[0].Text.String(), `"smell"`) ||
		!strings.Contains(s.Asks[0].Text.String(), `"bathc" (batch?)`) {
		t.Errorf("%v", s.Asks)
	}
}

// A day alone is taken for its end, that of today for now, so that a firing of that day came before it; a
// time is taken as it stands, and so is the day that a bar was made on. What is to come, and what was before
// 1950, is told.
func TestDaysOfASheet(t *testing.T) {
	for cell, want := range map[string]string{ // now is 2026-06-01 08:00
		"2026-05-04": "2026-05-04 23:59:59", "2026-06-01": "2026-06-01 08:00:00",
		"2026-05-04 14:30": "2026-05-04 14:30:00", "2026-06-01 08:01": "2026-06-01 08:01:00",
		"2026-06-01 08:02": "",
		"1950-01-01":       "1950-01-01 23:59:59", "1949-12-31": "",
	} {
		s := sheetOf(t, "code,clay,wet,wet_on\nBQ7,tern,100,"+cell+"\n")
		got := ""
		if len(s.Rows) == 1 {
			got = s.Rows[0].Bar.Readings[0].At.Format(time.DateTime)
		}
		if got != want || (want == "") != (len(s.Bad) == 1) {
			t.Errorf("%s: %q, want %q; %v", cell, got, want, s.Bad)
		}
	}
}

// What is there already is added to, under its code or what the row stands for; another bar of the code is
// told.
func TestRowsOfBarsThatAreThere(t *testing.T) {
	at := time.Date(2026, 6, 1, 8, 0, 0, 0, time.UTC)
	ids := map[string]string{}
	needs := func(bars ...Bar) SheetNeeds {
		n := SheetNeeds{Clays: map[string]ClayID{"tern": "tern", "wren": "wren"},
			Batches: map[ClayID][]Batch{"tern": {{BatchRef: BatchRef{"tern", "A"}, Kind: Bought,
				Open: true}}},
			Bars: map[Code]Bar{}, ByID: map[string]Code{},
			NewID: func(text string) string {
				ids[text] = cmp.Or(ids[text], fmt.Sprintf("0193c0c1-0000-7000-8000-%012d", len(ids)+1))
				return ids[text]
			},
			Judge: func(Bar, *Reading) {}, At: at}
		for _, b := range bars {
			n.Bars[b.Code], n.ByID[b.ID] = b, b.Code
		}
		return n
	}
	kept := Bar{Code: "BQ7", ID: anID, BatchRef: BatchRef{"tern", "A"}, Forming: Rolled, MarkLength: 100,
		Marks: 1}
	for name, c := range map[string]struct {
		text  string
		field string
	}{
		"the same":           {"code,clay,dry\nBQ7,tern,94\n", ""},
		"its batch too":      {"code,clay,batch,forming,dry\nBQ7,tern,A,rolled,94\n", ""},
		"nothing but a code": {"code,dry\nBQ7,94\n", ""},
		"of another clay":    {"code,clay,dry\nBQ7,wren,94\n", "code"},
		"of another batch":   {"code,clay,batch,dry\nBQ7,tern,B,94\n", "code"},
		"made otherwise":     {"code,forming,dry\nBQ7,cast,94\n", "code"},
		"by another id":      {"code,id,dry\nBQ7,0193c0c1-0000-7000-8000-000000000099,94\n", "code"},
		"by its id and code": {"code,id,dry\nBQ7," + anID + ",94\n", ""},
		"by its id, no code": {"code,id,clay,dry\n," + anID + ",tern,94\n", ""},
	} {
		got, bad := TakeSheet(sheetOf(t, c.text).Rows, needs(kept))
		field := ""
		if len(bad) > 0 {
			field = bad[0].Field
		}
		if field != c.field || field == "" && (len(got.Whole["BQ7"].Readings) != 1 || len(got.Whole) != 1) {
			t.Errorf("%s: bad %v, %d bars", name, bad, len(got.Whole))
		}
	}
}

// What a kiln usually reaches is said by a heat work, a second one by its name too, and begun anew without
// either.
func TestFaultsOfWhatIsUsual(t *testing.T) {
	none := kiln.NoTemperature()
	for name, c := range map[string]struct {
		u    UsualSaid
		want string
	}{
		"pinned":           {UsualSaid{What: UsualPinned, HeatWork: 1222}, ""},
		"to nothing":       {UsualSaid{What: UsualPinned, HeatWork: none}, "cone"},
		"too cool":         {UsualSaid{What: UsualPinned, HeatWork: 549}, "heat_work_c"},
		"a second":         {UsualSaid{What: UsualSecond, HeatWork: 1280, Name: "cone 10"}, ""},
		"without a name":   {UsualSaid{What: UsualSecond, HeatWork: 1280}, "name"},
		"a name for a new": {UsualSaid{What: UsualNew, HeatWork: none, Name: "cone 10"}, "name"},
		"a new one":        {UsualSaid{What: UsualNew, HeatWork: none}, ""},
	} {
		c.u.Kiln, c.u.Kind, c.u.Atmosphere, c.u.ID = "big-blue", kiln.Glaze, kiln.Oxidation, anID
		if got := faulty(c.u.Validate()); got != c.want {
			t.Errorf("%s: at fault %q, want %q", name, got, c.want)
		}
	}
}

// A bar of which no marks are told has one pair; nine are the most.
func TestMarksOfABar(t *testing.T) {
	for marks, c := range map[int]struct {
		want int
		at   string
	}{0: {1, ""}, 1: {1, ""}, 2: {2, ""}, 9: {9, ""}, 10: {10, "marks"}, -1: {-1, "marks"}} {
		b := Bar{Code: "BQ7", ID: anID, BatchRef: BatchRef{"tern", "B"}, Forming: Rolled, Marks: marks}
		if got := faulty(b.Validate()); got != c.at || b.Marks != c.want {
			t.Errorf("%d pairs of marks: %d, at fault %q", marks, b.Marks, got)
		}
	}
}
