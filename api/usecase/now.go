package usecase

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/faults"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
)

// KilnsNow is what every kiln does now, with what its line waits for and why readings are not written,
// where that is so.
func (s Kilns) KilnsNow(ctx context.Context) []wire.KilnNow {
	items := []wire.KilnNow{}
	waits := map[kiln.KilnID]message.Message{}
	for _, l := range s.Lines() {
		waits[l.Kiln] = l.Waits
	}
	trouble, troubled := s.Recorder.Trouble()
	for _, l := range s.Recorder.Live() {
		j := s.KilnNow(ctx, l)
		j.Waits = waits[l.Kiln]
		if j.Waits.IsZero() && j.ReadAgeS == nil {
			j.Waits = message.New("no reading yet")
		}
		if troubled {
			j.Unwritten = message.Stopped(trouble.Why)
		}
		items = append(items, j)
	}
	return items
}

// KilnNow is what one kiln does, as the recorder has it, with the forecasts that its usual firings allow.
func (s Kilns) KilnNow(ctx context.Context, l record.Live) wire.KilnNow {
	j := wire.KilnNow{
		Kiln: string(l.Kiln), State: string(l.State), Hot: l.Hot, TemperatureC: Celsius(l.T),
		LastTemperatureC: Celsius(l.LastT),
		RateCPerH:        Rounded(float64(l.Rate), 0), Fresh: l.Fresh, ClockTrusted: l.ClockTrusted,
		Channels: []wire.ChannelNow{},
		LimitC:   Celsius(l.Limit), OverLimit: l.OverLimit, KeepShutAboveC: Celsius(l.KeepShut),
		BelowKeepShut: l.BelowMark, TooSoon: l.TooSoon, StillHot: l.StillHot,
		Kind: Text(string(l.Kind)), KindFrom: Text(l.KindFrom), Stopped: s.Stopped(l.Undoable),
		Vent: Text(string(l.Vent)),
	}
	if l.LastT.Known() {
		age := Seconds(l.Age)
		j.ReadAt, j.ReadAgeS = s.Moment(l.ReadAt.Wall), &age
	}
	for _, c := range l.Channels {
		j.Channels = append(j.Channels, wire.ChannelNow{Channel: string(c.Channel), Role: string(c.Role),
			TemperatureC: Celsius(c.T), Fresh: c.Fresh, Fault: string(c.Fault), HeldC: heldC(c.Aside),
			StillSince: s.since(c.Still), OffUsualC: offUsual(l, c.Channel)})
	}
	j.Probe, j.ProbeSince = string(s.Speaks(l)), s.since(l.ProbeSince)
	j.HeldC, j.HeldSince, j.HeldSays = heldC(l.Aside), s.since(l.Aside.Since), heldSays(l)
	if l.Firing == "" {
		return j
	}
	if u, ok := s.Firings().unpackable(l); ok {
		if j.BelowKeepShutSays = u.Says; u.Known && u.Left > 0 {
			now := s.Now().Wall
			j.BelowKeepShutAt, j.BelowKeepShutLikely = s.Moment(now.Add(u.Left)), s.Firings().clocksOf(u, now)
		}
	}
	s.foresee(ctx, l, &j)
	j.HeatWorkProvisional = l.Provisional
	j.Firing, j.FiringName, j.Hours, j.PeakC = Text(string(l.Firing)),
		Text(kiln.Firing{Kiln: l.Kiln, Number: l.Number}.Name()), hours(l.Elapsed), Celsius(l.Peak)
	if h, ok := l.HeatWork[s.Speaks(l)]; ok {
		j.Cone, j.ConeWords = Text(heatwork.ConeText(h)), Said(heatwork.ConeWords(h))
		if h.C.Known() {
			j.HeatWorkC, j.HeatWorkLikelyC, j.ConePosition = Celsius(h.C), []*float64{Celsius(h.Low),
				Celsius(h.High)},
				Rounded(math.Max(h.Position, 0), 2)
		}
		if c, told := l.Corrected[kiln.Place{Channel: s.Speaks(l)}]; told {
			j.Corrected = &wire.NowWork{Work: wire.Work{HeatWorkC: Celsius(c.C), Likely: likely(c),
				Cone: Text(heatwork.ConeText(c)), ConeWords: heatwork.ConeWords(c)},
				CorrectionC:  Celsius(c.Bias),
				CorrectionSD: Celsius(c.BiasSD)}
		}
	}
	return j
}

// foresee tells, of a kiln that heats, when its usual firings say that it reads below its mark, and how far
// ahead of them it is.
func (s Kilns) foresee(ctx context.Context, l record.Live, j *wire.KilnNow) {
	f, err := s.Firings().heating(ctx, l)
	if err != nil {
		if ctx.Err() == nil {
			slog.WarnContext(ctx, "the usual firings cannot be read: nothing is foreseen",
				"kiln", l.Kiln, "err", err)
		}
		return
	}
	if !f.Known {
		if l.Firing != "" && !l.TopPassed && l.Elapsed >= forecastFrom && foreseeable(l) {
			j.BelowKeepShutSays = message.New("When it reads below {1} is not known until it cools.",
				l.KeepShut)
		}
		return
	}
	now := s.Now().Wall
	j.AheadMin = Rounded(f.Ahead.Minutes(), 0)
	j.PeakAt = s.Moment(now.Add(f.Peak))
	switch ahead := f.Ahead.Round(time.Minute); {
	case ahead >= 3*time.Minute:
		j.AheadSays = message.New("{1} ahead of usual", minutesSay(ahead))
	case ahead <= -3*time.Minute:
		j.AheadSays = message.New("{1} behind usual", minutesSay(-ahead))
	default:
		j.AheadSays = message.New("as usual")
	}
	if f.CoolKnown {
		j.BelowKeepShutAt, j.BelowKeepShutLikely =
			s.Moment(now.Add(f.Cool.Left)), s.Firings().clocksOf(f.Cool, now)
	}
}

// minutesSay is a time as people say it.
func minutesSay(d time.Duration) string {
	if d < 100*time.Minute {
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%.1f h", d.Hours())
}

// Speaks is the channel that speaks for a kiln now.
func (s Kilns) Speaks(l record.Live) kiln.ChannelID {
	if l.Probe != "" {
		return l.Probe
	}
	return s.Known(l.Kiln).Control
}

// since is a moment that may not be told.
func (s Kilns) since(at kiln.Stamp) *string {
	if at == (kiln.Stamp{}) {
		return nil
	}
	return s.Moment(at.Wall)
}

// heldC is a reading held aside; nil where there is none.
func heldC(a faults.Aside) *float64 {
	if !a.Held() {
		return nil
	}
	return Celsius(a.T)
}

// heldSays is what a reading held aside is in words.
func heldSays(l record.Live) message.Message {
	if !l.Aside.Held() {
		return message.Message{}
	}
	if l.Aside.Unit {
		return message.New("It jumped to {1}, as a controller does that was switched to another unit: it may be false. Go and look if it is safe.", l.Aside.T)
	}
	return message.New("It jumped to {1}, which no kiln can do: it may be false. Go and look if it is safe.",
		l.Aside.T)
}

// offUsual is how far a channel is off what it used to read beside the control probe; nil where it
// is not off.
func offUsual(l record.Live, c kiln.ChannelID) *float64 {
	for _, d := range l.Disagree {
		if d.Channel == c {
			return Rounded(float64(d.By), 0)
		}
	}
	return nil
}

// Line is how one kiln is heard on its serial line: what the settings page, `lidwright check` and
// the metrics tell of it.
type Line struct {
	Kiln kiln.KilnID
	Port string
	Open bool
	// what is waited for, in words; empty while the port is open
	Waits                             message.Message
	Heard                             []Remark
	Sends                             []message.Message // all that is ever sent for it
	Good, Garbled, Silent, Breakvalue uint64            // since the start of the program
	GoodMinute, BadMinute             int               // in the last minute
	// s, that minute, or less where it was listened to for less
	Window float64
	Last   []kiln.Value
	LastAt kiln.Stamp // zero: nothing heard yet
	Orders []Order    // of a Modbus line
}

// Remark is one thing that was heard.
type Remark struct {
	Says message.Message
	Look bool // it asks to be looked at
}

// Order is one number of 32 bits off a Modbus line in every order of its bytes.
type Order struct {
	Channel kiln.ChannelID
	Set     string             // the order of the settings
	Values  map[string]float64 // by order, in the unit of the settings
}

// JSON is l as it is written; at writes a stamp.
func (l Line) JSON(at func(kiln.Stamp) *string) wire.Line {
	j := wire.Line{Kiln: string(l.Kiln), Port: l.Port, Open: l.Open, Waits: l.Waits,
		Words: []message.Message{},
		Look:  []message.Message{},
		Sends: append([]message.Message{}, l.Sends...),
		ForS:  Rounded(l.Window, 0), Good: l.GoodMinute, Bad: l.BadMinute, Last: []wire.Last{},
		Orders: []wire.Order{},
		Outcome: wire.OutcomesTotal{Good: l.Good, Garbled: l.Garbled, Silent: l.Silent,
			Breakvalue: l.Breakvalue}}
	for _, r := range l.Heard {
		j.Words = append(j.Words, r.Says)
		if r.Look {
			j.Look = append(j.Look, r.Says)
		}
	}
	if l.LastAt != (kiln.Stamp{}) {
		j.ReadAt = at(l.LastAt)
	}
	for _, v := range l.Last {
		one := wire.Last{Channel: string(v.Channel), Fault: string(v.Fault)}
		if v.Fault == kiln.Good {
			one.TemperatureC = Celsius(v.T)
		}
		j.Last = append(j.Last, one)
	}
	for _, o := range l.Orders {
		one := wire.Order{Channel: string(o.Channel), Set: o.Set, Values: map[string]*float64{}}
		for order, v := range o.Values {
			one.Values[order] = Rounded(v, 3)
		}
		j.Orders = append(j.Orders, one)
	}
	return j
}

// LinesNow is what each serial line heard in the last minute, in words and figures.
func (s Kilns) LinesNow() []wire.Line {
	items := []wire.Line{}
	for _, l := range s.Lines() {
		items = append(items, l.JSON(func(at kiln.Stamp) *string { return s.Moment(at.Wall) }))
	}
	return items
}
