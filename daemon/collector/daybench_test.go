package collector

import (
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"lidwright/api/wire"
	"lidwright/daemon/collector/pgtest"
	"lidwright/daemon/outbox"
	"lidwright/daemon/store"
	"lidwright/kiln"
)

// BenchmarkMillionReadings sends 10^6 lengths of bars over HTTP, 500 in a body as the Pi does, from eight
// studios at once to a database with a synchronous standby; the goal is 70 s.
func BenchmarkMillionReadings(b *testing.B) {
	const all, each, studios = 1_000_000, 500, 8
	for b.Loop() {
		server := pgtest.Own(b)
		pgtest.Standby(b, server, 0)
		r := start(b, server.URL("own"))
		var senders []*sender
		for range studios {
			senders = append(senders, newSender(b, r))
		}
		synchronous(b, server)
		began := time.Now()
		done := make(chan struct{})
		for _, s := range senders {
			go func() {
				defer func() { done <- struct{}{} }()
				for range all / each / studios {
					s.facts(b, each)
				}
			}()
		}
		for range senders {
			<-done
		}
		b.ReportMetric(time.Since(began).Seconds(), "s")
		for _, s := range senders {
			if one, err := r.store.Site(b.Context(), s.site); err != nil || one.Have != all/studios {
				b.Fatalf("studio %s is at %d of %d: %v", s.site, one.Have, all/studios, err)
			}
		}
	}
}

// BenchmarkDaySending is a day of a Pi, 2,000 times as fast as it would go: a firing of nine hours with three
// probes at 1 Hz, 60 entries, a kiln that stays cold for the rest. What is told: the processor time of the
// whole day as a share of one core over 24 h, without a collector, with one, and the difference, which is
// what sending costs (wanted: 0.1 % at most), and what goes over the line in an hour of the firing (1 MB).
func BenchmarkDaySending(b *testing.B) {
	database := pgtest.Database(b)
	db := opened(b, database)
	address := free(b)
	child(b, "collector", "LIDWRIGHT_DATABASE="+database, "LIDWRIGHT_ADDRESS="+address)
	waitReady(b, "http://"+address)
	r := &running{Collector: &Collector{store: db}, url: "http://" + address}
	for b.Loop() {
		alone := aDay(b, nil, "")
		joined := aDay(b, r, r.url)
		to, bytes := counting(b, r.url)
		aDay(b, r, to)
		b.ReportMetric(alone*100, "%-alone")
		b.ReportMetric(joined*100, "%-joined")
		b.ReportMetric((joined-alone)*100, "%-sending")
		b.ReportMetric(float64(bytes.Load())/1e6/dayFires.Hours(), "MB/h-firing")
	}
}

const (
	dayFaster = 2000
	dayFires  = 9 * time.Hour
)

// aDay lives through one, and gives the share of a core that the day cost.
func aDay(b *testing.B, r *running, to string) float64 {
	b.Helper()
	s := newStudio(b)
	s.out = outbox.New(store.Outbox{Store: s.Store}, s.folder, "bench", s.clock,
		func() []wire.LiveKiln { return nil }, store.CurveSum)
	s.out.SaveEach /= dayFaster
	s.out.LiveFiring /= dayFaster
	s.out.LiveElse /= dayFaster
	s.out.CurveEach /= dayFaster
	var last atomic.Pointer[wire.LiveKiln]
	last.Store(&wire.LiveKiln{Kiln: "big-blue", State: "cold", Channels: []wire.LiveChannel{}})
	s.out.Live = func() []wire.LiveKiln { return []wire.LiveKiln{*last.Load()} }
	if r != nil {
		code, err := Owner{r.store}.Add(b.Context(), "Room "+s.id[len(s.id)-4:])
		if err != nil {
			b.Fatal(err)
		}
		s.joinBy(b, to, code)
	}
	before, began, at := processor(b), time.Now(), s.clock()
	f := kiln.Firing{ID: kiln.FiringID(newID()), Kiln: "big-blue", Began: at, Source: "serial"}
	var over kiln.Stamp
	for second := 0; second < 24*3600; second += 30 { // the recorder hands over what came in half a minute
		time.Sleep(time.Until(began.Add(time.Duration(second) * time.Second / dayFaster)))
		if second%1440 == 0 {
			s.says(b, 1)
		}
		if second >= int(dayFires.Seconds()) {
			if f.Status != kiln.Ended {
				f.Over, f.Status, f.Peak, f.Length = over, kiln.Ended, 1222, dayFires
				if err := s.EndFiring(b.Context(), f); err != nil {
					b.Fatal(err)
				}
				last.Store(&wire.LiveKiln{Kiln: "big-blue", State: "cold", Channels: []wire.LiveChannel{}})
			}
			continue
		}
		var samples []kiln.Sample
		for i := second; i < second+30; i++ {
			smp := kiln.Sample{Kiln: "big-blue", At: at}
			smp.At.Since += time.Duration(i) * time.Second
			smp.At.Wall = smp.At.Wall.Add(time.Duration(i) * time.Second)
			over = smp.At
			for n, name := range []kiln.ChannelID{"1", "2", "3"} {
				c := 20 + float64(i)/27 + float64((i*7+n*3)%11)/10
				smp.Values = append(smp.Values, kiln.Value{Channel: name, T: kiln.Celsius(c)})
			}
			samples = append(samples, smp)
		}
		var err error
		if second == 0 {
			_, err = s.BeginFiring(b.Context(), f, samples)
		} else {
			err = s.AppendCurve(b.Context(), f.ID, samples)
		}
		if err != nil {
			b.Fatal(err)
		}
		c := float64(samples[0].Values[0].T)
		last.Store(&wire.LiveKiln{Kiln: "big-blue", State: "heating", Hot: c > 60, LastC: &c,
			Firing:   string(f.ID),
			Channels: []wire.LiveChannel{}})
	}
	share := (processor(b) - before) / (24 * time.Hour).Seconds()
	if r != nil {
		s.arrived(b, r.store)
	}
	s.halt()
	return share
}

// processor is the processor time of this process so far, s.
func processor(b *testing.B) float64 {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano()).Seconds()
}

// counting stands before a collector and counts what is sent to it.
func counting(b *testing.B, to string) (string, *atomic.Int64) {
	b.Helper()
	u, err := url.Parse(to)
	if err != nil {
		b.Fatal(err)
	}
	var n atomic.Int64
	on := httputil.NewSingleHostReverseProxy(u)
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		n.Add(r.ContentLength)
		for name, values := range r.Header {
			n.Add(int64(len(name) + len(values[0]) + 4))
		}
		on.ServeHTTP(w, r)
	}))
	b.Cleanup(s.Close)
	return s.URL, &n
}
