package api

import (
	"net/url"
	"strings"
	"testing"

	"lidwright/kiln"
)

// TestUnpackedIsAsked holds a tap on Unpacked against what the kiln reads: over 200 °C it is asked, on the
// page and by the API, and a yes keeps it; a load that nobody fired is asked about too, and one that was
// measured at its stage is out without a tap.
func TestUnpackedIsAsked(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7", "BQ4", "BQ3")
	b.s.Kiln = map[kiln.KilnID]kiln.Kiln{"big-blue": {ID: "big-blue"}}
	cools := inState(kiln.Falling, 640)
	cools.Kiln, cools.Hottest, cools.TopPassed = "big-blue", 640, true
	b.s.Recorder = &hearth{live: cools}
	fired := func(bar string) string {
		load, at := b.id(), b.s.Now()
		f := kiln.Firing{ID: kiln.FiringID(b.id()), Kiln: "big-blue", Kind: kiln.Glaze, Source: "serial",
			Began: at, Over: at, Status: kiln.Ended, Peak: 1222, Load: load}
		b.json("PUT", "/v1/loads/"+load, `{"kiln":"big-blue","kind":"glaze","bars":[{"bar":"`+bar+`"}]}`, 201)
		if _, err := b.store.BeginFiring(t.Context(), f, nil); err != nil {
			t.Fatal(err)
		}
		if err := b.store.EndFiring(t.Context(), f); err != nil {
			t.Fatal(err)
		}
		return load
	}
	load := fired("BQ7")
	if home := b.page("/"); !strings.Contains(home, "/load/"+load+"/life") {
		t.Error("Home has no tap for a fired load")
	}
	p := b.json("POST", "/v1/loads/"+load+"/unpacked", `{"by":"KT"}`, 409)
	if p["type"] != "/problems/are-you-sure" || !strings.Contains(p["detail"].(string),
		"big-blue reads 640 °C. Is load 1 really out?") {
		t.Errorf("asked: %v", p)
	}
	_, page := b.post("/load/"+load+"/life", url.Values{"do": {"unpacked"}}, 200)
	has(t, page, "big-blue reads 640 °C. Is load 1 really out?", "Yes, it is out")
	if l := b.json("GET", "/v1/loads/"+load, "", 200); l["state"] != "fired" {
		t.Errorf("before the answer: %v", l["state"])
	}
	b.post("/load/"+load+"/life", url.Values{"do": {"unpacked"}, "sure": {"yes"}}, 303)
	if l := b.json("GET", "/v1/loads/"+load, "", 200); l["state"] != "unpacked" {
		t.Errorf("after it: %v", l["state"])
	}
	b.post("/load/"+load+"/life", url.Values{"do": {"back"}}, 303)
	if l := b.json("GET", "/v1/loads/"+load, "", 200); l["state"] != "fired" {
		t.Errorf("taken back: %v", l["state"])
	}

	measured := fired("BQ4")
	b.read("BQ4", "wet", "100")
	b.read("BQ4", "fired", "87.6")
	if l := b.json("GET", "/v1/loads/"+measured, "", 200); l["state"] != "done" {
		t.Errorf("measured: %v", l["state"])
	}

	packed := b.id()
	b.json("PUT", "/v1/loads/"+packed, `{"kiln":"big-blue","kind":"glaze","bars":[{"bar":"BQ3"}]}`, 201)
	b.json("POST", "/v1/loads/"+packed+"/unpacked", `{}`, 409)
	twice := b.json("PUT", "/v1/loads/"+b.id(), `{"kiln":"big-blue","kind":"glaze","bars":[{"bar":"BQ3"}]}`,
		409)
	if !strings.Contains(twice["detail"].(string), "BQ3 is packed in load 3 already") {
		t.Errorf("packed twice: %v", twice)
	}
	b.post("/load/"+packed+"/life", url.Values{"do": {"call_off"}}, 303)
	if l := b.json("GET", "/v1/loads/"+packed, "", 200); l["state"] != "called_off" {
		t.Errorf("called off: %v", l["state"])
	}
	b.json("POST", "/v1/loads/"+measured+"/called-off", `{}`, 422)
}

// TestLoadsAreAsked: a load of before that nobody called unpacked is asked about while its kiln is fired
// again, and what was packed meanwhile joins with one tap; while nothing is fired without a load neither is
// asked.
func TestLoadsAreAsked(t *testing.T) {
	b := newBench(t)
	b.s.Kiln = map[kiln.KilnID]kiln.Kiln{"big-blue": {ID: "big-blue"}}
	heats := inState(kiln.Rising, 300)
	heats.Kiln, heats.Firing, heats.Hottest = "big-blue", kiln.FiringID(b.id()), 300
	h := &hearth{live: heats}
	b.s.Recorder = h
	left, late := b.id(), b.id()
	b.json("PUT", "/v1/loads/"+left, `{"kiln":"big-blue","kind":"glaze","heat_work_c":1222}`, 201)
	b.json("PUT", "/v1/loads/"+late, `{"kiln":"big-blue","kind":"glaze"}`, 201)
	home := b.page("/")
	has(t, home, "Is load 1 still in?", "No, unpacked", "Yes, fired again", "Is load 2 in it?")
	h.live.Load = late
	if home := b.page("/"); strings.Contains(home, "Is load 2 in it?") ||
		!strings.Contains(home, "Is load 1 still in?") {
		t.Error("asked about a load that is in it")
	}
}
