package tiles

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/delimited"
)

func sheetOf(t *testing.T, text string, choice ...func(*SheetChoice)) Sheet {
	t.Helper()
	c := SheetChoice{Unit: MM, Codes: Signs, Zone: time.UTC, Now: time.Date(2026, 6, 1, 8, 0, 0, 0, time.UTC)}
	for _, change := range choice {
		change(&c)
	}
	s, err := ReadSheet([]byte(text), c)
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return s
}

// told is what a sheet was understood as: each good row with its lengths, and each fault.
func told(s Sheet) string {
	var b strings.Builder
	for _, r := range s.Rows {
		fmt.Fprintf(&b, "%d:%s", r.Line, r.Bar.Code)
		for _, one := range r.Bar.Readings {
			fmt.Fprintf(&b, " %s=%.4g", one.Stage, float64(one.Length))
			if !one.At.IsZero() {
				fmt.Fprintf(&b, "@%s", one.At.Format(time.DateOnly))
			}
		}
		b.WriteString("\n")
	}
	for _, f := range s.Bad {
		fmt.Fprintf(&b, "%d!%s\n", f.Line, f.Field)
	}
	return b.String()
}

// Sheets of bars as people keep them: a row a bar or a row a length, the names of columns in words, units in
// headings, days, and rows at fault beside good ones. An inch is 25.4 mm by definition.
func TestSheetsOfBars(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"a row a bar": {"code,clay,wet,dry,fired\nBQ7,tern,100,94.1,88\nBQA,tern,100.1,,\n",
			"2:BQ7 wet=100 dry=94.1 fired=88\n3:BQA wet=100.1\n"},
		"a row a length": {"code,clay,stage,length\nBQ7,tern,wet,100\nBQ7,tern,dry,94\nBQ7,tern,moist,94\nBQ7,tern,fired,\n", "2:BQ7 wet=100\n3:BQ7 dry=94\n5:BQ7\n4!stage\n"},
		"a unit in a heading": {"code,clay,wet [in],dry (mm)\nBQ7,tern,4,94.1\n",
			"2:BQ7 wet=101.6 dry=94.1\n"},
		"a code twice":      {"code,clay,wet\nBQ7,tern,100\nBQ7,tern,100\n", "2:BQ7 wet=100\n3!code\n"},
		"a length at fault": {"code,clay,wet\nBQ7,tern,long\nBQA,tern,100\n", "3:BQA wet=100\n2!wet\n"},
		"a day that is none": {"code,clay,wet,made_on\nBQ7,tern,100,2026-02-30\nBQA,tern,100,2026-02-28\n",
			"3:BQA wet=100\n2!made_on\n"},
		"practice or not": {"code,clay,wet,practice\nBQ7,tern,100,perhaps\nBQA,tern,100,ja\n",
			"3:BQA wet=100\n2!practice\n"},
		"days of stages": {"code,clay,wet,datum nass\nBQ7,tern,100,2026-05-04\n",
			"2:BQ7 wet=100@2026-05-04\n"},
		"day named before it": {"code,clay,wet,wet day\nBQ7,tern,100,2026-05-04\n",
			"2:BQ7 wet=100@2026-05-04\n"},
		"two ways to its firing": {"code,clay,wet,load_bisque,cone_bisque\nBQ7,tern,100,3,06\nBQA,tern,100,3,\nBQC,tern,100,,06\n",
			"3:BQA wet=100\n4:BQC wet=100\n2!cone_bisque\n"},
		"two others": {"code,clay,wet,load_bisque,firing_bisque\nBQ7,tern,100,3,big-blue/4\n",
			"2!cone_bisque\n"},
		"and two more": {"code,clay,wet,firing_bisque,cone_bisque\nBQ7,tern,100,big-blue/4,06\n",
			"2!cone_bisque\n"},
		"heat work told": {"code,clay,wet,heat_work_c\nBQ7,tern,100,550\nBQA,tern,100,1400\nBQC,tern,100,549\nBQD,tern,100,1401\nBQE,tern,100,hot\n",
			"2:BQ7 wet=100\n3:BQA wet=100\n4!heat_work_c\n5!heat_work_c\n6!heat_work_c\n"},
		"heat work twice": {"code,clay,wet,heat_work_c,load_fired\nBQ7,tern,100,1222,3\n", "2!heat_work_c\n"},
		"no cone":         {"code,clay,wet,cone_bisque\nBQ7,tern,100,99\n", "2!cone_bisque\n"},
		"too many cells":  {"code,clay,wet\nBQ7,tern,100,0,5\nBQA,tern,100,,\n", "3:BQA wet=100\n2!table\n"},
	} {
		if got := told(sheetOf(t, c.text)); got != c.want {
			t.Errorf("%s: understood as\n%swant\n%s", name, got, c.want)
		}
	}
	s := sheetOf(t, "code,clay,wet,practice,made_on\nBQ7,tern,100,yes,2026-02-28\nBQA,tern,100,no,\n")
	if a, b := s.Rows[0].Bar, s.Rows[1].Bar; !a.Practice || a.MadeOn != "2026-02-28" ||
		b.Practice || b.MadeOn != "" {
		t.Errorf("%+v\n%+v", a, b)
	}
	for _, bad := range []string{"", "code,clay,wet\n", "x,y\n1,2\n", "code,clay,wet,wet\nBQ7,tern,1,2\n",
		"code,stage\nBQ7,wet\n", "code,length\nBQ7,100\n"} {
		if _, err := ReadSheet([]byte(bad), SheetChoice{Unit: MM, Codes: Signs,
			Zone: time.UTC}); faulty(err) != "table" {
			t.Errorf("%q was taken for a sheet: %v", bad, err)
		}
	}
}

// Where the order of day and month is open somebody is asked, once, and where one day tells it nobody is.
func TestSheetAsks(t *testing.T) {
	asks := func(s Sheet) (fields string) {
		for _, a := range s.Asks {
			fields += a.Field + " "
		}
		return fields
	}
	const open = "code,clay,wet,wet_on\nBQ7,tern,100,03/04/2026\n"
	if got := asks(sheetOf(t, open)); got != "days " {
		t.Errorf("an open order: asked of %q", got)
	}
	said := sheetOf(t, open, func(c *SheetChoice) { c.Days = delimited.DayFirst })
	if got := told(said); asks(said) != "" || got != "2:BQ7 wet=100@2026-04-03\n" {
		t.Errorf("said by hand: asked of %q, %s", asks(said), got)
	}
	if got := sheetOf(t, open+"BQA,tern,100,25/04/2026\n"); asks(got) != "" ||
		told(got) != "2:BQ7 wet=100@2026-04-03\n3:BQA wet=100@2026-04-25\n" {
		t.Errorf("told by another row: asked of %q, %s", asks(got), told(got))
	}
	other := sheetOf(t, "code,clay,wet,weather\nBQ7,tern,100,rain\n")
	if asks(other) != "others " {
		t.Errorf("a column that nobody knows: asked of %q", asks(other))
	}
	// Nothing under it, or the numbers of the rows: passed over.
	if got := asks(sheetOf(t, ",code,clay,wet,weather\n1,BQ7,tern,100,\n2,BQA,tern,100,\n")); got != "" {
		t.Errorf("asked of %q", got)
	}
}

// What stands in columns that nobody knows goes to the note, with their names, or is left, as was said.
func TestNotesOfASheet(t *testing.T) {
	const text = "code,clay,wet,note,weather,remarks of old,note\nBQ7,tern,100,cracked,rain,,thin\n"
	for others, want := range map[string]string{OthersToNote: "cracked; thin; weather: rain",
		OthersLeft: "cracked; thin"} {
		s := sheetOf(t, text, func(c *SheetChoice) { c.Others = others })
		if len(s.Rows) != 1 || s.Rows[0].Bar.Note != want || len(s.Asks) != 0 {
			t.Errorf("%s: %+v, %v, %v", others, s.Rows, s.Asks, s.Bad)
		}
	}
}

// Bars whose heat work a row states lie in a load for each heat work and day, of 500 at most.
func TestLoadsOfStatedHeat(t *testing.T) {
	var rows []SheetRow
	for i := range 503 {
		r := SheetRow{Line: i + 2, Bar: Bar{Code: Code(fmt.Sprintf("B%c%c", Signs[i/23], Signs[i%23])),
			BatchRef: BatchRef{"tern", "A"}}, Work: 1222, WorkBisque: kiln.NoTemperature()}
		r.Bar.Readings = []Reading{{Stage: Fired, Length: 88, AsTyped: "88", Unit: string(MM),
			At: time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)}}
		if i == 502 {
			r.Bar.Readings[0].At = r.Bar.Readings[0].At.AddDate(0, 0, 1)
		}
		rows = append(rows, r)
	}
	ids := map[string]string{}
	got, bad := TakeSheet(rows, SheetNeeds{Clays: map[string]ClayID{"tern": "tern"},
		Batches: map[ClayID][]Batch{"tern": {{BatchRef: BatchRef{"tern", "A"}, Kind: Bought, Open: true}}},
		NewID: func(text string) string {
			ids[text] = cmp.Or(ids[text], fmt.Sprintf("0193c0c1-0000-7000-8000-%012d", len(ids)+1))
			return ids[text]
		},
		Judge: func(Bar, *Reading) {}, At: time.Date(2026, 6, 1, 8, 0, 0, 0, time.UTC)})
	var sizes []int
	for _, l := range got.Loads {
		sizes = append(sizes, len(l.Bars))
	}
	slices.Sort(sizes)
	if len(bad) > 0 || !slices.Equal(sizes, []int{1, 2, 500}) {
		t.Errorf("loads of %v bars; %v", sizes, bad[:min(3, len(bad))])
	}
}

// A heading with one letter wrong is told with the one that it is like; another word is not.
func TestHeadingsWithASlip(t *testing.T) {
	for heading, like := range map[string]string{"clya": "clay", "cly": "clay", "claay": "clay",
		"clat": "clay", "weather": "leather", "smell": "", "cl": "",
		"batc": "batch", "bathc": "batch", "abtch": "batch", "batches": "batch", "btch": "batch"} {
		if c := columnOf(heading); c.As != "" || c.Like != like {
			t.Errorf("%s: taken for %q, like %q; want like %q", heading, c.As, c.Like, like)
		}
	}
}

// A sheet is taken in once: new bars whole, a length that is not believed with its question, and of a second
// time nothing.
func TestSheetIsTakenIn(t *testing.T) {
	s := sheetOf(t, "code,clay,wet,fired,firing_fired\nBQ7,tern,100,88,big-blue/4\nBQA,tern,100,8.8,big-blue/4\n")
	began := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	firing := SheetFiring{Heat: Heat{Firing: anID, Kiln: "big-blue", Kind: kiln.Glaze, Work: 1222,
		Began: began, Peak: began.Add(9 * time.Hour), At: began.Add(20 * time.Hour), Status: kiln.Ended},
		Atmosphere: kiln.Oxidation}
	ids := map[string]string{}
	needs := SheetNeeds{Clays: map[string]ClayID{"tern": "tern"},
		Batches: map[ClayID][]Batch{"tern": {{BatchRef: BatchRef{"tern", "A"}, Kind: Bought, Open: true}}},
		Bars:    map[Code]Bar{}, ByID: map[string]Code{}, Heats: map[string]Heat{},
		Firings: map[string]SheetFiring{"big-blue/4": firing},
		NewID: func(text string) string {
			ids[text] = cmp.Or(ids[text], fmt.Sprintf("0193c0c1-0000-7000-8000-%012d", len(ids)+1))
			return ids[text]
		},
		Judge: func(_ Bar, r *Reading) { r.Unusual = r.Length < 50 }, At: began.Add(48 * time.Hour)}
	got, bad := TakeSheet(s.Rows, needs)
	if len(bad) > 0 || len(got.Bars) != 2 || got.Number != 4 || got.Same != 0 || len(got.Loads) != 1 {
		t.Fatalf("bad %v, %d bars, %d new, %d same, loads %+v", bad, len(got.Bars), got.Number, got.Same,
			got.Loads)
	}
	if len(got.Asked) != 1 || got.Asked[0].Bar != "BQA" || got.Asked[0].Line != 3 ||
		got.Asked[0].Stage != Fired {
		t.Errorf("asked %+v", got.Asked)
	}
	one := got.Whole["BQ7"]
	if h, ok := one.HeatFor(one.Readings[1]); !ok || h.Work != 1222 || h.Load != got.Loads[0].ID {
		t.Errorf("%v %+v of load %s", ok, h, got.Loads[0].ID)
	}
	needs.Bars, needs.Loads = got.Whole, got.Loads
	again, bad := TakeSheet(s.Rows, needs)
	if len(bad) > 0 || again.Number != 0 || again.Same != 4 || len(again.Bars) != 0 {
		t.Errorf("a second time: bad %v, %d new, %d same, %d bars", bad, again.Number, again.Same,
			len(again.Bars))
	}
	// A firing of another kind than the length is told.
	firing.Kind = kiln.Bisque
	needs.Firings["big-blue/4"] = firing
	if _, bad := TakeSheet(s.Rows[:1], SheetNeeds{Clays: needs.Clays, Batches: needs.Batches,
		Firings: needs.Firings, NewID: needs.NewID, Judge: needs.Judge, At: needs.At}); len(bad) != 1 ||
		bad[0].Field != "firing_fired" {
		t.Errorf("a fired length of a bisque: %v", slices.Clone(bad))
	}
}
