package api

import (
	"fmt"
	"slices"
	"testing"

	"lidwright/kiln"
)

// A bar's story has each reading, who struck it and why, its load, and what it did to the rate; the
// page of the clay links to it and it links back.
func TestBarStory(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7", "BQ4", "KK7")
	b.s.Kiln, b.s.Recorder = map[kiln.KilnID]kiln.Kiln{"big-blue": {ID: "big-blue"}}, packed{}
	first := b.id()
	b.json("PUT", "/v1/bars/BQ7/readings/"+first, `{"stage":"wet","length":"100.4","by":"EM"}`, 201)
	b.json("PUT", "/v1/bars/BQ7/readings/"+first+"/strike", `{"why":"with a rule","by":"KT"}`, 200)
	load := b.id()
	for _, code := range []string{"BQ7", "BQ4", "KK7"} {
		b.read(code, "wet", "100.0")
		b.read(code, "dry", "93.0")
	}
	b.json("PUT", "/v1/loads/"+load, `{"kiln":"old-green","kind":"glaze","heat_work_c":1222,"bars":[{"bar":"BQ7","shelf":"top"},{"bar":"BQ4"}],"packed_by":"KT"}`, 201)
	b.json("POST", "/v1/loads/"+load+"/unpacked", `{"by":"KT"}`, 200)
	for _, code := range []string{"BQ7", "BQ4"} {
		b.read(code, "fired", "85.6")
	}
	waiting := b.id()
	b.json("PUT", "/v1/loads/"+waiting, `{"kiln":"big-blue","kind":"glaze","bars":[{"bar":"BQ7"}]}`, 201)
	var what []string
	moved := false
	for _, i := range b.json("GET", "/v1/bars/BQ7/story", "", 200)["items"].([]any) {
		i := i.(map[string]any)
		if i["what"] == "moved" {
			moved = true
			continue
		}
		what = append(what, fmt.Sprint(i["what"], " ", i["by"]))
	}
	if want := []string{"read EM", "struck KT", "read KT", "read KT", "fired KT", "read KT",
		"packed "}; !slices.Equal(what, want) || !moved {
		t.Errorf("%v, moved %v, want %v", what, moved, want)
	}
	has(t, b.page("/bar/BQ7/story"), "with a rule", "moved the rate", "shelf top",
		`href="/clay/tern?batch=A#why"`, "still to come")
	has(t, b.page("/clay/tern"), `href="/bar/BQ7/story"`)
	has(t, b.page("/bar/BQ7"), `href="/bar/BQ7/story"`)
	b.json("GET", "/v1/bars/BQY/story", "", 404)
}

// A reading that was crossed out, restored and crossed out again stands in the bar's history with each of
// these, who did it and why, on the page and in the API.
func TestStoryOfRestored(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7")
	wet := b.read("BQ7", "wet", "100.4")["id"].(string)
	strike := func(why, by string) {
		b.json("PUT", "/v1/bars/BQ7/readings/"+wet+"/strike", fmt.Sprintf(`{"why":%q,"by":%q}`, why, by), 200)
	}
	strike("another bar", "KT")
	b.json("POST", "/v1/crossed-out/reading/"+wet+"/restore", `{"by":"RO"}`, 200)
	strike("with a rule", "EM")
	var got []string
	for _, i := range b.json("GET", "/v1/bars/BQ7/story", "", 200)["items"].([]any) {
		i := i.(map[string]any)
		got = append(got, fmt.Sprint(i["what"], " ", i["by"], " ", i["why"]))
	}
	want := []string{"read KT ", "struck KT another bar", "restored RO ", "struck EM with a rule"}
	if !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	has(t, b.page("/bar/BQ7/story"), "another bar", "with a rule", "restored", "crossed out")
	b.json("POST", "/v1/crossed-out/reading/"+wet+"/restore", `{"by":"RO"}`, 200)
	n := len(b.json("GET", "/v1/bars/BQ7/story", "", 200)["items"].([]any))
	if n != len(want)+1 {
		t.Errorf("restored again: %d entries", n)
	}
}
