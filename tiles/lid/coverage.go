package lid

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"lidwright/tiles"
)

// Coverage is how often our own likely ranges held what came after.
// ranges that held what came, of so many
type Coverage struct{ Held, Of int }

// Ratio is the share that held; NaN: nothing to tell by yet.
func (h Coverage) Ratio() float64 { return float64(h.Held) / float64(h.Of) }

// scoredBoards bounds how far back the score of our ranges looks.
const scoredBoards = 60

// ScoreCoverage asks of every measured play whether it lay in the range that was likely before its board
// was seen: from the boards before it alone. boards must be in the order of their looking; the
// newest sixty with a measured play count. The shrink is that of the fit of today, which no play
// ever enters.
func ScoreCoverage(boards []ComparedResult) Coverage {
	measured := 0
	for _, b := range boards {
		if b.Tells() && len(b.Plays) > 0 {
			measured++
		}
	}
	p := Differences{groups: map[DifferenceGroup]*partGroup{}}
	var h Coverage
	for _, b := range boards {
		if b.Tells() && len(b.Plays) > 0 {
			if measured <= scoredBoards {
				p.settle()
				low, high := b.likelyPlay(p.Of(b.Group))
				for _, x := range b.Plays {
					h.Of++
					if low <= x && x <= high {
						h.Held++
					}
				}
			}
			measured--
		}
		p.add(b)
	}
	return h
}

// likelyPlay is the range in which a play measured on the board is to be expected.
func (b ComparedResult) likelyPlay(d Difference) (low, high tiles.Millimetre) {
	per := float64(b.Lid) / 100 // mm of play for a point of lid difference
	mean := float64(b.Play) + per*float64(d.Mean)
	rate := max(square(float64(b.RateSD))-square(float64(d.RateSD)), 0) // what the difference has not in it
	half := distuv.UnitNormal.Quantile((1+tiles.LikelyLevel)/2) * math.Sqrt(square(float64(b.OwnSD))+
		square(float64(b.SameSD))+square(outcomeSD)+square(per)*(d.variance()+rate))
	return tiles.Millimetre(mean - half), tiles.Millimetre(mean + half)
}
