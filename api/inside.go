package api

import (
	"bytes"
	"io"
	"net/http"
)

// inside carries requests to a handler of this same program: questions to a store that no daemon
// has open are answered by the code that answers them over a network.
type inside struct{ http.Handler }

// Inside carries requests to h without a network.
func Inside(h http.Handler) http.RoundTripper { return inside{h} }

func (t inside) RoundTrip(r *http.Request) (*http.Response, error) {
	r = r.Clone(r.Context())
	r.RemoteAddr, r.Host, r.RequestURI = "127.0.0.1:0", r.URL.Host, r.URL.RequestURI()
	if r.Body == nil {
		r.Body = http.NoBody
	}
	a := &insideAnswer{header: http.Header{}, status: http.StatusOK}
	t.ServeHTTP(a, r)
	return &http.Response{StatusCode: a.status, Status: http.StatusText(a.status), Header: a.header, Body: io.NopCloser(&a.body), Request: r}, nil
}

type insideAnswer struct {
	header http.Header
	status int
	body   bytes.Buffer
}

func (a *insideAnswer) Header() http.Header         { return a.header }
func (a *insideAnswer) WriteHeader(status int)      { a.status = status }
func (a *insideAnswer) Write(b []byte) (int, error) { return a.body.Write(b) }
