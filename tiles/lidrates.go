package tiles

import (
	"time"

	"lidwright/kiln"
)

// LidFiring is the firing that body and lid are still to go through.
type LidFiring struct {
	Work       kiln.Celsius // heat work: usual, or as asked
	WorkSD     float64      // how far it may miss that, °C
	BisqueWork kiln.Celsius // usual bisque; NaN: none
	Probe      string       // kiln and probe life it is read with
	FromBag    bool         // no usual firing yet: the cone on the bag was taken
	On         time.Time    // date of the question, for "stale"; zero: the day of the newest reading
}

// LidKnown is what is known when a lid question is asked.
type LidKnown struct {
	Pair    Pair
	Check   *Pair           // from the check stage to fired, where the question has one
	Part    *PartDifference // nil: none is used
	FromBag bool            // see LidFiring
	Tight   bool            // a lid was tight, too big or glued: the dust cautions go with the answer
}

// PartDifference is how much more of its length a lid loses than its body, for one form and
// two clays, learned from how lids sat.
type PartDifference struct {
	Mean, SD  LogPercent
	Low, High LogPercent // a 90 % range
	Fits      int        // lids looked at
}

// checkRates sees that each part has a clay or stated rates, and not both.
func (q *LidQuestion) checkRates(f *faults) {
	q.BodyRates.check(f, "body_")
	q.LidRates.check(f, "lid_")
	if q.Doubt != nil {
		f.number("doubt_ratio", float64(*q.Doubt), 0, 0.05)
	}
	if q.Body.Clay != "" && q.BodyRates.any() {
		f.add(GivenTwice, "clay", "and body rates: name the clay or state the rates")
	}
	if q.LidClay.Clay != "" && q.LidRates.any() {
		f.add(GivenTwice, "lid_clay", "and lid rates: name the clay or state the rates")
	}
	q.checkGone(f)
	stated := q.BodyRates.any() || q.LidRates.any()
	if q.Body.Clay == "" && q.needsBody() {
		if !stated && (q.LidClay.Clay == "" || q.BodyRates.Leather == nil) {
			f.add(Missing, "clay", "is needed, or state the rates: body_drying_ratio and body_firing_ratio")
			return
		}
		q.BodyRates.needs(f, "body_", q.CollarStage)
	}
	if q.ClayOfLid().Clay == "" && q.needsLid() {
		if !stated {
			f.add(Missing, "clay", "is needed, or state the rates: lid_drying_ratio and lid_firing_ratio")
			return
		}
		rates, _ := q.lidRates()
		rates.needs(f, "lid_", q.LidStage)
	}
}

func (q *LidQuestion) checkGone(f *faults) {
	if (q.MassWet != 0) != (q.MassNow != 0) {
		f.add(Missing, map[bool]string{true: "mass_wet_g", false: "mass_now_g"}[q.MassWet == 0], "is needed beside the other mass")
	} else if q.MassWet != 0 {
		f.number("mass_wet_g", q.MassWet, 1, heaviest)
		f.number("mass_now_g", q.MassNow, 1, heaviest)
		if q.MassNow > q.MassWet {
			f.add(OutOfRange, "mass_now_g", "more than mass_wet_g: were they swapped?")
		}
	}
	ways := 0
	for _, given := range []bool{q.Companion != "", q.MassWet != 0, q.BodyRates.Leather != nil} {
		if given {
			ways++
		}
	}
	if ways > 1 {
		f.add(GivenTwice, "companion", "companion, masses and body_leather_ratio say the same thing: give one")
	}
}

// needsBody and needsLid say whether the part still shrinks, so that a rate is needed.
func (q *LidQuestion) needsBody() bool { return q.CollarStage != Fired }
func (q *LidQuestion) needsLid() bool  { return q.LidStage != Fired }

// ClayOfLid is the clay of the lid: as named, else the body's, unless rates are stated for it.
func (q *LidQuestion) ClayOfLid() BatchRef {
	if q.LidClay.Clay != "" || q.LidRates.any() {
		return q.LidClay
	}
	return q.Body
}

// lidRates are the stated rates of the lid, and whether they are the body's. What has gone of
// the body has not gone of the lid.
func (q *LidQuestion) lidRates() (rates StatedRates, shared bool) {
	if q.LidRates.any() {
		return q.LidRates, false
	}
	rates = q.BodyRates
	rates.Leather = q.LidRates.Leather
	return rates, true
}

// Guessed reports whether the drying already gone of a soft or leather-hard part was not
// measured, so that the handbook's share is taken.
func (q *LidQuestion) Guessed() bool {
	partly := func(s Stage) bool { return s == Soft || s == Leather }
	body := partly(q.CollarStage) && q.Body.Clay != "" && q.Companion == "" && q.MassWet == 0 && q.BodyRates.Leather == nil
	lid := partly(q.LidStage) && q.ClayOfLid().Clay != "" && q.LidRates.Leather == nil
	return body || lid
}

// Know gathers the shrink of body and lid: from the fit for a part with a clay, from stated
// rates for the others. companion is what the companion bar says, if q names one. rates may
// be nil if no part has a clay. q must have been validated.
func (q *LidQuestion) Know(rates Rates, at LidFiring, companion Gone) (LidKnown, error) {
	known := LidKnown{FromBag: at.FromBag && (q.Body.Clay != "" && q.needsBody() || q.ClayOfLid().Clay != "" && q.needsLid())}
	var err error
	known.Pair, err = q.pair(rates, at, companion, q.CollarStage, q.LidStage)
	if err != nil || q.CheckStage == "" {
		return known, err
	}
	check, err := q.pair(rates, at, companion, q.CheckStage, q.CheckStage)
	known.Check = &check
	return known, err
}

// pair is the shrink from the two stages to fired.
func (q *LidQuestion) pair(rates Rates, at LidFiring, companion Gone, bodyStage, lidStage Stage) (Pair, error) {
	ask := func(ref BatchRef, stage Stage, gone Gone) Ask {
		return Ask{BatchRef: ref, Forming: ThrownRing, Stage: stage, Gone: gone, Work: at.Work, WorkSD: at.WorkSD,
			BisqueWork: at.BisqueWork, Kind: q.Kind, Probe: at.Probe, On: at.On}
	}
	bodyClay, lidClay := q.Body.Clay != "" && bodyStage != Fired, q.ClayOfLid().Clay != "" && lidStage != Fired
	body, lid := ask(q.Body, bodyStage, q.bodyGone(companion)), ask(q.ClayOfLid(), lidStage, q.lidGone())
	if bodyClay && lidClay {
		return rates.Pair(body, lid, q.Together)
	}
	lidRates, shared := q.lidRates()
	stated := StatedPair(StatedPart{q.BodyRates, bodyStage}, StatedPart{lidRates, lidStage}, *q.Doubt, shared, q.Together)
	switch {
	case bodyClay:
		fit, err := rates.Pair(body, body, Apart)
		return fit.JoinApart(stated), err
	case lidClay:
		fit, err := rates.Pair(lid, lid, Apart)
		return stated.JoinApart(fit), err
	}
	return stated, nil
}

func (q *LidQuestion) bodyGone(companion Gone) Gone {
	switch {
	case q.Companion != "":
		return companion
	case q.BodyRates.Leather != nil:
		return GoneByRatio(*q.BodyRates.Leather)
	case q.MassWet != 0:
		return GoneByMass(q.MassWet, q.MassNow)
	}
	return Gone{}
}

func (q *LidQuestion) lidGone() Gone {
	if q.LidRates.Leather != nil {
		return GoneByRatio(*q.LidRates.Leather)
	}
	return Gone{}
}
