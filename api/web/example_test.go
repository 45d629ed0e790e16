package web_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"

	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln/message"
)

// RFC 9457, 3: type, title, status and detail of a problem, as they go out.
func ExampleWriteProblem() {
	w := httptest.NewRecorder()
	r := httptest.NewRequest(http.MethodGet, "/v1/lid", nil)
	web.WriteProblem(w, r, web.NewProblem("missing", message.New("collar: is needed"),
		wire.Field{Name: "collar", Says: message.New("is needed")}))
	fmt.Println(w.Code, w.Header().Get("Content-Type"))
	fmt.Print(w.Body)
	// Output:
	// 422 application/problem+json
	// {"type":"/problems/missing","title":"Something needed is missing","status":422,"detail":"collar: is needed","instance":"/v1/lid","fields":[{"name":"collar","says":"is needed"}]}
}

// RFC 7493 (I-JSON), 2.3: no name is given twice.
func ExampleStrictJSON() {
	var bar struct{ Mark int }
	fmt.Println(web.StrictJSON([]byte(`{"mark":1}`), &bar), bar.Mark)
	fmt.Println(web.StrictJSON([]byte(`{"mark":1,"mark":2}`), &bar) != nil)
	// Output:
	// <nil> 1
	// true
}

// RFC 9110, 13.1.2: whoever has an answer already is told so, and is not sent it again.
func ExampleTagged() {
	h := web.Tagged(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		fmt.Fprint(w,
			"cone 6")
	}),
		func(*http.Request) *web.Cache { return nil })
	first := httptest.NewRecorder()
	h.ServeHTTP(first, httptest.NewRequest(http.MethodGet, "/", nil))
	again := httptest.NewRequest(http.MethodGet, "/", nil)
	again.Header.Set("If-None-Match", first.Header().Get("ETag"))
	second := httptest.NewRecorder()
	h.ServeHTTP(second, again)
	fmt.Println(first.Code, first.Body, second.Code, second.Body.Len())
	// Output: 200 cone 6 304 0
}

// RFC 9110, 9.2.1: GET, HEAD and OPTIONS change nothing.
func ExampleUnsafe() {
	fmt.Println(web.Unsafe("GET"), web.Unsafe("HEAD"), web.Unsafe("PUT"))
	// Output: false false true
}

// RFC 9110, 12.5.1: who accepts text/csv is told a list as a table.
func ExampleWantsCSV() {
	fmt.Println(web.WantsCSV("text/csv"), web.WantsCSV("application/json"))
	// Output: true false
}

func ExampleIsAPI() {
	fmt.Println(web.IsAPI("/v1/lid"), web.IsAPI("/lid"))
	// Output: true false
}
