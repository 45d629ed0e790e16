package usecase

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// FiringAsk says which firing a question of rates is about, as far as the asker said it.
type FiringAsk struct {
	Kind       kiln.Kind
	Atmosphere kiln.Atmosphere // empty: the one that most of the kiln's firings of the kind have
	Kiln       kiln.KilnID     // empty: where the clay's last fired bars came from, else the site's main kiln
	Heat       kiln.Celsius    // NaN: the usual one
}

// FiringMeant is the firing that a question turned out to be about.
type FiringMeant struct {
	lid.Firing
	From       string // usual, bag, asked
	Kind       kiln.Kind
	Atmosphere kiln.Atmosphere
	Kiln       kiln.KilnID
	Of         int             // firings that make the usual one
	Says       message.Message // what else is to be known of the usual one, in sentences; empty: nothing
	AsOf       time.Time
	Model      string
	Held       lid.Coverage // how often our own ranges held
}

const (
	bagMissC    = 15.0  // the cone on the bag (own)
	bagBisqueC  = 1000. // usual bisque where none was fired (own)
	newestKilns = 200
)

// meant finds the usual firing of the kind, or takes what was asked, or the cone on the bag.
func (s Lids) meant(ctx context.Context, a FiringAsk, clay tiles.Clay) (FiringMeant, error) {
	m := FiringMeant{Kind: a.Kind, Atmosphere: a.Atmosphere, Kiln: a.Kiln}
	m.BisqueWork, m.On = kiln.NoTemperature(), s.Now().Wall
	if a.Kiln == "" {
		var err error
		if m.Kiln, err = s.kilnOf(ctx, clay.ID); err != nil {
			return m, err
		}
	} else {
		if _, ok := s.KilnNamed(a.Kiln); !ok {
			return m, refuse("unknown-kiln", message.New("No kiln {1} in the settings.", string(a.Kiln)),
				wire.Field{Name: "kiln", Says: message.New("not in the settings")})
		}
	}
	var past detect.Past
	control := s.Known(m.Kiln).Control
	if m.Kiln != "" {
		firings, err := s.Archive.Firings(ctx, kiln.FiringFilter{Kiln: m.Kiln, Status: kiln.Ended, Limit: newestKilns})
		if err != nil {
			return m, err
		}
		if past, err = s.pastOf(ctx, m.Kiln, firings); err != nil {
			return m, err
		}
		if a.Atmosphere == "" {
			m.Atmosphere = s.usualAtmosphere(firings, a.Kind)
		}
		life, err := s.Heat.Life(ctx, m.Kiln, control, m.On)
		if err != nil {
			return m, err
		}
		m.Probe = heatwork.ProbeName(m.Kiln, control, life.Since())
	}
	if a.Kind != kiln.Once {
		m.BisqueWork = bagBisqueC
		if b, ok := past.UsualOf(kiln.Bisque, m.Atmosphere); ok && b.HeatWork.Known() {
			m.BisqueWork = b.HeatWork
		}
	}
	usual, found := past.UsualOf(a.Kind, m.Atmosphere)
	switch {
	case a.Heat.Known():
		m.Work, m.From, m.WorkSD = a.Heat, "asked", usual.Miss()
	case found && usual.HeatWork.Known():
		m.Work, m.From, m.Of, m.WorkSD = usual.HeatWork, "usual", usual.Of, usual.Miss()
	case a.Kind == kiln.Bisque:
		m.Work, m.From, m.WorkSD, m.FromBag = bagBisqueC, "bag", bagMissC, true
	case clay.Matures.Known():
		m.Work, m.From, m.WorkSD, m.FromBag = clay.Matures, "bag", bagMissC, true
	default:
		m.Work = kiln.NoTemperature()
	}
	if found {
		m.Says = usualSays(usual)
	}
	if a.Kind == kiln.Bisque {
		m.BisqueWork = m.Work
	}
	return m, nil
}

// kilnOf is the kiln that a question about a clay is about where it names none: the one where the clay's
// last fired bars came from, else the main kiln of the settings, else the first of them.
func (s Lids) kilnOf(ctx context.Context, clay tiles.ClayID) (kiln.KilnID, error) {
	if clay != "" {
		k, err := s.Archive.KilnOfClay(ctx, clay)
		if err != nil {
			return "", err
		}
		if _, ok := s.KilnNamed(k); ok {
			return k, nil
		}
	}
	return s.MainKiln(), nil
}

// MainKiln is the kiln that questions are about which name none; empty where there is no kiln.
func (s *Studio) MainKiln() kiln.KilnID {
	if s.Site.MainKiln != "" {
		return s.Site.MainKiln
	}
	if len(s.Wired) > 0 {
		return s.Wired[0].Kiln
	}
	if added := s.Added(); len(added) > 0 {
		return added[0]
	}
	if names := s.KilnNames(); len(names) > 0 {
		return names[0]
	}
	return ""
}

// For says what an answer is about, as its first line: the firing, its kiln and its cone, and what else is
// to be known of that. Empty where there is no heat to speak of.
func (m FiringMeant) For() message.Message {
	if !m.Work.Known() {
		return message.Message{}
	}
	l := heatwork.MainConeScale()
	cone := l.Words(l.Position(m.Work))
	if m.Kiln == "" {
		if m.From == "bag" {
			return message.New("{1}, {2}: the cone on the bag", m.Kind, cone)
		}
		return message.New("{1}, {2}: the heat asked", m.Kind, cone)
	}
	from := map[string]message.Key{"usual": "your usual {1} in {2}, {3}",
		"asked": "{1} in {2}, the heat asked: {3}",
		"bag":   "{1} in {2}, no usual firing yet: the cone on the bag, {3}"}[m.From]
	return message.Join("; ", message.New(from, m.Kind, m.Kiln, cone), m.Says)
}

// usualAtmosphere is the atmosphere of a question that names none: the one that most firings of a kind have, two
// at least, so that a single firing of another does not move it; else that of the settings, else the newest's.
func (s *Studio) usualAtmosphere(firings []kiln.Firing, kind kiln.Kind) kiln.Atmosphere {
	count := map[kiln.Atmosphere]int{}
	var newest kiln.Atmosphere
	for _, f := range firings {
		if f.Kind == kind {
			count[f.Atmosphere]++
			newest = cmp.Or(newest, f.Atmosphere)
		}
	}
	own := s.Site.atmosphere()
	most := own
	for _, f := range slices.Backward(firings) { // of two as many the earlier one
		if n := count[f.Atmosphere]; f.Kind == kind && n >= 2 && n > count[most] {
			most = f.Atmosphere
		}
	}
	if count[most] == 0 && own == kiln.UnknownAtmosphere && newest != "" {
		return newest
	}
	return most
}

// usualSays is what is to be known of a usual firing beside its heat work: that the last firing was another,
// that several in a row were, or that it moved.
func usualSays(e detect.Expected) message.Message {
	l := heatwork.MainConeScale()
	cone := func(c kiln.Celsius) message.Message { return l.Words(l.Position(c)) }
	switch {
	case e.Pinned && e.Last != 0:
		return message.New("set by hand; your last {1} was {2}", e.Kind, cone(e.Last))
	case e.Pinned:
		return message.New("set by hand")
	case e.Moved:
		return message.New("your usual {1} moved: the last {2} in a row were {3}", e.Kind, e.Of,
			cone(e.HeatWork))
	case e.MovesAfter() > 0:
		return message.New("your last {1} {2} firings were {3}: after {4} more it is your usual",
			len(e.Beside), e.Kind, cone(e.Last), e.MovesAfter())
	case e.Last != 0:
		return message.New("your last {1} was {2}", e.Kind, cone(e.Last))
	}
	return message.Message{}
}

// rest is what the answer to a lid or board question rests on.
type rest struct {
	rates shrinkage.Rates // nil: no clay was named
	At    FiringMeant
	gone  shrinkage.SoFar
	part  *lid.Difference // nil: none is used
	tight bool            // a lid of the form was too big, tight or glued
	maker lid.Accuracy    // how true the maker works
	rim   lid.Rim         // how the maker's bowls of the form grow when their rims are turned out
}

// FromCards says what pot cards may tell of a lid question: what its asker left open.
type FromCards struct {
	Glazed bool // whether the seat is glazed
	Trim   bool // whether the lid is trimmed at leather-hard
}

func (s Lids) fromCards(ctx context.Context, q *lid.Question, open FromCards) error {
	if err := s.asForm(ctx, q, open); err != nil {
		return err
	}
	return s.asMaker(ctx, q, open)
}

// asForm takes from the newest pot card of a form what a question about a pot of that form leaves
// open: whether the seat is glazed, unless the asker told that, and how lid and pot are fired.
func (s Lids) asForm(ctx context.Context, q *lid.Question, open FromCards) error {
	together := q.Together != ""
	if q.Form == "" || q.Body.Clay == "" || q.CollarStage == tiles.Fired || !open.Glazed && together {
		return nil
	}
	cards, err := s.Archive.Pots(ctx, lid.PotFilter{Form: q.Form, Limit: 1})
	if err != nil || len(cards) == 0 {
		return err
	}
	if open.Glazed {
		q.SeatGlazed = cards[0].SeatGlazed
	}
	if !together {
		q.Together = cards[0].Together
	}
	return nil
}

// asMaker takes from the newest pot card of the maker, of the form where one is named, whether a lid is
// trimmed at leather-hard and by how much at most, unless the asker told.
func (s Lids) asMaker(ctx context.Context, q *lid.Question, open FromCards) error {
	if !open.Trim || q.Maker == "" || q.Asks() != lid.AskWidth || q.Body.Clay == "" || q.LidStage != "" && q.LidStage != tiles.Wet {
		return nil
	}
	cards, err := s.Archive.Pots(ctx, lid.PotFilter{Form: q.Form, Find: q.Maker, Limit: mostOfMaker})
	if err != nil {
		return err
	}
	for _, c := range cards {
		if c.Mark != q.Maker || c.Seat != cmp.Or(q.Seat, lid.Inset) {
			continue
		}
		if of := c.Question(); of.Trim {
			q.Trim = true
			if q.TrimMost == nil {
				q.TrimMost = of.TrimMost
			}
		}
		return nil
	}
	return nil
}

const mostOfMaker = 50 // cards that are looked through for the maker's last

// SizeLid takes from pot cards what the asker left open, loads what the question rests on, and computes.
func (s Lids) SizeLid(ctx context.Context, q lid.Question, open FromCards, at FiringAsk) (lid.Answer, FiringMeant, error) {
	if err := s.fromCards(ctx, &q, open); err != nil {
		return lid.Answer{}, FiringMeant{}, err
	}
	checked := q // the maker's own accuracy is yet to come into q
	if err := checked.Validate(s.LidDefaults); err != nil {
		return lid.Answer{}, FiringMeant{}, err
	}
	on, err := s.restsOn(ctx, &q, at)
	if err != nil {
		return lid.Answer{}, on.At, err
	}
	a, err := SizeLid(q, s.LidDefaults.Learned(on.maker), on)
	return a, on.At, err
}

// restsOn loads what a question rests on, and names the batches in it that it left open.
func (s Lids) restsOn(ctx context.Context, q *lid.Question, at FiringAsk) (rest, error) {
	on := Stated()
	if q.Body.Clay == "" && q.LidClay.Clay == "" {
		return on, nil
	}
	var clay tiles.Clay
	for i, c := range []*tiles.BatchRef{&q.Body, &q.LidClay} {
		if c.Clay == "" {
			continue
		}
		k, err := s.clay(ctx, c)
		if err != nil {
			return on, aboutLid(i == 1, err)
		}
		if i == 0 || clay.ID == "" {
			clay = k
		}
	}
	fit, asOf, err := s.Shrink.Fit(ctx)
	if err != nil {
		return on, err
	}
	taught, err := s.Learned(ctx)
	if err != nil {
		return on, err
	}
	on.rates = fit
	if on.At, err = s.meant(ctx, at, clay); err != nil {
		return on, err
	}
	on.At.AsOf, on.At.Model = asOf, shrinkage.Model
	if lid := q.ClayOfLid(); q.Body.Clay != "" && lid.Clay != "" {
		on.part, on.tight = taught.part(*q)
	}
	on.At.Held, on.maker, on.rim = taught.Held, taught.makers[q.Maker], taught.rims[makerForm{q.Maker, q.Form}]
	if q.Companion != "" {
		on.gone, err = s.companion(ctx, q.Companion)
	}
	return on, err
}

// aboutLid names the batch of the lid where that is the one at fault.
func aboutLid(is bool, err error) error {
	var r *Refusal
	if !is || !errors.As(err, &r) || len(r.Fields) != 1 || r.Fields[0].Name != "batch" {
		return err
	}
	return refuse(r.Kind, r.Says, wire.Field{Name: "lid_batch", Says: r.Fields[0].Says})
}

// Stated is what a question rests on that names no clay: itself.
func Stated() rest {
	return rest{At: FiringMeant{Firing: lid.Firing{Work: kiln.NoTemperature()}}}
}

// clay finds a clay, fills in the newest open batch where none was named, and the heat work of
// the cone on its bag.
func (s *Studio) clay(ctx context.Context, ref *tiles.BatchRef) (tiles.Clay, error) {
	kept, err := s.Archive.Clay(ctx, ref.Clay)
	if err != nil {
		return tiles.Clay{}, err
	}
	batches, err := s.Archive.Batches(ctx)
	if err != nil {
		return tiles.Clay{}, err
	}
	var newest *tiles.KeptBatch
	there := false
	for i, b := range batches {
		if b.Clay != ref.Clay {
			continue
		}
		there = there || b.BatchRef == *ref
		if b.Open && (newest == nil || b.InUse(newest.Batch)) {
			newest = &batches[i]
		}
	}
	switch {
	case ref.Batch != "" && !there:
		return tiles.Clay{}, refuse("unknown-batch", message.New("{1} is no batch here.", ref.String()),
			wire.Field{Name: "batch", Says: message.New("no such batch of {1}", string(ref.Clay))})
	case ref.Batch == "" && newest != nil:
		ref.Batch = newest.BatchRef.Batch
	}
	return Matured(kept.Clay), nil
}

// Matured fills in the heat work of the cone on the bag.
func Matured(c tiles.Clay) tiles.Clay {
	c.Matures = kiln.NoTemperature()
	if c.MaturesCone != "" {
		if h, err := heatwork.MainConeScale().Parse(c.MaturesCone); err == nil {
			c.Matures = h
		}
	}
	return c
}

// companion is what a bar that was kept beside the pot says of the drying already gone.
func (s Lids) companion(ctx context.Context, code tiles.Code) (shrinkage.SoFar, error) {
	b, err := s.Archive.Bar(ctx, code, s.Channel)
	if err != nil {
		return shrinkage.SoFar{}, err
	}
	var wet, now tiles.Millimetre
	for _, r := range b.Readings {
		switch {
		case r.Struck != nil || r.Mass != nil:
		case r.Stage == tiles.Wet:
			wet = r.Length
		case r.Stage == tiles.Soft || r.Stage == tiles.Leather:
			now = r.Length
		}
	}
	if wet == 0 || now == 0 {
		return shrinkage.SoFar{}, &tiles.Invalid{Field: "companion", Type: tiles.Missing,
			Why: message.New("bar {1} needs a wet and a soft or leather reading", string(code))}
	}
	return shrinkage.SoFarByBar(wet, now, s.LidDefaults.MeasureSD/2, b.Forming), nil
}

func (s *Studio) Channel(k kiln.KilnID, shelf string) kiln.ChannelID {
	if kk, ok := s.KilnNamed(k); ok {
		return kk.Probe(shelf)
	}
	return "1"
}
