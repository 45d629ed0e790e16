package usecase

import (
	"context"
	"errors"
	"slices"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

func derived(d shrinkage.Derived) wire.Derived {
	one := func(f shrinkage.Figure) *wire.Figure {
		if !f.Known() {
			return nil
		}
		return &wire.Figure{Value: Rounded(f.Value, 5),
			Likely:   []*float64{Rounded(f.Low, 5), Rounded(f.High, 5)},
			Readings: f.Readings}
	}
	return wire.Derived{Drying: one(d.Drying), Firing: one(d.Firing), Total: one(d.Total),
		Absorption: one(d.Absorption), Porosity: one(d.Porosity), Density: one(d.Density),
		MassStage: string(d.MassStage)}
}

func (s Bars) code(p wire.BarPath) (tiles.Code, error) { return s.Codes.Parse("bar", p.Bar) }

// Bar is KeptBar without its revision.
func (s Bars) Bar(ctx context.Context, p wire.BarPath) (tiles.Bar, error) {
	b, err := s.KeptBar(ctx, p)
	return b.Bar, err
}

// KeptBar is a bar with all its readings and firings. The error is ErrNoBar, or that of a code that
// cannot be one.
func (s Bars) KeptBar(ctx context.Context, p wire.BarPath) (tiles.KeptBar, error) {
	code, err := s.code(p)
	if err != nil {
		return tiles.KeptBar{}, err
	}
	return s.Archive.Bar(ctx, code, s.Channel)
}

// BarJSON is a bar as answers tell it; what of it counts is said by the fit that stands now.
func (s Bars) BarJSON(b tiles.Bar) wire.BarJSON { return s.barJSON(b, s.LastFit()) }

// Settled is BarJSON, but waits a moment for what was just said of the bar to be in the fit.
func (s Bars) Settled(ctx context.Context, b tiles.Bar) wire.BarJSON {
	return s.barJSON(b, s.settled(ctx))
}

func (s Bars) barJSON(b tiles.Bar, fit *shrinkage.Fit) wire.BarJSON {
	j := wire.BarJSON{Bar: string(b.Code), Derived: derived(shrinkage.Derive(b)), Readings: []wire.Reading{},
		Firings: []wire.Heat{},
		BarBody: wire.BarBody{ID: b.ID, Clay: string(b.Clay), Batch: string(b.Batch),
			Forming:    string(b.Forming),
			MarkLength: float64(b.MarkLength), Marks: b.Marks, MadeOn: b.MadeOn,
			By: b.By, Practice: b.Practice,
			Flags: []string{}, Note: b.Note}}
	for _, f := range b.Flags {
		j.Flags = append(j.Flags, string(f))
	}
	j.Next = string(tiles.Wet)
	var fired time.Time // when it was read fired last
	for _, r := range b.Readings {
		rj := s.ReadingJSON(b, r, fit)
		rj.Confirms = confirmed(b, r)
		j.Readings = append(j.Readings, rj)
		if r.Counts() && r.Mass == nil {
			j.Shrunk, j.Next = rj.TotalRatio, string(nextStage(r.Stage))
			if r.Stage == tiles.Fired {
				fired = later(fired, r.At)
			}
		}
	}
	for _, h := range b.Firings {
		j.Firings = append(j.Firings, wire.Heat{Load: h.Load, Shelf: h.Shelf, Kind: string(h.Kind),
			Kiln: string(h.Kiln), HeatWorkC: Celsius(h.Work)})
		if at := tiles.Measures(h.Kind); at != "" && !at.Before(tiles.Stage(j.Next)) {
			j.Next = string(at)
		}
		if tiles.Measures(h.Kind) == tiles.Fired &&
			(h.Unfired() || h.Passed().IsZero() || h.Passed().After(fired)) && !h.Told() {
			fired = time.Time{} // it is fired again
		}
	}
	if j.Next == string(tiles.Fired) && !fired.IsZero() {
		j.Next = ""
	}
	return j
}

// confirmed is the id of the reading of b that r confirmed when it came; empty if none.
func confirmed(b tiles.Bar, r tiles.Reading) string {
	first, _ := shrinkage.Confirmed(b, r)
	return first.ID
}

func nextStage(s tiles.Stage) tiles.Stage {
	switch s {
	case tiles.Wet, tiles.Soft, tiles.Leather:
		return tiles.Dry
	case tiles.Dry:
		return tiles.Biscuit
	}
	return tiles.Fired
}

// ReadingJSON is a reading of b as answers tell it; fit, if there is one, says whether it counts.
func (s Bars) ReadingJSON(b tiles.Bar, r tiles.Reading, fit *shrinkage.Fit) wire.Reading {
	wet := b.WetLength()
	j := wire.Reading{ID: r.ID, Bar: string(r.Bar), Stage: string(r.Stage), Mark: r.Mark, AsTyped: r.AsTyped,
		Unit: r.Unit, Unusual: r.Unusual, Slip: string(r.EntryError), Question: r.Question, Needs: r.Needs(),
		By: r.By, At: s.Moment(r.At), ClockTrusted: r.Trusted, Supersedes: Text(r.Supersedes)}
	if r.Mass == nil {
		j.LengthMM = LengthMM(r.Length)
		if wet > 0 && r.Stage != tiles.Wet {
			j.TotalRatio = Rounded(1-float64(r.Length/wet), 4)
		}
	}
	if m := r.Mass; m != nil {
		j.Mass = &wire.MassBody{Dry: m.Dry, Saturated: m.Saturated, Suspended: m.Suspended, Step: m.Step}
	}
	Counted(&j, b, r, fit)
	j.Struck, j.Confirmed, j.CountedBy = s.actJSON(r.Struck), s.actJSON(r.Confirmed), s.actJSON(r.Counted)
	return j
}

// SettledReading is ReadingJSON by the fit that has what was just said in it, after a moment at most.
func (s Bars) SettledReading(ctx context.Context, b tiles.Bar, r tiles.Reading) wire.Reading {
	return s.ReadingJSON(b, r, s.settled(ctx))
}

func (s *Studio) actJSON(a *tiles.Act) *wire.Act {
	if a == nil {
		return nil
	}
	return &wire.Act{By: a.By, Why: a.Why, At: s.Moment(a.At)}
}

// KeepBar keeps a bar as it is told, new or changed: m says what the asker believed to change. Its clay
// must be known; without a batch it is of the one in use.
func (s Bars) KeepBar(ctx context.Context, p wire.BarPath, b wire.BarBody,
	m Precondition) (tiles.PutResult, error) {
	code, err := s.code(p)
	if err != nil {
		return tiles.PutResult{}, err
	}
	ref := tiles.BatchRef{Clay: tiles.ClayID(b.Clay), Batch: tiles.BatchID(b.Batch)}
	if _, err := s.clay(ctx, &ref); err != nil {
		return tiles.PutResult{}, err
	}
	if b.Forming == "" {
		b.Forming = string(tiles.ThrownRing)
	}
	bar := tiles.Bar{Code: code, ID: b.ID, BatchRef: ref, Forming: tiles.Forming(b.Forming),
		MarkLength: tiles.Millimetre(b.MarkLength), Marks: b.Marks,
		MadeOn: b.MadeOn, By: b.By, Practice: b.Practice, Note: b.Note}
	for _, f := range b.Flags {
		bar.Flags = append(bar.Flags, tiles.Flag(f))
	}
	if bar.MarkLength == 0 {
		bar.MarkLength = s.Site.MarkLength
	}
	if err := bar.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	k, err := s.Archive.PutBar(ctx, bar, m, s.Now())
	if err == nil {
		s.Shrink.Touch(code)
	}
	return k, err
}

// Flag says all that is wrong with a bar. A flagged one is in no rate and no load waits for it; what was
// measured on it stays, and counts again once no flag is left.
func (s Bars) Flag(ctx context.Context, p wire.BarPath, flags []string,
	m Precondition) (tiles.PutResult, error) {
	bar, err := s.KeptBar(ctx, p)
	if err != nil {
		return tiles.PutResult{}, err
	}
	if !m.Names() { // a bar that is again as it was once is no entry sent twice
		m.Revision = bar.Revision
	}
	bar.Flags = nil
	for _, f := range flags {
		bar.Flags = append(bar.Flags, tiles.Flag(f))
	}
	if err := bar.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	k, err := s.Archive.PutBar(ctx, bar.Bar, m, s.Now())
	if err == nil {
		s.Shrink.Touch(bar.Code)
	}
	return k, err
}

// FreeCodes are n codes that no bar ever had, two signs first. The error says that there are no more.
func (s Bars) FreeCodes(ctx context.Context, n int) ([]string, error) {
	used, err := s.Archive.UsedCodes(ctx)
	if err != nil {
		return nil, err
	}
	free, err := s.Codes.Free(n, func(c tiles.Code) bool { return used[c] }, s.Chance())
	out := []string{}
	for _, c := range free {
		out = append(out, string(c))
	}
	return out, err
}

// Asked is a reading that was read and judged, and is not kept yet.
type Asked struct {
	Bar     tiles.Bar
	Reading tiles.Reading
	Said    bool // it is kept already: the entry was sent twice
	belief  shrinkage.Plausibility
	Fix     string // what was probably meant, as it would be typed
	Earlier *shrinkage.Doubt
	which   *whichFiring // that it came out of, where the entry says so
}

// ReadReading reads the length as it was written and sees whether it can be believed.
func (s Bars) ReadReading(ctx context.Context, p wire.ReadingPath, b wire.ReadingBody) (Asked, error) {
	bar, err := s.Bar(ctx, p.BarPath)
	if err != nil {
		return Asked{}, err
	}
	queued := time.Duration(b.QueuedS * float64(time.Second))
	r := tiles.Reading{ID: p.ID, Bar: bar.Code, Mark: b.Mark, Stage: tiles.Stage(b.Stage),
		Instrument: b.Instrument, Step: tiles.Millimetre(b.Step), By: b.By,
		Supersedes: b.Supersedes, Queued: queued, At: s.Now().Wall.Add(-queued)}
	if m := b.Mass; m != nil {
		r.Mass = &tiles.Mass{Dry: m.Dry, Saturated: m.Saturated, Suspended: m.Suspended, Step: m.Step}
	} else {
		unit, err := tiles.ParseLengthUnit("unit", b.Unit, s.Unit())
		if err != nil {
			return Asked{}, err
		}
		l, err := tiles.ParseLength("length", b.Length, unit)
		if err != nil {
			return Asked{}, err
		}
		r.Length, r.AsTyped, r.Unit = l.Millimetre(), l.Typed, string(l.Unit)
		if _, err := tiles.ParsePiece("length", b.Length, unit); err != nil {
			return Asked{}, s.whichUnit(bar, r, err)
		}
	}
	if err := r.Validate(bar); err != nil {
		return Asked{}, err
	}
	a := Asked{Said: slices.ContainsFunc(bar.Readings, func(o tiles.Reading) bool { return o.ID == r.ID })}
	// no part of what is believed
	bar.Readings = slices.DeleteFunc(slices.Clone(bar.Readings), func(o tiles.Reading) bool {
		return o.ID == r.ID || o.ID == r.Supersedes && r.Supersedes != ""
	})
	if b.Cone != "" || b.Firing != "" {
		which, err := s.which(ctx, bar, r, wire.WhichFiring{Firing: b.Firing, Cone: b.Cone})
		if err != nil {
			return Asked{}, err
		}
		a.which = &which
		if !bar.WasIn(which.load.ID) {
			bar.Firings = append(slices.Clip(bar.Firings), which.heat)
		}
	}
	a.Bar = bar
	j := shrinkage.Judge(bar, &r, s.LastFit())
	a.belief, a.Fix, a.Earlier = j.Belief, j.Fix, j.Earlier
	if first, ok := shrinkage.Confirms(bar, r); ok {
		r.Confirms = first.ID
	}
	if r.Unusual && a.Fix == "" {
		if other, ok := s.ofAnother(ctx, bar, r); ok {
			j.AskAnother(&r, other)
		}
	}
	a.Reading = r
	return a, nil
}

// ofAnother finds the bar whose length was rather typed, among those that lie in the newest load of bar.
func (s Bars) ofAnother(ctx context.Context, bar tiles.Bar, r tiles.Reading) (tiles.Code, bool) {
	if len(bar.Firings) == 0 {
		return "", false
	}
	beside, err := s.Archive.Bars(ctx, tiles.BarFilter{Load: bar.Firings[len(bar.Firings)-1].Load}, s.Channel)
	if err != nil { // only the name of the mistake is lost
		return "", false
	}
	load := make([]tiles.Bar, len(beside))
	for i, b := range beside {
		load[i] = b.Bar
	}
	return shrinkage.OfAnother(load, bar, r, s.LastFit())
}

// AskedJSON is a reading that is asked about and not kept yet.
func (s Bars) AskedJSON(a Asked) wire.Reading {
	j := s.ReadingJSON(a.Bar, a.Reading, nil)
	j.NotKept = true
	s.judged(&j, a)
	return j
}

// judged adds to a reading what was thought of it.
func (s Bars) judged(j *wire.Reading, a Asked) {
	if a.Reading.Mass != nil {
		return
	}
	j.ExpectedMM = []*float64{Rounded(float64(a.belief.Low), 1), Rounded(float64(a.belief.High), 1)}
	j.Fix = Text(a.Fix)
	j.Earlier = earlierJSON(a.Earlier)
}

// earlierJSON is a doubt of an earlier reading; nil if there is none.
func earlierJSON(d *shrinkage.Doubt) *wire.Earlier {
	if d == nil {
		return nil
	}
	return &wire.Earlier{ID: d.Reading.ID, Stage: string(d.Reading.Stage),
		LengthMM:   LengthMM(d.Reading.Length),
		ExpectedMM: Rounded(float64(d.Expected), 1), Question: d.Question, Needs: d.Reading.Needs()}
}

// Doubted is the earlier reading of b that its reading r contradicts; nil if there is none.
func (s Bars) Doubted(b tiles.Bar, r tiles.Reading) *wire.Earlier {
	rest := b
	rest.Readings = nil
	for _, o := range b.Readings {
		if o.ID != r.ID && o.ID != r.Supersedes {
			rest.Readings = append(rest.Readings, o)
		}
	}
	return earlierJSON(shrinkage.Judge(rest, &r, s.LastFit()).Earlier)
}

// LastFit is the fit that stands now, for a question that must not wait; nil if there is none.
func (s Bars) LastFit() *shrinkage.Fit {
	fit, _, err := s.Shrink.Latest()
	if err != nil {
		return nil
	}
	return fit
}

// whichUnit adds to a length that no bar can have what was probably meant.
func (s Bars) whichUnit(bar tiles.Bar, r tiles.Reading, err error) error {
	var wrong *tiles.Invalid
	if e, ok := shrinkage.Plausible(bar, r, s.LastFit()); ok && errors.As(err, &wrong) {
		if _, meant := e.EntryError(r.Length, r.AsTyped, tiles.LengthUnit(r.Unit)); meant != "" {
			return &tiles.Invalid{Field: wrong.Field, Type: wrong.Type, Why: message.Join(" ", wrong.Why,
				message.New("If it was {1}, type it so.", meant))}
		}
	}
	return err
}

// KeepReading keeps a reading, unusual or not: what is unusual is asked about and stays out of the
// fit until a second reading confirms both. With ask one that is unusual, and confirms none, is not kept: the
// answer has the question.
func (s Bars) KeepReading(ctx context.Context, p wire.ReadingPath, b wire.ReadingBody,
	ask bool) (tiles.PutResult, wire.Reading, error) {
	a, err := s.ReadReading(ctx, p, b)
	if err != nil {
		return tiles.PutResult{}, wire.Reading{}, err
	}
	if ask && a.Reading.Unusual && a.Reading.Confirms == "" && !a.Said {
		return tiles.PutResult{}, s.AskedJSON(a), nil
	}
	return s.KeepAsked(ctx, p, a)
}

// KeepAsked keeps a reading that was judged, and first the firing that it came out of, where that was
// told with it.
func (s Bars) KeepAsked(ctx context.Context, p wire.ReadingPath, a Asked) (tiles.PutResult, wire.Reading,
	error) {
	if a.which != nil && !a.Said {
		before, err := s.Bar(ctx, p.BarPath)
		if err == nil {
			err = s.placed(ctx, before, a.Reading, *a.which)
		}
		if err != nil {
			return tiles.PutResult{}, wire.Reading{}, err
		}
	}
	k, err := s.Archive.PutReading(ctx, a.Reading, s.Now())
	if err != nil {
		return k, wire.Reading{}, err
	}
	if k.New {
		if err := s.Loads().ReadOut(ctx, a.Bar, a.Reading); err != nil {
			return k, wire.Reading{}, err
		}
		s.Shrink.Touch(a.Bar.Code)
	}
	bar, err := s.Bar(ctx, p.BarPath)
	if err != nil {
		return k, wire.Reading{}, err
	}
	for _, have := range bar.Readings {
		if have.ID == p.ID {
			j := s.ReadingJSON(bar, have, s.settled(ctx))
			j.Confirms = confirmed(bar, have)
			s.judged(&j, a)
			return k, j, nil
		}
	}
	return k, wire.Reading{}, tiles.ErrNoReading
}

// Story tells what happened to a bar. Where there is no rate yet, nothing moved it.
func (s Bars) Story(ctx context.Context, p wire.BarPath) (wire.Story, error) {
	bar, err := s.Bar(ctx, p)
	if err != nil {
		return wire.Story{}, err
	}
	var moves []shrinkage.RateChange
	a, err := s.Clays().AskRate(ctx, UsualRate(bar.BatchRef))
	if fit := s.LastFit(); err == nil && fit != nil && bar.InFit() {
		if moves, err = fit.RateHistory(a.Ask); err != nil {
			moves = nil
		}
	}
	loads := map[string]tiles.KeptLoad{}
	for _, h := range bar.Firings {
		l, err := s.Archive.Load(ctx, h.Load)
		if err != nil {
			return wire.Story{}, err
		}
		loads[h.Load] = l
	}
	back, err := s.Archive.TakenBack(ctx, bar.Code)
	if err != nil {
		return wire.Story{}, err
	}
	out := wire.Story{Bar: string(bar.Code), Clay: string(bar.Clay), Batch: string(bar.Batch),
		Items: []wire.Chapter{}}
	for _, c := range shrinkage.BarHistory(bar, moves, back) {
		j := wire.Chapter{At: s.Moment(c.At), What: string(c.What), By: c.By, Why: c.Why}
		switch {
		case c.Reading != nil:
			j.Reading, j.Says = c.Reading.ID, readingWords(*c.Reading)
		case c.Heat != nil:
			l := loads[c.Heat.Load]
			j.Load, j.By, j.Says = c.Heat.Load, l.PackedBy, message.New("load {1}, {2}", l.Number,
				c.Heat.Kind)
			if c.Heat.Shelf != "" {
				j.Says = message.New("load {1}, {2}, shelf {3}", l.Number, c.Heat.Kind, c.Heat.Shelf)
			}
			if c.Heat.Work.Known() {
				j.Says = message.New("{1}: heat work {2}", j.Says, c.Heat.Work)
			}
		case c.Change != nil:
			m := s.Clays().moveJSON(ctx, *c.Change, a)
			j.Move, j.Load = &m, c.Change.Load
			j.Says = message.New("{1} % became {2} %, with {3}", message.Percent(float64(c.Change.Was), 2),
				message.Percent(float64(c.Change.Now), 2), m.Because[0])
		}
		out.Items = append(out.Items, j)
	}
	return out, nil
}

// readingWords is a reading in words: dry 94.35 mm.
func readingWords(r tiles.Reading) message.Message {
	if m := r.Mass; m != nil {
		return message.New("{1} {2} g dry, {3} g soaked", r.Stage, message.Figure(m.Dry),
			message.Figure(m.Saturated))
	}
	if r.Mark > 1 {
		return message.New("{1} {2} {3}, marks {4}", r.Stage, r.AsTyped, r.Unit, r.Mark)
	}
	return message.New("{1} {2} {3}", r.Stage, r.AsTyped, r.Unit)
}
