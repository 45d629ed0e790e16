package api

import (
	"context"
	"slices"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/analysis"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/record"
	"lidwright/tiles"
)

// firingWholeJSON is a firing with all that its curve tells and all that people told beside it.
type firingWholeJSON struct {
	firingJSON
	Features  *featuresJSON    `json:"features" doc:"null without a curve"`
	Remarks   []rekeepShutJSON `json:"remarks" doc:"The features in words, each with its limit where there is one"`
	Cones     []coneJSON       `json:"cones"`
	Notes     []noteJSON       `json:"notes"`
	ProbeSays string           `json:"probe_says" doc:"What the witness cones told of the control probe by the end of this firing"`
	HandSays  []string         `json:"hand_says" doc:"Of a firing by hand: what could not be used, and why"`
}

type featuresJSON struct {
	Within10S        int64      `json:"within_10_c_of_peak_s"`
	Within50S        int64      `json:"within_50_c_of_peak_s"`
	Within100S       int64      `json:"within_100_c_of_peak_s"`
	RateLast100      *float64   `json:"rate_last_100_c_per_h"`
	Holds            []holdJSON `json:"holds"`
	WarmUp           *float64   `json:"warm_up_c_per_h" doc:"From 80 to 120 °C"`
	QuartzUp         *float64   `json:"quartz_up_c_per_h" doc:"Through 573 °C"`
	QuartzDown       *float64   `json:"quartz_down_c_per_h"`
	CristobaliteDown *float64   `json:"cristobalite_down_c_per_h" doc:"Through 226 °C"`
	CoolTop          *float64   `json:"cool_top_c_per_h" doc:"The first 100 °C down"`
	CoolMiddle       *float64   `json:"cool_1000_700_c_per_h"`
	CoolLower        *float64   `json:"cool_700_300_c_per_h"`
	DegreeHours      *float64   `json:"degree_hours" doc:"Above 20 °C: an index, no energy"`
	LongestGapS      int64      `json:"longest_gap_s"`
	GapNearTop       bool       `json:"gap_near_top" doc:"It lies where it matters: the heat work is an estimate"`
}

type holdJSON struct {
	AtC    *float64 `json:"at_c"`
	ForS   int64    `json:"for_s"`
	AfterS int64    `json:"after_s"`
}

type rekeepShutJSON struct {
	Figure   string `json:"figure"`
	Says     string `json:"says"`
	Limit    string `json:"limit" doc:"What is advised; empty if nothing is"`
	Standing string `json:"standing" doc:"How well the limit is founded: 'published', 'own choice', or 'common practice (no source)'; empty without a limit"`
	Source   string `json:"source"`
	Caution  bool   `json:"caution" doc:"The figure lies outside the limit. It informs; the potter decides"`
}

// usualLook is how many firings back a usual one is looked for.
const usualLook = 40

// wholeFiring gathers everything about one firing.
func (s *Server) wholeFiring(ctx context.Context, id kiln.FiringID) (firingWholeJSON, error) {
	f, err := s.findFiring(ctx, id)
	if err != nil {
		return firingWholeJSON{}, err
	}
	before, err := s.Archive.Firings(ctx, kiln.FiringFilter{Kiln: f.Kiln, Before: f.Began.Wall, Limit: usualLook})
	if err != nil {
		return firingWholeJSON{}, err
	}
	control := s.Kiln[f.Kiln].Control
	usual := detect.UsualBefore(append([]kiln.Firing{f}, before...), 0, control)
	j := firingWholeJSON{firingJSON: s.firing(f, usual), Remarks: []rekeepShutJSON{}, Cones: []coneJSON{}, Notes: []noteJSON{}, HandSays: []string{}}
	if err := s.addFeatures(ctx, f, &j); err != nil {
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
		j.Cones = append(j.Cones, s.coneJSON(c, stories))
	}
	for _, n := range notes {
		j.Notes = append(j.Notes, s.noteJSON(n))
	}
	j.ProbeSays = probeSays(stories, control, id)
	if f.Source == "hand" {
		typed, err := s.Archive.Curve(ctx, id, []kiln.ChannelID{kiln.ByHandChannel}, typedGap)
		if err != nil {
			return j, err
		}
		_, says := heatwork.HandWork(f, tiles.ConeReadings(cones)[id], typed, s.Kiln[f.Kiln].Limit)
		j.HandSays = append(j.HandSays, says...)
	}
	return j, nil
}

// addFeatures works the features out of the curve.
func (s *Server) addFeatures(ctx context.Context, f kiln.Firing, j *firingWholeJSON) error {
	channel, k := s.probeOf(f), s.Kiln[f.Kiln]
	gap := k.GapAfter()
	if f.Source == "hand" {
		channel, gap = kiln.ByHandChannel, typedGap
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
		j.Remarks = append(j.Remarks, rekeepShutJSON{r.Figure, r.Says, r.Limit, string(r.Standing), r.Source, r.Caution})
	}
	if !v.Peak.Known() {
		return nil
	}
	rate := func(r kiln.CelsiusPerHour) *float64 { return rounded(float64(r), 0) }
	j.Features = &featuresJSON{Within10S: seconds(v.Within10), Within50S: seconds(v.Within50), Within100S: seconds(v.Within100), RateLast100: rate(v.LastHundred), Holds: []holdJSON{},
		WarmUp: rate(v.WarmUp), QuartzUp: rate(v.QuartzUp), QuartzDown: rate(v.QuartzDown), CristobaliteDown: rate(v.CristobaliteDown), CoolTop: rate(v.CoolTop),
		CoolMiddle: rate(v.CoolMiddle), CoolLower: rate(v.CoolLower), DegreeHours: rounded(v.DegreeHours, 0), LongestGapS: seconds(v.LongestGap), GapNearTop: v.GapNearTop}
	for _, h := range v.Holds {
		j.Features.Holds = append(j.Features.Holds, holdJSON{celsius(h.At), seconds(h.For), seconds(h.After)})
	}
	return nil
}

// probeSays is what the cones told of a channel's probe by the end of a firing, by now for one
// that they have no word on yet.
func probeSays(stories []heatwork.ProbeStory, channel kiln.ChannelID, id kiln.FiringID) string {
	says := ""
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

// unpackable is when a cooling kiln comes down to its mark; ok is false while nobody can tell.
func (s *Server) unpackable(l record.Live) (u analysis.CoolingForecast, ok bool) {
	if !l.TopPassed || l.BelowMark || l.Firing == "" {
		return u, false
	}
	live, open := s.Kilns.LiveCurve(l.Kiln)
	at := slices.IndexFunc(live.Minutes, func(e kiln.Envelope) bool { return e.Channel == s.speaks(l) })
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
	typedGap  = 24 * time.Hour
)

// clocksOf turns a time left into two times of the clock.
func (s *Server) clocksOf(u analysis.CoolingForecast, now time.Time) []string {
	return []string{*s.moment(now.Add(u.Low)), *s.moment(now.Add(u.High))}
}
