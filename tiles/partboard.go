package tiles

import "math"

// Expect joins a board of verdicts with what the fit expected of it. pots are the lid questions of
// its pots, at least one: of the pot card, or of each pot of the board (lids were counted without
// names, so that every lid takes their mean). Each asks for the gap of the lid that was thrown to
// it: Lid is its width as measured (thrown says false) or as told (true). known is the shrink for
// the heat that the load really had. The limits are those kept with the board, else those of the
// first pot. The error is InvalidFields.
func (v LidBoard) Expect(pots []LidQuestion, thrown bool, d LidDefaults, known LidKnown) (SatBoard, error) {
	b := SatBoard{Group: PartGroup{v.Form, v.Body.Clay, v.Lid.Clay, v.Maker}, Sat: v.Sat, Plays: v.Plays, Ledge: nan}
	if len(pots) == 0 {
		return b, InvalidFields{{Field: "pot", Type: Missing, Why: "is needed: without the size of a pot its lids teach nothing"}}
	}
	known.Part = nil
	var own, same, plays, squares, ledges, lids float64
	for i, q := range pots {
		if q.Asks() != AskGap {
			return b, InvalidFields{{Field: "pot", Type: Missing, Why: "needs both widths, of the gallery and of the lid"}}
		}
		if err := q.Validate(d); err != nil {
			return b, err
		}
		f := newFitting(q, d, known)
		if thrown {
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
