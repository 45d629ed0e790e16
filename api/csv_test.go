package api

import (
	"context"
	"encoding/csv"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/tiles"
)

// unmoved is a keeper of heat works that looks at nothing again.
type unmoved struct{ cold }

func (unmoved) Again(context.Context, kiln.KilnID) {}

// listening is a recorder that has the kiln and hears nothing.
type listening struct{ nobody }

func (listening) Tell(context.Context, detect.Fact) (kiln.FiringID, error) { return "", nil }

// TestTables: every kind of what is kept goes out as RFC 4180 has it, each row whole, and no text is
// one that a spreadsheet takes for a formula (OWASP ASVS 5.0, 1.2.10).
func TestTables(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7", "BQ4")
	b.read("BQ7", "wet", "100")
	b.s.Heat, b.s.Recorder = unmoved{}, listening{}
	b.s.Kiln = map[kiln.KilnID]kiln.Kiln{"big-blue": {ID: "big-blue", Control: "1",
		Channels: []kiln.Channel{{ID: "1"}}}}
	evil := `=HYPERLINK("http://x","a,b")` + "\nsecond"
	firing := b.id()
	b.json("PUT", "/v1/firings/"+firing, `{"source":"hand","kiln":"big-blue","kind":"glaze","intended_cone":"6"}`, 201)
	b.json("PUT", "/v1/clays/tern/batches/B", `{"kind":"bought","open":true,"note":"@SUM(A1)"}`, 201)
	load := b.id()
	b.json("PUT", "/v1/loads/"+load, `{"kiln":"big-blue","kind":"glaze","note":"+1","bars":[{"bar":"BQ7","shelf":"-top"}]}`, 201)
	pot := b.id()
	b.json("PUT", "/v1/pots/"+pot, `{"form":"teapot","number":"212","collar_mm":[104.5,104.1],"opening_mm":92.5,"body":"tern/B","set_mm":102.5,"note":"-12 %"}`, 201)
	b.json("PUT", "/v1/lid-results/"+b.id(), `{"load":"`+load+`","form":"teapot","body":"tern/B","pots":["`+
		pot+`"],"counts":{"good":1}}`, 201)
	b.json("PUT", "/v1/firings/"+firing+"/cones/"+b.id(), `{"cone":"6","shelf":"middle","tilt_deg":45}`, 201)
	b.json("PUT", "/v1/firings/"+firing+"/notes/"+b.id(), `{"text":`+string(web.EncodeJSON(evil))+`}`, 201)
	if _, err := b.store.PutProbe(t.Context(), tiles.ProbeLife{ID: b.id(), Kiln: "big-blue", Channel: "1",
		Type: "S", Class: 2, Fitted: "2026-01-12"}, usecase.Precondition{}, b.s.Now()); err != nil {
		t.Fatal(err)
	}
	b.json("PUT", "/v1/kilns/big-blue/keep-shut",
		`{"id":"`+b.id()+`","keep_shut_above_c":80,"keep_shut_reason":"=thin"}`, 201)
	tables := map[string][][]string{}
	for _, name := range Tables() {
		r, text := b.send("GET", "/"+name+".csv", "", "")
		if r.StatusCode != 200 || !strings.HasPrefix(r.Header.Get("Content-Type"), "text/csv") {
			t.Fatalf("%s: %d %s", name, r.StatusCode, text)
		}
		rows, err := csv.NewReader(strings.NewReader(text)).ReadAll() // refuses rows of another length
		if err != nil || !strings.HasSuffix(text, "\r\n") {
			t.Errorf("%s: %v\n%s", name, err, text)
			continue
		}
		if tables[name] = rows; len(rows) < 2 && name != "gaps" && name != "dips" {
			t.Errorf("%s has no row", name)
		}
		for _, row := range rows[1:] {
			for i, cell := range row {
				if cell != "" && strings.ContainsRune("=+-@\t", rune(cell[0])) {
					t.Errorf("%s, %s: a formula to a spreadsheet: %q", name, rows[0][i], cell)
				}
			}
		}
	}
	at := func(table, column string, row int) string {
		t.Helper()
		return tables[table][row+1][slices.Index(tables[table][0], column)]
	}
	for _, want := range []struct{ table, column, cell string }{
		{"notes", "text", "'" + evil}, {"loads", "note", "'+1"}, {"load_bars", "shelf", "'-top"},
		{"pots", "collar_mm", "104.5 104.1"}, {"pots", "note", "'-12 %"}, {"pots", "body", "tern/B"},
		{"lid_results", "good", "1"}, {"lid_results", "pots", pot}, {"cones", "tilt_deg", "45"},
		{"probes", "type", "S"}, {"keep_shut", "keep_shut_above_c", "80"}, {"firings", "id", firing},
	} {
		if got := at(want.table, want.column, 0); got != want.cell {
			t.Errorf("%s, %s: %q, want %q", want.table, want.column, got, want.cell)
		}
	}
}

// TestCells: a number below zero is a number, and a text that looks like one is a text.
func TestCells(t *testing.T) {
	s := &Server{Studio: &usecase.Studio{Site: usecase.Site{Zone: time.UTC}}}
	for _, c := range []struct {
		v    any
		want string
	}{
		{-12.5, "-12.5"}, {kiln.Celsius(-4), "-4"}, {kiln.Celsius(math.NaN()), ""}, {"-12.5", "'-12.5"},
		{"\tx", "'\tx"}, {"tern", "tern"}, {nil, ""}, {tiles.Millimetre(0), ""},
		{[]tiles.Millimetre{1.5, 2}, "1.5 2"}, {true, "true"}, {int64(-3), "-3"},
		{time.Date(2026, 1, 9, 9, 0, 0, 0, time.UTC), "2026-01-09T09:00:00Z"}, {time.Time{}, ""},
	} {
		if got := s.tables().Cell(c.v); got != c.want {
			t.Errorf("%#v: %q, want %q", c.v, got, c.want)
		}
	}
}
