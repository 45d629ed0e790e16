package api

import (
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// traffic counts what is asked of us: how long each class of request took, and lid answers by the
// trust that they rest on.
type traffic struct {
	took *prometheus.HistogramVec
	lids *prometheus.CounterVec
}

func newTraffic() traffic {
	return traffic{
		prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "lidwright_http_request_duration_seconds",
			Help: "Time from the head of a request to the end of its answer, by class; a stream and a wait for changes count as stream.", Buckets: []float64{.002, .01, .05, .2, 1, 10}}, []string{"class"}),
		prometheus.NewCounterVec(prometheus.CounterOpts{Name: "lidwright_lid_answers_total",
			Help: "Lid answers worked out, by trust; one asked again before anything changed is not counted again."}, []string{"trust"}),
	}
}

// timed measures every request.
func (t traffic) timed(next http.Handler) http.Handler {
	by := map[string]prometheus.Observer{}
	for _, class := range []string{"page", "api_read", "api_write", "stream", "other"} {
		by[class] = t.took.WithLabelValues(class)
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		began, class := time.Now(), routeOf(r).class.traffic
		defer func() { by[class].Observe(time.Since(began).Seconds()) }()
		next.ServeHTTP(w, r)
	})
}
