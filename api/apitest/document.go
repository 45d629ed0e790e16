// Package apitest holds what the API answers against the document that it serves.
//
// In flow the served document and, for each request of a test, its method, path, status and body; out flow
// the places at which an answer is not what the document promises. It reads the document by the rules of
// OpenAPI 3.1 and JSON Schema 2020-12 with a library that the API itself does not use.
//
// It is for tests alone, and knows nothing of how answers are made.
package apitest

import (
	"bytes"
	"fmt"
	"mime"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// Document is the API document as it was served.
type Document struct {
	doc   map[string]any
	paths *http.ServeMux // of the document's own paths

	mu       sync.Mutex // guards the two below
	compiler *jsonschema.Compiler
	compiled map[string]*jsonschema.Schema
}

// Answers counts what was held against a document so far in this run of tests.
var Answers atomic.Int64

const address = "https://lidwright.invalid/openapi.json" // a name for the compiler; nothing is fetched

// Load asks h for its document.
func Load(h http.Handler) (*Document, error) {
	r := httptest.NewRequest(http.MethodGet, "http://localhost/v1/openapi.json", nil)
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	if w.Code != http.StatusOK {
		return nil, fmt.Errorf("the document: status %d", w.Code)
	}
	d := &Document{paths: http.NewServeMux(), compiler: jsonschema.NewCompiler(),
		compiled: map[string]*jsonschema.Schema{}}
	whole, err := jsonschema.UnmarshalJSON(bytes.NewReader(w.Body.Bytes()))
	if err != nil {
		return nil, fmt.Errorf("the document: %w", err)
	}
	d.doc, _ = whole.(map[string]any)
	if v, _ := d.doc["openapi"].(string); !strings.HasPrefix(v, "3.1") {
		return nil, fmt.Errorf("the document is of version %q", v)
	}
	closeAll(d.doc)
	d.compiler.DefaultDraft(jsonschema.Draft2020)
	d.compiler.AssertFormat()
	if err := d.compiler.AddResource(address, whole); err != nil {
		return nil, fmt.Errorf("the document: %w", err)
	}
	paths, _ := d.doc["paths"].(map[string]any)
	for path, ops := range paths {
		for method := range ops.(map[string]any) {
			d.paths.HandleFunc(strings.ToUpper(method)+" "+path, func(http.ResponseWriter, *http.Request) {})
		}
	}
	return d, nil
}

// closeAll takes the structures of the document for closed ones: to clients answers may grow, to these tests
// a member that is not described is a mistake.
func closeAll(doc map[string]any) {
	components, _ := doc["components"].(map[string]any)
	schemas, _ := components["schemas"].(map[string]any)
	for _, s := range schemas {
		if s, is := s.(map[string]any); is && s["properties"] != nil && s["additionalProperties"] == nil {
			s["additionalProperties"] = false
		}
	}
}

// Operations counts what the document describes.
func (d *Document) Operations() int {
	n := 0
	for _, ops := range d.doc["paths"].(map[string]any) {
		n += len(ops.(map[string]any))
	}
	return n
}

// Hold lets h answer and tells t of every answer under /v1 that the document does not describe.
func (d *Document) Hold(t testing.TB, h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !strings.HasPrefix(r.URL.Path, "/v1/") || strings.HasPrefix(r.URL.Path, "/v1/openapi") ||
			r.Method == http.MethodOptions {
			h.ServeHTTP(w, r)
			return
		}
		r.Header.Del("Accept-Encoding") // the document describes answers before they are pressed
		tee := &tee{ResponseWriter: w, status: http.StatusOK}
		h.ServeHTTP(tee, r)
		Answers.Add(1)
		if err := d.check(r, tee); err != nil {
			t.Errorf("%s %s answers what its document does not say: %v", r.Method, r.URL.Path, err)
		}
	})
}

func (d *Document) check(r *http.Request, a *tee) error {
	_, pattern := d.paths.Handler(r)
	method, path, described := strings.Cut(pattern, " ")
	media, _, _ := mime.ParseMediaType(a.Header().Get("Content-Type"))
	status := strconv.Itoa(a.status)
	if a.Header().Get("Location") != "" && a.status >= 300 && a.status < 400 {
		return nil // the mux leads to the clean address
	}
	pointer := "/components/schemas/Problem"
	switch {
	case described:
		at := "/paths/" + escape(path) + "/" + strings.ToLower(method) + "/responses/" + status
		answer, ok := d.at(at).(map[string]any)
		if !ok {
			return fmt.Errorf("status %s is not described", status)
		}
		content, _ := answer["content"].(map[string]any)
		if len(content) == 0 || r.Method == http.MethodHead {
			if a.body.Len() > 0 {
				return fmt.Errorf("status %s has a body of %d bytes and none is described", status,
					a.body.Len())
			}
			return nil
		}
		if _, ok := content[media]; !ok {
			return fmt.Errorf("status %s comes as %q, which is not described", status, media)
		}
		pointer = at + "/content/" + escape(media) + "/schema"
	case a.status < 400:
		return fmt.Errorf("status %s of an address that the document does not have", status)
	case media != "application/problem+json":
		return fmt.Errorf("a problem comes as %q", media)
	}
	if r.Method == http.MethodHead || !strings.HasSuffix(media, "json") {
		return nil
	}
	body, err := jsonschema.UnmarshalJSON(bytes.NewReader(a.body.Bytes()))
	if err != nil {
		return fmt.Errorf("status %s: %w", status, err)
	}
	s, err := d.schema(pointer)
	if err != nil {
		return err
	}
	if err := s.Validate(body); err != nil {
		return fmt.Errorf("status %s: %w: %.300s", status, err, a.body.Bytes())
	}
	return nil
}

func (d *Document) schema(pointer string) (*jsonschema.Schema, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if s, ok := d.compiled[pointer]; ok {
		return s, nil
	}
	s, err := d.compiler.Compile(address + "#" + strings.ReplaceAll(strings.ReplaceAll(pointer, "{", "%7B"),
		"}", "%7D"))
	if err != nil {
		return nil, fmt.Errorf("the schema at %s: %w", pointer, err)
	}
	d.compiled[pointer] = s
	return s, nil
}

// at follows a JSON pointer (RFC 6901) into the document.
func (d *Document) at(pointer string) any {
	var here any = d.doc
	for name := range strings.SplitSeq(strings.TrimPrefix(pointer, "/"), "/") {
		m, ok := here.(map[string]any)
		if !ok {
			return nil
		}
		here = m[strings.NewReplacer("~1", "/", "~0", "~").Replace(name)]
	}
	return here
}

func escape(name string) string { return strings.NewReplacer("~", "~0", "/", "~1").Replace(name) }

// tee keeps a copy of an answer. A stream is not kept: it has no end to wait for.
type tee struct {
	http.ResponseWriter
	status int
	body   bytes.Buffer
}

func (w *tee) WriteHeader(status int) {
	w.status = status
	w.ResponseWriter.WriteHeader(status)
}

func (w *tee) Write(p []byte) (int, error) {
	if w.body.Len() < 4<<20 {
		w.body.Write(p)
	}
	return w.ResponseWriter.Write(p)
}

func (w *tee) Unwrap() http.ResponseWriter { return w.ResponseWriter }
