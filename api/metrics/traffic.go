package metrics

import (
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// Timed measures every request under the class that classOf gives: page, api_read, api_write, stream or
// other.
func (m *Metrics) Timed(next http.Handler, classOf func(*http.Request) string) http.Handler {
	by := map[string]prometheus.Observer{}
	for _, class := range []string{"page", "api_read", "api_write", "stream", "other"} {
		by[class] = m.took.WithLabelValues(class)
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		began, class := time.Now(), classOf(r)
		defer func() { by[class].Observe(time.Since(began).Seconds()) }()
		next.ServeHTTP(w, r)
	})
}

// LidAnswered counts a lid answer by the trust that it rests on.
func (m *Metrics) LidAnswered(trust string) { m.lids.WithLabelValues(trust).Inc() }
