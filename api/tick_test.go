package api

import (
	"context"
	"fmt"
	"net/url"
	"strings"
	"testing"

	"lidwright/api/caution"
	"lidwright/kiln"
	"lidwright/kiln/detect"
)

// packed is a recorder with one cold kiln: it takes what it is told.
type packed struct{ nobody }

func (packed) Tell(context.Context, detect.Fact) (kiln.FiringID, error) { return "", nil }

// The check list of a load: each line once, ticked by form or API, taken back, and still there once
// the load has its firing. What must be seen before a firing is in it.
func TestCheckList(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7")
	b.s.Kiln, b.s.Recorder = map[kiln.KilnID]kiln.Kiln{"big-blue": {ID: "big-blue"}}, packed{}
	load := b.id()
	b.json("PUT", "/v1/loads/"+load, `{"kiln":"big-blue","kind":"glaze","bars":[{"bar":"BQ7","shelf":"middle"}],"packed_by":"KT"}`, 201)
	text := b.page("/load/" + load)
	for _, n := range []caution.Number{caution.BoneDry, caution.Pinhole, caution.HeavyShelves,
		caution.StayNear, caution.VentOn, caution.COAlarm, caution.GetOut, caution.Clearance,
		caution.NoPlastics, caution.StuckRelay, caution.HotPlug, caution.FuelKilns} {
		if !strings.Contains(text, fmt.Sprintf(`name="caution-%d"`, n)) {
			t.Errorf("caution %d is not on the check list", n)
		}
	}
	if list := b.json("GET", "/v1/loads/"+load+"/ticks", "", 200); list["open"] != 12.0 {
		t.Errorf("%v open before anything is ticked, want 12", list["open"])
	}
	form := url.Values{"id": {b.id()}, "caution-36": {"yes"}, "caution-2": {"yes"}, "by": {"KT"}}
	for range 2 { // a form sent twice
		b.post("/load/"+load+"/ticks", form, 303)
	}
	tick := b.id()
	body := `{"item":"caution-7","done":true,"by":"AB"}`
	path := "/v1/loads/" + load + "/ticks/" + tick
	b.json("PUT", path, body, 201)
	b.json("PUT", path, body, 200)
	b.json("PUT", path, `{"item":"caution-7","done":false,"by":"AB"}`, 409)
	b.json("PUT", "/v1/loads/"+load+"/ticks/"+b.id(), `{"item":"caution-36","done":false}`, 201)
	b.json("PUT", "/v1/loads/"+load+"/ticks/"+b.id(), `{"item":"caution-8","done":true}`, 422)
	b.json("PUT", "/v1/loads/"+b.id()+"/ticks/"+b.id(), body, 404)
	list := b.json("GET", "/v1/loads/"+load+"/ticks", "", 200)
	done := map[string]bool{}
	for _, i := range list["items"].([]any) {
		i := i.(map[string]any)
		done[i["item"].(string)] = i["done"].(bool)
	}
	if len(done) != 12 || done["caution-36"] || !done["caution-2"] ||
		!done["caution-7"] || list["open"] != 10.0 {
		t.Errorf("the check list is %v, %v open", done, list["open"])
	}
}

// The packing list has each bar under its shelf, and what must be seen before the kiln is closed.
func TestPackingList(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7", "BQ4")
	b.s.Kiln, b.s.Recorder = map[kiln.KilnID]kiln.Kiln{"big-blue": {ID: "big-blue"}}, packed{}
	load := b.id()
	b.json("PUT", "/v1/loads/"+load, `{"kiln":"big-blue","kind":"glaze","bars":[{"bar":"BQ7","shelf":"top"},{"bar":"BQ4","shelf":"bottom"}]}`, 201)
	text := b.page("/load/" + load + "/packing")
	has(t, text, "Shelf top", "Shelf bottom", "<u>BQ7</u>", "bone dry", "pinhole", "will fuse")
	if strings.Index(text, "will fuse") > strings.Index(text, "bone dry") {
		t.Error("that lid and pot fuse must stand first")
	}
	b.json("PUT", "/v1/loads/"+load, `{"kiln":"big-blue","kind":"bisque","bars":[{"bar":"BQ7","shelf":"top"}]}`, 201)
	if text := b.page("/load/" + load + "/packing"); strings.Contains(text, "will fuse") ||
		strings.Contains(text, "BQ4") {
		t.Error("a bisque load lists glaze cautions, or a bar that was taken out")
	}
}

// A maker can be forgotten: the mark is nowhere, the readings stay and count as before.
func TestForgetMaker(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7")
	b.read("BQ7", "wet", "100.0")
	b.read("BQ7", "dry", "94.0")
	before := b.json("GET", "/v1/bars/BQ7", "", 200)
	if !strings.Contains(b.page("/v1/changes?limit=500"), `"KT"`) {
		t.Fatal("nothing was said by KT to begin with")
	}
	if rows := b.json("PUT", "/v1/makers/KT/forget", `{"why":"left the class"}`,
		200)["rows"]; rows.(float64) < 2 {
		t.Errorf("%v rows, want the readings at least", rows)
	}
	after := b.json("GET", "/v1/bars/BQ7", "", 200)
	if len(after["readings"].([]any)) != 2 || fmt.Sprint(after["derived"]) != fmt.Sprint(before["derived"]) {
		t.Errorf("forgetting changed what was measured: %v", after)
	}
	for _, where := range []string{"/v1/bars/BQ7", "/bar/BQ7", "/v1/changes?limit=500",
		"/readings.csv", "/bars.csv"} {
		if text := b.page(where); strings.Contains(text, `KT`) {
			t.Errorf("%s still names the maker", where)
		}
	}
	if rows := b.json("PUT", "/v1/makers/KT/forget", `{}`, 200)["rows"]; rows != 0.0 {
		t.Errorf("forgotten twice: %v rows", rows)
	}
}

// What is kept is never answered with an error: a recorder that does not hear of a load leaves it
// to be joined with its firing by hand, and a mark to its next start. The page of the firing shows what was
// ticked on the load.
func TestLoadThatTheRecorderMissed(t *testing.T) {
	b := newBench(t) // its recorder refuses whatever it is told
	b.s.Kiln = map[kiln.KilnID]kiln.Kiln{"big-blue": {ID: "big-blue"}}
	load, firing := b.id(), b.id()
	body := `{"kiln":"big-blue","kind":"glaze","packed_by":"KT"}`
	b.json("PUT", "/v1/loads/"+load, body, 201)
	b.json("PUT", "/v1/loads/"+load, body, 200)
	if m := b.json("PUT", "/v1/kilns/big-blue/keep-shut",
		`{"id":"`+b.id()+`","keep_shut_above_c":90,"keep_shut_reason":"maker's manual","by":"KT"}`,
		201); m["keep_shut_above_c"] != 90.0 {
		t.Errorf("the mark: %v", m)
	}
	b.json("PUT", "/v1/loads/"+load+"/ticks/"+b.id(), `{"item":"caution-36","done":true,"by":"KT"}`, 201)
	at := b.s.Now()
	f := kiln.Firing{ID: kiln.FiringID(firing), Kiln: "big-blue", Kind: kiln.Glaze, Source: "serial",
		Began: at, Over: at, Status: kiln.Ended, Peak: kiln.NoTemperature(), Load: load}
	if _, err := b.store.BeginFiring(t.Context(), f, nil); err != nil {
		t.Fatal(err)
	}
	if err := b.store.EndFiring(t.Context(), f); err != nil {
		t.Fatal(err)
	}
	if l := b.json("POST", "/v1/loads/"+load+"/unpacked", `{"by":"KT"}`, 200); l["firing"] != firing ||
		l["state"] != "done" {
		t.Errorf("the load: %v", l)
	}
	has(t, b.page("/firing/"+firing), "Check list", ">ticked</span>", ">not ticked</span>", ", KT")
}
