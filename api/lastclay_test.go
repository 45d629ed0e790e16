package api

import (
	"html"
	"strings"
	"testing"
)

// The clay that was worked with last stands first wherever a clay is chosen: by the newest word on a bar or a
// pot card, whatever its name; where nothing was made yet the order is that of the names.
func TestClayUsedLastIsFirst(t *testing.T) {
	b := newBench(t)
	for _, clay := range []string{"tern", "adder", "moss"} {
		b.json("PUT", "/v1/clays/"+clay, `{"name":"Body of `+clay+`","matures_cone":"6"}`, 201)
	}
	first := func(want string) {
		t.Helper()
		if got := b.json("GET", "/v1/clays", "",
			200)["items"].([]any)[0].(map[string]any)["clay"]; got != want {
			t.Errorf("/v1/clays begins with %v, want %s", got, want)
		}
		for _, page := range []string{"/lid", "/lid/board", "/bars", "/pots", "/sizes", "/clays"} {
			text := b.page(page)
			place, before := len(text), ""
			for _, clay := range []string{"tern", "adder", "moss"} {
				for _, as := range []string{`value="` + clay + `"`, "/clay/" + clay} {
					if i := strings.Index(text, as); i >= 0 && i < place {
						place, before = i, clay
					}
				}
			}
			if before != want {
				t.Errorf("%s offers %q first, want %s", page, before, want)
			}
		}
	}
	first("adder")
	b.json("PUT", "/v1/bars/BQ7", `{"id":"`+b.id()+`","clay":"moss"}`, 201)
	first("moss")
	b.json("PUT", "/v1/pots/"+b.id(), `{"form":"jar","number":"1","collar_mm":[104.5],"body":"tern/A"}`, 201)
	first("tern")
	b.read("BQ7", "wet", "100")
	first("moss")
	b.json("PUT", "/v1/bars/BQ4", `{"id":"`+b.id()+`","clay":"adder","practice":true}`, 201)
	first("moss")
}

// A batch without its clay, and a pot where a lid is asked for, are answered alike by page and API: refused
// by name, or used.
func TestBatchAndPotAlike(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7")
	pot := b.id()
	b.json("PUT", "/v1/pots/"+pot, `{"form":"jar","number":"1","collar_mm":[104.5],"opening_mm":92.5,"body":"tern/A"}`, 201)
	for _, ask := range []string{"lid?collar=104.5&batch=A", "lid?collar=104.5&batch=A&clay=",
		"lid?collar=104.5&lid_batch=A", "size?fired=62&batch=A"} {
		fault := b.json("GET", "/v1/"+ask, "", 422)["fields"].([]any)[0].(map[string]any)
		_, text := b.send("GET", "/"+strings.Replace(ask, "size", "sizes", 1), "", "")
		if says := html.EscapeString(fault["says"].(string)); !strings.Contains(text, says) {
			t.Errorf("%s: the page does not say %q: %s", ask, says, text[strings.Index(text, "<main"):])
		}
	}
	if r, _ := b.send("GET", "/lid?pot="+pot, "", ""); r.Header.Get("Location") != "/pot/"+pot {
		t.Errorf("/lid?pot= leads to %q", r.Header.Get("Location"))
	}
	field := b.json("GET", "/v1/lid?pot="+pot, "", 422)["fields"].([]any)[0].(map[string]any)
	says, _ := field["says"].(string)
	_, ask, ok := strings.Cut(says, "card: ")
	if field["name"] != "pot" || !ok {
		t.Fatalf("/v1/lid?pot= says %v", field)
	}
	if set := b.json("GET", ask, "", 200)["set_mm"]; set == nil {
		t.Errorf("%s gives no width", ask)
	}
	b.json("GET", "/v1/lid?pot="+b.id(), "", 404)
}
