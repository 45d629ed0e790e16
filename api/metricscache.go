package api

import (
	"cmp"
	"context"
	"slices"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// gleaning is what the metrics tell of clays, probes and the past. What is counted is counted anew
// when something was said since, or on another day. The rates of clays take long: where they would
// come out otherwise they are worked out behind the back of the scrape, which has the last ones.
type gleaning struct {
	mu     sync.Mutex
	said   gleaned // firings, readings, verdicts, probes
	rates  gleaned
	behind bool // the rates are being worked out
}

// gleaned is what was worked out, and of what.
type gleaned struct {
	fit     *shrinkage.Fit
	change  int64
	day     string
	metrics []prometheus.Metric
}

func (g gleaned) of(fit *shrinkage.Fit, change int64, day string) bool {
	return g.metrics != nil && g.fit == fit && g.change == change && g.day == day
}

func (s gleaner) gleaned(ctx context.Context) []prometheus.Metric {
	g := &s.gleaning
	g.mu.Lock()
	defer g.mu.Unlock()
	fit, asOf, err := s.Shrink.Latest()
	if err != nil {
		fit = nil // the metrics of clays are absent
	}
	change, err := s.Archive.LastChange(ctx)
	if err != nil {
		return nil
	}
	day := s.Now().Wall.Format(time.DateOnly)
	if !g.said.of(nil, change, day) {
		if found, whole := s.gleanSaid(ctx); whole {
			g.said = gleaned{nil, change, day, found}
		} else {
			return found
		}
	}
	switch {
	case fit == nil || g.rates.of(fit, change, day) || g.behind:
	case g.rates.metrics == nil: // the first of all
		if found, whole := s.gleanRates(ctx, fit, asOf); whole {
			g.rates = gleaned{fit, change, day, found}
		}
	default:
		g.behind = true
		go func() {
			ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
			defer cancel()
			found, whole := s.gleanRates(ctx, fit, asOf)
			g.mu.Lock()
			defer g.mu.Unlock()
			if g.behind = false; whole {
				g.rates = gleaned{fit, change, day, found}
			}
		}()
	}
	if fit == nil {
		return g.said.metrics
	}
	return slices.Concat(g.said.metrics, g.rates.metrics)
}

// gleanSaid counts; whole is false if something could not be read.
func (s gleaner) gleanSaid(ctx context.Context) (out []prometheus.Metric, whole bool) {
	tell := tellInto(&out)
	past, probes := s.gleanPast(ctx, tell), s.gleanProbes(ctx, tell)
	return out, past == nil && probes == nil
}

// gleanRates works the rates of clays out, and how often our ranges held.
func (s gleaner) gleanRates(ctx context.Context, fit *shrinkage.Fit, asOf time.Time) (out []prometheus.Metric, whole bool) {
	out = []prometheus.Metric{}
	tell := tellInto(&out)
	if err := s.gleanClays(ctx, fit, asOf, tell); err != nil {
		return nil, false
	}
	if l, err := s.Lids().Learned(ctx); err == nil && l.Held.Of > 0 {
		tell(mHeld, prometheus.GaugeValue, l.Held.Ratio())
	}
	return out, true
}

func tellInto(out *[]prometheus.Metric) teller {
	return func(d *prometheus.Desc, kind prometheus.ValueType, v float64, labels ...string) {
		*out = append(*out, prometheus.MustNewConstMetric(d, kind, v, labels...))
	}
}

type teller func(d *prometheus.Desc, kind prometheus.ValueType, v float64, labels ...string)

// gleanPast counts firings, readings and verdicts.
func (s gleaner) gleanPast(ctx context.Context, tell teller) error {
	firings, err := s.Archive.Firings(ctx, kiln.FiringFilter{})
	if err != nil {
		return err
	}
	over := map[[2]string]int{}
	for _, f := range firings {
		if _, ours := s.Kiln[f.Kiln]; ours && f.Status != kiln.Running {
			over[[2]string{string(f.Kiln), cmp.Or(string(f.Kind), "other")}]++
		}
	}
	for k, n := range over {
		tell(mFirings, prometheus.CounterValue, float64(n), k[0], k[1])
	}
	said, err := s.Archive.Tally(ctx)
	if err != nil {
		return err
	}
	for outcome, n := range said.Readings {
		tell(mReadings, prometheus.CounterValue, float64(n), outcome)
	}
	for verdict, n := range said.Verdicts {
		tell(mVerdicts, prometheus.CounterValue, float64(n), verdict)
	}
	return nil
}

// gleanProbes tells how far the cones say that each probe is off.
func (s gleaner) gleanProbes(ctx context.Context, tell teller) error {
	if s.Heat == nil {
		return nil
	}
	for id := range s.Kiln {
		stories, err := s.Heat.Stories(ctx, id)
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

// gleanClays tells the rate of the newest open batch of each clay, how far it is to be trusted,
// and whether it differs from the batch before.
func (s gleaner) gleanClays(ctx context.Context, fit *shrinkage.Fit, asOf time.Time, tell teller) error {
	g, err := s.Clays().Glancing(ctx)
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
		tell(mShrinkage, prometheus.GaugeValue, float64(sh.Total), j.Clay, j.Batch, j.At.Kind)
		tell(mHalfwidth, prometheus.GaugeValue, float64(sh.Likely.High-sh.Likely.Low)/2, j.Clay, j.Batch, j.At.Kind)
		for _, t := range []shrinkage.Reliability{shrinkage.Stretched, shrinkage.Borrowed, shrinkage.Unlike, shrinkage.Stale, shrinkage.Thin, shrinkage.Sound} {
			tell(mTrust, prometheus.GaugeValue, number(string(t) == j.Trust), j.Clay, j.Batch, string(t))
		}
	}
	for _, b := range shifts {
		tell(mShifted, prometheus.GaugeValue, number(b.Differ), string(b.Clay), string(b.Batch))
	}
	return nil
}
