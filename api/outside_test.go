package api

import (
	"encoding/csv"
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"lidwright/api/apitest"
)

// TestListsAsTables: every list of the document comes as a table (RFC 4180) to whoever accepts text/csv, with
// a column a member also where it is empty; what is no list is JSON as before, and a problem stays one.
func TestListsAsTables(t *testing.T) {
	srv := serve(t, studioOfNobody())
	_, text := ask(t, "GET", srv.URL+"/v1/openapi.json", "", "")
	var doc struct {
		Paths map[string]map[string]struct {
			Responses map[string]struct{ Content map[string]any }
		}
	}
	if err := json.Unmarshal([]byte(text), &doc); err != nil {
		t.Fatal(err)
	}
	lists := 0
	for path, ops := range doc.Paths {
		// this studio has no feed
		if _, is := ops["get"].Responses["200"].Content["text/csv"]; !is ||
			strings.Contains(path, "{") || path == "/v1/changes" {
			continue
		}
		lists++
		a, body := ask(t, "GET", srv.URL+path, "", "", "Accept", "text/csv")
		if a.StatusCode != 200 {
			if !strings.HasPrefix(a.Header.Get("Content-Type"), "application/problem+json") {
				t.Errorf("%s: %d %s", path, a.StatusCode, a.Header.Get("Content-Type"))
			}
			continue
		}
		rows, err := csv.NewReader(strings.NewReader(body)).ReadAll()
		if err != nil || len(rows) == 0 || len(rows[0]) < 2 ||
			!strings.HasPrefix(a.Header.Get("Content-Type"), "text/csv") {
			t.Errorf("%s: %v, %s: %q", path, err, a.Header.Get("Content-Type"), body)
		}
	}
	if lists < 12 {
		t.Errorf("only %d lists come as tables", lists)
	}
	if a, body := ask(t, "GET", srv.URL+"/v1/site", "", "", "Accept", "text/csv"); !strings.HasPrefix(body,
		"{") || !strings.HasPrefix(a.Header.Get("Content-Type"), "application/json") {
		t.Errorf("no list: %s %s", a.Header.Get("Content-Type"), body)
	}
	if a, body := ask(t, "GET", srv.URL+"/v1/bars?nonsense=1", "", "", "Accept",
		"text/csv"); a.StatusCode != 422 || !strings.HasPrefix(body, "{") {
		t.Errorf("a problem: %d %s", a.StatusCode, body)
	}
}

// TestPagesOfOtherSites: by default no page of another site reads the API; one that the settings name does,
// and none of them writes or reads a page of ours (Fetch, the CORS protocol).
func TestPagesOfOtherSites(t *testing.T) {
	const display = "https://display.example"
	s := studioOfNobody()
	closed := serve(t, s)
	if a, _ := ask(t, "GET", closed.URL+"/v1/now", "", "", "Origin",
		display); a.Header.Get("Access-Control-Allow-Origin") != "" {
		t.Error("the default lets a page of another site read")
	}
	s = studioOfNobody()
	s.Site.Origins = []string{display}
	srv := serve(t, s)
	a, _ := ask(t, "GET", srv.URL+"/v1/now", "", "", "Origin", display)
	if a.StatusCode != 200 || a.Header.Get("Access-Control-Allow-Origin") != display ||
		a.Header.Get("Access-Control-Allow-Credentials") != "" ||
		!strings.Contains(a.Header.Get("Vary"), "Origin") {
		t.Errorf("named: %d %v", a.StatusCode, a.Header)
	}
	if a, _ := ask(t, "GET", srv.URL+"/v1/now", "", "", "Origin",
		"https://evil.example"); a.Header.Get("Access-Control-Allow-Origin") != "" {
		t.Error("another one reads")
	}
	if a, _ := ask(t, "GET", srv.URL+"/", "", "", "Origin",
		display); a.Header.Get("Access-Control-Allow-Origin") != "" {
		t.Error("a page of ours is read")
	}
	before := []string{"Origin", display, "Access-Control-Request-Method", http.MethodGet,
		"Access-Control-Request-Headers", "authorization"}
	if a, _ := ask(t, "OPTIONS", srv.URL+"/v1/bars", "", "", before...); a.StatusCode >= 300 ||
		a.Header.Get("Access-Control-Allow-Origin") != display ||
		!strings.EqualFold(a.Header.Get("Access-Control-Allow-Headers"), "authorization") {
		t.Errorf("asked before: %d %v", a.StatusCode, a.Header)
	}
	before[3] = http.MethodPut
	if a, _ := ask(t, "OPTIONS", srv.URL+"/v1/clays/tern", "", "",
		before...); a.Header.Get("Access-Control-Allow-Methods") != "" {
		t.Errorf("it may write: %v", a.Header)
	}
	if a, _ := ask(t, "PUT", srv.URL+"/v1/clays/tern", "application/json", `{"name":"x"}`, "Origin",
		display); a.StatusCode != 403 {
		t.Errorf("it writes: %d", a.StatusCode)
	}
}

// TestDocumentForClients: a server, the passcode, a tag an operation, the API's own version; structures of
// answers alone may grow, those that are sent to us may not.
func TestDocumentForClients(t *testing.T) {
	srv := serve(t, studioOfNobody())
	_, text := ask(t, "GET", srv.URL+"/v1/openapi.json", "", "")
	var doc struct {
		Info       struct{ Version string }
		Servers    []struct{ URL string }
		Security   []map[string][]string
		Tags       []struct{ Name, Description string }
		Paths      map[string]map[string]struct{ Tags []string }
		Components struct {
			SecuritySchemes map[string]struct{ Type, Scheme string }
			Schemas         map[string]struct {
				AdditionalProperties *bool
				Properties           map[string]struct{ Format string }
			}
		}
	}
	if err := json.Unmarshal([]byte(text), &doc); err != nil {
		t.Fatal(err)
	}
	if doc.Info.Version != apiVersion || len(doc.Servers) != 1 ||
		doc.Components.SecuritySchemes["passcode"].Scheme != "bearer" || len(doc.Security) != 2 {
		t.Errorf("%+v %+v %+v", doc.Info, doc.Servers, doc.Components.SecuritySchemes)
	}
	known := map[string]bool{}
	for _, tag := range doc.Tags {
		known[tag.Name] = true
		if tag.Description == "" {
			t.Errorf("nothing says what is found under %s", tag.Name)
		}
	}
	for path, ops := range doc.Paths {
		for method, op := range ops {
			if len(op.Tags) != 1 || !known[op.Tags[0]] {
				t.Errorf("%s %s has the tags %v", method, path, op.Tags)
			}
		}
	}
	open, closed := 0, 0
	for _, s := range doc.Components.Schemas {
		if s.AdditionalProperties == nil {
			open++
		} else {
			closed++
		}
	}
	for _, name := range []string{"BarBody", "ReadingBody", "ClayBody", "LoadBody", "ActBody"} {
		if s, is := doc.Components.Schemas[name]; !is || s.AdditionalProperties == nil {
			t.Errorf("%s is sent to us and takes any member", name)
		}
	}
	t.Logf("%d structures are open, %d closed", open, closed)
	if open < 100 || doc.Components.Schemas["Reading"].AdditionalProperties != nil ||
		doc.Components.Schemas["Problem"].AdditionalProperties != nil {
		t.Errorf("%d open, %d closed", open, closed)
	}
	if f := doc.Components.Schemas["Reading"].Properties["id"].Format; f != "uuid" {
		t.Errorf("the id of a reading has the format %q", f)
	}
	if apitest.Answers.Load() == 0 {
		t.Error("no answer was held against the document")
	}
}
