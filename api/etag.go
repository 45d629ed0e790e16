package api

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"strings"
)

// tagged gives every successful answer to a GET an ETag made from its bytes, and answers
// 304 with that ETag where the asker already has them. Streams set their own headers and
// are left alone: they flush before they end.
func tagged(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			next.ServeHTTP(w, r)
			return
		}
		h := &held{ResponseWriter: w, status: http.StatusOK}
		next.ServeHTTP(h, r)
		if h.through {
			return
		}
		if h.status == http.StatusOK {
			tag := w.Header().Get("ETag")
			if tag == "" {
				tag = tagOf(h.body.Bytes())
				w.Header().Set("ETag", tag)
			}
			if w.Header().Get("Cache-Control") == "" {
				w.Header().Set("Cache-Control", "no-cache")
			}
			if matches(r.Header.Get("If-None-Match"), tag) {
				w.Header().Del("Content-Type")
				w.Header().Del("Content-Length")
				w.WriteHeader(http.StatusNotModified)
				return
			}
		}
		w.WriteHeader(h.status)
		if r.Method != http.MethodHead {
			w.Write(h.body.Bytes())
		}
	})
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

// held keeps an answer back until it is whole.
type held struct {
	http.ResponseWriter
	body    bytes.Buffer
	status  int
	through bool // the answer streams: nothing is held any more
}

func (h *held) WriteHeader(status int) {
	if h.through {
		h.ResponseWriter.WriteHeader(status)
		return
	}
	h.status = status
}

func (h *held) Write(p []byte) (int, error) {
	if h.through {
		return h.ResponseWriter.Write(p)
	}
	return h.body.Write(p)
}

// FlushError lets a stream through: what was held goes out, and all that follows at once.
func (h *held) FlushError() error {
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

func (h *held) Unwrap() http.ResponseWriter { return h.ResponseWriter }
