package api

import (
	"fmt"
	"math"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/faults"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/record"
)

func (s *Studio) kilnsNow() []wire.KilnNow {
	items := []wire.KilnNow{}
	waits := map[kiln.KilnID]string{}
	for _, l := range s.Lines() {
		waits[l.Kiln] = l.Waits
	}
	trouble, troubled := s.Kilns.Trouble()
	for _, l := range s.Kilns.Live() {
		j := s.kilnNow(l)
		j.Waits = waits[l.Kiln]
		if j.Waits == "" && j.ReadAgeS == nil {
			j.Waits = "no reading yet"
		}
		if troubled {
			j.Unwritten = sentence(trouble.Why)
		}
		items = append(items, j)
	}
	return items
}

func (s *Studio) kilnNow(l record.Live) wire.KilnNow {
	j := wire.KilnNow{
		Kiln: string(l.Kiln), State: string(l.State), Hot: l.Hot, TemperatureC: celsius(l.T), LastTemperatureC: celsius(l.LastT),
		RateCPerH: rounded(float64(l.Rate), 0), Fresh: l.Fresh, ClockTrusted: l.ClockTrusted, Channels: []wire.ChannelNow{},
		LimitC: celsius(l.Limit), OverLimit: l.OverLimit, KeepShutAboveC: celsius(l.KeepShut), BelowKeepShut: l.BelowMark, StillHot: l.StillHot,
		Kind: text(string(l.Kind)), KindFrom: text(l.KindFrom),
	}
	if l.LastT.Known() {
		age := seconds(l.Age)
		j.ReadAt, j.ReadAgeS = s.moment(l.ReadAt.Wall), &age
	}
	for _, c := range l.Channels {
		j.Channels = append(j.Channels, wire.ChannelNow{Channel: string(c.Channel), Role: string(c.Role), TemperatureC: celsius(c.T), Fresh: c.Fresh, Fault: string(c.Fault), HeldC: heldC(c.Aside), StillSince: s.since(c.Still), OffUsualC: offUsual(l, c.Channel)})
	}
	j.Probe, j.ProbeSince = string(s.speaks(l)), s.since(l.ProbeSince)
	j.HeldC, j.HeldSince, j.HeldSays = heldC(l.Aside), s.since(l.Aside.Since), heldSays(l)
	if l.Firing == "" {
		return j
	}
	if u, ok := s.unpackable(l); ok {
		if j.BelowKeepShutSays = u.Says; u.Known && u.Left > 0 {
			now := s.Now().Wall
			j.BelowKeepShutAt, j.BelowKeepShutLikely = s.moment(now.Add(u.Left)), s.clocksOf(u, now)
		}
	}
	j.HeatWorkProvisional = l.Provisional
	j.Firing, j.FiringName, j.Hours, j.PeakC = text(string(l.Firing)), text(kiln.Firing{Kiln: l.Kiln, Number: l.Number}.Name()), hours(l.Elapsed), celsius(l.Peak)
	if h, ok := l.HeatWork[s.speaks(l)]; ok {
		j.Cone, j.ConeWords = text(heatwork.ConeText(h)), text(heatwork.ConeWords(h))
		if h.C.Known() {
			j.HeatWorkC, j.HeatWorkLikelyC, j.ConePosition = celsius(h.C), []*float64{celsius(h.Low), celsius(h.High)}, rounded(math.Max(h.Position, 0), 2)
		}
		if c, told := l.Corrected[kiln.Place{Channel: s.speaks(l)}]; told {
			j.Corrected = &wire.NowWork{Work: wire.Work{HeatWorkC: celsius(c.C), Likely: likely(c), Cone: heatwork.ConeText(c), ConeWords: heatwork.ConeWords(c)}, CorrectionC: celsius(c.Bias), CorrectionSD: celsius(c.BiasSD)}
		}
	}
	return j
}

// speaks is the channel that speaks for a kiln now.
func (s *Studio) speaks(l record.Live) kiln.ChannelID {
	if l.Probe != "" {
		return l.Probe
	}
	return s.Kiln[l.Kiln].Control
}

// since is a moment that may not be told.
func (s *Studio) since(at kiln.Stamp) *string {
	if at == (kiln.Stamp{}) {
		return nil
	}
	return s.moment(at.Wall)
}

// heldC is a reading held aside; nil where there is none.
func heldC(a faults.Aside) *float64 {
	if !a.Held() {
		return nil
	}
	return celsius(a.T)
}

// heldSays is what a reading held aside is in words.
func heldSays(l record.Live) string {
	if !l.Aside.Held() {
		return ""
	}
	says := fmt.Sprintf("It jumped to %.0f °C, which no kiln can do: it may be false. Go and look if it is safe.", float64(l.Aside.T))
	if l.Aside.Unit {
		says = fmt.Sprintf("It jumped to %.0f °C, as a controller does that was switched to another unit: it may be false. Go and look if it is safe.", float64(l.Aside.T))
	}
	return says
}

// offUsual is how far a channel is off what it used to read beside the control probe; nil where it
// is not off.
func offUsual(l record.Live, c kiln.ChannelID) *float64 {
	for _, d := range l.Disagree {
		if d.Channel == c {
			return rounded(float64(d.By), 0)
		}
	}
	return nil
}
