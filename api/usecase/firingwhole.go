package usecase

import (
	"context"
	"errors"
	"slices"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/analysis"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
	"lidwright/tiles"
)

// UsualLook is how many firings back a usual one is looked for.
const UsualLook = 200

// WholeFiring gathers everything about one firing.
func (s Firings) WholeFiring(ctx context.Context, id kiln.FiringID) (wire.FiringWhole, error) {
	f, err := s.FindFiring(ctx, id)
	if err != nil {
		return wire.FiringWhole{}, err
	}
	before, err := s.Archive.Firings(ctx, kiln.FiringFilter{Kiln: f.Kiln, Before: f.Began.Wall,
		Limit: UsualLook})
	if err != nil {
		return wire.FiringWhole{}, err
	}
	control := s.Known(f.Kiln).Control
	usual := detect.UsualBefore(append([]kiln.Firing{f}, before...), 0, control)
	j := wire.FiringWhole{Firing: s.Firing(f, usual), Remarks: []wire.Remark{}, Cones: []wire.Cone{},
		Notes: []wire.Note{}, HandSays: []message.Message{}, VentOff: []wire.VentOff{}}
	if err := s.addFeatures(ctx, f, &j); err != nil {
		return j, err
	}
	if j.VentOff, j.VentSays, err = s.ventOff(ctx, f); err != nil {
		return j, err
	}
	cones, err := s.Archive.Cones(ctx, id)
	if err != nil {
		return j, err
	}
	notes, err := s.Archive.Notes(ctx, id)
	if err != nil {
		return j, err
	}
	stories, err := s.Heat.Stories(ctx, f.Kiln)
	if err != nil {
		return j, err
	}
	for _, c := range cones {
		j.Cones = append(j.Cones, s.coneJSON(f, c, stories))
	}
	for _, n := range notes {
		j.Notes = append(j.Notes, s.noteJSON(n))
	}
	if f.Source != "hand" { // that went by no probe
		j.ProbeSays = probeSays(stories, control, id)
	} else {
		typed, err := s.Archive.Curve(ctx, id, []kiln.ChannelID{kiln.ByHandChannel}, TypedGap)
		if err != nil {
			return j, err
		}
		_, says := heatwork.HandWork(f, tiles.ConeReadings(cones)[id], typed, s.Known(f.Kiln).Limit)
		j.HandSays = append(j.HandSays, says...)
	}
	return j, nil
}

// ventOff are the stretches of a firing in which its vent was off, and the same in words.
func (s Firings) ventOff(ctx context.Context, f kiln.Firing) (off []wire.VentOff, says message.Message,
	err error) {
	off = []wire.VentOff{}
	var contacts []kiln.ChannelID
	for _, c := range s.Known(f.Kiln).Channels {
		if c.Role == kiln.RoleVent {
			contacts = append(contacts, c.ID)
		}
	}
	if len(contacts) == 0 || f.Source == "hand" {
		return off, says, nil
	}
	lines, _, err := s.Envelopes(ctx, f, contacts, 0, time.Minute)
	if errors.Is(err, kiln.ErrNoFiring) { // it began a moment ago
		return off, says, nil
	}
	var all time.Duration
	for _, line := range lines {
		for _, v := range analysis.VentOffs(line) {
			off = append(off, wire.VentOff{AfterS: Seconds(v.After), ForS: Seconds(v.For)})
			all += v.For
		}
	}
	if len(off) > 0 {
		says = message.New("The vent was off for {1} of this firing, first {2} after it began.",
			minutesSay(all), minutesSay(time.Duration(off[0].AfterS)*time.Second))
	}
	return off, says, err
}

// VentSays tells when the vent of a firing was off; empty where it was not.
func (s Firings) VentSays(ctx context.Context, f kiln.Firing) (message.Message, error) {
	_, says, err := s.ventOff(ctx, f)
	return says, err
}

// addFeatures works the features out of the curve.
func (s Firings) addFeatures(ctx context.Context, f kiln.Firing, j *wire.FiringWhole) error {
	channel, k := s.ProbeOf(f), s.Known(f.Kiln)
	gap := k.GapAfter()
	if f.Source == "hand" {
		channel, gap = kiln.ByHandChannel, TypedGap
	}
	curve, err := s.Archive.Curve(ctx, f.ID, []kiln.ChannelID{channel}, gap)
	if err != nil && f.Status != kiln.Running { // one that began a moment ago is not written yet
		return err
	}
	if f.Source == "hand" {
		curve = heatwork.TypedCurve(curve)
	}
	v := analysis.FeaturesOf(curve, channel)
	for _, r := range v.Remarks(f.Kind, analysis.DefaultFeatureLimits()) {
		j.Remarks = append(j.Remarks, wire.Remark{Figure: r.Figure, Says: r.Says, Limit: r.Limit,
			Standing: string(r.Standing), Source: r.Source, Caution: r.Caution})
	}
	if !v.Peak.Known() {
		return nil
	}
	rate := func(r kiln.CelsiusPerHour) *float64 { return Rounded(float64(r), 0) }
	j.Features = &wire.Features{Within10S: Seconds(v.Within10), Within50S: Seconds(v.Within50),
		Within100S: Seconds(v.Within100), RateLast100: rate(v.LastHundred), Holds: []wire.Hold{},
		WarmUp: rate(v.WarmUp), QuartzUp: rate(v.QuartzUp), QuartzDown: rate(v.QuartzDown),
		CristobaliteDown: rate(v.CristobaliteDown), CoolTop: rate(v.CoolTop),
		CoolMiddle: rate(v.CoolMiddle), CoolLower: rate(v.CoolLower), DegreeHours: Rounded(v.DegreeHours, 0),
		LongestGapS: Seconds(v.LongestGap), GapNearTop: v.GapNearTop}
	for _, h := range v.Holds {
		j.Features.Holds = append(j.Features.Holds,
			wire.Hold{AtC: Celsius(h.At), ForS: Seconds(h.For), AfterS: Seconds(h.After)})
	}
	return nil
}

// probeSays is what the cones told of a channel's probe by the end of a firing, by now for one
// that they have no word on yet.
func probeSays(stories []heatwork.ProbeStory, channel kiln.ChannelID, id kiln.FiringID) message.Message {
	var says message.Message
	for _, st := range stories {
		if st.Place != (kiln.Place{Channel: channel}) {
			continue
		}
		for _, b := range st.After {
			if b.Firing == id {
				return b.Says()
			}
		}
		says = st.Last().Says() // lives are in order: the last one is there now
	}
	return says
}

// unpackable is when a cooling kiln comes down to its mark by its hottest probe; ok is false while nobody can
// tell.
func (s Firings) unpackable(l record.Live) (u analysis.CoolingForecast, ok bool) {
	if !l.TopPassed || l.BelowMark || l.Firing == "" || !foreseeable(l) {
		return u, false
	}
	live, open := s.Recorder.LiveCurve(l.Kiln)
	at := slices.IndexFunc(live.Minutes, func(e kiln.Envelope) bool { return e.Channel == l.HottestOf })
	if !open || at < 0 {
		return u, false
	}
	e := live.Minutes[at]
	from := max(0, len(e.After)-coolLook)
	middle := make([]kiln.Celsius, 0, len(e.After)-from)
	for i := from; i < len(e.After); i++ {
		middle = append(middle, (e.Low[i]+e.High[i])/2)
	}
	room := kiln.Celsius(usualRoom)
	for _, c := range l.Channels {
		if c.Role == kiln.RoleRoom && c.T.Known() {
			room = c.T
		}
	}
	return analysis.TimeToCool(e.After[from:], middle, l.KeepShut, room), true
}

const (
	usualRoom = 20     // °C, where no channel hears the room (own)
	coolLook  = 4 * 60 // minutes of the curve that a forecast looks at
	TypedGap  = 24 * time.Hour
)

// clocksOf turns a time left into two times of the clock.
func (s Firings) clocksOf(u analysis.CoolingForecast, now time.Time) []string {
	return []string{*s.Moment(now.Add(u.Low)), *s.Moment(now.Add(u.High))}
}
