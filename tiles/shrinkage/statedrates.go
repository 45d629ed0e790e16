package shrinkage

import (
	"math"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// StatedRates are shrink rates that the asker states for one part: no bar, no clay needed.
// nil: not stated. Drying and leather are shares of the wet length, bisque and firing of
// the dry length (the definitions of ASTM C326; that the firing part refers to the dry
// length is ours).
type StatedRates struct {
	Drying  *tiles.Ratio // wet to bone dry, 0 to 0.20
	Leather *tiles.Ratio // already gone at soft or leather, 0 to Drying
	Bisque  *tiles.Ratio // dry to bisque, -0.05 to 0.15
	Firing  *tiles.Ratio // dry to fired, -0.05 to 0.30
}

// Any reports whether a rate is stated that stands in place of a clay's. Leather alone may
// go with a clay.
func (s StatedRates) Any() bool { return s.Drying != nil || s.Bisque != nil || s.Firing != nil }

// statedOr0 of a rate not stated is nought; needs has seen to it that it is not needed.
func statedOr0(r *tiles.Ratio) float64 {
	if r == nil {
		return 0
	}
	return float64(*r)
}

// Left is the length that is left at the finished stage of a length of 1 at stage:
// wet (1-D)(1-F); soft, leather (1-D)(1-F)/(1-H); dry 1-F; bisque (1-F)/(1-B); fired 1.
func (s StatedRates) Left(stage tiles.Stage) float64 {
	dried, fired := 1-statedOr0(s.Drying), 1-statedOr0(s.Firing)
	switch stage {
	case tiles.Wet:
		return dried * fired
	case tiles.Soft, tiles.Leather:
		return dried * fired / (1 - statedOr0(s.Leather))
	case tiles.Dry:
		return fired
	case tiles.Biscuit:
		return fired / (1 - statedOr0(s.Bisque))
	}
	return 1
}

// Needs tells which rates the way from stage to fired asks for and nobody stated. part stands
// before the names of the fields: "body_", "lid_" or nothing.
func (s StatedRates) Needs(f *tiles.Faults, part string, stage tiles.Stage) {
	want := func(r *tiles.Ratio, name string) {
		if r == nil {
			f.Add(tiles.RateMissing, part+name+"_ratio", "is needed from {1} to fired, or name a clay", stage)
		}
	}
	if stage == tiles.Soft || stage == tiles.Leather {
		want(s.Leather, "leather")
	}
	if stage.Before(tiles.Dry) {
		want(s.Drying, "drying")
	}
	if stage == tiles.Biscuit {
		want(s.Bisque, "bisque")
	}
	if stage != tiles.Fired {
		want(s.Firing, "firing")
	}
}

// Check tells every rate outside its range.
func (s StatedRates) Check(f *tiles.Faults, part string) {
	for _, r := range []struct {
		name      string
		v         *tiles.Ratio
		low, high float64
	}{{"drying", s.Drying, 0, 0.20}, {"leather", s.Leather, 0, 0.20}, {"bisque", s.Bisque, -0.05, 0.15},
		{"firing", s.Firing, -0.05, 0.30}} {
		if r.v != nil {
			f.Number(part+r.name+"_ratio", float64(*r.v), r.low, r.high)
		}
	}
	if s.Leather != nil && s.Drying != nil && *s.Leather > *s.Drying {
		f.Add(tiles.LeatherOver, part+"leather_ratio",
			"more than {1}drying_ratio: more has gone than there is to go", part)
	}
}

// Handbook scatter that a stated rate does not know of (assumed, as for a clay without a
// bar): pieces of one throwing differ by 0.20 in their drying; a kiln's places by 5 °C and
// its loads by 7 °C at 0.0365 a °C; what a stated share of leather misses.
const (
	statedPieceSD    = 0.20
	statedPositionSD = 5 * 0.0365
	statedLoadSD     = 7 * 0.0365
	statedGoneSD     = 0.3
)

// StatedPart is one part of a question whose rates are stated.
type StatedPart struct {
	Rates StatedRates // those that its stage needs are stated
	Stage tiles.Stage // when measured
}

// StatedPair is what stated rates give in place of a fit. doubt is the sd of a stated drying
// part and of a stated firing part, each; shared says that the lid has the body's rates, so
// that they are wrong alike. Loads are told apart only if nothing is shared and both parts
// are still to be fired: elsewhere the stated doubt holds them.
func StatedPair(body, lid StatedPart, doubt tiles.Ratio, shared bool, together Together) Pair {
	p := Pair{Nu: math.Inf(1)}
	v := 1e4 * float64(doubt) * float64(doubt)
	parts := [2]StatedPart{body, lid}
	var dries, fires [2]float64
	// part by part: what is left to lose, and what comes in on the way
	for i, part := range parts {
		p.R[i] = tiles.LogPercent(-100 * math.Log(part.Rates.Left(part.Stage)))
		p.Standing[i] = Standing{Trust: NoBars, Why: message.New("rates stated in the question"),
			NearestTested: kiln.NoTemperature()}
		if part.Stage.Before(tiles.Dry) {
			dries[i] = 1
			p.Piece[i][i] = statedPieceSD * statedPieceSD
		}
		if part.Stage != tiles.Fired {
			fires[i] = 1
			p.Position[i][i] = statedPositionSD * statedPositionSD
		}
		if part.Stage == tiles.Soft || part.Stage == tiles.Leather {
			p.Gone[i][i] = statedGoneSD * statedGoneSD
		}
		p.Rate[i][i] = v * (dries[i] + fires[i])
	}
	// the same stated figures are wrong alike in both parts
	if shared {
		p.Rate[0][1] = v * (dries[0]*dries[1] + fires[0]*fires[1])
	}
	if both := fires[0] * fires[1]; both > 0 {
		if together == InPlace {
			p.Position[0][1] = both * statedPositionSD * statedPositionSD
		}
		if together == Apart && shared {
			p.Load[0][0], p.Load[1][1] = statedLoadSD*statedLoadSD, statedLoadSD*statedLoadSD
		}
	}
	p.Rate[1][0], p.Position[1][0] = p.Rate[0][1], p.Position[0][1]
	return p
}
