package api

import (
	"bytes"
	"compress/gzip"
	"io"
	"net/http"
	"strings"
	"testing"
)

func TestPressed(t *testing.T) {
	srv := testServer(t)
	plain := &http.Client{Transport: &http.Transport{DisableCompression: true}}
	fetch := func(path, takes, have string) (*http.Response, []byte) {
		req, _ := http.NewRequest(http.MethodGet, srv.URL+path, nil)
		if takes != "" {
			req.Header.Set("Accept-Encoding", takes)
		}
		if have != "" {
			req.Header.Set("If-None-Match", have)
		}
		r, err := plain.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		b, _ := io.ReadAll(r.Body)
		return r, b
	}
	whole, want := fetch("/style.css", "", "")
	if whole.Header.Get("Content-Encoding") != "" || whole.Header.Get("Vary") != "Accept-Encoding" {
		t.Errorf("unasked: %v", whole.Header)
	}
	for _, takes := range []string{"gzip", "br;q=1, GZIP;q=0.5", "deflate, gzip; q=1"} {
		small, b := fetch("/style.css", takes, "")
		z, err := gzip.NewReader(bytes.NewReader(b))
		if err != nil {
			t.Fatalf("%s: %v", takes, err)
		}
		got, _ := io.ReadAll(z)
		if !bytes.Equal(got, want) || len(b)*2 > len(want) {
			t.Errorf("%s: %d bytes of %d", takes, len(b), len(want))
		}
		// Another form of the same answer: the tag is weak, and is known again.
		if tag := small.Header.Get("ETag"); tag != "W/"+whole.Header.Get("ETag") {
			t.Errorf("tag %s, of the whole %s", tag, whole.Header.Get("ETag"))
		} else if again, _ := fetch("/style.css", takes, tag); again.StatusCode != http.StatusNotModified {
			t.Errorf("asked again: %d", again.StatusCode)
		}
	}
	for _, takes := range []string{"gzip;q=0", "gzip; q=0.000", "br", "identity"} {
		if r, b := fetch("/style.css", takes, ""); r.Header.Get("Content-Encoding") != "" ||
			!bytes.Equal(b, want) {
			t.Errorf("%s: %v", takes, r.Header)
		}
	}
	if r, _ := fetch("/healthz", "gzip", ""); r.Header.Get("Content-Encoding") != "" {
		t.Error("a word is pressed")
	}
	// The style sheet and the script are kept for as long as they are the same.
	_, home := fetch("/", "", "")
	_, after, _ := strings.Cut(string(home), `href="/style.css?`)
	stamp, _, _ := strings.Cut(after, `"`)
	if r, _ := fetch("/style.css?"+stamp, "", ""); !strings.Contains(r.Header.Get("Cache-Control"),
		"immutable") {
		t.Errorf("the style sheet by its stamp: %v", r.Header)
	}
	if r, _ := fetch("/style.css?other", "", ""); strings.Contains(r.Header.Get("Cache-Control"),
		"immutable") {
		t.Error("another stamp is taken for this one")
	}
}
