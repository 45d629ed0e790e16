package tiles

import "math"

// SatPot is one pot of a board: the question for the gap of the lid that was thrown to it, and the
// shrink of the two for the heat that the load really had.
type SatPot struct {
	Question LidQuestion
	Known    LidKnown
	AsTold   bool // the lid's width is the one that was told, not measured
}

// LidFor is the question for the gap of the lid of the i-th pot of v. The lid's width is the one
// thrown, as v says it; else as measured on the card; else as told. ok is false where none is known.
func (v LidBoard) LidFor(i int, card PotCard) (p SatPot, ok bool) {
	p.Question = card.Question()
	p.Question.Body, p.Question.LidClay, p.Question.Form, p.Question.Maker = v.Body, v.Lid, v.Form, v.Maker
	switch {
	case len(v.Thrown) == len(v.Pots) && i < len(v.Thrown):
		p.Question.Lid = v.Thrown[i]
	case len(v.Thrown) > 0:
		for _, w := range v.Thrown {
			p.Question.Lid += w / Millimetre(len(v.Thrown))
		}
	case card.Measured != 0:
		p.Question.Lid = card.Measured
	default:
		p.Question.Lid, p.AsTold = card.Set, true
	}
	return p, p.Question.Lid != 0
}

// Expect joins a board of verdicts with what the fit expected of it, without any part difference.
// pots are the pots of the board, at least one; lids were counted without names, so that every
// lid takes their mean. The limits are those kept with the board, else those of the first pot. The
// error is InvalidFields.
func (v LidBoard) Expect(pots []SatPot, d LidDefaults) (SatBoard, error) {
	b := SatBoard{Group: PartGroup{v.Form, v.Body.Clay, v.Lid.Clay, v.Maker}, Sat: v.Sat, Plays: v.Plays, Ledge: nan}
	if len(pots) == 0 {
		return b, InvalidFields{{Field: "pots", Type: Missing, Why: "are needed: without the size of a pot its lids teach nothing"}}
	}
	var own, same, plays, squares, ledges, lids float64
	for i, pot := range pots {
		q := pot.Question
		if q.Asks() != AskGap {
			return b, InvalidFields{{Field: "pots", Type: Missing, Why: "need both widths, of the gallery and of the lid"}}
		}
		if err := q.Validate(d); err != nil {
			return b, err
		}
		pot.Known.Part = nil
		f := newFitting(q, d, pot.Known)
		if pot.AsTold {
			f.making = square(f.left[1] * float64(*q.ThrowSD))
		}
		w := float64(q.Lid) * f.left[1]
		c := f.causesAt(w)
		m := f.playOf(w)
		own += c.piece + c.position + c.reading + f.making
		same += c.rate + c.gone
		plays, squares, lids = plays+m, squares+m*m, lids+w
		if math.IsNaN(f.pushed) {
			ledges = math.NaN()
		} else {
			ledges += f.given - f.pushed
		}
		if i == 0 {
			b.Limits = FitLimits{Millimetre(f.fit.least), Millimetre(f.fit.most), Millimetre(f.bearing)}
		}
	}
	n := float64(len(pots))
	mean := plays / n
	b.Play, b.Lid, b.Ledge = Millimetre(mean), Millimetre(lids/n), Millimetre(ledges/n)
	b.OwnSD = Millimetre(math.Sqrt(own/n + max(squares/n-mean*mean, 0)))
	b.SameSD = Millimetre(math.Sqrt(same / n))
	if v.Limits != nil {
		b.Limits = *v.Limits
	}
	return b, nil
}

// CheckPlays refuses a measured play that the board cannot have had: wider than the ledge, without
// a lid that dropped in. ledge is its fired width, NaN where there is none. The error is
// InvalidFields.
func (v LidBoard) CheckPlays(ledge Millimetre) error {
	var f faults
	wide := 0
	for _, p := range v.Plays {
		if p > ledge+3*verdictSD {
			wide++
		}
		if wide > v.Sat.DropsIn && p > ledge+3*verdictSD {
			f.add(OutOfRange, "plays_mm", MM.Format(p)+" is more than the ledge is wide ("+MM.Format(ledge)+" fired): such a lid drops in, and none was counted so. Measure again, or count it under drops in")
			break
		}
	}
	return f.err()
}
