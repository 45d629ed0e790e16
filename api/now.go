package api

import (
	"context"
	"fmt"
	"math"
	"strings"

	"lidwright/kiln"
	"lidwright/kiln/faults"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/record"
)

type nowJSON struct {
	Items []kilnNowJSON `json:"items"`
}

type kilnNowJSON struct {
	Kiln                string           `json:"kiln"`
	State               string           `json:"state" enum:"quiet,cold,soaking,falling,rising,holding,warm"`
	Hot                 bool             `json:"hot" doc:"The last good reading was over 60 °C, or one that is held aside is"`
	TemperatureC        *float64         `json:"temperature_c" doc:"null unless fresh"`
	LastTemperatureC    *float64         `json:"last_temperature_c"`
	RateCPerH           *float64         `json:"rate_c_per_h"`
	ReadAt              *string          `json:"read_at"`
	ReadAgeS            *int64           `json:"read_age_s"`
	Fresh               bool             `json:"fresh"`
	ClockTrusted        bool             `json:"clock_trusted"`
	Channels            []channelNowJSON `json:"channels"`
	Probe               string           `json:"probe" doc:"The channel that speaks: temperature, rate, peak and heat work are of it"`
	ProbeSince          *string          `json:"probe_since" doc:"Since when it speaks in the place of the control probe, which is broken; null while that speaks itself"`
	HeldC               *float64         `json:"held_c" doc:"The hottest reading that is held aside, because no kiln can have jumped to it: it may be false. null while there is none"`
	HeldSince           *string          `json:"held_since"`
	HeldSays            string           `json:"held_says" doc:"The same in words, and what to do"`
	Firing              *string          `json:"firing"`
	FiringName          *string          `json:"firing_name"`
	Kind                *string          `json:"kind"`
	KindFrom            *string          `json:"kind_from"`
	Hours               *float64         `json:"hours"`
	PeakC               *float64         `json:"peak_c"`
	HeatWorkC           *float64         `json:"heat_work_c"`
	HeatWorkLikelyC     []*float64       `json:"heat_work_likely_c"`
	Cone                *string          `json:"cone"`
	ConeWords           *string          `json:"cone_words"`
	ConePosition        *float64         `json:"cone_position"`
	Corrected           *nowWorkJSON     `json:"corrected" doc:"The same as the witness cones correct the probe; null where they told nothing of it near this heat"`
	LimitC              *float64         `json:"limit_c"`
	OverLimit           bool             `json:"over_limit"`
	KeepShutAboveC      *float64         `json:"keep_shut_above_c"`
	StillHot            bool             `json:"still_hot" doc:"Still hot, or climbing again, long after the end of a firing"`
	BelowKeepShut       bool             `json:"below_keep_shut"`
	BelowKeepShutAt     *string          `json:"below_keep_shut_about" doc:"When it is likely to read below it; null while it is not cooling or nobody can tell. No leave to open"`
	BelowKeepShutLikely []string         `json:"below_keep_shut_likely" doc:"Two times of the clock, 90 % likely; null while it is not cooling or nobody can tell"`
	BelowKeepShutSays   string           `json:"below_keep_shut_says" doc:"The same in words, while it cools"`
	HeatWorkProvisional bool             `json:"provisional" doc:"The heat work may still grow"`
	Waits               string           `json:"waits" doc:"What the line waits for, in words; empty while it is heard"`
	Unwritten           string           `json:"unwritten" doc:"Why readings wait in memory instead of being written; empty if all is well"`
}

type nowWorkJSON struct {
	workJSON
	CorrectionC  *float64 `json:"correction_c" doc:"What is added to every reading"`
	CorrectionSD *float64 `json:"correction_sd_c"`
}

type channelNowJSON struct {
	Channel      string   `json:"channel"`
	Role         string   `json:"role"`
	TemperatureC *float64 `json:"temperature_c"`
	Fresh        bool     `json:"fresh"`
	Fault        string   `json:"fault" doc:"Fault of the newest reading, empty if it was good"`
	HeldC        *float64 `json:"held_c" doc:"A reading that is held aside, because no kiln can have jumped to it; null while there is none"`
	StillSince   *string  `json:"still_since" doc:"Since when it has read the same to the last digit, though it moved before: frozen, or a hold in coarse steps; null else"`
	OffUsualC    *float64 `json:"off_usual_c" doc:"How much hotter it reads than usual beside the control probe, where that is more than 15 °C; null else"`
}

type nowInput struct {
	Accept string `header:"Accept"`
	Kiln   string `query:"kiln" doc:"This kiln alone; as text it must be named where there are several"`
}

type kilnNowInput struct {
	KilnPath
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
		items = []kilnNowJSON{one}
	}
	switch {
	case !wantsText(in.Accept):
		return &nowOutput{"application/json", nowJSON{items}}, nil
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

func kilnNamed(items []kilnNowJSON, name string) (kilnNowJSON, error) {
	for _, k := range items {
		if k.Kiln == name {
			return k, nil
		}
	}
	return kilnNowJSON{}, record.ErrNoKiln
}

// temperatureText is the bare temperature in °C of one kiln, to a tenth. Without a fresh reading there
// is none: another kiln's, or an old one, would read as if this kiln were cold.
func temperatureText(k kilnNowJSON) (*nowOutput, error) {
	if k.TemperatureC == nil {
		return nil, problem("kiln-not-heard", k.Kiln+" has no fresh reading.")
	}
	return &nowOutput{"text/plain; charset=utf-8", []byte(fmt.Sprintf("%.1f\n", *k.TemperatureC))}, nil
}

// whichKiln refuses a bare number that could be of any of several kilns.
func whichKiln(items []kilnNowJSON) *Problem {
	var names []string
	for _, k := range items {
		names = append(names, k.Kiln)
	}
	says := "there are several kilns: " + strings.Join(names, ", ")
	return problem("which-kiln", "Name one, as /v1/now/"+names[0]+" or ?kiln="+names[0]+": "+says+".", ProblemField{Name: "kiln", Says: says})
}

func (s *Server) kilnsNow() []kilnNowJSON {
	items := []kilnNowJSON{}
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

func (s *Server) kilnNow(l record.Live) kilnNowJSON {
	j := kilnNowJSON{
		Kiln: string(l.Kiln), State: string(l.State), Hot: l.Hot, TemperatureC: celsius(l.T), LastTemperatureC: celsius(l.LastT),
		RateCPerH: rounded(float64(l.Rate), 0), Fresh: l.Fresh, ClockTrusted: l.ClockTrusted, Channels: []channelNowJSON{},
		LimitC: celsius(l.Limit), OverLimit: l.OverLimit, KeepShutAboveC: celsius(l.KeepShut), BelowKeepShut: l.BelowMark, StillHot: l.StillHot,
		Kind: text(string(l.Kind)), KindFrom: text(l.KindFrom),
	}
	if l.LastT.Known() {
		age := seconds(l.Age)
		j.ReadAt, j.ReadAgeS = s.moment(l.ReadAt.Wall), &age
	}
	for _, c := range l.Channels {
		j.Channels = append(j.Channels, channelNowJSON{string(c.Channel), string(c.Role), celsius(c.T), c.Fresh, string(c.Fault), heldC(c.Aside), s.since(c.Still), offUsual(l, c.Channel)})
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
			j.Corrected = &nowWorkJSON{workJSON{celsius(c.C), likely(c), heatwork.ConeText(c), heatwork.ConeWords(c)}, celsius(c.Bias), celsius(c.BiasSD)}
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
