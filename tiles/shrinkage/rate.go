package shrinkage

import (
	"math"
	"time"

	"lidwright/kiln"

	"lidwright/tiles"
)

// Range is from low to high.
type Range struct{ Low, High tiles.Ratio }

// Rate is what a clay loses from one stage to a later one.
type Rate struct {
	From, To tiles.Stage // from and to which stage
	At       Ask         // the question, with the batch that was meant

	Total     tiles.Ratio      // share of the length at From; NaN outside tested heat, where no curve tells
	Likely    Range            // 90 % range of the rate itself at that heat
	NextPiece Range            // 90 % range of one new piece in a firing still to come
	Multiply  float64          // by this to get the length at From that ends as a length of 1
	Log       tiles.LogPercent // the mean, log-percent; Total is the same as a share
	LogSD     tiles.LogPercent // of the rate; its log is in doubt by Nu degrees of freedom: Scales
	Nu        float64          // +Inf: the sds are known

	Parts    RateParts    // of the whole way from wet
	Standing Standing     // how far it can be trusted
	SeenLow  kiln.Celsius // heat works of this clay's fired bars; NaN: none
	SeenHigh kiln.Celsius // the hottest
	Basis    Basis        // bars of this batch, read at To
}

// RateParts are the parts of a shrink from wet to fired, each from its own pair of stages.
type RateParts struct {
	Drying      tiles.Ratio // wet to dry, on the wet length
	FiringOnDry tiles.Ratio // dry to fired, on the dry length; NaN without a heat
	FiringOnWet tiles.Ratio // the same on the wet length: drying and this add up
	Leather     tiles.Ratio // wet to leather-hard, on the wet length
	// handbook; own bars of this studio read leather-hard; or stated where the question says what has gone
	LeatherFrom string
	BisqueOnDry tiles.Ratio // dry to bisque, on the dry length; NaN without a bisque
}

// Basis is what a batch's rate rests on.
type Basis struct {
	Bars, Loads, Struck int       // that have a say
	Assumed             int       // bars of assumed heat, beside Bars
	LastReading         time.Time // last fired reading; zero: none
}

// Rate of the part that a asks about, from its stage to a later one.
func (f *Fit) Rate(a Ask, to tiles.Stage) (Rate, error) {
	l, err := f.leg(a, to)
	if err != nil {
		return Rate{}, err
	}
	a.Batch = l.ref.Batch
	out := Rate{From: a.Stage, To: to, At: a, Log: tiles.LogPercent(l.mean),
		Total: tiles.LogPercent(l.mean).Ratio(), Standing: f.Standing(a, to)}
	out.Multiply = math.Exp(l.mean / 100)
	var sd float64
	sd, out.Nu, out.Likely = f.likely(l, false)
	out.LogSD = tiles.LogPercent(sd)
	_, _, out.NextPiece = f.likely(l, true)
	out.Parts = f.shares(a)
	// the range is told and no figure
	if l.untold {
		none := tiles.Ratio(math.NaN())
		out.Total, out.Multiply, out.Parts.FiringOnDry, out.Parts.FiringOnWet = none, math.NaN(), none, none
	}
	out.SeenLow, out.SeenHigh = kiln.NoTemperature(), kiln.NoTemperature()
	if t := f.tested[a.Clay].tested; len(t) > 0 {
		out.SeenLow, out.SeenHigh = kiln.Celsius(t[0]), kiln.Celsius(t[len(t)-1])
	}
	// of a rate to dry or bisque the bars that were read at that stage
	if b := f.batches[l.ref]; b != nil {
		seen := &b.stageSeen
		if at := to; at == tiles.Dry || at == tiles.Biscuit {
			seen = &stageSeen{}
			if b.early[at] != nil {
				seen = b.early[at]
			}
		}
		out.Basis = Basis{seen.bars, len(seen.loads), b.struck, seen.assumed, seen.last}
	}
	return out, nil
}

// likely is the 90 % range of a leg: of the rate, or of a new piece.
func (f *Fit) likely(l leg, piece bool) (sd, nu float64, r Range) {
	p := f.parts(l, l, Apart)
	if !piece { // what a new piece and a new firing bring is not the rate's
		p.of[thetaPiece], p.of[thetaLoad], p.of[thetaPosition] = Spread2{}, Spread2{}, Spread2{}
		p.work, p.probe = Spread2{}, Spread2{}
	}
	c := [2]float64{1, 0}
	nu = f.freedom(l, l, p, c)
	sd = math.Sqrt(f.widened(l, l, p).whole().along(c))
	half := sd * quantile(nu, (1+tiles.LikelyLevel)/2)
	return sd, nu, Range{tiles.LogPercent(l.mean - half).Ratio(), tiles.LogPercent(l.mean + half).Ratio()}
}

// shares are the parts of the whole way.
func (f *Fit) shares(a Ask) RateParts {
	at := func(from, to tiles.Stage) tiles.Ratio {
		b := a
		b.Stage = from
		if from != a.Stage && to != a.Stage {
			b.Gone = SoFar{}
		}
		l, err := f.leg(b, to)
		if err != nil {
			return tiles.Ratio(math.NaN())
		}
		return tiles.LogPercent(l.mean).Ratio()
	}
	p := RateParts{Drying: at(tiles.Wet, tiles.Dry), FiringOnDry: at(tiles.Dry, tiles.Fired),
		BisqueOnDry: at(tiles.Dry, tiles.Biscuit), LeatherFrom: "handbook"}
	p.FiringOnWet = (1 - p.Drying) * p.FiringOnDry
	if a.Gone.Known && a.Stage == tiles.Leather {
		p.Leather, p.LeatherFrom = a.Gone.H.Ratio(), "stated"
	} else {
		p.Leather = at(tiles.Wet, tiles.Leather)
		if f.part[tiles.Leather].bars > 0 {
			p.LeatherFrom = "own bars"
		}
	}
	return p
}

// square is x times x.
func square(x float64) float64 { return x * x }
