package collectorpages

import (
	"context"
	"net/http"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// counts of this running of the program. No series of /metrics has a studio in it, however many there are:
// those of each lie at /metrics/sites, for a scrape job that asks for them.
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
func metrics(s *Server) http.HandlerFunc {
	s.counts.took = prometheus.NewHistogram(prometheus.HistogramOpts{Name: "lidwright_collect_push_seconds",
		Help:    "Time that a push took to be kept.",
		Buckets: []float64{0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10}})
	r := prometheus.NewRegistry()
	r.MustRegister(collector{s}, s.counts.took,
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}), collectors.NewGoCollector())
	return promhttp.HandlerFor(r, promhttp.HandlerOpts{}).ServeHTTP
}

// Series of each studio: site is its name as the pages and commands have it, id tells two of one name apart.
var (
	mSiteAge    = ofSite("site_age_seconds", "Time since the studio was heard.")
	mSiteBehind = ofSite("site_changes_behind", "Changes of the studio that are not here yet.")
	mKilnT      = ofSite("kiln_temperature_celsius",
		"The last good reading of the kiln; none where it is older than two minutes.", "kiln")
	mKilnAge   = ofSite("kiln_age_seconds", "Time since the kiln was read.", "kiln")
	mKilnHot   = ofSite("kiln_hot", "1 while the kiln was hot when it was heard last.", "kiln")
	mKilnState = ofSite("kiln_state", "1 for what the kiln did when it was heard last.", "kiln", "state")
)

func ofSite(name, help string, more ...string) *prometheus.Desc {
	return prometheus.NewDesc("lidwright_collect_"+name, help, append([]string{"site", "id"}, more...), nil)
}

// perSite reads the series of each studio off at scrape time.
type perSite struct{ s *Server }

func (perSite) Describe(chan<- *prometheus.Desc) {}

func (c perSite) Collect(ch chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		ch <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	sites, err := c.s.Shown.Sites(ctx)
	if err != nil {
		ch <- prometheus.NewInvalidMetric(mSiteAge, err)
		return
	}
	names := map[string]string{}
	for _, one := range sites {
		if !one.Revoked.IsZero() {
			continue
		}
		names[one.ID] = one.Name
		if !one.Seen.IsZero() {
			gauge(mSiteAge, c.s.Now().Sub(one.Seen).Seconds(), one.Name, one.ID)
		}
		gauge(mSiteBehind, float64(one.Behind()), one.Name, one.ID)
	}
	kilns, err := c.s.Shown.Kilns(ctx)
	if err != nil {
		ch <- prometheus.NewInvalidMetric(mKilnT, err)
		return
	}
	for _, k := range kilns {
		name, may := names[k.Site]
		if !may {
			continue
		}
		age := time.Duration(k.AgeS*float64(time.Second)) + k.Silent
		if k.LastC != nil {
			gauge(mKilnAge, age.Seconds(), name, k.Site, k.Kiln)
		}
		if k.LastC != nil && age <= silentAfter {
			gauge(mKilnT, *k.LastC, name, k.Site, k.Kiln)
		}
		hot := 0.0
		if k.Hot {
			hot = 1
		}
		gauge(mKilnHot, hot, name, k.Site, k.Kiln)
		gauge(mKilnState, 1, name, k.Site, k.Kiln, k.State)
	}
}

// siteMetrics answers a scrape of each studio's series.
func siteMetrics(s *Server) http.HandlerFunc {
	r := prometheus.NewRegistry()
	r.MustRegister(perSite{s})
	return promhttp.HandlerFor(r, promhttp.HandlerOpts{}).ServeHTTP
}
