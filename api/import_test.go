package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"html"
	"math"
	"math/rand/v2"
	"mime/multipart"
	"regexp"
	"strings"
	"testing"

	"lidwright/api/wire"
	"lidwright/tiles"
)

func (b *bench) table(query, text string, want int) wire.Import {
	b.t.Helper()
	r, answer := b.send("POST", "/v1/import?kind=bars"+query, "text/csv", text)
	if r.StatusCode != want {
		b.t.Fatalf("%d, want %d: %s", r.StatusCode, want, answer)
	}
	var out wire.Import
	if want < 500 {
		if err := json.Unmarshal([]byte(answer), &out); err != nil {
			b.t.Fatal(err, answer)
		}
	}
	return out
}

// A table keeps what is asked about not confirmed, though it brings the length twice; a reading that is
// measured then confirms.
func TestTableConfirmsNothing(t *testing.T) {
	b := newBench(t)
	b.tern()
	const table = "code,clay,wet,dry,instrument\nBQ7,tern,100,100.9,calliper\n"
	for _, text := range []string{table, strings.Replace(table, "100.9", "100.8", 1)} {
		in := b.table("", text, 200)
		if !in.Kept || len(in.Asked) != 1 || in.Asked[0].Line != 2 || in.Asked[0].Needs != "confirm" {
			t.Fatalf("asked: %+v", in)
		}
	}
	last, before := b.last("BQ7")
	if last["counted"] != false || before["counted"] != false || last["stage"] != "dry" ||
		before["stage"] != "dry" {
		t.Errorf("of tables: %v and %v", before, last)
	}
	if r := b.read("BQ7", "dry", "100.7"); r["counted"] != true || r["confirms"] != last["id"] {
		t.Errorf("measured again: %v", r)
	}
}

// A table of bars: told first, bad rows by line, all or nothing, the same again is nothing new, and
// what goes out can come in again.
func TestTableOfBars(t *testing.T) {
	b := newBench(t)
	b.tern()
	good := "code;clay;unit;wet;dry;fired;heat_work_c;instrument;by\r\nBQ7;tern;mm;100,0;94,1;87,6;1222;calliper;KT\r\n;tern;in;3 15/16;;3 7/16;1222;rule;EM\r\n\r\nBQ4;tern;mm;100;49,3;;;calliper;KT\r\n"
	dry := b.table("&dry_run=true", good, 200)
	if dry.Rows != 3 || dry.NewBars != 3 || dry.Readings != 7 || dry.Loads != 1 || dry.Kept ||
		len(dry.Codes) != 1 || len(dry.Asked) != 1 || dry.Asked[0].Line != 5 ||
		dry.Asked[0].Slip != "digits_swapped" {
		t.Errorf("dry run: %+v", dry)
	}
	if n := len(b.json("GET", "/v1/bars", "", 200)["items"].([]any)); n != 0 {
		t.Fatalf("a dry run kept %d bars", n)
	}
	bad := strings.Replace(good, "3 15/16", "3 15/0", 1) +
		"BQ4;wren;mm;100;;;;;\r\nKK9;tern;mm;;;;;;\r\nKK7;wren;mm;;;;;;\r\n"
	all := b.table("", bad, 422)
	lines := map[int]string{}
	for _, x := range all.Bad {
		lines[x.Line] = x.Field
	}
	for line, field := range map[int]string{3: "wet", 6: "code", 7: "code", 8: "clay"} {
		if lines[line] != field {
			t.Errorf("line %d: %q at fault, want %q of %+v", line, lines[line], field, all.Bad)
		}
	}
	if n := len(b.json("GET", "/v1/bars", "", 200)["items"].([]any)); n != 0 || all.Kept {
		t.Fatalf("a bad table kept %d bars", n)
	}
	if in := b.table("", good, 200); !in.Kept || in.NewBars != 3 {
		t.Fatalf("taken in: %+v", in)
	}
	bar := b.json("GET", "/v1/bars/BQ7", "", 200)
	if f := bar["firings"].([]any); len(f) != 1 || f[0].(map[string]any)["heat_work_c"] != 1222.0 {
		t.Errorf("its firings: %v", f)
	}
	derived := bar["derived"].(map[string]any)
	if total := derived["total_ratio"].(map[string]any)["value"].(float64); math.Abs(total-0.124) > 1e-9 {
		t.Errorf("its total: %v", total)
	}
	named := strings.Replace(good, "\r\n;tern;in;3 15/16;;3 7/16;1222;rule;EM", "", 1)
	if again := b.table("", named, 200); again.NewBars != 0 || again.Readings != 0 ||
		again.Same != 5 || again.Loads != 0 {
		t.Errorf("the same again: %+v", again)
	}
	if more := b.table("", "code,bisque\nBQ7,93.5\n", 200); more.NewBars != 0 || more.Readings != 1 {
		t.Errorf("one more length: %+v", more)
	}
	if _, sheet := b.send("GET", "/bars.csv", "", ""); true {
		has(t, sheet, "code,clay,batch", "BQ7,tern,A,thrown_ring,100,,mm,100,,,94.1,93.5,87.6")
		again := b.table("", sheet, 200)
		if again.Readings != 0 || again.NewBars != 0 || again.Same == 0 {
			t.Errorf("what went out came in as new: %+v", again)
		}
	}
	if _, out := b.send("GET", "/readings.csv", "", ""); strings.Count(out, "\r\n") != 9 {
		t.Errorf("readings out: %s", out)
	}
	for _, no := range []string{"", "colour,code\nred,BQ7\n", "code,code\nBQ7,BQ7\n", "code\n",
		"code,note\nBQ7,\"open\n"} {
		if r, text := b.send("POST", "/v1/import", "text/csv", no); r.StatusCode != 422 {
			t.Errorf("%q: %d %s", no, r.StatusCode, text)
		}
	}
}

// Ten thousand rows are taken in whole, and how far it is told meanwhile.
func TestLargeTable(t *testing.T) {
	b := newBench(t)
	b.tern()
	r, text := b.send("POST", "/v1/import?progress=true", "text/csv", manyRows(b, 1200))
	lines := strings.Split(strings.TrimSpace(text), "\n")
	var last wire.Import
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), &last); err != nil || r.StatusCode != 200 ||
		!last.Kept || last.NewBars != 1200 || last.Readings != 3600 {
		t.Fatalf("%d, %v: %s", r.StatusCode, err, lines[len(lines)-1])
	}
	if len(lines) < 2 || !strings.Contains(lines[0], `"of":9615}`) ||
		lines[len(lines)-2] != `{"done":9615,"of":9615}` {
		t.Errorf("told %q", lines[:len(lines)-1])
	}
}

func manyRows(b *bench, n int) string {
	codes, err := b.s.Codes.Free(n, func(tiles.Code) bool { return false }, rand.New(rand.NewPCG(7, 8)))
	if err != nil {
		b.t.Fatal(err)
	}
	var text strings.Builder
	text.WriteString("code,clay,unit,wet,dry,fired,instrument,heat_work_c,by\n")
	for i, c := range codes {
		fmt.Fprintf(&text, "%s,tern,mm,%.2f,%.2f,%.2f,calliper,%d,KT\n", c, 100+0.01*float64(i%20),
			94+0.01*float64(i%30), 87.5+0.01*float64(i%40), 1215+i%15)
	}
	return text.String()
}

// BenchmarkTakeTable takes 10,000 rows of three lengths each in, over HTTP.
func BenchmarkTakeTable(b *testing.B) {
	for b.Loop() {
		b.StopTimer()
		be := newBench(b)
		be.tern()
		for i := range 12 { // a fit to ask
			code := string(be.s.Codes[i]) + "AA"
			be.json("PUT", "/v1/bars/"+code, fmt.Sprintf(`{"id":%q,"clay":"tern"}`, be.id()), 201)
			be.read(code, "wet", "100.0")
			be.read(code, "dry", fmt.Sprintf("%.2f", 94+0.05*float64(i%5)))
		}
		be.s.Shrink.Fit(b.Context())
		rows := manyRows(be, 10_000)
		b.StartTimer()
		if r, text := be.send("POST", "/v1/import?progress=true", "text/csv", rows); r.StatusCode != 200 ||
			!strings.Contains(text, `"kept":true`) {
			b.Fatal(r.StatusCode, text[max(0, len(text)-600):])
		}
		b.StopTimer()
		be.close()
		b.StartTimer()
	}
}

// upload sends the form of the page that takes tables in; the table of name file has a file's name.
func (b *bench) upload(name string, fields map[string]string, want int) string {
	b.t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for field, text := range fields {
		if field == "file" {
			part, err := w.CreateFormFile("file", name)
			if err != nil {
				b.t.Fatal(err)
			}
			part.Write([]byte(text))
			continue
		}
		w.WriteField(field, text)
	}
	w.Close()
	r, text := b.send("POST", "/import", w.FormDataContentType(), body.String())
	if r.StatusCode != want {
		b.t.Fatalf("%d, want %d: %s", r.StatusCode, want, text)
	}
	return text
}

// held is what the page sends along of a table.
func held(t *testing.T, page string) string {
	t.Helper()
	m := regexp.MustCompile(`name="held" value="([^"]+)"`).FindStringSubmatch(page)
	if m == nil {
		t.Fatalf("nothing goes along: %s", page)
	}
	return html.UnescapeString(m[1])
}

// The page takes a file or a pasted table without script, in two steps; sheets have a code that a phone
// opens.
func TestTablesOnPages(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7", "BQ4")
	table := "code,wet\nBQ7,100.1\nBQ4,100.2\n"
	text := b.upload("", map[string]string{"table": table}, 200)
	has(t, text, "It would bring 0 new bars and 2 readings", "Take it in", "What was understood")
	has(t, b.upload("", map[string]string{"held": held(t, text), "keep": "yes"}, 200),
		"Kept: 0 new bars, 2 readings", "0 of the readings count",
		"2 do not count: It counts with the next stage")
	has(t, b.upload("", map[string]string{"table": "code,wet\nBQ7,long\n", "keep": "yes"}, 200),
		"Nothing can be kept", "line 2, wet:", "BQ7,long")
	has(t, b.upload("", map[string]string{"table": "nothing"}, 422), "cannot be read")
	has(t, b.upload("", map[string]string{"keep": "yes"}, 422), "Choose a file")
	// A file asks in place what it does not tell; what was chosen and answered goes along.
	text = b.upload("by-hand.csv", map[string]string{"file": notebook(t, "by-hand.csv")}, 200)
	has(t, text, "by-hand.csv", "Does the day or the month come first in 3/4/2023 (line 4)?",
		`name="days" value="day_first"`, `name="others" value="note"`, "Go on")
	text = b.upload("", map[string]string{"held": held(t, text), "name": "by-hand.csv", "days": "day_first"},
		200)
	has(t, text, `type="hidden" name="days" value="day_first"`, `name="others" value="note"`, "Go on")
	text = b.upload("", map[string]string{"held": held(t, text), "name": "by-hand.csv", "days": "day_first",
		"others": "leave"}, 200)
	has(t, text, "It would bring 2 new bars and 12 readings", "Codes for bars without one:",
		"Take it in", "day first")
	has(t, b.upload("", map[string]string{"held": held(t, text), "days": "day_first", "others": "leave",
		"keep": "yes"}, 200), "Kept: 2 new bars, 12 readings", "12 of the readings count")
	has(t, b.upload("pots.csv", map[string]string{"file": "id,form,collar_mm,body\n" + b.id() +
		",jar,\"104,5\",tern/A\n"}, 200), "It would bring 1 rows", "pots")
	has(t, b.page("/bars/all?clay=tern"), "BQ7", "BQ4", "/bars.csv?clay=tern")
	sheet := b.page("/bars/sheet?codes=BQ7")
	has(t, sheet, "<u>BQ7</u>", `aria-label="opens the entry of bar BQ7"`, "http://kiln-pi.local:8573")
	if strings.Contains(sheet, "BQ4") {
		t.Error("a bar that was not asked for is on the sheet")
	}
}
