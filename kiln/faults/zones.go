package faults

import (
	"cmp"
	"math"
	"slices"
	"time"

	"lidwright/kiln"
)

// disagree is how far the zones of a kiln may be from their own history, in K, before it is told (own
// choice).
const disagree = 15

// ZoneBand is what is known of one probe in one band of the control probe: how much hotter it
// read than the control, in earlier firings of this kiln.
type ZoneBand struct {
	Channel kiln.ChannelID // the probe that differs
	From    kiln.Celsius   // of the control probe; the band is 100 K wide
	Rising  bool           // heating and cooling differ
	Mean    kiln.Celsius   // channel minus control
	Firings int            // that it rests on; the last four weigh most
}

// ZonePast is the history of a kiln's zones, to be kept across a restart.
type ZonePast []ZoneBand

// Disagreement is a probe that reads more than 15 K off what it used to read beside the control
// probe. It is shown and takes nothing out: one of the two may drift, and which cannot be told.
type Disagreement struct {
	Channel kiln.ChannelID // the probe that differs; the control probe may be the wrong one
	By      kiln.Celsius   // hotter than usual; below 0 cooler
}

// zones follows the differences between the probes of one kiln and its control probe.
type zones struct {
	control kiln.ChannelID
	Probes  []zone
	last    kiln.Celsius // control, mean over the last minutes, for the direction
	lastAt  kiln.Stamp
	rising  bool
	Hot     bool
}

// zone is one probe beside the control probe.
type zone struct {
	channel kiln.ChannelID
	past    [2][20]ZoneBand // by rising and band
	sum     [2][20]float64  // of this firing
	N       [2][20]int
	off     float64 // from history, smoothed over about two minutes
	known   bool
}

// newZones begins with what earlier firings told; bands of other channels are left out.
func newZones(k kiln.Kiln, past ZonePast) zones {
	z := zones{control: k.Control}
	for _, c := range k.Channels {
		if c.Role != kiln.RoleProbe || c.ID == k.Control {
			continue
		}
		one := zone{channel: c.ID}
		for _, b := range past {
			if i, ok := band(b.From); ok && b.Channel == c.ID && b.Firings > 0 && b.Mean.Known() {
				one.past[direction(b.Rising)][i] = b
			}
		}
		z.Probes = append(z.Probes, one)
	}
	return z
}

// band numbers the 100 K that a temperature lies in, 0 to 19; ok is false outside 0 to 2000 °C.
func band(t kiln.Celsius) (int, bool) {
	i := int(math.Floor(float64(t) / 100))
	return i, t.Known() && i >= 0 && i < 20
}

// direction is the first index of the tables of a zone: 1 while the control probe rises.
func direction(rising bool) int {
	if rising {
		return 1
	}
	return 0
}

// See takes a judged sample.
func (z *zones) See(s kiln.Sample) {
	control, ok := s.Value(z.control)
	if !ok || control.Fault != kiln.Good {
		return
	}
	// every five minutes: does the control probe rise?
	if d, known := s.At.Sub(z.lastAt); !known || d >= 5*time.Minute || z.lastAt == (kiln.Stamp{}) {
		z.rising = control.T > z.last
		z.last, z.lastAt = control.T, s.At
	}
	// a firing is one from above 300 °C to below 60; its differences then enter the history
	if control.T > 300 {
		z.Hot = true
	} else if control.T < 60 && z.Hot {
		z.Hot = false
		z.close()
	}
	i, ok := band(control.T)
	if !ok {
		return
	}
	way := direction(z.rising)
	for p := range z.Probes {
		one := &z.Probes[p]
		v, ok := s.Value(one.channel)
		if !ok || v.Fault != kiln.Good {
			continue
		}
		d := float64(v.T - control.T)
		one.sum[way][i] += d
		one.N[way][i]++
		// off its history, smoothed over about 120 samples
		past := one.past[way][i]
		switch {
		case past.Firings == 0:
			one.known = false
		case !one.known:
			one.off, one.known = d-float64(past.Mean), true
		default:
			one.off += (d - float64(past.Mean) - one.off) / 120
		}
	}
}

// close takes this firing's differences into the history.
func (z *zones) close() {
	for p := range z.Probes {
		one := &z.Probes[p]
		for way := range one.past {
			for i := range one.past[way] {
				if one.N[way][i] == 0 {
					continue
				}
				mean := kiln.Celsius(one.sum[way][i] / float64(one.N[way][i]))
				b := &one.past[way][i]
				*b = ZoneBand{
					Channel: one.channel, From: kiln.Celsius(100 * i), Rising: way == 1,
					// the mean of the last firings, the newest weighing a quarter at least
					Mean:    b.Mean + (mean-b.Mean)/kiln.Celsius(min(b.Firings+1, 4)),
					Firings: b.Firings + 1,
				}
				one.sum[way][i], one.N[way][i] = 0, 0
			}
		}
		one.known = false
	}
}

// Disagreements lists the probes that are off their own history now, worst first.
func (j *FaultDetector) Disagreements() []Disagreement {
	var out []Disagreement
	for _, one := range j.Zones.Probes {
		if one.known && math.Abs(one.off) > disagree {
			out = append(out, Disagreement{one.channel, kiln.Celsius(one.off)})
		}
	}
	slices.SortFunc(out, func(a, b Disagreement) int {
		return cmp.Compare(math.Abs(float64(b.By)), math.Abs(float64(a.By)))
	})
	return out
}

// ZonePast is what the judge has learned of the zones, from finished firings alone.
func (j *FaultDetector) ZonePast() ZonePast {
	var out ZonePast
	for _, one := range j.Zones.Probes {
		for way := range one.past {
			for _, b := range one.past[way] {
				if b.Firings > 0 {
					out = append(out, b)
				}
			}
		}
	}
	return out
}

// Join takes in what was seen of the same firing before a restart.
func (z *zones) Join(before *zones) {
	z.Hot = z.Hot || before.Hot
	for p := range z.Probes {
		own, earlier := &z.Probes[p], &before.Probes[p]
		for way := range own.N {
			for i := range own.N[way] {
				own.sum[way][i] += earlier.sum[way][i]
				own.N[way][i] += earlier.N[way][i]
			}
		}
		if !own.known {
			own.off, own.known = earlier.off, earlier.known
		}
	}
}

// ZonesOf learns the history of a kiln's zones from finished firings, the oldest first, each as the
// lowest and highest of every minute of its channels.
func ZonesOf(k kiln.Kiln, firings ...[]kiln.Envelope) ZonePast {
	j := NewFaultDetector(k, nil)
	// the minutes of a firing in order, each channel by the middle of its minute
	for _, f := range firings {
		at := make(map[time.Duration][]kiln.Value)
		var minutes []time.Duration
		for _, e := range f {
			for i, after := range e.After {
				if at[after] == nil {
					minutes = append(minutes, after)
				}
				at[after] = append(at[after], kiln.Value{Channel: e.Channel, T: (e.Low[i] + e.High[i]) / 2})
			}
		}
		slices.Sort(minutes)
		for _, after := range minutes {
			j.Zones.See(kiln.Sample{Kiln: k.ID, At: kiln.Stamp{Boot: "past", Since: after + time.Minute},
				Values: at[after]})
			j.Zones.Hot = false // that the firing is over is known
		}
		j.Zones.close()
		j.Zones.Hot, j.Zones.last, j.Zones.lastAt = false, 0, kiln.Stamp{}
	}
	return j.ZonePast()
}

// See takes a judged sample that was heard before a restart, for how the zones differ.
func (j *FaultDetector) See(s kiln.Sample) { j.Zones.See(s) }

// Join takes in what another judge saw of the same firing before a restart.
func (j *FaultDetector) Join(before *FaultDetector) { j.Zones.Join(&before.Zones) }

// HeldBack is the sample that waits for the next one; ok is false if none does.
func (j *FaultDetector) HeldBack() (s kiln.Sample, ok bool) { return j.held, j.holds }
