package shrinkage

import (
	"context"
	"math"

	"lidwright/tiles"
	"lidwright/tiles/mixedmodel"
)

// NewPiece is the mean and range of a new piece's log shrink, at any level.
func (f *Fit) NewPiece(a Ask, level float64) (mean, low, high float64, err error) {
	l, err := f.leg(a, tiles.Fired)
	if err != nil {
		return 0, 0, 0, err
	}
	p := f.parts(l, l, Apart)
	c := [2]float64{1, 0}
	nu := f.freedom(l, l, p, c)
	half := math.Sqrt(f.widened(l, l, p).whole().along(c)) * quantile(nu, (1+level)/2)
	return l.mean, l.mean - half, l.mean + half, nil
}

// Again is f with its present readings solved from the beginning at its theta. plain puts
// every bar in a block of its own and eliminates no column first.
func (f *Fit) Again(plain bool) (*Fit, error) {
	g := *f
	blocks := f.blocks(f.sheets)
	m := &mixedmodel.Model{Columns: f.columns.list, Params: f.book.params(), Whole: plain}
	m.Blocks = blocks
	if !plain {
		m.Blocks = g.cells(blocks)
	}
	var err error
	if g.solved, err = m.At(context.Background(), f.solved.Theta); err != nil {
		return nil, err
	}
	g.model = m
	g.clays = nil
	for _, k := range f.clays {
		c := *k
		g.clays = append(g.clays, &c)
	}
	g.takeCoefficients()
	g.conclude()
	return &g, nil
}

// Criterion of the fit at its theta.
func (f *Fit) Criterion() float64 { return f.solved.Criterion }

// Theta is the logs of the six sds.
func (f *Fit) Theta() []float64 { return f.solved.Theta }

// ClayRate is the total of a clay itself, no batch, and its sd at fixed sds.
func (f *Fit) ClayRate(id tiles.ClayID, h float64) (mean, sd float64, err error) {
	k := f.clay(id)
	to := k.fired(h)
	to.x[coefDrying] = dryingSD
	z := f.clayRow(id, h)
	return dryingMean + to.base + dot(to.x, k.mean) + f.solved.Mean(z), math.Sqrt(f.solved.Cov(z)[0][0]), nil
}

// clayRow is the row of the total of a clay itself.
func (f *Fit) clayRow(id tiles.ClayID, h float64) (z mixedmodel.Row) {
	k := f.clay(id)
	x := k.white(h)
	x[coefDrying] = dryingSD
	r := newRows(1)
	for j, v := range k.prior(x) {
		r.put(0, k.first+j, v)
	}
	z.Cols, z.Vals = r.pack()
	return z
}

// ClayRange is the 90 % range of the total of a clay itself, no batch, as ranges are told: its half-width,
// and the sd and degrees of freedom that it is made of.
func (f *Fit) ClayRange(id tiles.ClayID, h float64) (mean, half, sd, nu float64, err error) {
	mean, sd, err = f.ClayRate(id, h)
	l := leg{row: f.clayRow(id, h)}
	var p parts
	p.rate[0][0] = sd * sd
	nu = f.freedom(l, l, p, [2]float64{1, 0})
	sd = math.Sqrt(f.widened(l, leg{}, p).whole().along([2]float64{1, 0}))
	return mean, sd * quantile(nu, (1+tiles.LikelyLevel)/2), sd, nu, err
}

// OnAverage is a fit of other bars at the sds that f is on average in.
func (f *Fit) OnAverage(s Studio) (*Fit, error) {
	g, err := s.begin(context.Background())
	if err != nil {
		return nil, err
	}
	if err := solveAt(context.Background(), g, f.first); err != nil {
		return nil, err
	}
	g.takeSlopes()
	return g, solveAt(context.Background(), g, f.average())
}

// Firing is the fitted firing curve of a clay at h, log-percent.
func (f *Fit) Firing(id tiles.ClayID, h float64) float64 {
	k := f.clay(id)
	return k.firing(h, &k.fitted)
}

// Columns is how many coefficients the fit has.
func (f *Fit) Columns() int { return len(f.columns.list) }

// Lines is how many lines a bar has in the fit.
func (f *Fit) Lines(c tiles.Code) (n int) {
	for _, s := range f.sheets {
		if s.bar.Code == c {
			n += len(s.lines)
		}
	}
	return n
}

// Alone is the prior that a summary makes of the handbook's: what its studio alone would believe.
func (s Summary) Alone() (Prior, error) {
	c := cell{t: between{1e-12, 1e-12}, wide: []float64{0}, scale: []float64{1}}
	c.add([]Summary{s})
	return (&Pool{studios: []Summary{s}, cells: []cell{c}, mass: []float64{1}}).For(-1)
}

// Of is a fit of other bars that ended where f did.
func (f *Fit) Of(s Studio) (*Fit, error) {
	g, err := s.begin(context.Background())
	if err != nil {
		return nil, err
	}
	g.first, g.grows = f.first, f.grows
	return g, solveAt(context.Background(), g, f.solved.Theta)
}
