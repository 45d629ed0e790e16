package lid

import (
	"math"

	"lidwright/kiln/message"
	"lidwright/tiles"
)

// ComparedPot is one pot of a board: the question for the gap of the lid that was thrown to it, and the
// shrink of the two for the heat that the load really had.
type ComparedPot struct {
	Question Checked // for the gap, with every default
	Known    Known   // of the heat that the load had
	AsTold   bool    // the lid's width is the one that was told, not measured
}

// LidFor is the question for the gap of the lid of the i-th pot of v. The lid's width is the one
// thrown, as v says it; else as measured on the card; else as told, and asTold. It is 0 where none is known.
func (v Result) LidFor(i int, card PotCard) (q Question, asTold bool) {
	q = card.Question()
	q.Body, q.LidClay, q.Form, q.Maker = v.Body, v.Lid, v.Form, v.Maker
	switch {
	case len(v.Thrown) == len(v.Pots) && i < len(v.Thrown):
		q.Lid = v.Thrown[i]
	case len(v.Thrown) > 0:
		for _, w := range v.Thrown {
			q.Lid += w / tiles.Millimetre(len(v.Thrown))
		}
	case card.Measured != 0:
		q.Lid = card.Measured
	default:
		q.Lid, asTold = card.Set, true
	}
	return q, asTold
}

// rateStays is the share of the rates' variance, of lid less body, that is the same on every board; the rest
// comes and goes with the heat of its load, since two clays do not ripen alike (own: of 0.5 to 0.95 the
// one by which the said chances came true best, see TestBoardsTeachWhatTheySay).
const rateStays = 0.9

// Expect joins a board of lids with what the fit expected of it, without any lid difference.
// pots are the pots of the board, at least one; lids were counted without names, so that every
// lid takes their mean. The limits are those kept with the board, else those of the first pot. The
// error is InvalidFields.
func (v Result) Expect(pots []ComparedPot) (ComparedResult, error) {
	b := ComparedResult{Group: DifferenceGroup{v.Form, v.Body.Clay, v.Lid.Clay, v.Maker}, Sat: v.Sat,
		Plays: v.Plays, Ledge: nan}
	if len(pots) == 0 {
		return b, tiles.InvalidFields{{Field: "pots", Type: tiles.Missing,
			Why: message.New("are needed: without the size of a pot its lids teach nothing")}}
	}
	var own, same, rate, plays, squares, ledges, lids float64
	// each pot by itself: what each lid has for itself, what all share, and the rates
	for i, pot := range pots {
		q := pot.Question
		if q.Asks() != AskGap {
			return b, tiles.InvalidFields{{Field: "pots", Type: tiles.Missing,
				Why: message.New("need both widths, of the gallery and of the lid")}}
		}
		pot.Known.Part = nil
		f := NewClearance(q, pot.Known)
		if pot.AsTold {
			f.Making = square(f.Left[1] * float64(*q.ThrowSD))
		}
		w := float64(q.Lid) * f.Left[1]
		c := f.causesAt(w)
		m := f.playOf(w)
		own += c.piece + c.position + c.reading + f.Making
		between := f.rateBetween()
		same += c.load + c.gone + (1-rateStays)*between*w*w/1e4
		rate += rateStays * between
		plays, squares, lids = plays+m, squares+m*m, lids+w
		if math.IsNaN(f.pushed) {
			ledges = math.NaN()
		} else {
			ledges += f.given - f.pushed
		}
		if i == 0 {
			b.Limits = Limits{tiles.Millimetre(f.fit.least), tiles.Millimetre(f.fit.most),
				tiles.Millimetre(f.Bearing)}
		}
	}
	// the board has the mean; that pots differ is in each lid's own doubt
	n := float64(len(pots))
	mean := plays / n
	b.Play, b.Lid, b.Ledge = tiles.Millimetre(mean), tiles.Millimetre(lids/n), tiles.Millimetre(ledges/n)
	b.OwnSD = tiles.Millimetre(math.Sqrt(own/n + max(squares/n-mean*mean, 0)))
	b.SameSD = tiles.Millimetre(math.Sqrt(same / n))
	b.RateSD = tiles.LogPercent(math.Sqrt(rate / n))
	if v.Limits != nil {
		b.Limits = *v.Limits
	}
	return b, nil
}

// CheckPlays refuses a measured play that the board cannot have had: wider than the ledge, without
// a lid that dropped in. ledge is its fired width, NaN where there is none. The error is
// InvalidFields.
func (v Result) CheckPlays(ledge tiles.Millimetre) error {
	var f tiles.Faults
	wide := 0
	for _, p := range v.Plays {
		if p > ledge+3*outcomeSD {
			wide++
		}
		if wide > v.Sat.DropsIn && p > ledge+3*outcomeSD {
			f.Add(tiles.OutOfRange, "plays_mm",
				"{1} is more than the ledge is wide ({2} fired): such a lid drops in, and none was counted so. Measure again, or count it under drops in", tiles.MM.Of(p), tiles.MM.Of(ledge))
			break
		}
	}
	return f.Err()
}
