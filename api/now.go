package api

import (
	"context"
	"fmt"
	"math"
	"strings"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/faults"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/record"
)

type nowInput struct {
	Accept string `header:"Accept"`
	Kiln   string `query:"kiln" doc:"This kiln alone; as text it must be named where there are several"`
}

type kilnNowInput struct {
	wire.KilnPath
	Accept string `header:"Accept"`
}

type nowOutput struct {
	ContentType string `header:"Content-Type"`
	Body        any
}

func (s *Server) getNow(ctx context.Context, in *nowInput) (*nowOutput, error) {
	items := s.kilnsNow()
	if in.Kiln != "" {
		one, err := kilnNamed(items, in.Kiln)
		if err != nil {
			return nil, s.problemFrom(ctx, err)
		}
		items = []wire.KilnNow{one}
	}
	switch {
	case !wantsText(in.Accept):
		return &nowOutput{"application/json", wire.Now{Items: items}}, nil
	case len(items) > 1:
		return nil, whichKiln(items)
	case len(items) == 0:
		return nil, problem("kiln-not-heard", "There is no kiln in the settings.")
	}
	return temperatureText(items[0])
}

func (s *Server) getKilnNow(ctx context.Context, in *kilnNowInput) (*nowOutput, error) {
	one, err := kilnNamed(s.kilnsNow(), in.Kiln)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	if wantsText(in.Accept) {
		return temperatureText(one)
	}
	return &nowOutput{"application/json", one}, nil
}

func kilnNamed(items []wire.KilnNow, name string) (wire.KilnNow, error) {
	for _, k := range items {
		if k.Kiln == name {
			return k, nil
		}
	}
	return wire.KilnNow{}, record.ErrNoKiln
}

// temperatureText is the bare temperature in °C of one kiln, to a tenth. Without a fresh reading there
// is none: another kiln's, or an old one, would read as if this kiln were cold.
func temperatureText(k wire.KilnNow) (*nowOutput, error) {
	if k.TemperatureC == nil {
		return nil, problem("kiln-not-heard", k.Kiln+" has no fresh reading.")
	}
	return &nowOutput{"text/plain; charset=utf-8", []byte(fmt.Sprintf("%.1f\n", *k.TemperatureC))}, nil
}

// whichKiln refuses a bare number that could be of any of several kilns.
func whichKiln(items []wire.KilnNow) *Problem {
	var names []string
	for _, k := range items {
		names = append(names, k.Kiln)
	}
	says := "there are several kilns: " + strings.Join(names, ", ")
	return problem("which-kiln", "Name one, as /v1/now/"+names[0]+" or ?kiln="+names[0]+": "+says+".", wire.Field{Name: "kiln", Says: says})
}

func (s *Server) kilnsNow() []wire.KilnNow {
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

func (s *Server) kilnNow(l record.Live) wire.KilnNow {
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
func (s *Server) speaks(l record.Live) kiln.ChannelID {
	if l.Probe != "" {
		return l.Probe
	}
	return s.Kiln[l.Kiln].Control
}

// since is a moment that may not be told.
func (s *Server) since(at kiln.Stamp) *string {
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
