package api

import (
	"maps"
	"net"
	"net/http"
	"net/netip"
	"runtime/debug"
	"strings"
	"time"
)

// guarded puts the checks that every request passes around the routes: Host, origin, body
// type, size. Codes (who may write) are checked where the routes are.
func (s *Server) guarded(next http.Handler) http.Handler {
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		writeProblem(w, r, problem("wrong-origin", "The request was made by a page of another site."))
	}))
	checked := cross.Handler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		maps.Copy(w.Header(), guards)
		if !s.ourHost(r.Host) {
			writeProblem(w, r, problem("wrong-host", "The request names a host that this daemon does not go by."))
			return
		}
		if unsafe(r.Method) && !s.bodyType(w, r) {
			return
		}
		next.ServeHTTP(w, r)
	}))
	return s.unbroken(checked)
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
func (s *Server) unbroken(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			switch e := recover(); {
			case e == nil:
			case e == http.ErrAbortHandler:
				panic(e)
			default:
				writeProblem(w, r, s.trouble(r.Context(), "answering broke off", e, "where", string(debug.Stack())))
			}
		}()
		next.ServeHTTP(w, r)
	})
}

func unsafe(method string) bool {
	return method != http.MethodGet && method != http.MethodHead && method != http.MethodOptions
}

// bodyType refuses bodies that are not what the address takes: JSON under /v1 (a table for
// import), a form on a page.
func (s *Server) bodyType(w http.ResponseWriter, r *http.Request) bool {
	ct, _, _ := strings.Cut(r.Header.Get("Content-Type"), ";")
	ct = strings.ToLower(strings.TrimSpace(ct))
	want, limit := routeOf(r).class.takes.kind, routeOf(r).class.takes.limit
	if r.ContentLength != 0 && ct != want {
		writeProblem(w, r, problem("wrong-type", "Send this body as "+want+"."))
		return false
	}
	if r.ContentLength > limit {
		w.Header().Set("Connection", "close")
		writeProblem(w, r, problem("too-large", "The body is over the limit."))
		return false
	}
	if r.Header.Get("Content-Encoding") != "" {
		writeProblem(w, r, problem("wrong-type", "Send the body plain, not compressed."))
		return false
	}
	r.Body = http.MaxBytesReader(w, r.Body, limit)
	return true
}

// ourHost reports whether host, as a browser sent it, is one that we go by. It stops names
// that somebody else points at this machine (DNS rebinding), on reading too.
func (s *Server) ourHost(host string) bool {
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	name = strings.ToLower(strings.TrimSuffix(strings.Trim(name, "[]"), "."))
	if _, err := netip.ParseAddr(name); err == nil {
		return true
	}
	for _, h := range s.Site.Hosts {
		if name == strings.ToLower(h) {
			return true
		}
	}
	return name == "localhost"
}

// limits are the times that a connection has for each part of a request.
func (s *Server) httpServer(h http.Handler) *http.Server {
	return &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout:       30 * time.Second,
		WriteTimeout:      30 * time.Second,
		IdleTimeout:       60 * time.Second,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          nil,
	}
}
