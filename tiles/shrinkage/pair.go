package shrinkage

import (
	"strings"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// Together says how body and lid go through the last firing, and so which errors they share.
type Together string

const (
	InPlace  Together = "in_place"  // lid on its pot: load and place in the kiln shared
	SameLoad Together = "same_load" // load shared
	Apart    Together = "apart"     // nothing shared but the clay
)

// SoFar says how much of the drying shrink is already gone in a soft or leather-hard piece.
// The zero value says nothing: the share is taken that the studio's own bars tell, else the handbook's
// (shrink of leather 60 ± 15 %, soft 30 ± 15 % of the drying).
type SoFar struct {
	Known bool             // H and SD were told
	H     tiles.LogPercent // shrink so far
	SD    tiles.LogPercent // how well that is known
}

// Ask is one part (a body or a lid) of a question about shrink, from the stage at which it
// is measured to the finished piece.
type Ask struct {
	tiles.BatchRef               // Batch empty: the newest open batch
	Forming        tiles.Forming // empty: ThrownRing
	Stage          tiles.Stage   // stage when measured
	Gone           SoFar         // for Soft and Leather
	Work           kiln.Celsius  // heat work of the last firing: usual, or as asked
	WorkSD         float64       // how far that firing may miss it, °C (one sd)
	BisqueWork     kiln.Celsius  // usual bisque; NaN: none (single fired)
	Kind           kiln.Kind     // of the last firing
	Probe          string        // kiln and probe life of that firing, or empty
	On             time.Time     // date of the question, for "old"; zero: the studio's Now
}

// Spread2 is a 2 x 2 covariance of body and lid (index 0 and 1), in log-percent squared.
type Spread2 [2][2]float64

// Pair is what is known of the shrink of a body and a lid together: means of the log shrink from the stage
// when measured to fired, and the covariance by cause. The sum of the parts is the whole. They are what
// they are on average over what is not known of the sds; that these may be smaller or larger is in Nu: see
// Scales. Nu is that of the difference R[0] - R[1]; of Apart, the least of that and each one alone.
type Pair struct {
	R        [2]tiles.LogPercent // body, lid
	Rate     Spread2             // from the bars: clays and known batches, one joint fit
	Batch    Spread2             // a batch with no bar of its own
	Load     Spread2             // a load still to come, the firing's miss of its heat, the probe
	Position Spread2             // place in the kiln
	Piece    Spread2             // piece to piece
	Gone     Spread2             // what is not known of the drying already gone
	// own bars by which what has dried was guessed; 0: not guessed, or by the handbook
	GoneBars int
	Nu       float64     // degrees of freedom of the t; +Inf: normal
	Standing [2]Standing // body, lid
}

// JoinApart takes the body of p and the lid of q, which share nothing.
func (p Pair) JoinApart(q Pair) Pair {
	join := func(a, b Spread2) Spread2 { return Spread2{{a[0][0], 0}, {0, b[1][1]}} }
	return Pair{
		R:        [2]tiles.LogPercent{p.R[0], q.R[1]},
		Rate:     join(p.Rate, q.Rate),
		Batch:    join(p.Batch, q.Batch),
		Load:     join(p.Load, q.Load),
		Position: join(p.Position, q.Position),
		Piece:    join(p.Piece, q.Piece),
		Gone:     join(p.Gone, q.Gone),
		GoneBars: max(p.GoneBars, q.GoneBars),
		Nu:       min(p.Nu, q.Nu),
		Standing: [2]Standing{p.Standing[0], q.Standing[1]},
	}
}

// Reliability says in a word how far a rate can be trusted; the page of a clay publishes the rules.
type Reliability string

const (
	OutsideTestedHeat      Reliability = "outside_tested_heat"
	NoBars                 Reliability = "no_bars"
	MadeOrFiredDifferently Reliability = "made_or_fired_differently"
	Old                    Reliability = "old"
	FewBars                Reliability = "few_bars"
	WellTested             Reliability = "well_tested"
)

// Words is the reliability as a person reads it.
func (r Reliability) Words() string { return strings.ReplaceAll(string(r), "_", " ") }

// Standing is how far a rate can be trusted, and why.
type Standing struct {
	Trust         Reliability     // in a word
	Why           message.Message // in words: what it rests on, or what is missing
	Untested      bool            // the heat asked about lies outside what bars of this clay saw
	NearestTested kiln.Celsius    // NaN if nothing was tested, or if tested
	NoOwnFired    bool            // the clay has no fired bar of its own in any batch
}

// Rates answers for a body and a lid at once, so that what they share can cancel.
type Rates interface {
	Pair(body, lid Ask, together Together) (Pair, error)
}
