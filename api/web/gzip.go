package web

import (
	"bytes"
	"compress/gzip"
	"net/http"
	"strings"
	"sync"
)

// Shorter answers are not worth pressing: they fit into a few packets as they are.
const pressFrom = 4 << 10

var presses = sync.Pool{New: func() any {
	// the level is a valid one; half the work of the usual for a tenth more bytes
	w, _ := gzip.NewWriterLevel(nil, 3)
	return w
}}

// pays says whether a body is to go compressed: the asker takes that and it is worth it. Only
// answers to GET and HEAD come here, and none holds a secret beside something that the asker
// chose: there are no tokens in forms, so a guess by length (BREACH) has nothing to find.
func pays(w http.ResponseWriter, r *http.Request, body []byte) bool {
	h := w.Header()
	kind := h.Get("Content-Type")
	if len(body) < pressFrom || h.Get("Content-Encoding") != "" || !strings.HasPrefix(kind, "text/") &&
		!strings.HasPrefix(kind, "application/json") && !strings.HasPrefix(kind, "image/svg") {
		return false
	}
	h.Add("Vary", "Accept-Encoding")
	return takesGzip(r.Header.Get("Accept-Encoding"))
}

// pressed is the body compressed.
func pressed(body []byte) []byte {
	var out bytes.Buffer
	p := presses.Get().(*gzip.Writer)
	defer presses.Put(p)
	p.Reset(&out)
	p.Write(body) // into memory: neither of these fails
	p.Close()
	return out.Bytes()
}

// takesGzip reads Accept-Encoding (RFC 9110, 12.5.3) as far as gzip goes.
func takesGzip(header string) bool {
	for one := range strings.SplitSeq(header, ",") {
		name, weight, _ := strings.Cut(strings.TrimSpace(one), ";")
		if strings.EqualFold(strings.TrimSpace(name), "gzip") {
			weight = strings.ReplaceAll(weight, " ", "")
			return !strings.HasPrefix(weight, "q=0") || strings.Trim(weight, "q=0.") != ""
		}
	}
	return false
}
