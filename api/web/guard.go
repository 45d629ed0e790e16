package web

import (
	"maps"
	"net"
	"net/http"
	"net/netip"
	"runtime/debug"
	"strings"

	"lidwright/kiln/message"
)

// Guard puts the checks that every request passes around the routes: Host, origin, body
// type, size. Who may write is checked in api/auth.
type Guard struct {
	Hosts    []string // names that the machine goes by, beside its addresses and localhost
	Takes    func(*http.Request) Payload
	Troubles *Troubles
}

// Payload is what a request brings along.
type Payload struct {
	Kind  string // media type
	Limit int64  // bytes
}

// Handler lets what passes the checks through to next.
func (g Guard) Handler(next http.Handler) http.Handler {
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		WriteProblem(w, r, NewProblem("wrong-origin",
			message.New("The request was made by a page of another site.")))
	}))
	checked := cross.Handler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		maps.Copy(w.Header(), guards)
		if !g.ourHost(r.Host) {
			WriteProblem(w, r, NewProblem("wrong-host",
				message.New("The request names a host that this daemon does not go by.")))
			return
		}
		if Unsafe(r.Method) && !g.bodyType(w, r) {
			return
		}
		next.ServeHTTP(w, r)
	}))
	return g.unbroken(checked)
}

// guards are the headers of every answer but 304, which leaves standing what was sent with the answer
// that it is about. Nothing is ever appended to them.
var guards = http.Header{
	"X-Content-Type-Options":  {"nosniff"},
	"Referrer-Policy":         {"same-origin"},
	"Content-Security-Policy": {"default-src 'self'; object-src 'none'; base-uri 'none'; frame-ancestors 'none'; form-action 'self'"},
}

// unbroken turns a mistake of ours that would end the connection into an apology; the log gets
// where it happened.
func (g Guard) unbroken(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			switch e := recover(); {
			case e == nil:
			case e == http.ErrAbortHandler:
				panic(e)
			default:
				WriteProblem(w, r, g.Troubles.Trouble(r.Context(), "answering broke off", e, "where",
					string(debug.Stack())))
			}
		}()
		next.ServeHTTP(w, r)
	})
}

// Unsafe reports whether a method may change something (RFC 9110, 9.2.1).
func Unsafe(method string) bool {
	return method != http.MethodGet && method != http.MethodHead && method != http.MethodOptions
}

// bodyType refuses bodies that are not what the address takes: JSON under /v1 (a table for
// import), a form on a page.
func (g Guard) bodyType(w http.ResponseWriter, r *http.Request) bool {
	ct, _, _ := strings.Cut(r.Header.Get("Content-Type"), ";")
	ct = strings.ToLower(strings.TrimSpace(ct))
	takes := g.Takes(r)
	if r.ContentLength != 0 && ct != takes.Kind {
		WriteProblem(w, r, NewProblem("wrong-type", message.New("Send this body as {1}.", takes.Kind)))
		return false
	}
	if r.ContentLength > takes.Limit {
		w.Header().Set("Connection", "close")
		WriteProblem(w, r, NewProblem("too-large", message.New("The body is over the limit.")))
		return false
	}
	if r.Header.Get("Content-Encoding") != "" {
		WriteProblem(w, r, NewProblem("wrong-type", message.New("Send the body plain, not compressed.")))
		return false
	}
	r.Body = http.MaxBytesReader(w, r.Body, takes.Limit)
	return true
}

// ourHost reports whether host, as a browser sent it, is one that we go by. It stops names
// that somebody else points at this machine (DNS rebinding), on reading too.
func (g Guard) ourHost(host string) bool {
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	name = strings.ToLower(strings.TrimSuffix(strings.Trim(name, "[]"), "."))
	if _, err := netip.ParseAddr(name); err == nil {
		return true
	}
	for _, h := range g.Hosts {
		if name == strings.ToLower(h) {
			return true
		}
	}
	return name == "localhost"
}

// IsAPI reports whether a path is one of the API, which answers tools; all others are pages.
func IsAPI(path string) bool { return strings.HasPrefix(path, "/v1/") || path == "/v1" }
