package metrics

import (
	"context"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/kiln/record"
	"lidwright/tiles"
)

// Metrics is what a monitor is told of a studio, and of what the studio was asked.
type Metrics struct {
	*usecase.Studio
	cache cache
	took  *prometheus.HistogramVec
	lids  *prometheus.CounterVec
}

// New counts from nothing on; what the record holds is read off at the first scrape.
func New(s *usecase.Studio) *Metrics {
	return &Metrics{
		Studio: s,
		cache:  cache{wanted: make(chan basis, 1)},
		took: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "lidwright_http_request_duration_seconds",
			Help: "Time from the head of a request to the end of its answer, by class; " +
				"a stream and a wait for changes count as stream.",
			Buckets: []float64{.002, .01, .05, .2, 1, 10}}, []string{"class"}),
		lids: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "lidwright_lid_answers_total",
			Help: "Lid answers worked out, by trust; one asked again before anything changed is not counted again."},
			[]string{"trust"}),
	}
}

// collector reads the metrics off at scrape time: nothing in the program pushes one. What is
// not known is absent; when a reading is not fresh only temperature and rate go absent.
type collector struct{ *Metrics }

func desc(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("lidwright_"+name, help, labels, nil)
}

var (
	mTemperature = desc("kiln_temperature_celsius", "Temperature of a probe; absent unless fresh.", "kiln",
		"probe")
	mRate = desc("kiln_rate_celsius_per_hour",
		"Rate of the control probe over the last 10 min; absent unless fresh.", "kiln", "probe")
	mAge = desc("kiln_reading_age_seconds",
		"Age of the last good reading; stays when the kiln is quiet.", "kiln")
	mHot = desc("kiln_hot", "1 if the last good reading was over 60 °C; stays when the kiln is quiet.",
		"kiln")
	mStillHot  = desc("kiln_still_hot", "1 if the kiln is still hot, or climbing again, long after the end of a firing.", "kiln")
	mStalled   = desc("kiln_stalled", "1 if a firing stopped climbing well short of its usual top.", "kiln")
	mFellEarly = desc("kiln_fell_early", "1 if a fall began well short of the usual top.", "kiln")
	mLimit     = desc("kiln_limit_celsius", "The kiln's limit from the settings.", "kiln")
	mKeepShut  = desc("kiln_keep_shut_above_celsius",
		"Temperature above which the site keeps the kiln shut; below it nobody has leave to open.", "kiln")
	mState    = desc("kiln_state", "1 for the state that the kiln is in.", "kiln", "state")
	mHeatWork = desc("firing_heat_work_celsius",
		"Heat work of the running firing so far: end point of a 60 °C/h firing that did the same.", "kiln")
	mElapsed = desc("firing_elapsed_seconds", "First rise to the last reading of the running firing.",
		"kiln")
	mToTop = desc("firing_to_top_seconds",
		"First rise to the top; stands still once the top is passed.", "kiln")
	mUsualToTop = desc("firing_usual_to_top_seconds",
		"The same of the usual firing of the kind that burns; absent where there is none.", "kiln")
	mLines    = desc("serial_lines_total", "Lines received, by outcome.", "kiln", "outcome")
	mFaults   = desc("faults_total", "Readings that were not good, by kind.", "kiln", "kind")
	mProbeHot = desc("probe_hot_seconds_total",
		"Time over 1000 °C of the thermocouple that is fitted now.", "kiln", "probe")
	mGaps        = desc("firing_gap_seconds_total", "Time unheard in firings.", "kiln")
	mClock       = desc("clock_trusted", "1 if the kernel calls the wall clock synchronised.")
	mBarsWaiting = desc("bars_waiting", "Bars of fired loads that nobody has measured yet.")
	mWaitingFor  = desc("bars_waiting_oldest_seconds",
		"How long the load unpacked first of them has been waiting.")
	mCopy      = desc("copy_timestamp_seconds", "When a copy of the store last held everything, Unix time.")
	mNotices   = desc("notices_total", "Notices to receivers since the start, by kind: told, and of those sent and given up.", "kind", "outcome")
	mShrinkage = desc("clay_shrinkage_ratio",
		"Total shrink of the newest open batch at the usual glaze firing, share of the wet length.",
		"clay", "batch", "kind")
	mHalfwidth = desc("clay_shrinkage_halfwidth_ratio", "Half of its 90 % range.", "clay", "batch", "kind")
	mTrust     = desc("clay_trust", "1 for the trust word of that rate; the other words are absent.",
		"clay", "batch", "trust")
	mOthers = desc("clay_other_studios",
		"Other studios that tell of a clay, by what its rate goes by; absent where none do.", "clay",
		"source")
	mOthersMade = desc("clay_other_studios_timestamp_seconds",
		"When their collector worked that out, Unix time.", "clay")
	mDiffers = desc("clay_differs_from_other_studios",
		"1 if this studio's own bars of the clay tell another rate than theirs.", "clay")
	mShifted = desc("batch_shifted", "1 if the newest open batch shrinks otherwise than the one before, with 90 % confidence; absent unless both have fired bars.", "clay", "batch")
	mBias    = desc("probe_bias_celsius",
		"True less read near the top, as witness cones of this life of the probe told; absent before the first cone.", "kiln", "probe")
	mFirings = desc("firings_total", "Firings that are over, by the kind that they are taken for now.",
		"kiln", "kind")
	mReadings = desc("bar_readings_total",
		"What came of readings of bars: counted at once or when somebody said so, held back to ask, struck.",
		"outcome")
	mLidResults = desc("lid_results_total", "Lids looked at, by how they sat, on boards struck later too.",
		"outcome")
	mHeld = desc("answers_held_ratio",
		"Share of measured plays that lay in the range that was likely before; absent before the first.")
	mRefit    = desc("refit_duration_seconds", "Time that fitting every shrink rate anew took.")
	mOutbox   = desc("outbox_behind", "Changes of the record that the collector has not; absent unless the record is kept at one.")
	mOutboxOK = desc("outbox_last_ok_seconds",
		"Time since the collector last took something; absent before the first.")
	mOutboxNo = desc("outbox_refused_total", "Requests that the collector answered with a no.")
	mMQTT     = desc("mqtt_connected", "1 if the broker of the settings has us; absent where they name none.")
	mBuild    = desc("build_info", "Version of the program.", "version")
)

// Describe says nothing: which metrics there are depends on what is known at scrape time.
func (c collector) Describe(chan<- *prometheus.Desc) {}

func (c collector) Collect(ch chan<- prometheus.Metric) {
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		ch <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	counter := func(d *prometheus.Desc, v float64, labels ...string) {
		ch <- prometheus.MustNewConstMetric(d, prometheus.CounterValue, v, labels...)
	}
	for _, l := range c.Recorder.Live() {
		c.kiln(l, gauge, counter)
	}
	for _, l := range c.Lines() {
		k := string(l.Kiln)
		counter(mLines, float64(l.Good), k, "good")
		counter(mLines, float64(l.Garbled), k, "garbled")
		counter(mLines, float64(l.Silent), k, "silent")
		counter(mLines, float64(l.Breakvalue), k, "breakvalue")
	}
	gauge(mClock, number(c.Now().Trusted))
	c.store(gauge)
	gauge(mBuild, 1, c.Site.Version)
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	c.probes(ctx, counter)
	c.waiting(ctx, gauge)
	for _, m := range c.known(ctx) {
		ch <- m
	}
	if due, err := c.Archive.CopyDue(ctx); err == nil {
		if due.IsZero() {
			due = c.Now().Wall
		}
		gauge(mCopy, float64(due.Unix()))
	}
	if c.Collector != nil {
		if st, err := c.Collector.Status(ctx); err == nil && st.Keep {
			gauge(mOutbox, float64(st.Behind))
			counter(mOutboxNo, float64(st.Refused))
			if !st.LastOK.IsZero() {
				gauge(mOutboxOK, c.Now().Wall.Sub(st.LastOK).Seconds())
			}
		}
	}
	if c.MQTT != nil {
		connected, _ := c.MQTT()
		gauge(mMQTT, number(connected))
	}
	for k, n := range c.Notices.Counts() {
		counter(mNotices, float64(n), k[0], k[1])
	}
	if r := c.Shrink.Refits(); r.Count > 0 {
		ch <- prometheus.MustNewConstHistogram(mRefit, r.Count, r.Seconds, r.Under)
	}
}

// probes tells the age in heat of each thermocouple that is fitted.
func (c collector) probes(ctx context.Context, counter func(*prometheus.Desc, float64, ...string)) {
	for _, w := range c.Wired {
		lives, err := c.Kilns().ProbeLives(ctx, w)
		if err != nil {
			continue
		}
		for _, l := range lives {
			if l.Removed == "" {
				counter(mProbeHot, l.Hours*3600, string(w.Kiln), l.Channel)
			}
		}
	}
}

func (c collector) kiln(l record.Live, gauge, counter func(*prometheus.Desc, float64, ...string)) {
	k := string(l.Kiln)
	for _, ch := range l.Channels {
		if ch.Role == kiln.RoleProbe && ch.T.Known() {
			gauge(mTemperature, float64(ch.T), k, string(ch.Channel))
		}
	}
	if t := kiln.Celsius(l.Rate); t.Known() {
		gauge(mRate, float64(l.Rate), k, string(c.Kilns().Speaks(l)))
	}
	if l.LastT.Known() {
		gauge(mAge, l.Age.Seconds(), k)
	}
	gauge(mHot, number(l.Hot), k)
	gauge(mStillHot, number(l.StillHot), k)
	gauge(mStalled, number(l.Stalled), k)
	gauge(mFellEarly, number(l.FellEarly), k)
	if l.Limit.Known() {
		gauge(mLimit, float64(l.Limit), k)
	}
	if l.KeepShut.Known() {
		gauge(mKeepShut, float64(l.KeepShut), k)
	}
	for _, s := range []kiln.State{kiln.Quiet, kiln.Cold, kiln.Soaking, kiln.Falling, kiln.Rising,
		kiln.Holding, kiln.Warm} {
		gauge(mState, number(s == l.State), k, string(s))
	}
	if l.Firing != "" {
		if h, ok := l.HeatWork[c.Kilns().Speaks(l)]; ok && h.C.Known() {
			gauge(mHeatWork, float64(h.C), k)
		}
		gauge(mElapsed, l.Elapsed.Seconds(), k)
		gauge(mToTop, l.ToTop.Seconds(), k)
		if l.UsualToTop > 0 {
			gauge(mUsualToTop, l.UsualToTop.Seconds(), k)
		}
	}
	for _, f := range []kiln.Fault{kiln.Break, kiln.Spike, kiln.Frozen, kiln.Reversed, kiln.Shorted,
		kiln.UnitChanged, kiln.Disagrees, kiln.BelowRange, kiln.NotConverted, kiln.Unbelievable} {
		counter(mFaults, float64(l.Faulty[f]), k, string(f))
	}
	counter(mGaps, l.Gaps.Seconds(), k)
}

// waiting tells of the bars that nobody has measured yet.
func (c collector) waiting(ctx context.Context, gauge func(*prometheus.Desc, float64, ...string)) {
	loads, err := c.Archive.Loads(ctx, tiles.LoadFilter{Waiting: true})
	if err != nil {
		return
	}
	waiting, oldest := 0, time.Time{}
	for _, l := range loads {
		waiting += l.Waiting
		if !l.Unpacked.IsZero() && (oldest.IsZero() || l.Unpacked.Before(oldest)) {
			oldest = l.Unpacked
		}
	}
	gauge(mBarsWaiting, float64(waiting))
	if waiting > 0 && !oldest.IsZero() {
		gauge(mWaitingFor, max(0, c.Now().Wall.Sub(oldest).Seconds()))
	}
}

func number(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// Handler answers a scrape, in the text form of Prometheus.
func (m *Metrics) Handler() http.Handler {
	r := prometheus.NewRegistry()
	r.MustRegister(collector{m}, m.took, m.lids,
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}), collectors.NewGoCollector())
	return promhttp.HandlerFor(r, promhttp.HandlerOpts{ErrorHandling: promhttp.ContinueOnError,
		DisableCompression: true})
}
