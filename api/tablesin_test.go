package api

import (
	"encoding/csv"
	"encoding/json"
	"strings"
	"testing"

	"lidwright/api/tables"
	"lidwright/api/wire"
	"lidwright/kiln"
)

// withKilns gives a bench two kilns, one of them without a line.
func (b *bench) withKilns() *bench {
	b.s.Heat, b.s.Recorder = unmoved{}, listening{}
	b.s.Kiln = map[kiln.KilnID]kiln.Kiln{
		"big-blue": {ID: "big-blue", Control: "1", Channels: []kiln.Channel{{ID: "1", Role: kiln.RoleProbe}}},
		"gas":      {ID: "gas", Control: "1"}}
	return b
}

// aMonthOn puts the clock of a bench forward.
func (b *bench) aMonthOn() *bench {
	now := b.s.Now
	b.s.Now = func() kiln.Stamp {
		n := now()
		n.Wall = n.Wall.AddDate(0, 1, 0)
		return n
	}
	return b
}

// evening fills a bench with something of every kind, struck and questioned facts too.
func (b *bench) evening() {
	b.t.Helper()
	put := func(path, body string) {
		b.t.Helper()
		if r, text := b.send("PUT", path, "application/json", body); r.StatusCode >= 300 {
			b.t.Fatalf("%s: %d %s", path, r.StatusCode, text)
		}
	}
	put("/v1/clays/tern", `{"name":"Tern, grogged","matures_cone":"6","stated_total_ratio":0.12,"note":"=1+1"}`)
	put("/v1/clays/wren", `{"name":"Wren \"fine\"","matures_cone":"10"}`)
	put("/v1/clays/tern/batches/A", `{"kind":"bought","open":false,"stamp":"L 12","arrived_on":"2026-01-08"}`)
	put("/v1/clays/tern/batches/B", `{"kind":"blend","open":true,"parents":["tern/A","wren/A"],"note":"'tis mixed"}`)
	put("/v1/bars/BQ7", `{"id":"`+b.id()+`","clay":"tern","batch":"B","forming":"rolled","marks":2,"made_on":"2026-01-10","by":"KT","note":"first\nsecond"}`)
	put("/v1/bars/BQ4", `{"id":"`+b.id()+`","clay":"tern","batch":"A","mark_length_mm":120,"practice":true}`)
	put("/v1/bars/KK7", `{"id":"`+b.id()+`","clay":"wren","flags":["bent","broken"]}`)
	firing, gas := b.id(), b.id()
	put("/v1/firings/"+firing, `{"source":"hand","kiln":"big-blue","kind":"glaze","began_at":"2026-01-20T07:00:00Z","ended_at":"2026-01-20T19:30:00Z","typed":{"hours":[0,3.5,8.25],"temperature_c":[20,600,1222]},"intended_cone":"6","note":"calm"}`)
	put("/v1/firings/"+gas, `{"source":"hand","kiln":"gas","kind":"bisque","sitter":{"cone":"05","dropped_at":"2026-01-15T16:00:00Z"}}`)
	bisque, glaze := b.id(), b.id()
	put("/v1/loads/"+bisque, `{"kiln":"gas","kind":"bisque","heat_work_c":1000,"packed_by":"EM","bars":[{"bar":"BQ7","shelf":"top"},{"bar":"BQ4"}]}`)
	put("/v1/loads/"+glaze, `{"kiln":"big-blue","kind":"glaze","firing":"`+firing+
		`","note":"+1","bars":[{"bar":"BQ7","shelf":"-top"}]}`)
	if r, text := b.send("POST", "/v1/loads/"+glaze+"/unpacked", "application/json",
		`{"unpacked_at":"2026-01-21T09:00:00Z"}`); r.StatusCode >= 300 {
		b.t.Fatalf("unpacked: %d %s", r.StatusCode, text)
	}
	b.read("BQ7", "wet", "100.0")
	put("/v1/bars/BQ7/readings/"+b.id(), `{"stage":"wet","mark":2,"length":"3 15/16","unit":"in","instrument":"rule","step_mm":0.8,"by":"EM"}`)
	wrong := b.id()
	put("/v1/bars/BQ7/readings/"+wrong, `{"stage":"dry","length":"94.2","by":"KT"}`)
	put("/v1/bars/BQ7/readings/"+b.id(), `{"stage":"dry","length":"94.1","by":"KT","supersedes":"`+wrong+`"}`)
	b.read("BQ7", "bisque", "93.5")
	b.read("BQ7", "fired", "78.6") // asked about, and waits
	b.read("BQ7", "fired", "87.6")
	odd := b.id()
	put("/v1/bars/BQ4/readings/"+odd, `{"stage":"wet","length":"1200","by":"KT"}`)
	put("/v1/bars/BQ4/readings/"+odd+"/confirm", `{"why":"it is so","by":"KT"}`)
	gone := b.id()
	put("/v1/bars/KK7/readings/"+gone, `{"stage":"wet","length":"100"}`)
	put("/v1/bars/KK7/readings/"+gone+"/strike", `{"why":"of another bar"}`)
	put("/v1/bars/KK7/readings/"+b.id(), `{"stage":"fired","mass_g":{"dry_g":100,"saturated_g":104,"suspended_g":60,"step_g":0.1}}`)
	cone := b.id()
	put("/v1/firings/"+firing+"/cones/"+cone, `{"cone":"6","shelf":"middle","tilt_deg":45,"by":"KT"}`)
	put("/v1/firings/"+firing+"/cones/"+b.id(), `{"cone":"7","seen":"upright"}`)
	put("/v1/firings/"+firing+"/cones/"+cone+"/strike", `{"why":"leant on the wall","by":"KT"}`)
	put("/v1/firings/"+firing+"/notes/"+b.id(),
		`{"text":"=damper, \"half\"\nthen shut","at":"2026-01-20T12:00:00Z","incident":true,"by":"EM"}`)
	put("/v1/kilns/big-blue/probes/"+b.id(), `{"type":"S","class":1,"fitted_on":"2026-01-02","note":"new"}`)
	put("/v1/kilns/big-blue/keep-shut", `{"id":"`+b.id()+
		`","keep_shut_above_c":80,"keep_shut_reason":"=thin"}`)
	put("/v1/kilns/big-blue/keep-shut", `{"id":"`+b.id()+
		`","keep_shut_above_c":45,"keep_shut_reason":"glaze"}`)
	pots := []string{b.id(), b.id()}
	for i, p := range pots {
		put("/v1/pots/"+p, `{"form":"teapot","number":"21`+string(rune('2'+i))+
			`","collar_mm":[104.5,104.1],"opening_mm":92.5,"body":"tern/B","set_mm":102.5,"made_on":"2026-01-11","note":"-12 %"}`)
	}
	board := b.id()
	put("/v1/lid-results/"+board, `{"load":"`+glaze+`","form":"teapot","body":"tern/B","pots":["`+
		strings.Join(pots, `","`)+`"],"counts":{"good":1,"tight":1},"plays_mm":[1.1]}`)
	put("/v1/lid-results/"+b.id(), `{"form":"jar","body":"wren/A","counts":{"loose":3},"losses":{"chipped":1},"by":"KT"}`)
	put("/v1/lid-results/"+board+"/strike", `{"why":"miscounted"}`)
}

func (b *bench) tables() map[string]string {
	b.t.Helper()
	all := map[string]string{}
	for _, kind := range Tables() {
		r, text := b.send("GET", "/"+kind+".csv", "", "")
		if r.StatusCode != 200 {
			b.t.Fatalf("%s: %d %s", kind, r.StatusCode, text)
		}
		all[kind] = text
	}
	return all
}

func (b *bench) takeIn(kind, query, text string, want int) wire.Import {
	b.t.Helper()
	r, answer := b.send("POST", "/v1/import?kind="+kind+query, "text/csv", text)
	if r.StatusCode != want {
		b.t.Fatalf("%s: %d, want %d: %s", kind, r.StatusCode, want, answer)
	}
	var out wire.Import
	if err := json.Unmarshal([]byte(answer), &out); err != nil {
		b.t.Fatal(err, answer)
	}
	return out
}

// lengthsOf leaves the lengths of a table of bars to that of the readings.
func lengthsOf(kind string) string {
	if kind == "bars" {
		return "&lengths=leave"
	}
	return ""
}

// Every table that goes out can be taken in by an empty store, which then gives the same tables; taken in
// again, none of them changes anything.
func TestTablesRoundTrip(t *testing.T) {
	from := newBench(t).withKilns()
	from.evening()
	sheets := from.tables()
	to := newBench(t).withKilns().aMonthOn()
	for _, kind := range tables.In() {
		dry := to.takeIn(kind, lengthsOf(kind)+"&dry_run=true", sheets[kind], 200)
		if len(dry.Bad)+len(dry.LeftOut)+len(dry.Questions) > 0 || dry.Rows == 0 {
			t.Fatalf("%s, dry run: bad %v, left out %v, asks %v, %d rows", kind, dry.Bad, dry.LeftOut,
				dry.Questions, dry.Rows)
		}
		kept := to.takeIn(kind, lengthsOf(kind), sheets[kind], 200)
		if !kept.Kept || len(kept.Bad)+len(kept.LeftOut) > 0 || kept.New != dry.New {
			t.Fatalf("%s: %+v", kind, kept)
		}
		if kind == "readings" && (len(kept.Asked) == 0 || kept.Asked[0].Bar != "BQ7") {
			t.Errorf("the one that waits is not listed: %v", kept.Asked)
		}
	}
	for kind, text := range to.tables() {
		if text != sheets[kind] {
			t.Errorf("%s came out as another:\n%s\nwas\n%s", kind, text, sheets[kind])
		}
	}
	for _, b := range []*bench{to, from} {
		last, err := b.store.LastChange(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for _, kind := range tables.In() {
			again := b.takeIn(kind, "", sheets[kind], 200)
			if again.New+again.NewBars+again.Readings+again.Loads > 0 ||
				len(again.LeftOut)+len(again.Bad) > 0 {
				t.Errorf("%s again: %+v", kind, again)
			}
		}
		if now, _ := b.store.LastChange(t.Context()); now != last {
			t.Errorf("taken in again, it said %d things", now-last)
		}
	}
}

// A spreadsheet that opens a table and saves it in its own way changes nothing.
func TestTablesThroughASpreadsheet(t *testing.T) {
	from := newBench(t).withKilns()
	from.evening()
	to := newBench(t).withKilns().aMonthOn()
	for _, kind := range tables.In() {
		rows, err := csv.NewReader(strings.NewReader(from.tables()[kind])).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		var text strings.Builder
		w := csv.NewWriter(&text)
		w.Comma, w.UseCRLF = ';', true
		for i, row := range rows {
			for j, cell := range row {
				// that one is text
				if _, err := json.Number(cell).Float64(); err == nil && i > 0 &&
					strings.Count(cell, ".") == 1 && rows[0][j] != "as_typed" {
					row[j] = strings.Replace(cell, ".", ",", 1)
				}
			}
			w.Write(row)
		}
		w.Flush()
		if out := to.takeIn(kind, lengthsOf(kind), "\xef\xbb\xbf"+text.String(), 200); !out.Kept ||
			len(out.LeftOut) > 0 {
			t.Errorf("%s: %+v", kind, out)
		}
	}
	for kind, text := range to.tables() {
		if want := from.tables()[kind]; text != want {
			t.Errorf("%s came out as another:\n%s\nwas\n%s", kind, text, want)
		}
	}
}

// A table adds and never changes: what says something else of what is here is left out and told; what refers
// to nothing here is told; a column that is not known is asked about.
func TestTablesAddAlone(t *testing.T) {
	b := newBench(t).withKilns()
	b.evening()
	sheets := b.tables()
	out := b.takeIn("clays", "", strings.Replace(sheets["clays"], "Tern, grogged", "Tern, smooth", 1), 200)
	if len(out.LeftOut) != 1 || out.LeftOut[0].Line != 2 ||
		!strings.Contains(out.LeftOut[0].Says.String(), "another name: Tern, grogged") || out.New != 0 {
		t.Errorf("another name: %+v", out)
	}
	out = b.takeIn("clays", "", "clay,colour\nowl,grey\n", 422)
	if len(out.Questions) != 1 || out.Kept {
		t.Errorf("a column that is not known: %+v", out)
	}
	if out = b.takeIn("clays", "&others=leave", "clay,colour\nowl,grey\nOWL!,grey\nowl,red\n",
		422); len(out.Bad) < 2 || out.Kept {
		t.Errorf("bad rows: %+v", out.Bad)
	}
	if out = b.takeIn("clays", "&others=leave", "clay,colour\nowl,grey\n", 200); !out.Kept ||
		out.New != 1 || out.Done != 1 {
		t.Errorf("a clay of another table: %+v", out)
	}
	empty := newBench(t).withKilns().aMonthOn()
	if out = empty.takeIn("batches", "", sheets["batches"], 422); len(out.Bad) == 0 ||
		!strings.Contains(out.Bad[0].Says.String(), "table of clays") {
		t.Errorf("batches without their clays: %+v", out.Bad)
	}
	for _, kind := range []string{"cones", "notes", "load_bars"} {
		if out = empty.takeIn(kind, "", sheets[kind], 200); len(out.LeftOut) != out.Rows || out.New != 0 {
			t.Errorf("%s of nothing: %+v", kind, out)
		}
	}
	if out = b.takeIn("keep_shut", "", "id,kiln,keep_shut_above_c,keep_shut_reason,at\n"+b.id()+
		",big-blue,49,old,2020-01-01\n", 200); len(out.LeftOut) != 1 || out.New != 0 {
		t.Errorf("an older mark took the place of the one in force: %+v", out)
	}
	if r, text := b.send("POST", "/v1/import?kind=gaps", "text/csv", sheets["gaps"]); r.StatusCode != 400 &&
		r.StatusCode != 422 {
		t.Errorf("gaps: %d %s", r.StatusCode, text)
	}
}
