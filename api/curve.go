package api

import (
	"context"
	"errors"
	"time"

	"lidwright/kiln"
)

type firingsInput struct {
	Kiln       string `query:"kiln"`
	Kind       string `query:"kind" enum:"bisque,glaze,once,other"`
	Atmosphere string `query:"atmosphere" enum:"oxidation,reduction,unknown"`
	Status     string `query:"status" enum:"running,ended,incomplete"`
	Limit      int    `query:"limit" default:"50" minimum:"1" maximum:"500"`
	After      string `query:"after" doc:"From the answer before: next"`
}

type listJSON[T any] struct {
	Items []T     `json:"items"`
	Next  *string `json:"next" doc:"Ask again with after= this; null at the end"`
}

func (s *Server) getFirings(ctx context.Context, in *firingsInput) (*body[listJSON[firingJSON]], error) {
	w := kiln.FiringFilter{Kiln: kiln.KilnID(in.Kiln), Kind: kiln.Kind(in.Kind), Atmosphere: kiln.Atmosphere(in.Atmosphere), Status: kiln.Status(in.Status)}
	if in.After != "" {
		t, err := time.Parse(time.RFC3339Nano, in.After)
		if err != nil {
			return nil, unknownWord("after", in.After, "the next of the answer before")
		}
		w.Before = t
	}
	all, err := s.Archive.Firings(ctx, w)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	out := listJSON[firingJSON]{Items: []firingJSON{}}
	for i, f := range all {
		if i == in.Limit {
			out.Next = text(all[i-1].Began.Wall.UTC().Format(time.RFC3339Nano))
			break
		}
		out.Items = append(out.Items, s.firing(f, kiln.UsualBefore(all, i, s.Kiln[f.Kiln].Control)))
	}
	return &body[listJSON[firingJSON]]{out}, nil
}

// firing is a stored firing, or how a running one stands now.
func (s *Server) firing(f kiln.Firing, usual kiln.Expected) firingJSON {
	if f.Status == kiln.Running {
		if live, ok := s.Kilns.LiveCurve(f.Kiln); ok && live.Firing.ID == f.ID {
			number := f.Number
			f = live.Firing
			f.Number = number
		}
	}
	return s.firingJSON(f, s.Kiln[f.Kiln].Control, usual)
}

type FiringPath struct {
	ID string `path:"id"`
}

func (s *Server) getFiring(ctx context.Context, in *FiringPath) (*body[firingWholeJSON], error) {
	j, err := s.wholeFiring(ctx, kiln.FiringID(in.ID))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[firingWholeJSON]{j}, nil
}

// findFiring looks among the stored ones, then among those that have just begun.
func (s *Server) findFiring(ctx context.Context, id kiln.FiringID) (kiln.Firing, error) {
	f, err := s.Archive.Firing(ctx, id)
	if errors.Is(err, kiln.ErrNoFiring) {
		for _, l := range s.Kilns.Live() {
			if l.Firing == id {
				if c, ok := s.Kilns.LiveCurve(l.Kiln); ok {
					return c.Firing, nil
				}
			}
		}
	}
	return f, err
}

type curveInput struct {
	ID      string `path:"id"`
	Points  int    `query:"points" minimum:"0" maximum:"800" doc:"At most so many steps, 1 to 800; 400 if neither is said"`
	Step    int    `query:"step" minimum:"0" maximum:"3600" doc:"Length of a step, 1 to 3600 s; 1 gives the readings themselves"`
	Channel string `query:"channel" doc:"Control probe if not said; all for every one"`
}

type curveJSON struct {
	Firing   string             `json:"firing"`
	StepS    int64              `json:"step_s"`
	Channels []channelCurveJSON `json:"channels"`
	Gaps     []gapJSON          `json:"gaps"`
}

type channelCurveJSON struct {
	Channel string       `json:"channel"`
	Columns []string     `json:"columns"`
	Rows    [][3]float64 `json:"rows"`
}

func (s *Server) getCurve(ctx context.Context, in *curveInput) (*body[curveJSON], error) {
	if in.Points > 0 && in.Step > 0 {
		return nil, problem("given-twice", "Give points or step, not both.", ProblemField{"step", "points is given too"})
	}
	f, err := s.findFiring(ctx, kiln.FiringID(in.ID))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	var channels []kiln.ChannelID
	switch in.Channel {
	case "all":
	case "":
		channels = []kiln.ChannelID{s.Kiln[f.Kiln].Control}
	default:
		channels = []kiln.ChannelID{kiln.ChannelID(in.Channel)}
	}
	lines, gaps, err := s.envelopes(ctx, f, channels, in.Points, time.Duration(in.Step)*time.Second)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	out := curveJSON{Firing: in.ID, Channels: []channelCurveJSON{}, Gaps: gapsJSON(gaps)}
	for _, e := range lines {
		c := channelCurveJSON{Channel: string(e.Channel), Columns: []string{"after_s", "low_c", "high_c"}, Rows: [][3]float64{}}
		for i, a := range e.After {
			c.Rows = append(c.Rows, [3]float64{a.Seconds(), *celsius(e.Low[i]), *celsius(e.High[i])})
		}
		out.StepS = seconds(e.Step)
		out.Channels = append(out.Channels, c)
	}
	return &body[curveJSON]{out}, nil
}

// envelopes is the curve of a firing in steps, or in at most points steps: of the named
// channels, of all that it has if none is named.
func (s *Server) envelopes(ctx context.Context, f kiln.Firing, channels []kiln.ChannelID, points int, step time.Duration) ([]kiln.Envelope, []kiln.Gap, error) {
	if points == 0 && step == 0 {
		points = 400
	}
	if live, ok := s.Kilns.LiveCurve(f.Kiln); ok && live.Firing.ID == f.ID && (step == 0 || step%time.Minute == 0) {
		var out []kiln.Envelope
		for _, e := range live.Minutes {
			if len(channels) == 0 || e.Channel == channels[0] {
				if points > 0 {
					e = e.Points(points)
				} else {
					e = e.Merge(int(step / time.Minute))
				}
				out = append(out, e)
			}
		}
		return out, live.Gaps, nil
	}
	samples, err := s.Archive.Samples(ctx, f.ID)
	if err != nil {
		return nil, nil, err
	}
	if len(channels) == 0 {
		for _, smp := range samples[:min(len(samples), 1)] {
			for _, v := range smp.Values {
				channels = append(channels, v.Channel)
			}
		}
	}
	k, ok := s.Kiln[f.Kiln]
	if !ok {
		k = kiln.Kiln{ID: f.Kiln}
	}
	curve := kiln.Lay(samples, channels, k.GapAfter())
	var out []kiln.Envelope
	for _, c := range channels {
		e := curve.Thin(c, max(step, time.Second))
		if points > 0 {
			e = curve.Thin(c, time.Minute).Points(points)
		}
		out = append(out, e)
	}
	return out, curve.Gaps, nil
}
