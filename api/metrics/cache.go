package metrics

import (
	"cmp"
	"context"
	"slices"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"golang.org/x/sync/singleflight"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// cache is what the metrics tell of clays, probes and the past. What is counted is counted anew
// when something was said since, or on another day. The rates of clays take long: where they would
// come out otherwise Run works them out behind the back of the scrape, which has the last ones.
type cache struct {
	once   singleflight.Group // scrapes at the same moment count once
	wanted chan basis         // rates that Run is to work out

	mu     sync.Mutex // guards the two below
	counts snapshot   // firings, readings, lid results, probes
	rates  snapshot
}

// basis is what metrics rest on; they are the same as long as it is.
type basis struct {
	fit    *shrinkage.Fit // nil: of none
	change int64          // of the record
	day    string
}

// snapshot is what was worked out, and of what; no metrics before the first time.
type snapshot struct {
	basis
	metrics []prometheus.Metric
}

// Run works rates out that a scrape found to be old, until ctx ends.
func (m *Metrics) Run(ctx context.Context) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case b := <-m.cache.wanted:
			m.cache.mu.Lock()
			have := m.cache.rates.basis == b
			m.cache.mu.Unlock()
			if have {
				continue
			}
			bounded, cancel := context.WithTimeout(ctx, time.Minute)
			m.keepRates(bounded, b)
			cancel()
		}
	}
}

// known are the metrics of the cache as they are now.
func (m *Metrics) known(ctx context.Context) []prometheus.Metric {
	fit, _, err := m.Shrink.Latest()
	if err != nil {
		fit = nil // the metrics of clays are absent
	}
	change, err := m.Archive.LastChange(ctx)
	if err != nil {
		return nil
	}
	b := basis{fit, change, m.Now().Wall.Format(time.DateOnly)}
	counts, whole := m.countsOf(ctx, basis{nil, b.change, b.day})
	if !whole || fit == nil {
		return counts
	}
	m.cache.mu.Lock()
	last := m.cache.rates
	m.cache.mu.Unlock()
	switch {
	case last.metrics == nil: // the first of all
		m.cache.once.Do("rates", func() (any, error) { m.keepRates(ctx, b); return nil, nil })
		m.cache.mu.Lock()
		last = m.cache.rates
		m.cache.mu.Unlock()
	case last.basis != b:
		select {
		case m.cache.wanted <- b:
		default: // the next scrape asks again
		}
	}
	return slices.Concat(counts, last.metrics)
}

// countsOf counts, unless nothing changed since; whole is false if something could not be read.
func (m *Metrics) countsOf(ctx context.Context, b basis) (out []prometheus.Metric, whole bool) {
	m.cache.mu.Lock()
	last := m.cache.counts
	m.cache.mu.Unlock()
	if last.metrics != nil && last.basis == b {
		return last.metrics, true
	}
	found, _, _ := m.cache.once.Do("counts", func() (any, error) {
		out, whole := m.counted(ctx)
		if whole {
			m.cache.mu.Lock()
			m.cache.counts = snapshot{b, out}
			m.cache.mu.Unlock()
			return snapshot{b, out}, nil
		}
		return snapshot{basis{}, out}, nil
	})
	one := found.(snapshot)
	return one.metrics, one.basis != basis{}
}

// keepRates works the rates of clays out and keeps them; where something cannot be read the last ones stay.
func (m *Metrics) keepRates(ctx context.Context, b basis) {
	fit, asOf, err := m.Shrink.Latest()
	if err != nil || fit != b.fit {
		return // another fit came meanwhile: the next scrape asks for that
	}
	found, whole := m.workOutRates(ctx, fit, asOf)
	if !whole {
		return
	}
	m.cache.mu.Lock()
	defer m.cache.mu.Unlock()
	m.cache.rates = snapshot{b, found}
}

// counted counts; whole is false if something could not be read.
func (m *Metrics) counted(ctx context.Context) (out []prometheus.Metric, whole bool) {
	tell := into(&out)
	past, probes := m.countPast(ctx, tell), m.probeBias(ctx, tell)
	return out, past == nil && probes == nil
}

// workOutRates works the rates of clays out, and how often our ranges held.
func (m *Metrics) workOutRates(ctx context.Context, fit *shrinkage.Fit,
	asOf time.Time) (out []prometheus.Metric, whole bool) {
	out = []prometheus.Metric{}
	tell := into(&out)
	if err := m.rates(ctx, fit, asOf, tell); err != nil {
		return nil, false
	}
	if l, err := m.Lids().Learned(ctx); err == nil && l.Held.Of > 0 {
		tell(mHeld, prometheus.GaugeValue, l.Held.Ratio())
	}
	return out, true
}

func into(out *[]prometheus.Metric) teller {
	return func(d *prometheus.Desc, kind prometheus.ValueType, v float64, labels ...string) {
		*out = append(*out, prometheus.MustNewConstMetric(d, kind, v, labels...))
	}
}

type teller func(d *prometheus.Desc, kind prometheus.ValueType, v float64, labels ...string)

// countPast counts firings, readings and lid results.
func (m *Metrics) countPast(ctx context.Context, tell teller) error {
	firings, err := m.Archive.Firings(ctx, kiln.FiringFilter{})
	if err != nil {
		return err
	}
	over := map[[2]string]int{}
	for _, f := range firings {
		if _, ours := m.KilnNamed(f.Kiln); ours && f.Status != kiln.Running {
			over[[2]string{string(f.Kiln), cmp.Or(string(f.Kind), "other")}]++
		}
	}
	for k, n := range over {
		tell(mFirings, prometheus.CounterValue, float64(n), k[0], k[1])
	}
	said, err := m.Archive.Tally(ctx)
	if err != nil {
		return err
	}
	for outcome, n := range said.Readings {
		tell(mReadings, prometheus.CounterValue, float64(n), outcome)
	}
	for outcome, n := range said.Lids {
		tell(mLidResults, prometheus.CounterValue, float64(n), outcome)
	}
	return nil
}

// probeBias tells how far the cones say that each probe is off.
func (m *Metrics) probeBias(ctx context.Context, tell teller) error {
	if m.Heat == nil {
		return nil
	}
	for _, id := range m.KilnNames() {
		stories, err := m.Heat.Stories(ctx, id)
		if err != nil {
			return err
		}
		told := map[kiln.ChannelID]bool{}
		for _, st := range stories {
			if st.Place.Shelf != "" || told[st.Channel] {
				continue
			}
			if b := st.Last(); st.Life.Removed.IsZero() && b.Cones > 0 {
				told[st.Channel] = true
				tell(mBias, prometheus.GaugeValue, float64(b.Bias), string(id), string(st.Channel))
			}
		}
	}
	return nil
}

// rates tells the rate of the newest open batch of each clay, how far it is to be trusted,
// and whether it differs from the batch before.
func (m *Metrics) rates(ctx context.Context, fit *shrinkage.Fit, asOf time.Time, tell teller) error {
	g, err := m.Clays().Snapshot(ctx)
	if err != nil {
		return err
	}
	clays, err := g.Clays().NewestClays(ctx)
	if err != nil {
		return err
	}
	shifts, err := g.Clays().BatchShifts(ctx, fit, clays)
	if err != nil {
		return err
	}
	for _, k := range clays {
		j, sh, err := g.Clays().ShrinkageOf(ctx, fit, asOf, usecase.UsualRate(tiles.BatchRef{Clay: k}))
		if err != nil { // nothing can be said of this one
			continue
		}
		if j.TotalRatio == nil { // outside tested heat
			continue
		}
		tell(mShrinkage, prometheus.GaugeValue, float64(sh.Total), j.Clay, j.Batch, j.At.Kind)
		tell(mHalfwidth, prometheus.GaugeValue, float64(sh.Likely.High-sh.Likely.Low)/2,
			j.Clay, j.Batch, j.At.Kind)
		// the word alone that holds: six a clay are half the page
		tell(mTrust, prometheus.GaugeValue, 1, j.Clay, j.Batch, j.Trust)
		if o := j.OtherStudios; o != nil {
			tell(mOthers, prometheus.GaugeValue, float64(o.Studios), j.Clay, j.Source)
			tell(mOthersMade, prometheus.GaugeValue, float64(o.Made.Unix()), j.Clay)
			tell(mDiffers, prometheus.GaugeValue, number(len(o.Advice) > 0), j.Clay)
		}
	}
	for _, b := range shifts {
		tell(mShifted, prometheus.GaugeValue, number(b.Differ), string(b.Clay), string(b.Batch))
	}
	return nil
}
