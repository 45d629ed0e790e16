package usecase

import (
	"cmp"
	"context"
	"errors"
	"math"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/board"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// IsInvalid reports whether err is a form at fault, which the person can put right.
func IsInvalid(err error) bool {
	var many tiles.InvalidFields
	var one *tiles.Invalid
	return errors.As(err, &many) || errors.As(err, &one)
}

// rest is what the answer to a lid or board question rests on.
type rest struct {
	rates     shrinkage.Rates // nil: no clay was named
	body, lid tiles.BatchID   // of its clays, those that it left open too
	at        FiringMeant
	gone      shrinkage.SoFar
	part      *lid.Difference // nil: none is used
	tight     bool            // a lid of the form was too big, tight or glued
	maker     lid.Accuracy    // how true the maker works
	rim       lid.Rim         // how the maker's bowls of the form grow when their rims are turned out
}

// stated is what a question rests on that names no clay: itself.
func stated() rest { return rest{at: NoFiring()} }

// NoFiring is what a question is about that names no clay.
func NoFiring() FiringMeant { return FiringMeant{Firing: lid.Firing{Work: kiln.NoTemperature()}} }

// SizeLid answers a question about a lid: it takes from pot cards what its asker left open, checks it, loads
// what it rests on, and computes. A size outside what is believed is asked about first.
func (s Lids) SizeLid(ctx context.Context, q lid.Question, open FromCards, at FiringAsk) (lid.Answer,
	FiringMeant, error) {
	err := s.asForm(ctx, &q, open)
	if err == nil {
		err = s.asMaker(ctx, &q, open)
	}
	if err != nil {
		return lid.Answer{}, FiringMeant{}, err
	}
	asked, err := checkLid(q, s.LidDefaults)
	if err != nil {
		return lid.Answer{}, FiringMeant{}, err
	}
	on, err := s.restsOn(ctx, asked.Asked(), at)
	if err != nil {
		return lid.Answer{}, on.at, err
	}
	a, err := answerLid(asked.Of(on.body, on.lid).By(on.maker), on)
	return a, on.at, err
}

// SizeStatedLid is SizeLid for a question that names no clay: it needs no record.
func SizeStatedLid(q lid.Question, d lid.Defaults) (lid.Answer, error) {
	asked, err := checkLid(q, d)
	if err != nil {
		return lid.Answer{}, err
	}
	return answerLid(asked, stated())
}

// checkLid tells every fault of a question, then every size that is asked about.
func checkLid(q lid.Question, d lid.Defaults) (lid.Checked, error) {
	asked, err := q.Check(d)
	if err == nil {
		err = asked.Doubts()
	}
	return asked, err
}

// answerLid computes.
func answerLid(q lid.Checked, on rest) (lid.Answer, error) {
	known, err := q.Know(on.rates, on.at.Firing, on.gone)
	if err != nil {
		return lid.Answer{}, err
	}
	known.Part, known.Tight, known.Rim = on.part, on.tight, on.rim
	return lid.Size(q, known)
}

// SizeBoard is SizeLid of a board.
func (s Lids) SizeBoard(ctx context.Context, q board.Question, open FromCards, at FiringAsk) (board.Answer,
	FiringMeant, error) {
	if err := s.asForm(ctx, &q.Common, open); err != nil {
		return board.Answer{}, FiringMeant{}, err
	}
	asked, err := checkBoard(q, s.LidDefaults)
	if err != nil {
		return board.Answer{}, FiringMeant{}, err
	}
	on, err := s.restsOn(ctx, q.Common, at)
	if err != nil {
		return board.Answer{}, on.at, err
	}
	a, err := answerBoard(asked.Of(on.body, on.lid).By(on.maker), on)
	return a, on.at, err
}

// SizeStatedBoard is SizeStatedLid of a board.
func SizeStatedBoard(q board.Question, d lid.Defaults) (board.Answer, error) {
	asked, err := checkBoard(q, d)
	if err != nil {
		return board.Answer{}, err
	}
	return answerBoard(asked, stated())
}

func checkBoard(q board.Question, d lid.Defaults) (board.Checked, error) {
	asked, err := q.Check(d)
	if err == nil {
		err = asked.Doubts()
	}
	return asked, err
}

func answerBoard(q board.Checked, on rest) (board.Answer, error) {
	known, err := q.Know(on.rates, on.at.Firing, on.gone)
	if err != nil {
		return board.Answer{}, err
	}
	return board.Size(q, known.Learned(on.part))
}

// restsOn loads what a question rests on.
func (s Lids) restsOn(ctx context.Context, q lid.Question, at FiringAsk) (rest, error) {
	on := stated()
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
		if clay.ID == "" {
			clay = k
		}
	}
	on.body, on.lid = q.Body.Batch, q.LidClay.Batch
	fit, asOf, err := s.Shrink.Fit(ctx)
	if err != nil {
		return on, err
	}
	taught, err := s.Learned(ctx)
	if err != nil {
		return on, err
	}
	on.rates = fit
	if on.at, err = s.meant(ctx, at, clay); err != nil {
		return on, err
	}
	on.at.AsOf, on.at.Model = asOf, shrinkage.Model
	if lid := q.ClayOfLid(); q.Body.Clay != "" && lid.Clay != "" {
		on.part, on.tight = taught.part(q)
	}
	on.at.Held, on.maker, on.rim = taught.Held, taught.makers[q.Maker], taught.rims[makerForm{q.Maker,
		q.Form}]
	if q.Companion != "" {
		on.gone, err = s.companion(ctx, q.Companion)
	}
	return on, err
}

// FromCards says what pot cards may tell of a lid question: what its asker left open.
type FromCards struct {
	Glazed bool // whether the seat is glazed
	Trim   bool // whether the lid is trimmed at leather-hard
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
	if !open.Trim || q.Maker == "" || q.Asks() != lid.AskWidth || q.Body.Clay == "" ||
		q.LidStage != "" && q.LidStage != tiles.Wet {
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

// aboutLid names the batch of the lid where that is the one at fault.
func aboutLid(is bool, err error) error {
	var r *Refusal
	if !is || !errors.As(err, &r) || len(r.Fields) != 1 || r.Fields[0].Name != "batch" {
		return err
	}
	return refuse(r.Kind, r.Says, wire.Field{Name: "lid_batch", Says: r.Fields[0].Says})
}

// companion is what a bar that was kept beside the pot says of the drying already gone.
func (s Lids) companion(ctx context.Context, code tiles.Code) (shrinkage.SoFar, error) {
	b, err := s.Archive.Bar(ctx, code, s.Channel)
	if errors.Is(err, tiles.ErrNoBar) {
		return shrinkage.SoFar{}, refuse("unknown-bar", message.New("Bar {1} is not here.", string(code)),
			wire.Field{Name: "companion", Says: message.New("no such bar: write the code of a bar, such as BQ7")})
	}
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

// Unit is that of lengths whose unit nobody said; mm where the settings are silent.
func (s *Studio) Unit() tiles.LengthUnit {
	if s.Site.Units == "" {
		return tiles.MM
	}
	return tiles.LengthUnit(s.Site.Units)
}

// Heated finds a clay's batch, the fit, and the firing that a question is about.
func (s Lids) Heated(ctx context.Context, ref *tiles.BatchRef, at FiringAsk) (*shrinkage.Fit,
	FiringMeant, error) {
	clay, err := s.clay(ctx, ref)
	if err != nil {
		return nil, FiringMeant{}, err
	}
	fit, asOf, err := s.Shrink.Fit(ctx)
	if err != nil {
		return nil, FiringMeant{}, err
	}
	m, err := s.meant(ctx, at, clay)
	m.AsOf, m.Model = asOf, shrinkage.Model
	return fit, m, err
}

// BoardJSON is the answer to a board question as the API tells it, lengths to 0.01 mm.
func (s Lids) BoardJSON(q board.Question, a board.Answer, m FiringMeant, unit tiles.LengthUnit) wire.Board {
	j := wire.Board{Galleries: a.Galleries, Lids: a.Lids, AllPairChance: Rounded(a.AllPairChance, 4),
		ExpectedPairs:  Rounded(a.ExpectedPairs, 2),
		OneToOneChance: Rounded(a.OneToOneChance, 4), Says: a.Says(unit), For: m.For(),
		Trust: string(a.Trust), TrustWhy: a.TrustWhy, HeldBack: Said(a.HeldBack),
		Cautions: a.Cautions, Unusual: a.Unusual, AsOf: s.Moment(m.AsOf), Model: m.Model}
	for _, size := range a.Sizes {
		j.Sizes = append(j.Sizes, wire.BoardSize{SizeMM: Rounded(float64(size.Size), 2), Count: size.Count})
	}
	for _, p := range a.Pairs {
		pot := ""
		if p.Gallery < len(q.Galleries) {
			pot = q.Galleries[p.Gallery].Pot
		}
		j.Pairs = append(j.Pairs, wire.BoardPair{Gallery: p.Gallery, Pot: Text(pot), Lid: Text(p.Lid),
			FitChance: Rounded(p.FitChance, 4), SetMM: Rounded(float64(p.Set), 2)})
	}
	if j.Cautions == nil {
		j.Cautions = []string{}
	}
	if j.Unusual == nil {
		j.Unusual = []string{}
	}
	if math.IsNaN(a.AllPairChance) { // lids measured at different stages
		j.AllPairChance = nil
	}
	return j
}
