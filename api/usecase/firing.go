package usecase

import (
	"fmt"
	"math"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/analysis"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
)

// GapsJSON are gaps as the API tells them; one of unknown length has no length.
func GapsJSON(gaps []kiln.Gap) []wire.Gap {
	out := []wire.Gap{}
	for _, g := range gaps {
		j := wire.Gap{AfterS: Seconds(g.After), Why: g.Why}
		if g.Known {
			n := Seconds(g.For)
			j.ForS = &n
		}
		out = append(out, j)
	}
	return out
}

// ProbeOf is the channel that spoke for a firing: the control probe, or what stood in for it.
func (s Firings) ProbeOf(f kiln.Firing) kiln.ChannelID {
	if f.StandIn.Probe != "" {
		return f.StandIn.Probe
	}
	return s.Known(f.Kiln).Control
}

// firingJSON is a firing, of which usual is what was usual before it.
func (s Firings) firingJSON(f kiln.Firing, control kiln.ChannelID, usual detect.Expected) wire.Firing {
	j := wire.Firing{
		ID: string(f.ID), Name: f.Name(), Kiln: string(f.Kiln), Kind: string(f.Kind), KindFrom: f.KindFrom,
		Atmosphere: string(f.Atmosphere), Source: f.Source, Load: Text(f.Load), Status: string(f.Status),
		Provisional: f.Provisional,
		StartedAt:   s.Moment(f.Began.Wall), EndedAt: s.Moment(f.Over.Wall),
		ClockTrusted: f.Began.Trusted && (f.Over.Wall.IsZero() || f.Over.Trusted),
		Hours:        hours(f.Length), PeakC: Celsius(f.Peak), Dips: []wire.Dip{},
		Gaps: GapsJSON(f.Gaps), Note: f.Note,
		Readings: wire.Readings{Good: f.Good, Faulty: map[string]int{}},
	}
	if p := f.StandIn; p.Probe != "" {
		j.StandIn = &wire.StandIn{Probe: string(p.Probe), For: string(p.For), AfterS: Seconds(p.After)}
	}
	if f.Peak.Known() {
		n := Seconds(f.PeakAfter)
		j.PeakAfterS = &n
	}
	if f.ToTop > 0 {
		j.HoursToTop = hours(f.ToTop)
		if f.Status != kiln.Running {
			j.CoolingHours = hours(f.Length - f.ToTop)
		}
	}
	for _, d := range f.Dips {
		j.Dips = append(j.Dips, wire.Dip{FromS: Seconds(d.From), ToS: Seconds(d.To),
			LowestC: Celsius(d.Lowest)})
	}
	for fault, n := range f.Faulty {
		j.Readings.Faulty[string(fault)] = n
	}
	h, ok := f.Work(control)
	if !ok {
		for _, any := range f.HeatWork {
			h = any
		}
	}
	if h.Model != "" || ok {
		j.HeatWorkC, j.HeatWorkFrom, j.HeatModel, j.Estimate = Celsius(h.C), h.From, h.Model, h.Estimate
		j.HeatLikely = likely(h)
		j.Cone, j.ConeWords, j.ConePosition = Text(heatwork.ConeText(h)), heatwork.ConeWords(h),
			Rounded(h.Position, 2)
	}
	if i, has := f.HeatWork[control]; has {
		j.AsIndicated = &wire.Work{HeatWorkC: Celsius(i.C), Likely: likely(i),
			Cone:      Text(heatwork.ConeText(i)),
			ConeWords: heatwork.ConeWords(i)}
		if c, done := f.Corrected[kiln.Place{Channel: control}]; done {
			j.CorrectionC, j.CorrectionSD = Celsius(c.Bias), Celsius(c.BiasSD)
		}
	}
	if f.Told.Sitter != "" {
		j.Sitter = &wire.Sitter{Cone: f.Told.Sitter, Series: string(f.Told.SitterSeries),
			DroppedAt: s.Moment(f.Told.Dropped)}
	}
	j.IntendedCone = f.Told.Intended
	if f.Status == kiln.Ended {
		u := analysis.SayUsual(f, control, usual)
		if j.Says = u.Says; u.Known {
			j.Usual = &u.Usual
		}
	} else {
		j.Says = gapsSay(f)
	}
	j.Says = message.Join("; ", append([]message.Message{j.Says}, firingSays(f)...)...)
	return j
}

// likely is the 90 % range of a heat work; nil where there is none. Where only an upper end is known, the
// lower one is nil.
func likely(h kiln.HeatWork) []*float64 {
	if !h.C.Known() && !(math.IsNaN(h.Position) && h.High.Known()) {
		return nil
	}
	return []*float64{Celsius(h.Low), Celsius(h.High)}
}

// gapsSay tells of the gaps of a minute and more: of one how long it was, of several how many, how long in
// all, and the longest.
func gapsSay(f kiln.Firing) message.Message {
	var sum, longest time.Duration
	known, unknown := 0, 0
	for _, g := range f.Gaps {
		switch {
		case !g.Known:
			unknown++
		case g.For >= time.Minute:
			known, sum, longest = known+1, sum+g.For, max(longest, g.For)
		}
	}
	var says [2]message.Message
	switch {
	case known == 1:
		says[0] = message.New("gap {1}", minutes(sum))
	case known > 1:
		says[0] = message.New("{1} gaps, {2} in all, the longest {3}", known, minutes(sum), minutes(longest))
	}
	if unknown > 0 {
		says[1] = message.Count(unknown, "a gap of unknown length", "{1} gaps of unknown length")
	}
	return message.Join("; ", says[:]...)
}

func minutes(d time.Duration) string { return fmt.Sprintf("%.0f min", d.Minutes()) }

// firingSays is what else there is to say of a firing, of facts alone.
func firingSays(f kiln.Firing) (says []message.Message) {
	for _, d := range f.Dips {
		says = append(says, message.New("a dip of {1} to {2}", minutes(d.To-d.From), d.Lowest))
	}
	if p := f.StandIn; p.Probe != "" {
		says = append(says, message.New("probe {1} spoke for probe {2}, which was broken", p.Probe, p.For))
	}
	if f.Status == kiln.Incomplete {
		says = append(says, message.New("incomplete"))
	}
	if f.AtLeast {
		says = append(says, message.New("heat work at least this"))
	}
	return says
}
