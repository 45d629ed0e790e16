package lid

import (
	"math"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Firing is the firing that body and lid are still to go through.
type Firing struct {
	Work       kiln.Celsius // heat work: usual, or as asked
	WorkSD     float64      // how far it may miss that, °C
	BisqueWork kiln.Celsius // usual bisque; NaN: none
	Probe      string       // kiln and probe life it is read with
	FromBag    bool         // no usual firing yet: the cone on the bag was taken
	On         time.Time    // date of the question, for shrinkage.Old; zero: the day of the newest reading
}

// Known is what is known when a lid question is asked.
type Known struct {
	Pair    shrinkage.Pair  // from the stages asked about to fired
	Check   *shrinkage.Pair // from the check stage to fired, where the question has one
	Leather *shrinkage.Pair // from leather-hard to fired, where the lid may be trimmed
	Rim     Rim             // of this maker and form
	Part    *Difference     // nil: none is used
	FromBag bool            // see Firing
	Tight   bool            // a lid was tight, too big or glued: the dust cautions go with the answer
}

// Difference is how much more of its length a lid loses than its body beyond what the rates say, for one
// form and two clays, learned from how lids sat. Once boards taught it, it has the error of the rates in it.
type Difference struct {
	Mean, SD  tiles.LogPercent // log-percent of its length, above 0 where the lid loses more
	Low, High tiles.LogPercent // a 90 % range
	Fits      int              // lids looked at
	RateSD    tiles.LogPercent // of the error of the rates that is part of it; 0 without a board
	// by which its boards differ among themselves for no known reason; 0 without a board
	BoardSD tiles.LogPercent
}

// variance is that of the difference on the next board, log-percent².
func (d Difference) variance() float64 { return square(float64(d.SD)) + square(float64(d.BoardSD)) }

// NextSD is how far the next board may lie from Mean, log-percent.
func (d Difference) NextSD() float64 { return math.Sqrt(d.variance()) }

// checkRates sees that each part has a clay or stated rates, and not both.
func (q *Question) checkRates(f *tiles.Faults) {
	q.BodyRates.Check(f, "body_")
	q.LidRates.Check(f, "lid_")
	if q.Doubt != nil {
		f.Number("doubt_ratio", float64(*q.Doubt), 0, 0.05)
	}
	if q.Body.Clay != "" && q.BodyRates.Any() {
		f.Add(tiles.GivenTwice, "clay", "and body rates: name the clay or state the rates")
	}
	if q.LidClay.Clay != "" && q.LidRates.Any() {
		f.Add(tiles.GivenTwice, "lid_clay", "and lid rates: name the clay or state the rates")
	}
	q.checkGone(f)
	stated := q.BodyRates.Any() || q.LidRates.Any()
	if q.Body.Clay == "" && q.needsBody() {
		if !stated && (q.LidClay.Clay == "" || q.BodyRates.Leather == nil) {
			f.Add(tiles.Missing, "clay", "is needed, or state the rates: body_drying_ratio and body_firing_ratio")
			return
		}
		q.BodyRates.Needs(f, "body_", q.CollarStage)
	}
	if q.ClayOfLid().Clay == "" && q.needsLid() {
		if !stated {
			f.Add(tiles.Missing, "clay", "is needed, or state the rates: lid_drying_ratio and lid_firing_ratio")
			return
		}
		rates, _ := q.lidRates()
		rates.Needs(f, "lid_", q.LidStage)
	}
}

// checkGone sees that the drying gone so far is told in one way at most, and both masses or none.
func (q *Question) checkGone(f *tiles.Faults) {
	if (q.MassWet != 0) != (q.MassNow != 0) {
		f.Add(tiles.Missing, map[bool]string{true: "mass_wet_g", false: "mass_now_g"}[q.MassWet == 0],
			"is needed beside the other mass")
	} else if q.MassWet != 0 {
		f.Within("mass_wet_g", q.MassWet)
		f.Within("mass_now_g", q.MassNow)
		if q.MassNow > q.MassWet {
			f.Add(tiles.OutOfRange, "mass_now_g", "more than mass_wet_g: were they swapped?")
		}
	}
	ways := 0
	for _, given := range []bool{q.Companion != "", q.MassWet != 0, q.BodyRates.Leather != nil} {
		if given {
			ways++
		}
	}
	if ways > 1 {
		f.Add(tiles.GivenTwice, "companion",
			"companion, masses and body_leather_ratio say the same thing: give one")
	}
}

// needsBody and needsLid say whether the part still shrinks, so that a rate is needed.
func (q *Question) needsBody() bool { return q.CollarStage != tiles.Fired }

// needsLid is the same of the lid.
func (q *Question) needsLid() bool { return q.LidStage != tiles.Fired }

// ClayOfLid is the clay of the lid: as named, else the body's, unless rates are stated for it.
func (q *Question) ClayOfLid() tiles.BatchRef {
	if q.LidClay.Clay != "" || q.LidRates.Any() {
		return q.LidClay
	}
	return q.Body
}

// lidRates are the stated rates of the lid, and whether they are the body's. What has gone of
// the body has not gone of the lid.
func (q *Question) lidRates() (rates shrinkage.StatedRates, shared bool) {
	if q.LidRates.Any() {
		return q.LidRates, false
	}
	rates = q.BodyRates
	rates.Leather = q.LidRates.Leather
	return rates, true
}

// Guessed reports whether the drying already gone of a soft or leather-hard part was not
// measured, so that a usual share is taken; so it is of a check on the way.
func (q *Question) Guessed() bool {
	partly := func(s tiles.Stage) bool { return s == tiles.Soft || s == tiles.Leather }
	body := partly(q.CollarStage) && q.Body.Clay != "" && q.Companion == "" && q.MassWet == 0 &&
		q.BodyRates.Leather == nil
	lid := partly(q.LidStage) && q.ClayOfLid().Clay != "" && q.LidRates.Leather == nil
	check := q.CheckStage == tiles.Leather && q.Body.Clay != "" && q.Companion == "" && q.MassWet == 0 &&
		q.BodyRates.Leather == nil
	return body || lid || check
}

// Know gathers the shrink of body and lid: from the fit for a part with a clay, from stated
// rates for the others. companion is what the companion bar says, if q names one. rates may
// be nil if no part has a clay.
func (q *Checked) Know(rates shrinkage.Rates, at Firing, companion shrinkage.SoFar) (Known, error) {
	known := Known{FromBag: at.FromBag && (q.Body.Clay != "" && q.needsBody() ||
		q.ClayOfLid().Clay != "" && q.needsLid())}
	var err error
	gone := [2]shrinkage.SoFar{q.bodyGone(companion), q.lidGone()}
	known.Pair, err = q.pair(rates, at, gone, q.CollarStage, q.LidStage)
	if err == nil && len(q.WasCollar) > 0 {
		known.Pair, err = q.ofThisPot(rates, at, known.Pair)
	}
	// for the second step the body stands at leather-hard at least
	if err == nil && q.Trim {
		body := q.CollarStage
		if body.Before(tiles.Leather) {
			body = tiles.Leather
		}
		beside := gone
		if !beside[1].Known { // the lid dries beside the companion too
			beside[1] = gone[0]
		}
		var leather shrinkage.Pair
		leather, err = q.pair(rates, at, beside, body, tiles.Leather)
		known.Leather = &leather
	}
	if err != nil || q.CheckStage == "" {
		return known, err
	}
	if !gone[1].Known && q.LidStage != q.CheckStage { // both dry beside the companion
		gone[1] = gone[0]
	}
	check, err := q.pair(rates, at, gone, q.CheckStage, q.CheckStage)
	known.Check = &check
	return known, err
}

// ofThisPot uses what the pot itself lost: its gallery was measured wet and is measured fired. Its firing is
// taken as one of the usual ones, which it may have missed.
func (q *Checked) ofThisPot(rates shrinkage.Rates, at Firing, p shrinkage.Pair) (shrinkage.Pair, error) {
	ask := func(ref tiles.BatchRef) shrinkage.Ask {
		return shrinkage.Ask{BatchRef: ref, Forming: tiles.ThrownRing, Stage: tiles.Wet, Work: at.Work,
			WorkSD:     at.WorkSD,
			BisqueWork: at.BisqueWork, Kind: q.Kind, Probe: at.Probe, On: at.On}
	}
	if q.ClayOfLid().Clay == "" || q.LidStage != tiles.Wet {
		return p, nil
	}
	pot := ask(q.Body)
	pot.WorkSD = max(pot.WorkSD, potFiringSD)
	seen, err := rates.Pair(pot, ask(q.ClayOfLid()), shrinkage.Apart)
	if err != nil {
		return p, err
	}
	lost, sd := shrinkage.ShrinkOf(q.WasCollar, q.Collar, q.softSD, q.firedSD)
	now := seen.Seen(0, lost, tiles.LogPercent(math.Hypot(float64(sd), potOfBarSD)))
	now.Standing = p.Standing
	return now, nil
}

// potFiringSD is how far the firing of a pot that is there may have missed the usual one, °C (own; that of a
// firing to come, where no other tells).
const potFiringSD = 6

// potOfBarSD is how far a pot and a lid may differ in shrink beside bars of the same batch, log-percent
// (own).
const potOfBarSD = 0.15

// pair is the shrink from the two stages to fired.
func (q *Question) pair(rates shrinkage.Rates, at Firing, gone [2]shrinkage.SoFar, bodyStage,
	lidStage tiles.Stage) (shrinkage.Pair, error) {
	ask := func(ref tiles.BatchRef, stage tiles.Stage, gone shrinkage.SoFar) shrinkage.Ask {
		return shrinkage.Ask{BatchRef: ref, Forming: tiles.ThrownRing, Stage: stage,
			Gone: gone, Work: at.Work,
			WorkSD:     at.WorkSD,
			BisqueWork: at.BisqueWork, Kind: q.Kind, Probe: at.Probe, On: at.On}
	}
	bodyClay, lidClay := q.Body.Clay != "" && bodyStage != tiles.Fired, q.ClayOfLid().Clay != "" &&
		lidStage != tiles.Fired
	body, lid := ask(q.Body, bodyStage, gone[0]), ask(q.ClayOfLid(), lidStage, gone[1])
	if bodyClay && lidClay {
		return rates.Pair(body, lid, q.Together)
	}
	lidRates, shared := q.lidRates()
	stated := shrinkage.StatedPair(shrinkage.StatedPart{Rates: q.BodyRates, Stage: bodyStage},
		shrinkage.StatedPart{Rates: lidRates, Stage: lidStage}, *q.Doubt, shared, q.Together)
	// one part by the fit, the other by stated rates: they share nothing
	switch {
	case bodyClay:
		fit, err := rates.Pair(body, body, shrinkage.Apart)
		return fit.JoinApart(stated), err
	case lidClay:
		fit, err := rates.Pair(lid, lid, shrinkage.Apart)
		return stated.JoinApart(fit), err
	}
	return stated, nil
}

// bodyGone is what has gone of a soft or leather-hard pot, by the companion bar, a stated share or its
// masses; nothing told: the usual share.
func (q *Question) bodyGone(companion shrinkage.SoFar) shrinkage.SoFar {
	switch {
	case q.Companion != "":
		return companion
	case q.BodyRates.Leather != nil:
		return shrinkage.SoFarByRatio(*q.BodyRates.Leather)
	case q.MassWet != 0:
		return shrinkage.SoFarByMass(q.MassWet, q.MassNow)
	}
	return shrinkage.SoFar{}
}

// lidGone is what has gone of the lid, where it was stated.
func (q *Question) lidGone() shrinkage.SoFar {
	if q.LidRates.Leather != nil {
		return shrinkage.SoFarByRatio(*q.LidRates.Leather)
	}
	return shrinkage.SoFar{}
}
