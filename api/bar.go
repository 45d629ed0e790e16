package api

import (
	"context"
	"errors"
	"strings"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

type barBody struct {
	ID         string   `json:"id" doc:"UUIDv7 made by the sender"`
	Clay       string   `json:"clay"`
	Batch      string   `json:"batch,omitempty" doc:"Newest open batch if not named"`
	Forming    string   `json:"forming,omitempty" doc:"rolled, extruded, pulled, thrown_ring, cut_wall, cast, pressed; thrown_ring if not said"`
	MarkLength float64  `json:"mark_length_mm,omitempty" doc:"Distance of the marks as laid out; as in the settings (100) if not said"`
	Marks      int      `json:"marks,omitempty" doc:"Pairs of marks, or directions of a ring; 1 if not said"`
	MadeOn     string   `json:"made_on,omitempty"`
	By         string   `json:"by,omitempty" doc:"Maker's mark"`
	Practice   bool     `json:"practice,omitempty"`
	Flags      []string `json:"flags,omitempty"`
	Note       string   `json:"note,omitempty" maxLength:"500"`
}

type barJSON struct {
	Bar string `json:"bar"`
	barBody
	Readings []readingJSON `json:"readings"`
	Firings  []heatJSON    `json:"firings"`
	Shrunk   *float64      `json:"total_ratio_so_far" doc:"Share of the wet length, of the last reading that counts"`
	Next     string        `json:"next_stage" doc:"The stage that is likely to be measured next"`
	Derived  derivedJSON   `json:"derived" doc:"Figures by their definitions, from the readings that count"`
}

type derivedJSON struct {
	Drying     *figureJSON `json:"drying_ratio" doc:"(wet - dry)/wet, ASTM C326"`
	Firing     *figureJSON `json:"firing_ratio" doc:"(dry - fired)/dry"`
	Total      *figureJSON `json:"total_ratio" doc:"(wet - fired)/wet"`
	Absorption *figureJSON `json:"absorption_ratio" doc:"(saturated - dry)/dry mass, ASTM C373"`
	Porosity   *figureJSON `json:"apparent_porosity_ratio" doc:"(saturated - dry)/(saturated - suspended)"`
	Density    *figureJSON `json:"bulk_density_g_cm3" doc:"dry/(saturated - suspended), water at 1 g/cm3"`
	MassStage  string      `json:"mass_stage,omitempty" doc:"Stage at which the masses were taken"`
}

type figureJSON struct {
	Value    *float64   `json:"value"`
	Likely   []*float64 `json:"likely" doc:"90 % range, from the instrument's step and the repeats"`
	Readings int        `json:"readings"`
}

func derived(d shrinkage.Derived) derivedJSON {
	one := func(f shrinkage.Figure) *figureJSON {
		if !f.Known() {
			return nil
		}
		return &figureJSON{rounded(f.Value, 5), []*float64{rounded(f.Low, 5), rounded(f.High, 5)}, f.Readings}
	}
	return derivedJSON{one(d.Drying), one(d.Firing), one(d.Total), one(d.Absorption), one(d.Porosity), one(d.Density), string(d.MassStage)}
}

type readingBody struct {
	Stage      string    `json:"stage" enum:"wet,soft,leather,dry,bisque,fired"`
	Length     string    `json:"length,omitempty" doc:"As written: 94.35, 94,35, 3 23/32"`
	Unit       string    `json:"unit,omitempty" enum:"mm,cm,in,32nds" doc:"Unit of a bare length"`
	Instrument string    `json:"instrument,omitempty" doc:"calliper, rule"`
	Step       float64   `json:"step_mm,omitempty" doc:"Smallest step of the instrument"`
	Mark       int       `json:"mark,omitempty"`
	By         string    `json:"by,omitempty"`
	QueuedS    float64   `json:"queued_s,omitempty" doc:"Time the entry waited in an open page"`
	Supersedes string    `json:"supersedes,omitempty" doc:"Id of the reading that this one corrects"`
	Mass       *massBody `json:"mass_g,omitempty"`
}

type massBody struct {
	Dry       float64 `json:"dry_g"`
	Saturated float64 `json:"saturated_g"`
	Suspended float64 `json:"suspended_g,omitempty" doc:"In water"`
	Step      float64 `json:"step_g,omitempty" doc:"Smallest step of the balance"`
}

type readingJSON struct {
	ID           string     `json:"id"`
	Bar          string     `json:"bar"`
	Stage        string     `json:"stage"`
	Mark         int        `json:"mark"`
	LengthMM     *float64   `json:"length_mm"`
	AsTyped      string     `json:"as_typed"`
	Unit         string     `json:"unit"`
	TotalRatio   *float64   `json:"total_ratio" doc:"Shrink since the wet reading, share of the wet length"`
	ExpectedMM   []*float64 `json:"expected_mm,omitempty"`
	Unusual      bool       `json:"unusual"`
	Slip         string     `json:"slip,omitempty" doc:"The mistake it looks like: inch_as_mm, mm_as_inch, ten_times, tenth, digits_swapped, longer_than_before, far_from_clay, far_from_usual"`
	Question     string     `json:"question,omitempty"`
	Fix          *string    `json:"fix,omitempty" doc:"What was probably meant, as it would be typed"`
	Needs        string     `json:"needs,omitempty" doc:"confirm: it is not confirmed, and does not count until a second reading that is entered afresh agrees, or the owner confirms it in a word; count: the owner alone lets it in"`
	Counted      bool       `json:"counted" doc:"May enter a fit"`
	By           string     `json:"by"`
	At           *string    `json:"at"`
	ClockTrusted bool       `json:"clock_trusted"`
	Mass         *massBody  `json:"mass_g,omitempty"`
	Confirmed    *actJSON   `json:"confirmed,omitempty" doc:"By a second reading (why: read again), or by the owner's word"`
	Confirms     string     `json:"confirms,omitempty" doc:"Id of the earlier reading that this one, entered afresh, agrees with and confirmed: both count"`
	CountedBy    *actJSON   `json:"counted_by,omitempty" doc:"The owner's word that it counts"`
	Struck       *actJSON   `json:"struck"`
	Supersedes   *string    `json:"supersedes"`
}

type actJSON struct {
	By  string  `json:"by"`
	Why string  `json:"why"`
	At  *string `json:"at"`
}

type heatJSON struct {
	Load      string   `json:"load"`
	Shelf     string   `json:"shelf"`
	Kind      string   `json:"kind"`
	Kiln      string   `json:"kiln"`
	HeatWorkC *float64 `json:"heat_work_c"`
}

func parseRef(text string) tiles.BatchRef {
	clay, batch, _ := strings.Cut(text, "/")
	return tiles.BatchRef{Clay: tiles.ClayID(clay), Batch: tiles.BatchID(batch)}
}

type BarPath struct {
	Bar string `path:"bar" maxLength:"8"`
}

func (s *Server) code(p BarPath) (tiles.Code, error) { return s.Codes.Parse("bar", p.Bar) }

type barsInput struct {
	Clay     string `query:"clay"`
	Batch    string `query:"batch"`
	Load     string `query:"load"`
	Waiting  bool   `query:"waiting" doc:"Only those that a fired load waits for"`
	Practice string `query:"practice" enum:"true,false" doc:"Learners' bars alone, or none of them"`
	After    string `query:"after" doc:"The next of the answer before"`
	Limit    int    `query:"limit" default:"50" minimum:"1" maximum:"500"`
}

func (s *Server) getBars(ctx context.Context, in *barsInput) (*body[listJSON[barJSON]], error) {
	w := tiles.BarFilter{Clay: tiles.ClayID(in.Clay), Batch: tiles.BatchID(in.Batch), Load: in.Load, Waiting: in.Waiting, After: tiles.Code(in.After), Limit: in.Limit + 1}
	if in.Practice != "" {
		learners := in.Practice == "true"
		w.Practice = &learners
	}
	all, err := s.Archive.Bars(ctx, w, s.channel)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return listOf(all, in.Limit, func(b tiles.KeptBar) string { return string(b.Code) }, func(b tiles.KeptBar) barJSON { return s.barJSON(b.Bar) }), nil
}

func (s *Server) getBar(ctx context.Context, in *BarPath) (*thing[barJSON], error) {
	b, err := s.keptBar(ctx, *in)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &thing[barJSON]{revision(b.Revision), s.barJSON(b.Bar)}, nil
}

func (s *Server) bar(ctx context.Context, p BarPath) (tiles.Bar, error) {
	b, err := s.keptBar(ctx, p)
	return b.Bar, err
}

func (s *Server) keptBar(ctx context.Context, p BarPath) (tiles.KeptBar, error) {
	code, err := s.code(p)
	if err != nil {
		return tiles.KeptBar{}, err
	}
	return s.Archive.Bar(ctx, code, s.channel)
}

func (s *Server) barJSON(b tiles.Bar) barJSON {
	j := barJSON{Bar: string(b.Code), Derived: derived(shrinkage.Derive(b)), Readings: []readingJSON{}, Firings: []heatJSON{},
		barBody: barBody{b.ID, string(b.Clay), string(b.Batch), string(b.Forming), float64(b.MarkLength), b.Marks, b.MadeOn, b.By, b.Practice, []string{}, b.Note}}
	for _, f := range b.Flags {
		j.Flags = append(j.Flags, string(f))
	}
	wet := b.WetLength()
	j.Next = string(tiles.Wet)
	for _, r := range b.Readings {
		rj := s.readingJSON(r, wet)
		rj.Confirms = confirmed(b, r)
		j.Readings = append(j.Readings, rj)
		if rj.Counted && r.Mass == nil {
			j.Shrunk, j.Next = rj.TotalRatio, string(nextStage(r.Stage))
		}
	}
	for _, h := range b.Firings {
		j.Firings = append(j.Firings, heatJSON{h.Load, h.Shelf, string(h.Kind), string(h.Kiln), celsius(h.Work)})
		if at := tiles.Measures(h.Kind); at != "" && !at.Before(tiles.Stage(j.Next)) {
			j.Next = string(at)
		}
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

func (s *Server) readingJSON(r tiles.Reading, wet tiles.Millimetre) readingJSON {
	j := readingJSON{ID: r.ID, Bar: string(r.Bar), Stage: string(r.Stage), Mark: r.Mark, AsTyped: r.AsTyped, Unit: r.Unit, Unusual: r.Unusual, Slip: string(r.EntryError), Question: r.Question, Needs: r.Needs(),
		Counted: r.Counts(), By: r.By, At: s.moment(r.At), ClockTrusted: r.Trusted, Supersedes: text(r.Supersedes)}
	if r.Mass == nil {
		j.LengthMM = lengthMM(r.Length)
		if wet > 0 && r.Stage != tiles.Wet {
			j.TotalRatio = rounded(1-float64(r.Length/wet), 4)
		}
	}
	if m := r.Mass; m != nil {
		j.Mass = &massBody{m.Dry, m.Saturated, m.Suspended, m.Step}
	}
	j.Struck, j.Confirmed, j.CountedBy = s.actJSON(r.Struck), s.actJSON(r.Confirmed), s.actJSON(r.Counted)
	return j
}

func (s *Server) actJSON(a *tiles.Act) *actJSON {
	if a == nil {
		return nil
	}
	return &actJSON{a.By, a.Why, s.moment(a.At)}
}

type putBarInput struct {
	BarPath
	Body barBody
}

func (s *Server) putBar(ctx context.Context, in *putBarInput) (*edited[barJSON], error) {
	k, err := s.keepBar(ctx, in.BarPath, in.Body, matchOf(ctx))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	b, err := s.keptBar(ctx, in.BarPath)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &edited[barJSON]{status(k), revision(b.Revision), s.barJSON(b.Bar)}, nil
}

func (s *Server) keepBar(ctx context.Context, p BarPath, b barBody, m usecase.Precondition) (tiles.PutResult, error) {
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
	bar := tiles.Bar{Code: code, ID: b.ID, BatchRef: ref, Forming: tiles.Forming(b.Forming), MarkLength: tiles.Millimetre(b.MarkLength), Marks: b.Marks,
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

type freeCodesInput struct {
	Count int `query:"count" default:"7" minimum:"1" maximum:"100"`
}

func (s *Server) getFreeCodes(ctx context.Context, in *freeCodesInput) (*body[listJSON[string]], error) {
	codes, err := s.freeCodes(ctx, in.Count)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[listJSON[string]]{listJSON[string]{Items: codes}}, nil
}

func (s *Server) freeCodes(ctx context.Context, n int) ([]string, error) {
	used, err := s.Archive.UsedCodes(ctx)
	if err != nil {
		return nil, err
	}
	free, err := s.Codes.Free(n, func(c tiles.Code) bool { return used[c] }, s.dice())
	out := []string{}
	for _, c := range free {
		out = append(out, string(c))
	}
	return out, err
}

type ReadingPath struct {
	BarPath
	ID string `path:"id"`
}

type putReadingInput struct {
	ReadingPath
	Body readingBody
}

func (s *Server) putReading(ctx context.Context, in *putReadingInput) (*kept[readingJSON], error) {
	k, j, err := s.keepReading(ctx, in.ReadingPath, in.Body)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &kept[readingJSON]{status(k), j}, nil
}

// asked is a reading that was read and judged, and is not kept yet.
type asked struct {
	bar     tiles.Bar
	reading tiles.Reading
	belief  shrinkage.Plausibility
	fix     string // what was probably meant, as it would be typed
}

// readReading reads the length as it was written and sees whether it can be believed.
func (s *Server) readReading(ctx context.Context, p ReadingPath, b readingBody) (asked, error) {
	bar, err := s.bar(ctx, p.BarPath)
	if err != nil {
		return asked{}, err
	}
	queued := time.Duration(b.QueuedS * float64(time.Second))
	r := tiles.Reading{ID: p.ID, Bar: bar.Code, Mark: b.Mark, Stage: tiles.Stage(b.Stage), Instrument: b.Instrument, Step: tiles.Millimetre(b.Step), By: b.By,
		Supersedes: b.Supersedes, Queued: queued, At: s.Now().Wall.Add(-queued)}
	if m := b.Mass; m != nil {
		r.Mass = &tiles.Mass{Dry: m.Dry, Saturated: m.Saturated, Suspended: m.Suspended, Step: m.Step}
	} else {
		unit, err := tiles.ParseLengthUnit("unit", b.Unit, s.unit())
		if err != nil {
			return asked{}, err
		}
		l, err := tiles.ParseLength("length", b.Length, unit)
		if err != nil {
			return asked{}, err
		}
		r.Length, r.AsTyped, r.Unit = l.Millimetre(), l.Typed, string(l.Unit)
		if _, err := tiles.ParsePiece("length", b.Length, unit); err != nil {
			return asked{}, s.whichUnit(bar, r, err)
		}
	}
	if err := r.Validate(bar); err != nil {
		return asked{}, err
	}
	for i, o := range bar.Readings { // said before, or about to be struck: no part of what is believed
		if o.ID == r.ID || o.ID == r.Supersedes {
			bar.Readings = append(bar.Readings[:i:i], bar.Readings[i+1:]...)
			break
		}
	}
	a := asked{bar: bar}
	a.belief, a.fix = shrinkage.Judge(bar, &r, s.lastFit())
	if first, ok := shrinkage.Confirms(bar, r); ok {
		r.Confirms = first.ID
	}
	a.reading = r
	return a, nil
}

// lastFit is the fit that stands now, for a question that must not wait; nil if there is none.
func (s *Server) lastFit() *shrinkage.Fit {
	fit, _, err := s.Shrink.Latest()
	if err != nil {
		return nil
	}
	return fit
}

// whichUnit adds to a length that no bar can have what was probably meant.
func (s *Server) whichUnit(bar tiles.Bar, r tiles.Reading, err error) error {
	var wrong *tiles.Invalid
	if e, ok := shrinkage.Plausible(bar, r, s.lastFit()); ok && errors.As(err, &wrong) {
		if _, meant := e.EntryError(r.Length, r.AsTyped, tiles.LengthUnit(r.Unit)); meant != "" {
			return &tiles.Invalid{Field: wrong.Field, Type: wrong.Type, Why: wrong.Why + " If it was " + meant + ", type it so."}
		}
	}
	return err
}

// keepReading keeps a reading, unusual or not: what is unusual is asked about and stays out of the
// fit until a second reading confirms both.
func (s *Server) keepReading(ctx context.Context, p ReadingPath, b readingBody) (tiles.PutResult, readingJSON, error) {
	a, err := s.readReading(ctx, p, b)
	if err != nil {
		return tiles.PutResult{}, readingJSON{}, err
	}
	return s.keepAsked(ctx, p, a)
}

func (s *Server) keepAsked(ctx context.Context, p ReadingPath, a asked) (tiles.PutResult, readingJSON, error) {
	k, err := s.Archive.PutReading(ctx, a.reading, s.Now())
	if err != nil {
		return k, readingJSON{}, err
	}
	if k.New {
		s.Shrink.Touch(a.bar.Code)
	}
	bar, err := s.bar(ctx, p.BarPath)
	if err != nil {
		return k, readingJSON{}, err
	}
	for _, have := range bar.Readings {
		if have.ID == p.ID {
			j := s.readingJSON(have, bar.WetLength())
			j.Confirms = confirmed(bar, have)
			if a.reading.Mass == nil {
				j.ExpectedMM = []*float64{rounded(float64(a.belief.Low), 1), rounded(float64(a.belief.High), 1)}
				j.Fix = text(a.fix)
			}
			return k, j, nil
		}
	}
	return k, readingJSON{}, tiles.ErrNoReading
}

type actBody struct {
	Why string `json:"why,omitempty" maxLength:"500"`
	By  string `json:"by,omitempty" maxLength:"8"`
}

type actInput struct {
	ReadingPath
	Body actBody
}

// act is something that is done to a reading.
type act = func(ctx context.Context, bar tiles.Code, id, by, why string, at kiln.Stamp) error

// readingAct makes the handler that strikes, confirms or counts a reading.
func (s *Server) readingAct(do func(Archive) act, needsWhy bool) func(context.Context, *actInput) (*body[readingJSON], error) {
	return func(ctx context.Context, in *actInput) (*body[readingJSON], error) {
		if needsWhy && strings.TrimSpace(in.Body.Why) == "" {
			return nil, problem("missing", "Say why.", ProblemField{"why", "is needed"})
		}
		bar, err := s.bar(ctx, in.BarPath)
		if err == nil {
			err = do(s.Archive)(ctx, bar.Code, in.ID, in.Body.By, in.Body.Why, s.Now())
		}
		if err != nil {
			return nil, s.problemFrom(ctx, err)
		}
		s.Shrink.Touch(bar.Code)
		if bar, err = s.bar(ctx, in.BarPath); err != nil {
			return nil, s.problemFrom(ctx, err)
		}
		for _, r := range bar.Readings {
			if r.ID == in.ID {
				return &body[readingJSON]{s.readingJSON(r, bar.WetLength())}, nil
			}
		}
		return nil, problem("unknown-reading", "No such reading of this bar.")
	}
}
