package lid

import (
	"math"
	"slices"

	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Contribution is the sd that one cause puts into the fired play.
type Contribution struct {
	// as in the JSON answer: piece, position, reading, throwing, lid_difference, rate, gone
	Cause string
	SD    tiles.Millimetre // mm, fired
}

// Causes are all causes of d, the largest first.
func (d UncertaintyBudget) Causes() []Contribution {
	all := []Contribution{{"piece", d.Piece}, {"position", d.Position}, {"reading", d.Reading},
		{"throwing", d.Throwing},
		{"lid_difference", d.LidDifference}, {"rate", d.Rate}, {"gone", d.Gone}}
	slices.SortStableFunc(all, func(a, b Contribution) int {
		return int(math.Copysign(1, float64(b.SD-a.SD)))
	})
	return all
}

// Largest names the cause that doubt comes from most.
func (d UncertaintyBudget) Largest() string { return d.Causes()[0].Cause }

// Improvement is something that the maker can do, and the chance of fit of the same size with it done.
type Improvement struct {
	Cause     string          // what it makes less of
	Does      message.Message // what to do
	FitChance float64         // of the same size with it done
}

// What each deed is worth, as a share of the variance that is left (own, but for the mean of three).
const (
	meanOfThree    = 1.0 / 3
	halfThrowing   = 0.25
	halfRate       = 0.25
	taughtPartSD   = 0.20 // log-percent, after a dozen lids looked at
	worthSharpness = 0.005
)

// improvements tells what would help most: each deed by itself, the best first, none that is not worth it.
func (f *Clearance) improvements(q Question, size, chance float64) []Improvement {
	w := size * f.Left[f.made]
	c := f.causesAt(w)
	var all []Improvement
	try := func(cause string, does message.Key, change func(*causes)) {
		less := c
		change(&less)
		p := f.fit.one(f.PlayAt(size), less.total())
		if p >= chance+worthSharpness {
			all = append(all, Improvement{cause, message.New(does), p})
		}
	}
	try("reading", "take the mean of three readings of each width", func(c *causes) {
		c.reading *= meanOfThree
		if q.Asks() == AskGap {
			c.throwing *= meanOfThree
		}
	})
	if q.Asks() != AskGap {
		try("throwing", "throw twice as near to the callipers", func(c *causes) {
			c.throwing *= halfThrowing
		})
	}
	if q.Together != shrinkage.InPlace && q.CollarStage != tiles.Fired &&
		q.LidStage != tiles.Fired && !(q.SeatGlazed) {
		try("position", "fire the lid in place on its pot", func(c *causes) { c.position = 0 })
	}
	if f.Part.SD > taughtPartSD {
		try("lid_difference", "tell how a dozen lids of this form sat", func(c *causes) {
			c.part *= square(taughtPartSD / float64(f.Part.SD))
		})
	}
	try("rate", "measure more bars of this bag in other loads", func(c *causes) { c.rate *= halfRate })
	if g := f.Pair.Gone[0][0] + f.Pair.Gone[1][1]; g > square(shrinkage.CompanionSD) {
		try("gone", "measure wet, or keep a companion bar beside the pot",
			func(c *causes) { c.gone *= square(shrinkage.CompanionSD) / g })
	}
	slices.SortStableFunc(all, func(a, b Improvement) int {
		return int(math.Copysign(1, b.FitChance-a.FitChance))
	})
	return all
}
