package daemon

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"lidwright/kiln"
)

// A walk through the whole record, as a shared kiln makes it: a reclaim and a blend with their
// parents, two loads of one day, a load that meets its firing late, a bar that was fired again, a
// learner's bars, and a piece read beside a pot.
func TestWalkOfTheRecord(t *testing.T) {
	b := newHeatBench(t)
	bisque := b.fire(2, "20>600@150 >1000@100 off", kiln.Bisque)
	hot, cool := b.fire(5, "20>600@150 >1120@180 >1215@60 off", kiln.Glaze), b.fire(9,
		"20>600@150 >1120@180 >1180@60 off", kiln.Glaze)
	b.run()
	put := func(want int, path string, body map[string]any, into any) string {
		t.Helper()
		status, text := b.ask("PUT", path, body, into)
		if status != want {
			t.Fatalf("%s %v: %d %s", path, body, status, text)
		}
		return text
	}
	get := func(path string, into any) {
		t.Helper()
		if status, text := b.ask("GET", path, nil, into); status != 200 {
			t.Fatalf("%s: %d %s", path, status, text)
		}
	}
	bar := func(code, batch string, more map[string]any) {
		t.Helper()
		body := map[string]any{"id": newUUID(), "clay": "tern", "batch": batch,
			"forming": "thrown_ring", "mark_length_mm": 100}
		for k, v := range more {
			body[k] = v
		}
		put(201, "/v1/bars/"+code, body, nil)
	}
	read := func(code, stage string, mm float64) {
		t.Helper()
		put(201, "/v1/bars/"+code+"/readings/"+newUUID(),
			map[string]any{"stage": stage, "length": fmt.Sprint(mm), "unit": "mm", "by": "KT"}, nil)
	}
	type load struct {
		ID, Name, State string
		Firing          *string
	}
	pack := func(id, kind string, firing any, codes ...string) (l load) {
		t.Helper()
		var bars []map[string]any
		for _, c := range codes {
			bars = append(bars, map[string]any{"bar": c, "shelf": "middle"})
		}
		put(201, "/v1/loads/"+id, map[string]any{"kiln": "big-blue", "kind": kind, "bars": bars,
			"firing": firing, "packed_by": "KT", "move": true}, &l)
		return l
	}

	// Clays and batches, with where they come from.
	put(201, "/v1/clays/tern", map[string]any{"name": "Tern stoneware", "matures_cone": "6"}, nil)
	put(201, "/v1/clays/tern/batches/R", map[string]any{"kind": "reclaim",
		"parents": []string{"tern/A"}, "open": true}, nil)
	put(201, "/v1/clays/tern/batches/X", map[string]any{"kind": "blend", "parents": []string{"tern/A",
		"tern/R"}, "open": true}, nil)
	if status, text := b.ask("PUT", "/v1/clays/tern/batches/Y", map[string]any{"kind": "blend",
		"parents": []string{"tern/Q"}, "open": true}, nil); status != 404 && status != 422 ||
		!strings.Contains(text, "tern/Q") {
		t.Errorf("a blend of a batch that is not there: %d %s", status, text)
	}
	var clay struct {
		Batches []struct {
			Batch, Kind string
			Parents     []string
		}
	}
	get("/v1/clays/tern", &clay)
	for _, one := range clay.Batches {
		if want := map[string][]string{"R": {"tern/A"},
			"X": {"tern/A", "tern/R"}}[one.Batch]; !slices.Equal(one.Parents, want) {
			t.Errorf("batch %s comes from %v, want %v", one.Batch, one.Parents, want)
		}
	}

	// Two loads on one day, each by its own name; one meets its firing only later.
	for i, code := range []string{"AA", "AB", "AC", "AD"} {
		bar(code, "A", nil)
		read(code, "wet", 100)
		read(code, "dry", 94.2+0.05*float64(i))
	}
	first, second, late := newUUID(), newUUID(), newUUID()
	if one, other := pack(first, "bisque", bisque, "AA", "AB"), pack(second, "bisque", nil, "AC",
		"AD"); one.Name == other.Name || one.Firing == nil || other.Firing != nil {
		t.Errorf("two loads of a day: %+v, %+v", one, other)
	}
	pack(late, "glaze", nil, "AA", "AB", "AC")
	for i, code := range []string{"AA", "AB", "AC"} {
		read(code, "fired", 87.5+0.05*float64(i))
	}
	type rate struct {
		Total *float64 `json:"total_ratio"`
		Trust string
		Seen  *struct{ Low, High float64 } `json:"heat_work_seen_c"`
		Basis struct{ Bars, Loads, Struck int }
	}
	asked := func() (r rate) {
		t.Helper()
		get("/v1/clays/tern/shrinkage?batch=A&kind=glaze", &r)
		return r
	}
	if r := asked(); r.Basis.Loads != 0 && r.Trust != "no_bars" {
		t.Errorf("fired bars whose firing nobody knows: %+v", r)
	}
	var joined load
	put(201, "/v1/loads/"+late, map[string]any{"kiln": "big-blue", "kind": "glaze",
		"bars": []map[string]any{{"bar": "AA", "shelf": "middle"}, {"bar": "AB", "shelf": "middle"},
			{"bar": "AC", "shelf": "middle"}}, "firing": hot, "packed_by": "KT"}, &joined)
	var met struct{ Load *string }
	get("/v1/firings/"+string(hot), &met)
	if joined.Firing == nil || *joined.Firing != string(hot) || met.Load == nil || *met.Load != late {
		t.Errorf("joined late: load has %v, firing has %v", joined.Firing, met.Load)
	}
	known := asked()
	if known.Basis.Bars != 3 || known.Seen == nil || known.Seen.High-known.Seen.Low > 0.1 ||
		known.Seen.High < 1210 {
		t.Fatalf("after the firing was told: %+v", known)
	}

	// AA goes through the kiln again, cooler: it counts at the hottest it has seen.
	pack(newUUID(), "glaze", cool, "AA")
	read("AA", "fired", 87.5)
	again := asked()
	if math.Abs(again.Seen.Low-known.Seen.High) > 0.1 || math.Abs(again.Seen.High-known.Seen.High) > 0.1 ||
		again.Basis.Bars != 3 || math.Abs(*again.Total-*known.Total) > 0.0005 {
		t.Errorf("fired again, cooler: %+v, before %+v (seen %+v, %+v)", again, known, again.Seen, known.Seen)
	}

	// A learner's bars are kept, shown, and have no say.
	bar("PP", "A", map[string]any{"practice": true, "by": "S1"})
	pack(newUUID(), "glaze", nil, "PP")
	read("PP", "wet", 100)
	read("PP", "dry", 97)
	read("PP", "fired", 92)
	if r := asked(); *r.Total != *again.Total || r.Basis != again.Basis {
		t.Errorf("a learner's bar moved the rate: %+v, before %+v", r, again)
	}

	// A piece cut from the wall of the pot tells how far the pot has dried.
	bar("CP", "A", map[string]any{"forming": "cut_wall"})
	read("CP", "wet", 100)
	read("CP", "leather", 96.5)
	var lid struct {
		Cautions []string
		Width    *float64 `json:"unrounded_mm"`
	}
	get("/v1/lid?collar=88.4&collar_stage=leather&clay=tern&batch=A&play=1.25&lids=1&accept=wide&companion=CP", &lid)
	want := 88.4/0.965 - 1.25/(1-*again.Total)
	if lid.Width == nil || math.Abs(*lid.Width-want) > 0.05 ||
		slices.Contains(lid.Cautions, "leather-guessed") {
		t.Errorf("beside its companion: %v, %v, want %.2f", *lid.Width, lid.Cautions, want)
	}
}
