package web

import (
	"net/http"
	"strings"
	"sync"
)

// Cache keeps the bytes of answers under the question, as long as what they rest on stands
// still. A wheel-side display and a home hub ask the same thing again and again.
type Cache struct {
	Most     int           // bytes, questions included; beyond them all are forgotten
	Revision func() uint64 // grows whenever an answer may come out otherwise

	mu    sync.RWMutex // guards the fields below
	at    uint64       // the revision that all of them belong to
	kept  map[string]answer
	bytes int
}

type answer struct {
	body        []byte
	tag         string
	contentType string
	pressed     []byte // body compressed; nil if nobody took it so
}

const longestQuestion = 2 << 10 // bytes; what is longer is answered and not kept

// get looks a question up. With it comes the revision under which an answer made from now on
// is to be kept.
func (c *Cache) get(question string) (found answer, ok bool, now uint64) {
	now = c.Revision()
	c.mu.RLock()
	defer c.mu.RUnlock()
	if c.at != now {
		return answer{}, false, now
	}
	found, ok = c.kept[question]
	return found, ok, now
}

// put keeps an answer that was begun at revision then. If something changed meanwhile, nobody
// will ask for that revision again.
func (c *Cache) put(question string, then uint64, one answer) {
	size := len(question) + len(one.body) + len(one.pressed) + 200
	c.mu.Lock()
	defer c.mu.Unlock()
	if then < c.at || size > c.Most {
		return
	}
	if c.kept == nil || c.at != then || c.bytes+size > c.Most {
		c.at, c.bytes, c.kept = then, 0, map[string]answer{}
	}
	if _, there := c.kept[question]; !there {
		c.kept[question] = one
		c.bytes += size
	}
}

// questionOf is what tells one question from another; "" if it is not to be kept.
func questionOf(r *http.Request) string {
	if r.Method != http.MethodGet || r.RequestURI == "" || len(r.RequestURI) > longestQuestion {
		return ""
	}
	accept := strings.Join(r.Header["Accept"], ",")
	if len(accept) > 200 {
		return ""
	}
	return r.RequestURI + " " + accept
}
