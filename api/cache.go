package api

import (
	"net/http"
	"time"

	"lidwright/api/web"
)

// cacheOf says what keeps the answers of a route, by its class: questions of clay rest on the store, the fit
// and the day, curves on the store; what the kilns do now is good for a quarter of a second. An answer that
// says itself how it may be kept is not.
func (s *Server) cacheOf() func(*http.Request) *web.Cache {
	if s.Revision == nil {
		return func(*http.Request) *web.Cache { return nil }
	}
	minute := func() uint64 { return s.Revision() + uint64(s.Now().Wall.Unix()/60) }
	quarter := func() uint64 { return uint64(s.Now().Since / (250 * time.Millisecond)) }
	by := [...]*web.Cache{
		keepsNow:   {Most: 64 << 10, Revision: quarter},
		keepsClay:  {Most: 1 << 20, Revision: minute},
		keepsCurve: {Most: 8 << 20, Revision: minute},
	}
	return func(r *http.Request) *web.Cache { return by[routeOf(r).class.keeps] }
}
