package api

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"lidwright/api/tables"
	"lidwright/api/wire"
)

func notebook(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata/notebook", name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// bar is a bar as the API tells it: the readings by stage.
func (b *bench) readings(code string) map[string]map[string]any {
	b.t.Helper()
	by := map[string]map[string]any{}
	for _, r := range b.json("GET", "/v1/bars/"+code, "", 200)["readings"].([]any) {
		by[r.(map[string]any)["stage"].(string)] = r.(map[string]any)
	}
	return by
}

func reasons(out wire.Import) string {
	var all []string
	for _, n := range out.NotCounting {
		all = append(all, fmt.Sprintf("%s %d %v", n.Code, n.Readings, n.Lines))
	}
	return strings.Join(all, "; ")
}

// A notebook kept in a German spreadsheet: every reading has the day of its own, the fired ones count at the
// cone of their row, the one with swapped digits is asked about.
func TestNotebookOfASpreadsheet(t *testing.T) {
	b := newBench(t)
	b.tern()
	text := notebook(t, "libreoffice-de.csv")
	dry := b.table("&dry_run=true", text, 200)
	u := dry.Understood
	if u.Separator != "semicolon" || u.Encoding != "Windows-1252" || !u.DecimalComma || u.Days != "" ||
		len(u.Columns) != 13 || len(dry.Bad)+len(dry.Questions) > 0 || dry.Kept {
		t.Fatalf("understood: %+v, bad %v", u, dry.Bad)
	}
	if dry.NewBars != 4 || dry.Readings != 11 || dry.Counting != 10 ||
		reasons(dry) != "not_confirmed 1 [4]" || len(dry.Asked) != 1 ||
		dry.Asked[0].Slip != "digits_swapped" {
		t.Errorf("dry run: %+v", dry)
	}
	kept := b.table("", text, 200)
	if !kept.Kept || kept.Counting != 10 || reasons(kept) != "not_confirmed 1 [4]" {
		t.Errorf("kept: counting %d, %s", kept.Counting, reasons(kept))
	}
	bar := b.json("GET", "/v1/bars/BQ3", "", 200)
	if bar["note"] != "schräg gestellt,\nam Rand" || bar["by"] != "KT" {
		t.Errorf("its note: %q", bar["note"])
	}
	r := b.readings("BQ7")
	if at := r["fired"]["at"].(string); !strings.HasPrefix(at, "2023-04-02T23:59:59") ||
		r["fired"]["counted"] != true || r["wet"]["at"].(string)[:10] != "2023-03-14" {
		t.Errorf("the fired reading: %v", r["fired"])
	}
	if again := b.table("", text, 200); again.NewBars+again.Readings+again.Loads != 0 || again.Same != 11 {
		t.Errorf("the same again: %+v", again)
	}
	if loads := b.json("GET", "/v1/loads", "", 200)["items"].([]any); len(loads) != 1 ||
		loads[0].(map[string]any)["opened_at"].(string)[:10] != "2023-04-02" {
		t.Errorf("loads: %v", loads)
	}
}

// A table of R with a row for each reading is the same as the others; what is missing there is missing.
func TestNotebookOfR(t *testing.T) {
	b := newBench(t)
	b.tern()
	text := notebook(t, "r-csv2.csv")
	dry := b.table("&dry_run=true", text, 200)
	if dry.Understood.OneRow != "reading" || len(dry.Understood.Columns) != 6 || dry.NewBars != 2 ||
		dry.Readings != 5 || dry.Counting != 5 || len(dry.Bad) > 0 {
		t.Fatalf("dry run: %+v", dry)
	}
	if kept := b.table("", text, 200); !kept.Kept || kept.Counting != 5 || kept.NewBars != 2 {
		t.Fatalf("kept: %+v", kept)
	}
	r := b.readings("BQ7")
	if len(r) != 3 || r["dry"]["length_mm"] != 94.1 || r["dry"]["at"].(string)[:10] != "2023-03-21" {
		t.Errorf("readings: %v", r)
	}
	if again := b.table("", text, 200); again.NewBars+again.Readings+again.Loads != 0 {
		t.Errorf("the same again: %+v", again)
	}
}

// Days as numbers of a spreadsheet are said to be such; one of them is no length.
func TestNotebookWithSerialDays(t *testing.T) {
	b := newBench(t)
	b.tern()
	text := notebook(t, "python-csv.csv")
	dry := b.table("&dry_run=true", text, 200)
	if !strings.Contains(dry.Understood.SerialDays.String(), "44999 in line 2 is 14 March 2023") ||
		!strings.Contains(dry.Understood.SerialDays.String(), "1900") {
		t.Errorf("serial days: %q", dry.Understood.SerialDays)
	}
	if len(dry.Bad) == 0 || dry.Bad[0].Line != 4 || dry.Bad[0].Field != "wet" ||
		!strings.Contains(dry.Bad[0].Says.String(), "14 March 2023") {
		t.Errorf("a day as a length: %+v", dry.Bad)
	}
	good := text[:strings.Index(text, "BQ3")]
	if kept := b.table("", good, 200); !kept.Kept || kept.Readings != 6 || kept.Counting != 6 {
		t.Fatalf("kept: %+v", kept)
	}
	r := b.readings("BQ7")
	if r["wet"]["length_mm"] != 100.0125 && r["wet"]["length_mm"] != 100.01 {
		t.Errorf("3 15/16 in: %v", r["wet"])
	}
	if at := r["fired"]["at"].(string); !strings.HasPrefix(at, "2023-04-02T14:30:00") {
		t.Errorf("part of a day: %s", at)
	}
}

// A notebook kept by hand asks what it does not tell, once and before anything is kept; a dry run names the
// codes that the real run gives.
func TestNotebookByHand(t *testing.T) {
	b := newBench(t)
	b.tern()
	text := notebook(t, "by-hand.csv")
	asked := b.table("", text, 422)
	if asked.Kept || len(asked.Questions) != 2 || asked.Questions[0].Field != "others" ||
		asked.Questions[1].Field != "days" || !strings.Contains(asked.Questions[0].Text.String(), "Shelf") ||
		!strings.Contains(asked.Questions[1].Text.String(), "3/4/2023 (line 4)") {
		t.Fatalf("questions: %+v", asked.Questions)
	}
	if n := len(b.json("GET", "/v1/bars", "", 200)["items"].([]any)); n != 0 {
		t.Fatalf("kept %d bars before it was answered", n)
	}
	said := "&days=day_first&others=note"
	dry := b.table(said+"&dry_run=true", text, 200)
	if len(dry.Questions)+len(dry.Bad) > 0 || dry.NewBars != 4 || len(dry.Codes) != 2 ||
		dry.Understood.Days != "day_first" || dry.Understood.Line != 3 || dry.Loads != 2 {
		t.Fatalf("dry run: %+v", dry)
	}
	kept := b.table(said, text, 200)
	if !kept.Kept || !slices.Equal(kept.Codes, dry.Codes) || kept.Counting != dry.Counting ||
		kept.Counting != 12 || len(kept.NotCounting) != 0 {
		t.Errorf("kept: codes %v, dry run %v; counting %d of %d, %s", kept.Codes, dry.Codes, kept.Counting,
			kept.Readings, reasons(kept))
	}
	bar := b.json("GET", "/v1/bars/BQ7", "", 200)
	if bar["note"] != "a bit bent; keep; Shelf: top" {
		t.Errorf("its note: %q", bar["note"])
	}
	r := b.readings("BQ7")
	if at := r["fired"]["at"].(string); !strings.HasPrefix(at, "2023-04-03T17:30") {
		t.Errorf("date and time in two columns: %s", at)
	}
	if again := b.table(said, text, 200); again.NewBars+again.Readings+again.Loads != 0 ||
		len(again.Codes) != 0 {
		t.Errorf("the same again: %+v", again)
	}
	b2 := newBench(t)
	b2.tern()
	b2.table("&days=month_first&others=leave", text, 200)
	bar = b2.json("GET", "/v1/bars/BQ4", "", 200)
	if bar["note"] != nil || b2.readings("BQ4")["wet"]["at"].(string)[:16] != "2023-03-04T17:45" {
		t.Errorf("the other way round: %v", bar)
	}
}

// What does not count is said in the dry run as at the end of the real one, with the lines.
func TestNotebookSaysWhatDoesNotCount(t *testing.T) {
	b := newBench(t)
	b.tern()
	text := "code,clay,wet,leather,fired,practice,date\nBQ7,tern,100,97,,,2023-03-14\nBQ4,tern,100,,87.6,,2023-03-14\nBQ3,tern,100,,87.6,yes,2023-03-14\nKK7,tern,100,,,,2023-03-14\n"
	dry := b.table("&dry_run=true", text, 200)
	want := "check_only 1 [2]; no_firing 1 [3]; practice 2 [4]; waits_for_next_stage 3 [2 3 5]"
	if dry.Counting != 0 || reasons(dry) != want {
		t.Errorf("dry run: %d counting, %s", dry.Counting, reasons(dry))
	}
	if kept := b.table("", text, 200); kept.Counting != 0 || reasons(kept) != want {
		t.Errorf("kept: %d counting, %s", kept.Counting, reasons(kept))
	}
	for _, bad := range []struct{ text, says string }{
		{"code,clay,wet,date\nBQ9,tern,100,2023-03-14\n", "9"},
		{"code,clay,wet,date\nBQ7,tern,100,2033-03-14\n", "future"},
		{"code,clay,wet,date\nBQ7,tern,100,32.3.2023\n", "no such day"},
		{"code,clay,wet,date\nBQ7,tern,100,14/3/2023\nBQ4,tern,100,3/14/2023\n", "other way round"},
		{"code,clay,fired,firing\nBQ7,tern,87,big-blue/8\n", "no firing here"},
		{"code,clay,fired,cone,heat_work_c\nBQ7,tern,87,6,1222\n", "give one"},
	} {
		if out := b.table("", bad.text, 422); len(out.Bad) == 0 || !strings.Contains(out.Bad[0].Says.String(),
			bad.says) {
			t.Errorf("%q: %+v", bad.text, out.Bad)
		}
	}
}

// Every kind of table that can be taken in has a name that people call it by.
func TestTableNames(t *testing.T) {
	_, page := newBench(t).send("GET", "/import", "", "")
	for _, kind := range tables.In() {
		_, name, is := strings.Cut(page, `<option value="`+kind+`">`)
		if name, _, _ = strings.Cut(name, "<"); !is || name == "" || strings.Contains(name, "_") {
			t.Errorf("%s is called %q", kind, name)
		}
	}
}
