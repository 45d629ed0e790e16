package collectorpages

import (
	"context"
	"net/http"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// counts of this running of the program. No series has a studio in it.
type counts struct {
	facts, repeats, gaps, forks atomic.Uint64
	took                        prometheus.Histogram
}

func desc(name, help string) *prometheus.Desc {
	return prometheus.NewDesc("lidwright_collect_"+name, help, nil, nil)
}

var (
	mFacts   = desc("facts_total", "Facts that were taken.")
	mRepeats = desc("repeats_total", "Facts that were there already.")
	mGaps    = desc("gaps_total", "Pushes that were sent back because something before them is missing.")
	mForks   = desc("forks_total", "Pushes refused because two machines say that they are one studio.")
	mSites   = desc("sites", "Studios that may send.")
	mSilent  = desc("sites_silent", "Studios that may send and were not heard for an hour.")
	mForked  = desc("sites_forked", "Studios of which two machines said that they are it.")
	mHot     = desc("kilns_silent_hot", "Kilns that were hot when they were heard last, more than two minutes ago.")
)

// reads the metrics off at scrape time.
type collector struct{ s *Server }

func (collector) Describe(chan<- *prometheus.Desc) {}

func (c collector) Collect(ch chan<- prometheus.Metric) {
	counter := func(d *prometheus.Desc, v uint64) {
		ch <- prometheus.MustNewConstMetric(d, prometheus.CounterValue, float64(v))
	}
	counter(mFacts, c.s.counts.facts.Load())
	counter(mRepeats, c.s.counts.repeats.Load())
	counter(mGaps, c.s.counts.gaps.Load())
	counter(mForks, c.s.counts.forks.Load())
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	gauge := func(d *prometheus.Desc, v int) {
		ch <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, float64(v))
	}
	if sites, err := c.s.Shown.Sites(ctx); err == nil {
		may, silent, forked := 0, 0, 0
		for _, one := range sites {
			if !one.Forked.IsZero() {
				forked++
			}
			if one.Revoked.IsZero() {
				may++
				if c.s.Now().Sub(one.Seen) > time.Hour {
					silent++
				}
			}
		}
		gauge(mSites, may)
		gauge(mSilent, silent)
		gauge(mForked, forked)
	}
	if kilns, err := c.s.Shown.Kilns(ctx); err == nil {
		n := 0
		for _, k := range kilns {
			if silentHot(k) {
				n++
			}
		}
		gauge(mHot, n)
	}
}

// metrics answers a scrape.
func (s *Server) metrics() http.HandlerFunc {
	s.counts.took = prometheus.NewHistogram(prometheus.HistogramOpts{Name: "lidwright_collect_push_seconds",
		Help:    "Time that a push took to be kept.",
		Buckets: []float64{0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10}})
	r := prometheus.NewRegistry()
	r.MustRegister(collector{s}, s.counts.took)
	return promhttp.HandlerFor(r, promhttp.HandlerOpts{}).ServeHTTP
}
