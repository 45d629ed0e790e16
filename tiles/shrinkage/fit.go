// Package shrinkage works out how much a clay shrinks for the heat it got. In go a Studio (clays,
// batches, bars with their readings and firings) and Asks: which clay and batch, from which stage,
// at which heat work. Out come a Rate with its ranges, a Pair for body and lid with what they share,
// how far it can be trusted (Standing), what a next bar would bring, what moved a rate and when,
// what the bars say of the heat of loads and shelves, and how plausible a reading is (Judge).
//
// The model is a linear mixed one of log lengths with one curve a clay, solved by tiles/mixedmodel;
// rates that somebody states stand in its place where there is no bar.
//
// It sizes no lid, keeps nothing and reads no clock: the same studio gives the same Fit, bit by bit.
package shrinkage

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"

	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/mixedmodel"
)

// Model is the number of the model of shrinkage that answers carry. Another number
// comes with another rule, constant or prior.
const Model = "3"

// PoolModels are the models whose summaries and priors are of the same coefficients as those of this one, the
// newest first: what others tell by them is of use, and pools of each are worked out by themselves.
func PoolModels() []string { return []string{Model, "2"} }

// Studio is everything that a fit of shrink rates is made from. The order of its lists does
// not matter; bars and readings carry ids.
type Studio struct {
	Clays    []tiles.Clay       // each once; every bar's clay is among them
	Batches  []tiles.Batch      // of those clays
	Bars     []tiles.Bar        // each once, with all readings, struck ones too
	ProbeSD  map[string]float64 // doubt of a kiln's probe life, °C (one sd); not named: 9
	Now      time.Time          // for Old where a question has no date; zero: the newest reading
	Handbook *Handbook          // nil: UsualHandbook
	// what other studios say of a clay, before its supplier and the handbook
	Pools   map[tiles.ClayID]Pooled
	Assumed map[tiles.ClayID]tiles.Assumed // the heat of lengths whose firing nobody told
}

// Handbook is what is believed before any bar: sds of each source of scatter in log-percent,
// °C or mm. The first six are prior medians, which the bars of a site replace; they have no
// published source.
type Handbook struct {
	Reading      tiles.Millimetre // one reading of a length
	Piece        float64          // drying, piece to piece, log-percent
	Position     float64          // place in the kiln, °C
	BatchDrying  float64          // log-percent
	BatchFiring  float64          // log-percent, where the clay matures
	Load         float64          // a load's heat work against its record, °C
	Spread       float64          // log-sd of those six
	Forming      float64          // a forming other than thrown, log-percent
	Probe        float64          // a probe life of unknown doubt, °C
	Rough        float64          // of a mark itself, log-percent
	LengthClass  tiles.Millimetre // bars are weighed by their mark length to this
	FirstReading tiles.Millimetre // shortest mark length that is told apart
}

// UsualHandbook is the handbook that the program comes with.
func UsualHandbook() Handbook {
	return Handbook{Reading: 0.15, Piece: 0.20, Position: 5, BatchDrying: 0.25, BatchFiring: 0.25, Load: 7,
		Spread: 0.9, Forming: 0.4, Probe: 9, Rough: 0.03, LengthClass: 10, FirstReading: 5}
}

// The thetas, in the order of the mixed model.
const (
	thetaReading = iota
	thetaPiece
	thetaPosition
	thetaBatchDrying
	thetaBatchFiring
	thetaLoad
	thetas
)

// medians are the first six, in the order of the thetas.
func (h Handbook) medians() [thetas]float64 {
	return [thetas]float64{float64(h.Reading), h.Piece, h.Position, h.BatchDrying, h.BatchFiring, h.Load}
}

// thetaBox is how far an sd may move from its handbook value, on the log scale.
const thetaBox = 1.6

// params are the thetas with their priors: normal on the log scale about the handbook's value, kept in a
// box.
func (h Handbook) params() []mixedmodel.Param {
	out := make([]mixedmodel.Param, thetas)
	for i, m := range h.medians() {
		c := math.Log(m)
		out[i] = mixedmodel.Param{Start: c, Low: c - thetaBox, High: c + thetaBox,
			Centre: c, Spread: h.Spread}
	}
	return out
}

// Fit is the shrink of every clay of a studio, fitted at once. It is never changed; With
// gives another one. Any number of goroutines may ask it.
type Fit struct{ equations }

// equations is the mixed model of a studio: its bars laid out, and what they were solved to. Fit asks it;
// only who makes a Fit changes it.
type equations struct {
	studio  Studio
	book    Handbook
	sheets  []*sheet // bars that say something, by id
	left    []LeftOut
	clays   []*clayCurve
	columns columns
	model   *mixedmodel.Model
	keys    []string // of each cell, in the order of the model's blocks
	solved  *mixedmodel.Solution
	doubt   *mat.SymDense   // covariance of theta by its curvature
	spread  *mat.SymDense   // the same by its skewness too
	grows   [thetas]float64 // mean of the square of each sd, over that of its mode
	first   []float64       // theta of the first pass
	batches map[tiles.BatchRef]*batchSeen
	newest  time.Time
	steps   int
	slopes  *slopes
	tested  map[tiles.ClayID]claySeen
	known   map[tiles.ClayID]knownHeat
	part    map[tiles.Stage]partDried // soft and leather-hard
	others  map[tiles.ClayID]OtherStudios
}

// LeftOut is a reading that had no say, and why.
type LeftOut struct {
	Reading string           // its id
	Bar     tiles.Code       // its code
	Stage   tiles.Stage      // of the reading
	Why     message.Message  // in words
	Slip    bool             // distrusted by the fit itself
	Off     tiles.Millimetre // of a slip: how much longer than the rest of the fit expects
}

// Fit fits s. before, if not nil, is an earlier fit of the same site: the search begins at
// its sds, which saves time and changes nothing else. It fails on facts that contradict one
// another: a bar of a clay that is not listed, an id that stands twice. When ctx ends it gives the
// cause, within 100 ms on a machine that is not busy (5,000 bars: 48 ms of processor at most between two
// looks).
func (s Studio) Fit(ctx context.Context, before *Fit) (*Fit, error) {
	f, err := s.begin(ctx)
	if err != nil {
		return nil, err
	}
	var start, next []float64
	if before != nil {
		start, next, f.doubt = before.first, before.solved.Theta, before.doubt
	}
	// First pass: slopes of the handbook; second: of the fitted curves.
	if err := f.pass(ctx, start); err != nil {
		return nil, fmt.Errorf("shrink fit: %w", err)
	}
	f.first = f.solved.Theta
	f.takeSlopes()
	f.model, f.solved = nil, nil // of the first pass: a good deal of memory
	if next == nil {
		next = f.first
	}
	if err := f.pass(ctx, next); err != nil {
		return nil, fmt.Errorf("shrink fit: %w", err)
	}
	// how sure the sds are, and how skewed that is
	if f.doubt, err = f.uncertain(ctx, f.solved.Theta); err != nil {
		return nil, fmt.Errorf("shrink fit: %w", err)
	}
	skewed, err := f.model.Skew(ctx, f.solved.Theta, f.solved.Objective, f.doubt)
	if err != nil {
		return nil, fmt.Errorf("shrink fit: %w", err)
	}
	f.spread = skewed.Cov()
	for i := range f.grows {
		f.grows[i] = min(skewed.Growth(i), mostGrowth)
	}
	f.conclude()
	return f, nil
}

// begin lays everything out, as yet without a number fitted.
func (s Studio) begin(ctx context.Context) (*Fit, error) {
	f := &Fit{equations{studio: s, book: UsualHandbook()}}
	if s.Handbook != nil {
		f.book = *s.Handbook
	}
	// by id, so that the order handed in changes no bit
	clays := slices.Clone(s.Clays)
	slices.SortFunc(clays, func(a, b tiles.Clay) int { return cmp.Compare(a.ID, b.ID) })
	for i, c := range clays {
		if i > 0 && c.ID == clays[i-1].ID {
			return nil, fmt.Errorf("shrink fit: clay %s stands twice", c.ID)
		}
	}
	if err := f.readBars(ctx, clays); err != nil {
		return nil, err
	}
	// each clay's prior: the handbook's, the supplier's, or that of other studios
	for _, c := range clays {
		curve := newClayCurve(c, f.hottestOf(c.ID))
		if p, there := s.Pools[c.ID]; there {
			curve.pooled(p)
		}
		f.clays = append(f.clays, curve)
	}
	f.layColumns()
	return f, nil
}

// pass screens, minimises from start and solves at the rounded minimum.
func (f *equations) pass(ctx context.Context, start []float64) error {
	if err := f.screen(ctx); err != nil {
		return err
	}
	theta, err := f.minimise(ctx, start)
	if err != nil {
		return err
	}
	if f.solved, err = f.model.At(ctx, theta); err != nil {
		return err
	}
	f.takeCoefficients()
	return nil
}

// screen gives slips their weights and makes the model of the cells. Slips are looked for before any
// variance is estimated, and at the handbook's sds: one slip of 10 mm can drive the sd of pieces to 1 %,
// and such an sd would let it pass. When ctx ends it gives the cause.
func (f *equations) screen(ctx context.Context) error {
	f.model = &mixedmodel.Model{Columns: f.columns.list, Params: f.book.params()}
	handbook := make([]float64, thetas)
	for i, p := range f.model.Params {
		handbook[i] = p.Centre
	}
	for _, s := range f.sheets {
		s.weight = nil
	}
	// every bar by itself, at the handbook's sds
	blocks, err := f.allBlocks(ctx, f.sheets)
	if err != nil {
		return err
	}
	f.model.Blocks = blocks
	weights, err := mixedmodel.Outliers(ctx, f.model, handbook)
	if err != nil {
		return err
	}
	// with the weights that were found; then bars that are alike are joined
	for i, s := range f.sheets {
		s.weight, blocks[i].Weight = weights[i], weights[i]
	}
	f.model = &mixedmodel.Model{Columns: f.columns.list, Params: f.book.params(), Blocks: f.cells(blocks)}
	return nil
}

// minimise finds theta, rounded to 0.001 from the handbook so that every way to the minimum gives the same
// fit. What an earlier pass or fit says of its doubt serves as the curvature.
func (f *equations) minimise(ctx context.Context, start []float64) ([]float64, error) {
	half := mat.NewSymDense(thetas, nil)
	var guess *mat.SymDense
	if f.doubt != nil {
		half.ScaleSym(0.5, f.doubt)
		guess = half
	}
	// to the neighbourhood of the minimum, with the curvature of before as a start
	best, err := f.model.Minimise(ctx, start, guess)
	if err != nil {
		return nil, err
	}
	if f.doubt == nil {
		if f.doubt, err = f.uncertain(ctx, best.Theta); err != nil {
			return nil, err
		}
		half.ScaleSym(0.5, f.doubt)
	}
	// then so near that rounding gives the same
	if best, err = f.model.Polish(ctx, best, half, 1e-7); err != nil {
		return nil, err
	}
	f.steps += best.Evaluations
	theta := make([]float64, thetas)
	for i, t := range best.Theta {
		c := f.model.Params[i].Centre
		theta[i] = c + math.Round((t-c)*1000)/1000
	}
	return theta, nil
}

// uncertain is the covariance of theta. The step is wide, so as to smooth the criterion.
func (f *equations) uncertain(ctx context.Context, theta []float64) (*mat.SymDense, error) {
	h, err := f.model.Curvature(ctx, theta, 0.15)
	if err != nil {
		return nil, err
	}
	return mixedmodel.Floor(h, 1/(f.book.Spread*f.book.Spread))
}

// cells joins bars that are alike, and keeps the key of each cell.
func (f *equations) cells(blocks []*mixedmodel.Block) []*mixedmodel.Block {
	keys := make([]string, len(blocks))
	f.keys = nil
	seen := map[string]bool{}
	for i, s := range f.sheets {
		keys[i] = s.cell()
		if !seen[keys[i]] {
			seen[keys[i]] = true
			f.keys = append(f.keys, keys[i])
		}
	}
	return mixedmodel.Gather(blocks, keys)
}

// Left lists the readings that have no say, and why; slips are among them.
func (f *Fit) Left() []LeftOut { return slices.Clone(f.left) }

// Counts reports whether the reading r of b is a term of f with its full say, and slipped whether it
// is one that f itself leaves out. Without a fit it is neither.
func Counts(f *Fit, b tiles.Bar, r tiles.Reading) (counts, slipped bool) {
	if f == nil {
		return false, false
	}
	at, ok := slices.BinarySearchFunc(f.sheets, b, func(s *sheet, b tiles.Bar) int {
		return cmp.Or(cmp.Compare(s.bar.ID, b.ID), cmp.Compare(s.bar.Code, b.Code))
	})
	if !ok {
		return false, false
	}
	s := f.sheets[at]
	for i, l := range s.lines {
		if l.has(&r) {
			return !s.slipped(i), s.slipped(i)
		}
	}
	return false, false
}

// Sources are the sds that the bars of this site ended at, in the units of Handbook.
func (f *Fit) Sources() Handbook {
	out, sd := f.book, [thetas]float64{}
	for i, t := range f.solved.Theta {
		sd[i] = math.Exp(t)
	}
	out.Reading, out.Piece, out.Position = tiles.Millimetre(sd[0]), sd[1], sd[2]
	out.BatchDrying, out.BatchFiring, out.Load = sd[3], sd[4], sd[5]
	return out
}
