package web

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"strconv"
	"strings"
)

// Tagged gives every successful answer to a GET an ETag made from its bytes, and answers
// 304 with that ETag where the asker already has them. Streams set their own headers and
// are left alone: they flush before they end. Some answers are kept ready; see Cache.
func Tagged(next http.Handler, cacheOf func(*http.Request) *Cache) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.Method {
		case http.MethodGet, http.MethodHead:
		case http.MethodPut: // what was edited says its new ETag
			h := Hold(w)
			next.ServeHTTP(h, r)
			if rev := w.Header().Get("ETag"); rev != "" {
				w.Header().Set("ETag", editTag(rev, h.body.Bytes()))
			}
			send(w, r, h.status, answer{body: h.body.Bytes()}, true)
			return
		default:
			next.ServeHTTP(w, r)
			return
		}
		var question string
		var then uint64
		ready := cacheOf(r)
		if ready != nil {
			question = questionOf(r)
		}
		if question != "" {
			var one answer
			var ok bool
			if one, ok, then = ready.get(question); ok {
				w.Header()["Content-Type"] = []string{one.contentType}
				w.Header()["Etag"] = []string{one.tag}
				send(w, r, http.StatusOK, one, false)
				return
			}
		}
		h := Hold(w)
		next.ServeHTTP(h, r)
		if h.through {
			return
		}
		tag, edited := "", w.Header().Get("ETag") != ""
		if h.status == http.StatusOK {
			if tag = tagOf(h.body.Bytes()); edited {
				tag = editTag(w.Header().Get("ETag"), h.body.Bytes())
			}
			w.Header().Set("ETag", tag)
		}
		one := answer{body: h.body.Bytes(), tag: tag, contentType: w.Header().Get("Content-Type")}
		keep := tag != "" && question != "" && w.Header().Get("Set-Cookie") == "" &&
			w.Header().Get("Cache-Control") == ""
		one.pressed = send(w, r, h.status, one, edited)
		if keep {
			one.body = bytes.Clone(one.body)
			ready.put(question, then, one)
		}
	})
}

// send writes an answer, or 304 where the asker has it, and gives what it pressed, if it did. What
// can be edited goes as it is, never pressed: its tag comes back in If-Match, which takes no weak
// one (RFC 9110, 13.1.1).
func send(w http.ResponseWriter, r *http.Request, status int, one answer, edited bool) []byte {
	h := w.Header()
	press := !edited && pays(w, r, one.body)
	if press && one.tag != "" {
		h["Etag"] = []string{"W/" + one.tag} // another form of the same
	}
	if status == http.StatusOK {
		if h["Cache-Control"] == nil {
			h["Cache-Control"] = noCache
		}
		if one.tag != "" && matches(r.Header.Get("If-None-Match"), one.tag) {
			bareHead(h)
			w.WriteHeader(http.StatusNotModified)
			return nil
		}
	}
	body := one.body
	if press {
		if one.pressed == nil {
			one.pressed = pressed(body)
		}
		body = one.pressed
		h["Content-Encoding"] = gzipped
	}
	if status != http.StatusNoContent && status != http.StatusNotModified {
		h["Content-Length"] = []string{strconv.Itoa(len(body))}
	}
	w.WriteHeader(status)
	if r.Method != http.MethodHead {
		w.Write(body)
	}
	return one.pressed
}

// Values of headers that never change; nothing is ever appended to them.
var noCache, gzipped = []string{"no-cache"}, []string{"gzip"}

// bareHead leaves in the head of a 304 what RFC 9110, 15.4.5 asks for: what else the asker keeps with
// the answer still holds.
func bareHead(h http.Header) {
	for name := range h {
		switch name {
		case "Etag", "Cache-Control", "Vary", "Content-Location", "Expires", "Date",
			"Set-Cookie", "Connection":
		default:
			delete(h, name)
		}
	}
}

func tagOf(b []byte) string {
	sum := sha256.Sum256(b)
	return `"` + base64.RawURLEncoding.EncodeToString(sum[:12]) + `"`
}

// matches reports whether the header (If-None-Match or If-Match) names tag.
func matches(header, tag string) bool {
	for header != "" {
		var one string
		one, header, _ = strings.Cut(header, ",")
		one = strings.TrimPrefix(strings.TrimSpace(one), "W/")
		if one == "*" || one == tag {
			return true
		}
	}
	return false
}

// Hold keeps back what is answered to w.
func Hold(w http.ResponseWriter) *Held { return &Held{ResponseWriter: w, status: http.StatusOK} }

// Body is what was answered; Through: it streams and went out already; Status is what it goes out with.
func (h *Held) Body() []byte { return h.body.Bytes() }

// Through reports whether the answer goes out as it is written, with nothing held.
func (h *Held) Through() bool { return h.through }

// Status is what was written as one; 0 before.
func (h *Held) Status() int { return h.status }

// Held keeps an answer back until it is whole.
type Held struct {
	http.ResponseWriter
	body    bytes.Buffer
	status  int
	through bool // the answer streams: nothing is held any more
}

func (h *Held) WriteHeader(status int) {
	if h.through {
		h.ResponseWriter.WriteHeader(status)
		return
	}
	h.status = status
}

func (h *Held) Write(p []byte) (int, error) {
	if h.through {
		return h.ResponseWriter.Write(p)
	}
	return h.body.Write(p)
}

// FlushError lets a stream through: what was held goes out, and all that follows at once.
func (h *Held) FlushError() error {
	if !h.through {
		h.through = true
		h.ResponseWriter.WriteHeader(h.status)
		if _, err := h.ResponseWriter.Write(h.body.Bytes()); err != nil {
			return err
		}
		h.body = bytes.Buffer{}
	}
	return http.NewResponseController(h.ResponseWriter).Flush()
}

func (h *Held) Unwrap() http.ResponseWriter { return h.ResponseWriter }
