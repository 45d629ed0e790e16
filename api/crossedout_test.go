package api

import (
	"net/url"
	"strings"
	"testing"

	"lidwright/kiln"
)

// TestRestoreCrossedOut crosses out a reading and restores it by the API and by the form of the class: it
// counts as before, the list is empty again, and the record keeps every word.
func TestRestoreCrossedOut(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7")
	wet, dry := b.read("BQ7", "wet", "100")["id"].(string), b.read("BQ7", "dry", "94.2")["id"].(string)
	before := b.json("GET", "/v1/bars/BQ7", "", 200)
	list := func() []any { return b.json("GET", "/v1/crossed-out", "", 200)["items"].([]any) }
	if len(list()) != 0 {
		t.Fatalf("before: %v", list())
	}
	for _, restore := range []func(id string){
		func(id string) { b.json("POST", "/v1/crossed-out/reading/"+id+"/restore", `{"by":"RO"}`, 200) },
		func(id string) { b.post("/class/restore", url.Values{"kind": {"reading"}, "id": {id}}, 303) },
		func(id string) { // twice is once
			b.json("POST", "/v1/crossed-out/reading/"+id+"/restore", `{}`, 200)
			b.json("POST", "/v1/crossed-out/reading/"+id+"/restore", ``, 200)
		},
	} {
		b.json("PUT", "/v1/bars/BQ7/readings/"+dry+"/strike", `{"why":"another bar","by":"KT"}`, 200)
		got := list()
		if len(got) != 1 {
			t.Fatalf("crossed out: %v", got)
		}
		page := b.page("/class")
		for _, shown := range []string{"Crossed out this evening", "BQ7: dry 94.2 mm", "another bar",
			`name="id" value="` + dry + `"`} {
			if !strings.Contains(page, shown) {
				t.Errorf("the page of the class lacks %q", shown)
			}
		}
		one := got[0].(map[string]any)
		for name, want := range map[string]any{"kind": "reading", "id": dry, "by": "KT", "why": "another bar",
			"what": "BQ7: dry 94.2 mm", "link": "/bar/BQ7"} {
			if one[name] != want {
				t.Errorf("%s is %v, want %v", name, one[name], want)
			}
		}
		restore(dry)
		if len(list()) != 0 {
			t.Errorf("restored, and listed: %v", list())
		}
		after := b.json("GET", "/v1/bars/BQ7", "", 200)
		if after["total_ratio"] != before["total_ratio"] || after["next"] != before["next"] {
			t.Errorf("restored: %v, before %v", after, before)
		}
		for _, r := range after["readings"].([]any) {
			if r.(map[string]any)["struck"] != nil {
				t.Errorf("struck still: %v", r)
			}
		}
	}
	said := map[any]int{}
	for _, c := range b.json("GET", "/v1/changes", "", 200)["items"].([]any) {
		if c := c.(map[string]any); c["id"] == dry {
			said[c["op"]]++
		}
	}
	if said["strike"] != 3 || said["restore"] != 3 {
		t.Errorf("the record has %v", said)
	}
	// Where another reading took its place, that one is crossed out first.
	id := b.id()
	b.json("PUT", "/v1/bars/BQ7/readings/"+id, `{"stage":"wet","length":"100","supersedes":"`+wet+`"}`, 201)
	b.json("POST", "/v1/crossed-out/reading/"+wet+"/restore", `{}`, 412)
	b.json("PUT", "/v1/bars/BQ7/readings/"+id+"/strike", `{"why":"the first was right"}`, 200)
	b.json("POST", "/v1/crossed-out/reading/"+wet+"/restore", `{}`, 200)
	b.json("POST", "/v1/crossed-out/reading/"+b.id()+"/restore", ``, 404)
}

// TestRestoreOtherThings restores a load that was called off, and a board of lids.
func TestRestoreOtherThings(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7")
	b.s.Kiln = map[kiln.KilnID]kiln.Kiln{"big-blue": {ID: "big-blue"}}
	load, board := b.id(), b.id()
	b.json("PUT", "/v1/loads/"+load, `{"kiln":"big-blue","kind":"glaze","bars":[{"bar":"BQ7"}]}`, 201)
	b.json("POST", "/v1/loads/"+load+"/called-off", ``, 200)
	b.json("PUT", "/v1/lid-results/"+board, `{"form":"jar","body":"tern/A","counts":{"good":2}}`, 201)
	b.json("PUT", "/v1/lid-results/"+board+"/strike", `{"why":"another board"}`, 200)
	got := b.json("GET", "/v1/crossed-out", "", 200)["items"].([]any)
	if len(got) != 2 {
		t.Fatalf("crossed out: %v", got)
	}
	for _, o := range got {
		one := o.(map[string]any)
		b.json("POST", "/v1/crossed-out/"+one["kind"].(string)+"/"+one["id"].(string)+"/restore", ``, 200)
	}
	if got := b.json("GET", "/v1/crossed-out", "", 200)["items"].([]any); len(got) != 0 {
		t.Errorf("crossed out still: %v", got)
	}
	if l := b.json("GET", "/v1/loads/"+load, "", 200); l["state"] != "packing" {
		t.Errorf("the load is %v", l["state"])
	}
}
