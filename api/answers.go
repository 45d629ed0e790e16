package api

import (
	"net/http"
	"strings"
	"sync"
	"time"
)

// answers keeps the bytes of answers under the question, as long as what they rest on stands
// still. A wheel-side display and a home hub ask the same thing again and again.
type answers struct {
	most     int           // bytes, questions included; beyond them all are forgotten
	revision func() uint64 // grows whenever an answer may come out otherwise

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
func (a *answers) get(question string) (found answer, ok bool, now uint64) {
	now = a.revision()
	a.mu.RLock()
	defer a.mu.RUnlock()
	if a.at != now {
		return answer{}, false, now
	}
	found, ok = a.kept[question]
	return found, ok, now
}

// put keeps an answer that was begun at revision then. If something changed meanwhile, nobody
// will ask for that revision again.
func (a *answers) put(question string, then uint64, one answer) {
	size := len(question) + len(one.body) + len(one.pressed) + 200
	a.mu.Lock()
	defer a.mu.Unlock()
	if then < a.at || size > a.most {
		return
	}
	if a.kept == nil || a.at != then || a.bytes+size > a.most {
		a.at, a.bytes, a.kept = then, 0, map[string]answer{}
	}
	if _, there := a.kept[question]; !there {
		a.kept[question] = one
		a.bytes += size
	}
}

// remembers says what keeps the answers of a route, by its class: questions of clay rest on the store,
// the fit and the day, curves on the store; what the kilns do now is good for a quarter of a second. An
// answer that says itself how it may be kept is not.
func (s *Server) remembers() func(*http.Request) *answers {
	if s.Revision == nil {
		return func(*http.Request) *answers { return nil }
	}
	minute := func() uint64 { return s.Revision() + uint64(s.Now().Wall.Unix()/60) }
	by := [...]*answers{
		keepsNow:   {most: 64 << 10, revision: func() uint64 { return uint64(s.Now().Since / (250 * time.Millisecond)) }},
		keepsClay:  {most: 1 << 20, revision: minute},
		keepsCurve: {most: 8 << 20, revision: minute},
	}
	return func(r *http.Request) *answers { return by[routeOf(r).class.keeps] }
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
