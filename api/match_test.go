package api

import (
	"fmt"
	"net/http"
	"strings"
	"sync"
	"testing"

	"lidwright/api/wire"
)

const (
	aBar   = `{"id":"0193c0c1-0000-7000-8000-0000000000b1","clay":"tern","batch":"B","forming":"thrown_ring","mark_length_mm":100,"marks":1,"note":"%s"}`
	aPot   = `{"form":"teapot","collar_mm":[104.5],"body":"tern/B","note":"%s"}`
	aLoad  = `{"kiln":"blue","kind":"bisque","atmosphere":"oxidation","heat_work_c":1000,"note":"%s"}`
	aClay  = `{"name":"Tern stoneware","note":"%s"}`
	aBatch = `{"kind":"bought","open":true,"note":"%s"}`
	potID  = "0193c0c1-0000-7000-8000-0000000000c1"
	loadID = "0193c0c1-0000-7000-8000-0000000000d1"
)

var editable = []struct{ path, body string }{
	{"/v1/clays/tern", aClay}, {"/v1/clays/tern/batches/C", aBatch}, {"/v1/loads/" + loadID, aLoad},
	{"/v1/bars/BQ7", aBar}, {"/v1/pots/" + potID, aPot},
}

// What can be edited says its ETag, and a change that names an older one is refused, whatever way
// the ETag was come by (RFC 9110, 13.1.1 and 13.1.2; what is said again word for word is answered
// first, as its safe retry wants).
func TestPreconditions(t *testing.T) {
	s := testStudio(t)
	for _, c := range editable {
		put := func(note string, header ...string) (int, string) {
			t.Helper()
			a, body := ask(t, "PUT", s.URL+c.path, "application/json", fmt.Sprintf(c.body, note), header...)
			if a.StatusCode == 412 && !strings.Contains(body, "/problems/changed-meanwhile") {
				t.Errorf("%s: %s", c.path, body)
			}
			return a.StatusCode, a.Header.Get("ETag")
		}
		is := func(what string, got, want int) {
			t.Helper()
			if got != want {
				t.Errorf("%s, %s: %d, want %d", c.path, what, got, want)
			}
		}
		got := func() (tag string) {
			a, _ := ask(t, "GET", s.URL+c.path, "", "")
			return a.Header.Get("ETag")
		}
		alone := strings.Contains(c.path, "batches") // has no GET of its own
		if c.path != "/v1/clays/tern" {
			code, _ := put("none", "If-Match", "*")
			is("must be there and is not", code, 412)
			code, _ = put("none", "If-Match", `"1-x"`)
			is("another revision of what is not there", code, 412)
			code, _ = put("one", "If-None-Match", "*")
			is("new", code, 201)
			code, _ = put("one", "If-None-Match", "*")
			is("the same again", code, 200)
		}
		code, first := put("two", "If-Match", "*")
		is("must be there and is", code, 201)
		if tag := got(); !alone && tag != first || len(first) < 10 {
			t.Errorf("%s: GET says %s, PUT said %s", c.path, tag, first)
		}
		code, _ = put("three", "If-None-Match", "*")
		is("there already", code, 412)
		code, second := put("three", "If-Match", `"foreign", `+first)
		is("as seen", code, 201)
		if second == first {
			t.Errorf("%s: changed, and the ETag stands", c.path)
		}
		for _, old := range []string{first, `"x"`, `x`, "W/" + second, `""`,
			`"` + strings.Repeat("9", 40) + `"`, `"-1"`, `"0"`} {
			code, _ = put("four", "If-Match", old)
			is("with the ETag "+old, code, 412)
		}
		code, same := put("two", "If-Match", first)
		is("a late repeat of what was said before undoes nothing", code, 200)
		if same != second {
			t.Errorf("%s: a late repeat changed it", c.path)
		}
		code, same = put("three", "If-Match", first)
		is("what stands, said again", code, 200)
		if same != second {
			t.Errorf("%s: nothing changed, and the ETag does", c.path)
		}
		code, _ = put("five", "If-None-Match", second)
		is("If-None-Match with a tag", code, 422)
		code, _ = put("two", "If-Match", second)
		is("back to what it was, knowingly", code, 201)
	}
	// A batch of a clay is edited by its own revision, whatever became of its sisters.
	var one wire.ClayJSON
	s.get("/v1/clays/tern", 200, &one)
	for _, b := range one.Batches {
		a, body := ask(t, "PUT", s.URL+"/v1/clays/tern/batches/"+b.Batch, "application/json",
			fmt.Sprintf(aBatch, "last"), "If-Match", fmt.Sprintf(`"%d"`, b.Revision))
		if a.StatusCode != 201 {
			t.Errorf("batch %s: %d %s", b.Batch, a.StatusCode, body)
		}
	}
	// What is never edited takes no If-Match.
	for _, path := range []string{"/v1/bars/BQ7/readings/0193c0c1-0000-7000-8000-0000000000e1",
		"/v1/loads/" + loadID + "/firings/0193c0c1-0000-7000-8000-0000000000e1"} {
		a, body := ask(t, "PUT", s.URL+path, "application/json", `{}`, "If-Match", `"1-x"`)
		if a.StatusCode != 412 || a.Header.Get("Content-Type") != "application/problem+json" ||
			!strings.Contains(body, "If-Match") {
			t.Errorf("%s: %d %s", path, a.StatusCode, body)
		}
	}
}

// Ten who edit one thing at once, all from the same sight of it: one is kept, nine are told.
func TestEditedAtOnce(t *testing.T) {
	s := testStudio(t)
	a, _ := ask(t, "GET", s.URL+"/v1/clays/tern", "", "")
	codes := make([]int, 10)
	var wg sync.WaitGroup
	for i := range codes {
		wg.Go(func() {
			r, _ := http.NewRequest("PUT", s.URL+"/v1/clays/tern",
				strings.NewReader(fmt.Sprintf(aClay, fmt.Sprint(i))))
			r.Header.Set("Content-Type", "application/json")
			r.Header.Set("If-Match", a.Header.Get("ETag"))
			if a, err := http.DefaultClient.Do(r); err == nil {
				a.Body.Close()
				codes[i] = a.StatusCode
			}
		})
	}
	wg.Wait()
	n := map[int]int{}
	for _, c := range codes {
		n[c]++
	}
	if n[201] != 1 || n[412] != 9 {
		t.Errorf("answers %v, want one 201 and nine 412", n)
	}
}
