package client

import (
	"bytes"
	"io"
	"net/http"
)

// inProcess carries requests to a handler of this same program: questions to a store that no daemon
// has open are answered by the code that answers them over a network.
type inProcess struct{ http.Handler }

// InProcess carries requests to h without a network.
func InProcess(h http.Handler) http.RoundTripper { return inProcess{h} }

func (t inProcess) RoundTrip(r *http.Request) (*http.Response, error) {
	r = r.Clone(r.Context())
	r.RemoteAddr, r.Host, r.RequestURI = "127.0.0.1:0", r.URL.Host, r.URL.RequestURI()
	if r.Body == nil {
		r.Body = http.NoBody
	}
	a := &recorder{header: http.Header{}, status: http.StatusOK}
	t.ServeHTTP(a, r)
	return &http.Response{StatusCode: a.status, Status: http.StatusText(a.status), Header: a.header,
		Body: io.NopCloser(&a.body), Request: r}, nil
}

type recorder struct {
	header http.Header
	status int
	body   bytes.Buffer
}

func (a *recorder) Header() http.Header         { return a.header }
func (a *recorder) WriteHeader(status int)      { a.status = status }
func (a *recorder) Write(b []byte) (int, error) { return a.body.Write(b) }
