package shrinkage

import (
	"context"
	"fmt"
	"math"
	"time"

	"gonum.org/v1/gonum/mat"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// Pooled is what other studios say of a clay here: their prior, and the maturing point that it is told for.
type Pooled struct {
	Prior
	Matures kiln.Celsius // maturing point that the body is told for, °C
	Studios int          // others, that it rests on
	Made    time.Time    // when their collector worked it out
	Unlike  float64      // chance that the bars sent from here are of another kind than theirs; 0: none sent
}

// says is where a rate comes from, in words.
func (p Pooled) says() message.Message {
	return message.New("{1} other studios, {2}", p.Studios, p.Made.Format(time.DateOnly))
}

// contradictAt is how far, in sds, own bars may move what other studios say of the total at the maturing
// point: 99 %.
const contradictAt = 2.5758

// OtherStudios is what others tell of a clay beside what the studio's own bars tell of it: the total at the
// maturing point that the others tell it for.
type OtherStudios struct {
	Pooled
	Bars        int         // of its own that have a say; 0: Own is the others'
	Own, Theirs tiles.Ratio // of its own bars alone beside the handbook; Theirs of the others
	LeftOut     bool        // the own bars tell another rate than the others allow at 99 %, and are believed
}

// Differs reports whether the own bars tell something else than the others': by the 99 % here, or more likely
// than not by what the others' collector made of it.
func (o OtherStudios) Differs() bool { return o.Bars > 0 && (o.LeftOut || o.Unlike > 0.5) }

// Advice tells a studio whose bars differ by how much they do and what to measure; none where they do not.
func (o OtherStudios) Advice() []message.Message {
	if !o.Differs() {
		return nil
	}
	by := message.Percent(math.Abs(float64(o.Own-o.Theirs)), 1)
	says := message.New("Your bars of it shrink {1} % more than those of {2} other studios.", by, o.Studios)
	if o.Own < o.Theirs {
		says = message.New("Your bars of it shrink {1} % less than those of {2} other studios.", by,
			o.Studios)
	}
	out := []message.Message{says}
	if o.LeftOut {
		out = append(out, message.New("So your own bars are believed here, and what the others tell is left out."))
	}
	return append(out, message.New("That may well be so: bags differ, and so do hands and kilns. To be sure, measure one bar again with another rule, see whether the number on the bag is that of the clay picked here, and put witness cones beside the next bars."))
}

// compare holds the own bars of a clay in fit against p. They contradict it where they move its total at the
// maturing point by more than the part of its doubt that they take away allows at 99 %. Own is what the bars
// tell alone, beside the handbook.
func (p Pooled) compare(ctx context.Context, fit *Fit, clay tiles.ClayID) (o OtherStudios, err error) {
	theirs, _ := p.Total(float64(p.Matures), float64(p.Matures))
	o = OtherStudios{Pooled: p, Theirs: tiles.LogPercent(theirs).Ratio()}
	o.Own = o.Theirs
	sum, bars, err := Summarise(ctx, fit, clay, p.Matures)
	if err != nil || bars == 0 {
		return o, err
	}
	// the others' prior as a covariance
	var sigma, precision mat.SymDense
	l := mat.NewDense(coefs, coefs, nil)
	for i := range coefs {
		for j := 0; j <= i; j++ {
			l.Set(i, j, p.Factor[i][j])
		}
	}
	sigma.SymOuterK(1, l)
	var chol mat.Cholesky
	if !chol.Factorize(&sigma) || chol.InverseTo(&precision) != nil {
		return o, fmt.Errorf("%w: a prior of no doubt", ErrSummary)
	}
	// the own bars' summary beside that prior, and beside the handbook's
	together, alone, pull := mat.NewSymDense(coefs, nil), mat.NewSymDense(coefs, nil), sum.Pull
	for i := range coefs {
		for j := range coefs {
			pull[i] += precision.At(i, j) * p.Mean[j]
			if j <= i {
				together.SetSym(i, j, sum.Precision[i][j]+precision.At(i, j))
				alone.SetSym(i, j, sum.Precision[i][j])
			}
		}
		alone.SetSym(i, i, sum.Precision[i][i]+1)
	}
	mean, after, err := solved(together, pull)
	if err != nil {
		return o, err
	}
	own, _, err := solved(alone, sum.Pull)
	if err != nil {
		return o, err
	}
	// the total at the maturing point: how far the bars move it, and how much doubt they take away
	k := &clayCurve{matures: float64(p.Matures), shift: shiftSD}
	z := k.white(k.matures)
	z[coefDrying] = dryingSD
	moved, taken := 0.0, 0.0
	for i := range coefs {
		moved += z[i] * (mean[i] - p.Mean[i])
		for j := range coefs {
			taken += z[i] * z[j] * (sigma.At(i, j) - after.At(i, j))
		}
	}
	o.Bars, o.Own = bars, tiles.LogPercent(dryingMean+k.base(k.matures)+dot(z, own)).Ratio()
	o.LeftOut = taken > 0 && math.Abs(moved) > contradictAt*math.Sqrt(taken)
	return o, nil
}

// FitWithPools fits s with what other studios say of its clays, and leaves out what the own bars of a clay
// contradict: such a clay goes back to its supplier's or the handbook's figures, and its standing says why.
func (s Studio) FitWithPools(ctx context.Context, before *Fit) (*Fit, error) {
	fit, err := s.Fit(ctx, before)
	if err != nil || len(s.Pools) == 0 {
		return fit, err
	}
	kept, others := map[tiles.ClayID]Pooled{}, map[tiles.ClayID]OtherStudios{}
	for clay, p := range s.Pools {
		o, err := p.compare(ctx, fit, clay)
		if err != nil {
			return nil, err
		}
		if others[clay] = o; !o.LeftOut {
			kept[clay] = p
		}
	}
	if len(kept) < len(s.Pools) {
		s.Pools = kept
		if fit, err = s.Fit(ctx, before); err != nil {
			return nil, err
		}
	}
	fit.others = others
	return fit, nil
}

// OthersTell is what others tell of a clay, used in f or left out; false where none do.
func OthersTell(f *Fit, clay tiles.ClayID) (OtherStudios, bool) {
	o, there := f.others[clay]
	return o, there
}

// Source is where the prior of a clay comes from.
type Source string

// The sources of a prior, the first that there is.
const (
	FromOthers   Source = "other_studios"
	FromSupplier Source = "stated"
	FromHandbook Source = "handbook"
)

// SourceOf is where the prior of a clay comes from: what its rate goes by as far as its own bars leave it in
// doubt.
func SourceOf(f *Fit, clay tiles.ClayID) Source {
	if _, there := f.studio.Pools[clay]; there {
		return FromOthers
	}
	for _, c := range f.studio.Clays {
		if c.ID == clay && c.Stated > 0 {
			return FromSupplier
		}
	}
	return FromHandbook
}

// pooled puts what other studios say in the place of the handbook's and the supplier's figures.
func (k *clayCurve) pooled(p Pooled) {
	k.matures, k.shift = float64(p.Matures), shiftSD
	k.mean, k.factor, k.fitted = p.Mean, p.Factor, p.Mean
}
