package record

import (
	"maps"
	"slices"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
)

// openFiring is a firing while it happens.
type openFiring struct {
	kiln        kiln.Kiln
	firing      kiln.Firing
	rereadDone  bool // the log has had its samples so far
	speaks      kiln.ChannelID
	speaksAfter time.Duration // age at which it began to, in the place of the control probe

	axis      kiln.Ages
	lastGood  time.Duration // age of the last good control reading
	heard     bool          // there was one
	severed   bool          // a gap of unknown length lies since the last good control reading
	restarted bool          // the program began anew since the last good control reading
	unsettled bool          // a gap of unknown length could be known once the clock is trusted
	gaps      []kiln.Gap
	good      int
	faulty    map[kiln.Fault]int

	gauges  []*heatwork.HeatGauge // one a channel; nil for those that are no probe
	cones   heatwork.Witnessed    // what they told when the firing began, or was read again
	helped  []*heatwork.HeatGauge // with that added; nil where no cone has told
	rejoin  []bool                // a channel that has not spoken since a gap of unknown length
	minutes []kiln.Envelope
	tail    kiln.Curve
}

// tailLength is how much of the newest readings is kept one by one, for a page that draws them.
const tailLength = 10 * time.Minute

// newOpenFiring begins a firing of which nothing was heard. Each probe has a gauge of what it indicates
// and, where cones have told of it, a second one with their correction.
func newOpenFiring(k kiln.Kiln, f kiln.Firing, l *heatwork.ConeScale, cones heatwork.Witnessed) *openFiring {
	g := &openFiring{kiln: k, firing: f, speaks: k.Control, cones: cones, faulty: make(map[kiln.Fault]int),
		rejoin: make([]bool, len(k.Channels))}
	for _, c := range k.Channels {
		var gauge, helped *heatwork.HeatGauge
		if c.Role == kiln.RoleProbe {
			gauge = heatwork.NewHeatGauge(l, k.Limit)
			if by, ok := cones.Correction(c.ID); ok {
				helped = heatwork.NewHeatGauge(l, k.Limit)
				helped.Bias, helped.BiasSD = by.Bias, by.SD
			}
		}
		g.gauges, g.helped = append(g.gauges, gauge), append(g.helped, helped)
		g.minutes = append(g.minutes, kiln.Envelope{Channel: c.ID, Step: time.Minute})
		g.tail.Channels = append(g.tail.Channels, c.ID)
		g.tail.T = append(g.tail.T, nil)
	}
	return g
}

// add takes a sample in and gives how long nothing was heard before it, 0 unless that is a
// gap of known length. A sample that is not later than the one before it is not taken.
func (g *openFiring) add(s kiln.Sample) (unheard time.Duration, taken bool) {
	before := g.axis.Last
	j, taken := g.axis.Next(s.At)
	if !taken {
		return 0, false
	}
	// a gap of unknown length: every gauge joins across it as such, and a clock that is trusted later may
	// tell it
	if !j.Known {
		g.severed = true
		g.unsettled = before.Trusted
		for i := range g.rejoin {
			g.rejoin[i] = true
		}
	}
	g.trim(j.Age)
	g.tail.After = append(g.tail.After, j.Age)
	// good readings alone enter minutes and gauges; others are counted
	for i, c := range g.kiln.Channels {
		t := kiln.NoTemperature()
		v, ok := s.Value(c.ID)
		switch {
		case ok && v.Fault != kiln.Good:
			g.faulty[v.Fault]++
		case ok && v.T.Known():
			t = v.T
			if c.ID == g.speaks {
				unheard = g.close(j.Age)
				g.good++
			}
			g.minutes[i].Put(j.Age, t)
			g.heat(i, j.Age, t)
		}
		g.tail.T[i] = append(g.tail.T[i], t)
	}
	return unheard, true
}

// speak tells which probe speaks from the next sample on.
func (g *openFiring) speak(probe kiln.ChannelID) {
	if probe != g.speaks {
		if g.speaks == g.kiln.Control {
			g.speaksAfter = g.axis.Age
		}
		g.speaks = probe
	}
}

// heat gives a reading to the channel's gauges.
func (g *openFiring) heat(i int, age time.Duration, t kiln.Celsius) {
	for _, gauge := range []*heatwork.HeatGauge{g.gauges[i], g.helped[i]} {
		switch {
		case gauge == nil:
		case g.rejoin[i]:
			gauge.Rejoin(age, t)
		default:
			gauge.Add(age, t)
		}
	}
	g.rejoin[i] = false
}

// close marks the gap before a good control reading, if there is one.
func (g *openFiring) close(age time.Duration) (length time.Duration) {
	since := age - g.lastGood
	why := "quiet"
	if g.restarted || g.severed {
		why = "restart"
	}
	// a restart leaves a gap already when two samples are missing
	missed := g.restarted && since > 2*max(g.kiln.Every, time.Second)
	if g.heard && (g.severed || missed || since > g.kiln.GapAfter()) {
		gap := kiln.Gap{After: g.lastGood, For: since, Known: !g.severed, Why: why}
		if !gap.Known {
			gap.For = 0
		}
		g.gaps = append(g.gaps, gap)
		length = gap.For
	}
	g.lastGood, g.heard, g.severed, g.restarted = age, true, false, false
	return length
}

// trim lets go of the tail's beginning once it is twice as long as it need be.
func (g *openFiring) trim(age time.Duration) {
	if n := len(g.tail.After); n == 0 || age-g.tail.After[0] < 2*tailLength {
		return
	}
	from, _ := slices.BinarySearch(g.tail.After, age-tailLength)
	g.tail.After = append([]time.Duration(nil), g.tail.After[from:]...)
	for i, t := range g.tail.T {
		g.tail.T[i] = append([]kiln.Celsius(nil), t[from:]...)
	}
}

// know takes over what the detector was told of kind, atmosphere and load.
func (g *openFiring) know(d *detect.Detector) {
	switch kind, from := d.Kind(); {
	case kind != "":
		g.firing.Kind, g.firing.KindFrom = kind, from
	case g.firing.KindFrom == detect.FromLoad: // which it has no longer
		g.firing.Kind, g.firing.KindFrom = "", ""
	}
	g.firing.Atmosphere, g.firing.Load = d.Atmosphere(), d.Load()
}

// guess names the kind by the heat work so far, if nobody told it.
func (g *openFiring) guess(past detect.Past) {
	if g.firing.KindFrom != detect.FromFact && g.firing.KindFrom != detect.FromLoad {
		g.firing.Kind, g.firing.KindFrom = detect.GuessKind(g.work(g.speaks).C, past), detect.FromGuessed
	}
}

// work is the heat work of one channel.
func (g *openFiring) work(channel kiln.ChannelID) kiln.HeatWork {
	for i, c := range g.kiln.Channels {
		if c.ID == channel && g.gauges[i] != nil {
			return g.gauges[i].HeatWork()
		}
	}
	return kiln.NoHeatWork("")
}

// summary is the firing as far as it has gone.
func (g *openFiring) summary(c detect.Course) kiln.Firing {
	f := g.firing
	f.Peak, f.PeakAfter, f.ToTop, f.Length = c.Peak, c.PeakAfter, c.ToTop, c.Length
	f.Dips = slices.Clone(c.Dips)
	if g.speaks != g.kiln.Control {
		f.StandIn = kiln.StandIn{Probe: g.speaks, For: g.kiln.Control, After: g.speaksAfter}
	}
	f.Gaps, f.Good, f.Faulty = slices.Clone(g.gaps), g.good, maps.Clone(g.faulty)
	f.HeatWork = make(map[kiln.ChannelID]kiln.HeatWork)
	for i, gauge := range g.gauges {
		if gauge == nil {
			continue
		}
		channel := g.kiln.Channels[i].ID
		indicated := gauge.HeatWork()
		f.HeatWork[channel] = indicated
		if helped := g.helped[i]; helped != nil && g.cones[channel].Last().Tells(indicated.C) {
			if f.Corrected == nil {
				f.Corrected = make(map[kiln.Place]kiln.HeatWork)
			}
			w := helped.HeatWork()
			w.Since = g.cones[channel].Life.Since()
			f.Corrected[kiln.Place{Channel: channel}] = w
		}
	}
	return f
}

// finish is the whole firing, over.
func (g *openFiring) finish(c detect.Course, past detect.Past) kiln.Firing {
	if c.Kind != "" {
		g.firing.Kind, g.firing.KindFrom, g.firing.Atmosphere = c.Kind, c.KindFrom, c.Atmosphere
	}
	g.firing.Load = c.Load
	if g.firing.Atmosphere == "" {
		g.firing.Atmosphere = c.Atmosphere
	}
	// a kind that nobody told is guessed by the heat; below 550 °C nothing was fired
	if c.Kind == "" {
		g.guess(past)
		if c.Peak < kiln.NoConeMoves {
			g.firing.Kind = kiln.Other
		}
	}
	f := g.summary(c)
	f.Corrected = nil // its own cones may tell more
	f.Status, f.Over, f.AtLeast, f.Provisional = c.Status, c.Over, c.AtLeast, false
	if f.AtLeast {
		for channel, w := range f.HeatWork {
			w.High = kiln.NoTemperature()
			f.HeatWork[channel] = w
		}
	}
	return f
}
