package record

import (
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/kilntest"
)

var threeZones = kiln.Kiln{ID: "big-blue", Control: "2", Limit: 1300, KeepShut: 95, Channels: []kiln.Channel{
	{ID: "1", Role: kiln.RoleProbe}, {ID: "2", Role: kiln.RoleProbe}, {ID: "3", Role: kiln.RoleProbe}}}

// BenchmarkSecond is one second of one kiln with three channels in a firing: judged, detected,
// laid on the curve, worked into heat as indicated and as cones corrected it, queued, and a tick. At
// 0.1 % of a core it may take 1 ms.
func BenchmarkSecond(b *testing.B) {
	now := boot("a", kilntest.Winter, true)
	told := heatwork.Witnessed{}
	for _, c := range threeZones.Channels {
		told[c.ID] = heatwork.ProbeStory{Place: kiln.Place{Channel: c.ID},
			After: []heatwork.ProbeBias{{Bias: 9, BiasSD: 2, Cones: 4, Low: 1200, High: 1230}}}
	}
	r := &Recorder{Kilns: []kiln.Kiln{threeZones}, Log: newMemoryLog(), Ladder: heatwork.MainConeScale(),
		Past: map[kiln.KilnID]detect.Past{"big-blue": {Probes: told}},
		Now:  func() kiln.Stamp { return now }, NewID: func() kiln.FiringID { return "f" }}
	r.prepare()
	r.resume(nil)
	values := []kiln.Value{{Channel: "1"}, {Channel: "2"}, {Channel: "3"}}
	i := 0
	for b.Loop() {
		i++
		now.Since += time.Second
		t := 20 + kiln.Celsius(i%30_000)*0.04
		for z := range values {
			values[z].T = t
		}
		r.hear(kiln.Sample{Kiln: "big-blue", At: now, Values: values})
		r.tick(now)
		if i%5 == 0 { // as the writer does
			r.writer.queue, r.writer.bytes, r.writer.samples = nil, 0, 0
		}
	}
}

// BenchmarkTakeUp reads 30 h of three channels each second again after a restart.
func BenchmarkTakeUp(b *testing.B) {
	u := Unfinished{Firing: kiln.Firing{ID: "f", Kiln: "big-blue", Status: kiln.Running}}
	for i := range 30 * 3600 {
		t := 20 + kiln.Celsius(i)*0.011
		u.Samples = append(u.Samples, kiln.Sample{Kiln: "big-blue",
			At: kiln.Stamp{Boot: "a", Since: time.Duration(i) * time.Second,
				Wall: kilntest.Winter, Trusted: true},
			Values: []kiln.Value{{Channel: "1", T: t}, {Channel: "2", T: t}, {Channel: "3", T: t}}})
	}
	for b.Loop() {
		now := boot("a", kilntest.Winter, true)
		r := &Recorder{Kilns: []kiln.Kiln{threeZones}, Log: newMemoryLog(), Ladder: heatwork.MainConeScale(),
			Now: func() kiln.Stamp { return now }, NewID: func() kiln.FiringID { return "f" }}
		r.prepare()
		r.resume(r.reread([]Unfinished{u}))
		if _, ok := r.Firing("big-blue"); !ok {
			b.Fatal("not taken up")
		}
	}
}

// BenchmarkThin makes 800 points of a firing of 60,000 s, from the readings and from minutes.
func BenchmarkThin(b *testing.B) {
	c := kiln.Curve{Channels: []kiln.ChannelID{"1"}, T: make([][]kiln.Celsius, 1)}
	for i := range 60_000 {
		c.After = append(c.After, time.Duration(i)*time.Second)
		c.T[0] = append(c.T[0], 20+kiln.Celsius(i)*0.02)
	}
	minutes := c.Thin("1", time.Minute)
	b.Run("readings", func(b *testing.B) {
		for b.Loop() {
			c.Thin("1", time.Minute).Points(800)
		}
	})
	b.Run("minutes", func(b *testing.B) {
		for b.Loop() {
			minutes.Points(800)
		}
	})
}
