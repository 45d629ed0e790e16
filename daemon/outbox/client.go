package outbox

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net"
	"net/http"
	"net/url"
	"os"
	"strconv"
	"strings"
	"time"

	"lidwright/api/wire"
)

const (
	mostAnswer = 1 << 20 // bytes of an answer that are read
	jsonType   = "application/json"
)

// client speaks to one collector. One request is in flight at a time.
type client struct {
	base  string
	token string
	http  *http.Client
}

// newClient refuses an address that would carry the token in the clear.
func newClient(j joined, patience time.Duration) (*client, error) {
	u, err := checkURL(j.URL)
	if err != nil {
		return nil, err
	}
	roots := (*x509.CertPool)(nil) // those of the machine
	if j.CAFile != "" {
		pem, err := os.ReadFile(j.CAFile)
		if err != nil {
			return nil, fmt.Errorf("read the certificate of the collector: %w", err)
		}
		roots = x509.NewCertPool()
		if !roots.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("%s holds no certificate in PEM form", j.CAFile)
		}
	}
	transport := &http.Transport{
		Proxy: http.ProxyFromEnvironment, TLSClientConfig: &tls.Config{RootCAs: roots,
			MinVersion: tls.VersionTLS12},
		MaxIdleConns: 1, MaxConnsPerHost: 1, IdleConnTimeout: 2 * time.Minute,
		MaxResponseHeaderBytes: 32 << 10,
		DialContext:            (&net.Dialer{Timeout: patience}).DialContext, TLSHandshakeTimeout: patience,
	}
	return &client{base: strings.TrimSuffix(u.String(), "/"), token: j.Token, http: &http.Client{
		Transport: transport, Timeout: patience,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}, nil
}

func (c *client) close() { c.http.CloseIdleConnections() }

// checkURL takes https, and http to this machine alone.
func checkURL(address string) (*url.URL, error) {
	u, err := url.Parse(strings.TrimSpace(address))
	switch {
	case err != nil || u.Host == "" || u.User != nil || u.RawQuery != "" || u.Fragment != "":
		return nil, fmt.Errorf("%q is no address of a collector; write it as https://collector.school.example:8583", address)
	case u.Scheme == "https":
	case u.Scheme != "http":
		return nil, fmt.Errorf("the address %q must begin with https://", address)
	default:
		if ip := net.ParseIP(u.Hostname()); u.Hostname() != "localhost" && (ip == nil || !ip.IsLoopback()) {
			return nil, fmt.Errorf("%q would send the record and its key in the clear; the collector's address must begin with https:// unless it is this machine", address)
		}
	}
	return u, nil
}

// refused is an answer of a collector that took nothing.
type refused struct {
	wire.PushRefused
	status int
	after  time.Duration // Retry-After; 0: not said
}

func (r *refused) Error() string { return r.Says }

// errStrange wraps an answer that no collector gives.
var errStrange = errors.New("this is not the answer of a collector")

// send asks once. into takes the answer, nil where there is none; zipped compresses the body. What it
// gives back in trouble is a *refused, or says in words what is wrong.
func (c *client) send(ctx context.Context, method, path, kind string, body []byte,
	zipped bool, into any) error {
	var sent bytes.Buffer
	if zipped {
		z := gzip.NewWriter(&sent)
		z.Write(body)
		z.Close()
	} else {
		sent.Write(body)
	}
	r, err := http.NewRequestWithContext(ctx, method, c.base+path, &sent)
	if err != nil {
		return err
	}
	if kind != "" {
		r.Header.Set("Content-Type", kind)
	}
	if zipped {
		r.Header.Set("Content-Encoding", "gzip")
	}
	r.Header.Set("Accept", jsonType)
	// an answer is short; one that unfolds to gigabytes is not taken
	r.Header.Set("Accept-Encoding", "identity")
	if c.token != "" {
		r.Header.Set("Authorization", "Bearer "+c.token)
	}
	answer, err := c.http.Do(r)
	if err != nil {
		return inWords(err)
	}
	defer answer.Body.Close()
	said, err := io.ReadAll(io.LimitReader(answer.Body, mostAnswer+1))
	if err != nil {
		return inWords(err)
	}
	kindOf, _, _ := mime.ParseMediaType(answer.Header.Get("Content-Type"))
	switch code := answer.StatusCode; {
	case code >= 300 && code < 400:
		return fmt.Errorf("%w: it sends us on to %.200q; where the address changed, join again under the new one",
			errStrange, answer.Header.Get("Location"))
	case len(said) > mostAnswer:
		return fmt.Errorf("%w: it does not end", errStrange)
	case code == http.StatusNoContent && into == nil:
		return nil
	case kindOf != jsonType:
		what := "something else"
		if kindOf == "text/html" {
			what = "a web page, as a network does that asks to be logged into first, or another program at that address"
		}
		return fmt.Errorf("%w but %s (status %d)", errStrange, what, code)
	case code == http.StatusOK && into != nil:
		if err := json.Unmarshal(said, into); err != nil {
			return fmt.Errorf("%w: %v", errStrange, err)
		}
		return nil
	case code >= 400:
		no := &refused{status: code, after: retryAfter(answer.Header.Get("Retry-After"))}
		if err := json.Unmarshal(said, &no.PushRefused); err != nil || no.Why == "" {
			return fmt.Errorf("%w: status %d", errStrange, code)
		}
		return no
	}
	return fmt.Errorf("%w: status %d", errStrange, answer.StatusCode)
}

func retryAfter(header string) time.Duration {
	n, err := strconv.Atoi(header)
	if err != nil || n < 0 {
		return 0
	}
	return time.Duration(n) * time.Second
}

// lost is a connection that failed, in words for an owner; the log has its cause.
type lost struct {
	says  string
	cause error
}

func (l *lost) Error() string { return l.says }
func (l *lost) Unwrap() error { return l.cause }

// innermost is what an error began with.
func innermost(err error) error {
	for {
		inner := errors.Unwrap(err)
		if inner == nil {
			return err
		}
		err = inner
	}
}

// inWords says what is wrong with a connection so that an owner can do something about it.
func inWords(err error) error {
	var (
		unknown x509.UnknownAuthorityError
		name    x509.HostnameError
		invalid x509.CertificateInvalidError
		record  tls.RecordHeaderError
		dns     *net.DNSError
		timeout net.Error
	)
	switch {
	case errors.As(err, &unknown):
		return &lost{"nobody whom this machine knows vouches for the collector's certificate; where it is the school's own, join with its certificate in ca_file", err}
	case errors.As(err, &name):
		return &lost{"the collector's certificate is for another name than the address; join under the name in it", err}
	case errors.As(err, &invalid) && invalid.Reason == x509.Expired:
		return &lost{"the collector's certificate has run out, or this machine's clock is wrong", err}
	case errors.As(err, &record), errors.Is(err, http.ErrSchemeMismatch):
		return &lost{"no TLS is spoken at that address", err}
	case errors.As(err, &dns):
		return &lost{"the collector's name is not found; is the network there?", err}
	case errors.As(err, &timeout) && timeout.Timeout():
		return &lost{"the collector does not answer in time", err}
	}
	return &lost{"the collector cannot be reached: " + innermost(err).Error(), err}
}
