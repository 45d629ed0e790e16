package usecase

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// ValidFiring looks at what a form may have sent as well as a body of JSON, which the document checks, and
// trims the texts.
func ValidFiring(b *wire.FiringBody) error {
	for _, w := range []struct {
		field, value string
		known        []string
	}{
		{"kind", b.Kind, []string{"bisque", "glaze", "once", "other"}},
		{"atmosphere", b.Atmosphere, []string{"oxidation", "reduction", "unknown"}},
		{"status", b.Status, []string{"ended", "incomplete"}},
	} {
		if w.value != "" && !slices.Contains(w.known, w.value) {
			return UnknownWord(w.field, w.value, w.known...)
		}
	}
	return tiles.FiringWords(&b.Note, &b.By)
}

// SayFiring keeps a word on a firing that is there.
func (s Firings) SayFiring(ctx context.Context, id kiln.FiringID, b wire.FiringBody) error {
	if err := ValidFiring(&b); err != nil {
		return err
	}
	for _, only := range []struct{ field, value string }{{"kiln", b.Kiln}, {"began_at", b.BeganAt},
		{"ended_at", b.EndedAt}, {"load", b.Load}, {"intended_cone", b.IntendedCone}} {
		if only.value != "" {
			return refuse("missing", message.New("Say source hand to keep a firing by hand."),
				wire.Field{Name: "source", Says: message.New("is needed with {1}", only.field)})
		}
	}
	if b.Typed != nil || b.Sitter != nil {
		return refuse("missing", message.New("Say source hand to keep a firing by hand."),
			wire.Field{Name: "source", Says: message.New("is needed with a sitter or a typed curve")})
	}
	said := kiln.FiringAnnotation{Kind: kiln.Kind(b.Kind), Atmosphere: kiln.Atmosphere(b.Atmosphere),
		Status: kiln.Status(b.Status), Note: b.Note, By: b.By}
	if said.Kind == "" && said.Atmosphere == "" && said.Status == "" && said.Note == "" {
		return refuse("missing", message.New("Say kind, atmosphere, status or note."),
			wire.Field{Name: "kind", Says: message.New("is needed, or atmosphere, status or note")})
	}
	f, err := s.FindFiring(ctx, id)
	if err != nil {
		return err
	}
	if f.Status == kiln.Running && said.Status != "" {
		return refuse("out-of-range", message.New("The firing still goes on."),
			wire.Field{Name: "status", Says: message.New("can be said when it is over")})
	}
	if PreconditionOf(ctx).New {
		return fmt.Errorf("firing %s: %w", id, tiles.ErrChanged)
	}
	if err := s.Archive.SayFiring(ctx, id, said, s.Now()); err != nil {
		return err
	}
	if f.Status == kiln.Running && (said.Kind != "" || said.Atmosphere != "") {
		s.Loads().TellKiln(ctx, detect.Fact{Kiln: f.Kiln, What: detect.KindTold, At: s.Now(), Kind: said.Kind,
			Atmosphere: said.Atmosphere})
	}
	s.Heat.Again(ctx, f.Kiln)
	s.Shrink.Touch()
	return nil
}

// TypedBoot is the running of the machine that a typed curve counts its time in: none.
const TypedBoot kiln.BootID = "typed"

// KeepByHand keeps a firing that no line heard. Its heat work comes from what was told, and from
// the cones that were told of it; follow says that some come at once.
func (s Firings) KeepByHand(ctx context.Context, id kiln.FiringID, b wire.FiringBody,
	follow bool) (tiles.PutResult, error) {
	if err := ValidFiring(&b); err != nil {
		return tiles.PutResult{}, err
	}
	f, samples, err := s.ByHand(id, b)
	if err != nil {
		return tiles.PutResult{}, err
	}
	if b.Load != "" {
		if _, err := s.Archive.Load(ctx, b.Load); err != nil {
			return tiles.PutResult{}, err
		}
	}
	if err := s.overlaps(ctx, f.Firing, b); err != nil {
		return tiles.PutResult{}, err
	}
	cones, err := s.Archive.Cones(ctx, id)
	if err != nil {
		return tiles.PutResult{}, err
	}
	if b.Typed == nil && b.Sitter == nil && b.IntendedCone == "" && b.BeganAt == "" && b.EndedAt == "" &&
		len(cones) == 0 && !follow {
		return tiles.PutResult{}, refuse("missing",
			message.New("Tell when it began or ended, a reading, the sitter or the cone that was meant."),
			wire.Field{Name: "began_at", Says: message.New("is needed, or ended_at, typed, sitter or intended_cone")})
	}
	k, err := s.KeepHand(ctx, f, samples, cones, b, PreconditionOf(ctx), s.Now())
	if err != nil {
		return k, err
	}
	s.Heat.Again(ctx, f.Kiln)
	s.Shrink.Touch()
	return k, nil
}

// KeepHand keeps a firing by hand with what its curve, its sitter and its cones tell.
func (s Firings) KeepHand(ctx context.Context, f HandFiring, samples []kiln.Sample, cones []tiles.ConeSeen,
	b wire.FiringBody, m Precondition, at kiln.Stamp) (tiles.PutResult, error) {
	typed := kiln.Resample(samples, []kiln.ChannelID{kiln.ByHandChannel}, TypedGap)
	f.Peak, f.PeakAfter = typed.Top(kiln.ByHandChannel)
	f.ToTop = f.PeakAfter
	w, _ := heatwork.HandWork(f.Firing, tiles.ConeReadings(cones)[f.ID], typed, f.Limit)
	f.HeatWork = map[kiln.ChannelID]kiln.HeatWork{kiln.ByHandChannel: w}
	return s.Archive.PutFiring(ctx, f.Firing, samples, b, m, at)
}

// overlaps asks about a firing that was told with both its times and lies over another of its kiln.
func (s Firings) overlaps(ctx context.Context, f kiln.Firing, b wire.FiringBody) error {
	if b.Overlaps || b.BeganAt == "" || b.EndedAt == "" {
		return nil
	}
	others, err := s.Archive.Firings(ctx, kiln.FiringFilter{Kiln: f.Kiln, Limit: newestKilns})
	if err != nil {
		return err
	}
	for _, o := range others {
		over := o.Over.Wall
		if o.Status == kiln.Running {
			over = s.Now().Wall
		}
		if o.ID != f.ID && o.Began.Wall.Before(f.Over.Wall) && f.Began.Wall.Before(over) {
			return refuse("out-of-range", message.New("{1} went on at that time. Is it another firing all the same?",
				o.Name()), wire.Field{Name: "overlaps",
				Says: message.New("say that it is another firing, or put the times right")})
		}
	}
	return nil
}

// HandFiring is a firing that somebody wrote down, with the limit of its kiln, as the body of a request had
// it.
type HandFiring struct {
	kiln.Firing
	Limit kiln.Celsius
}

// ByHand turns a body into a firing and the readings of its typed curve.
func (s Firings) ByHand(id kiln.FiringID, b wire.FiringBody) (f HandFiring,
	samples []kiln.Sample, err error) {
	f.Limit = kiln.NoTemperature()
	known, ok := s.KilnNamed(kiln.KilnID(b.Kiln))
	switch {
	case b.Kiln == "":
		return f, nil, refuse("missing", message.New("Say which kiln."),
			wire.Field{Name: "kiln", Says: message.New("is needed")})
	case !ok && len(s.KilnNames()) > 0:
		return f, nil, refuse("unknown-kiln",
			message.New("No kiln {1} here; one without a line is added by name on the Kilns page.", b.Kiln),
			wire.Field{Name: "kiln", Says: message.New("no such kiln here")})
	case ok:
		f.Limit = known.Limit
	}
	if b.Kind == "" {
		return f, nil, refuse("missing", message.New("Say the kind of firing."),
			wire.Field{Name: "kind", Says: message.New("is needed")})
	}
	l := heatwork.MainConeScale()
	f.Firing = kiln.Firing{ID: id, Kiln: kiln.KilnID(b.Kiln), Kind: kiln.Kind(b.Kind),
		KindFrom:   detect.FromFact,
		Atmosphere: kiln.Atmosphere(cmp.Or(b.Atmosphere, string(s.Site.atmosphere()))),
		Source:     "hand", Status: kiln.Status(cmp.Or(b.Status, "ended")), Load: b.Load, Note: b.Note,
		Peak: kiln.NoTemperature(), Faulty: map[kiln.Fault]int{}}
	if b.Sitter != nil {
		c, err := l.Cone(b.Sitter.Cone)
		if err != nil {
			return f, nil, coneProblem("sitter.cone", err)
		}
		series := kiln.Series(cmp.Or(b.Sitter.Series, string(heatwork.SeriesSmall)))
		if _, err := l.ReadCone(heatwork.ConeReading{Cone: c.Label, Series: series, Tilt: 90,
			Tilted: true}); err != nil {
			return f, nil, coneProblem("sitter.series", err)
		}
		f.Told.Sitter, f.Told.SitterSeries = c.Label, series
		if f.Told.Dropped, err = instant("sitter.dropped_at", b.Sitter.DroppedAt); err != nil {
			return f, nil, err
		}
	}
	if b.IntendedCone != "" {
		if _, err := l.Parse(b.IntendedCone); err != nil {
			return f, nil, coneProblem("intended_cone", err)
		}
		f.Told.Intended = b.IntendedCone
	}
	if err := s.handTimes(&f, b); err != nil {
		return f, nil, err
	}
	if b.Typed != nil {
		samples, err = typedSamples(f, *b.Typed)
	}
	return f, samples, err
}

// shortestFiring is the least that a firing told with both its times lasts (own).
const shortestFiring = 30 * time.Minute

// handTimes puts the times of a firing by hand down. Where it began or ended without anybody
// saying when, the other end, the sitter or this moment stand in, and the clock counts as not
// trusted.
func (s Firings) handTimes(f *HandFiring, b wire.FiringBody) error {
	began, err := instant("began_at", b.BeganAt)
	if err != nil {
		return err
	}
	ended, err := instant("ended_at", b.EndedAt)
	if err != nil {
		return err
	}
	var length time.Duration
	if b.Typed != nil && len(b.Typed.Hours) > 0 {
		length = time.Duration(b.Typed.Hours[len(b.Typed.Hours)-1] * float64(time.Hour))
	}
	trusted := !began.IsZero() && !ended.IsZero()
	if ended.IsZero() {
		switch {
		case !began.IsZero() && f.Told.Dropped.After(began):
			ended = f.Told.Dropped
		case !began.IsZero():
			ended = began.Add(length)
		case !f.Told.Dropped.IsZero():
			ended = f.Told.Dropped
		default:
			ended = s.Now().Wall
		}
	}
	if began.IsZero() {
		began = ended.Add(-length)
	}
	if ended.Before(began) {
		return refuse("out-of-range", message.New("It ended before it began."), wire.Field{Name: "ended_at",
			Says: message.New("earlier than began_at")})
	}
	if length > 400*time.Hour || ended.Sub(began) > 400*time.Hour {
		return refuse("out-of-range", message.New("A firing of more than 400 hours."),
			wire.Field{Name: "ended_at", Says: message.New("more than 400 hours after it began")})
	}
	if now := s.Now(); now.Trusted && began.After(now.Wall) {
		return refuse("out-of-range", message.New("It begins in the future."), wire.Field{Name: "began_at",
			Says: message.New("later than now")})
	} else if now.Trusted && ended.After(now.Wall.Add(time.Minute)) { // a form is filled in within that
		return refuse("out-of-range", message.New("It ends in the future."), wire.Field{Name: "ended_at",
			Says: message.New("later than now")})
	}
	if trusted && ended.Sub(began) < shortestFiring {
		return refuse("out-of-range", message.New("A firing of {1} min.",
			message.Number{Value: ended.Sub(began).Minutes()}),
			wire.Field{Name: "ended_at", Says: message.New("less than half an hour after it began")})
	}
	ended = later(ended, began.Add(length))
	f.Length = ended.Sub(began)
	f.Began = kiln.Stamp{Boot: TypedBoot, Wall: began, Trusted: trusted}
	f.Over = kiln.Stamp{Boot: TypedBoot, Since: f.Length, Wall: ended, Trusted: trusted}
	return nil
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// typedSamples are the readings of a typed curve.
func typedSamples(f HandFiring, t wire.TypedBody) ([]kiln.Sample, error) {
	if len(t.Hours) != len(t.TemperatureC) {
		return nil, refuse("out-of-range", message.New("As many hours as temperatures, please."),
			wire.Field{Name: "typed.temperature_c", Says: message.New("has {1}, hours has {2}",
				len(t.TemperatureC), len(t.Hours))})
	}
	var samples []kiln.Sample
	for i, h := range t.Hours {
		switch {
		case h < 0 || i > 0 && h <= t.Hours[i-1]:
			return nil, refuse("out-of-range", message.New("The hours do not rise."),
				wire.Field{Name: "typed.hours", Says: message.New("the {1}. is not later than the one before",
					i+1)})
		case t.TemperatureC[i] < -40 || t.TemperatureC[i] > 1700:
			return nil, refuse("out-of-range", message.New("No kiln has that temperature."),
				wire.Field{Name: "typed.temperature_c",
					Says: message.New("the {1}. lies outside -40 to 1700 °C", i+1)})
		}
		after := time.Duration(h * float64(time.Hour))
		at := f.Began
		at.Since, at.Wall = at.Since+after, at.Wall.Add(after)
		samples = append(samples, kiln.Sample{Kiln: f.Kiln, At: at,
			Values: []kiln.Value{{Channel: kiln.ByHandChannel, T: kiln.Celsius(t.TemperatureC[i])}}})
	}
	return samples, nil
}

// instant reads a time that may not be told.
func instant(field, text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return t, refuse("out-of-range", message.New("{1} is no time.", field),
			wire.Field{Name: field, Says: message.New("write 2026-01-14T13:00:00+01:00")})
	}
	return t.UTC(), nil
}
