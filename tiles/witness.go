package tiles

import (
	"cmp"
	"math"
	"slices"
	"time"

	engine "lidwright/tiles/fit"

	"gonum.org/v1/gonum/mat"
)

const (
	witnessLoads = 4 // the last loads of a probe life that are looked at
	witnessOver  = 8 // °C beyond which probe and bars disagree, if it is also over 2 sd
)

// Witness is what bars of all clays say about the heat of loads: how much hotter the loads
// were than their record said. Below 0: the record said too much.
type Witness struct {
	Probe    string
	Loads    []string // the last of this probe life that bars tell about, in order of time
	Drift    float64  // of these loads against the others, °C
	DriftSD  float64
	Shift    float64 // of the whole probe life against other lives, °C; NaN: no other life to tell by
	ShiftSD  float64
	Disagree bool // one of the two is over 8 °C and over 2 sd
}

// Witnesses gives one for each probe life, by its name; "" stands for loads of no named one.
//
// Drift is estimated without the prior that loads are right on average: with L the loads'
// errors, C their posterior covariance and T = s6^2 I their prior, D = C^-1 - T^-1 is what the
// bars say and e = C^-1 L. A drift common to them has precision 1'S1, S = (I + D T)^-1 D, and
// mean 1'(I + D T)^-1 e/1'S1. Shift is the same for the one coefficient of a probe life.
func (f *Fit) Witnesses() []Witness {
	type seen struct {
		load string
		at   time.Time
	}
	lives := map[string][]seen{}
	var names []string
	for _, s := range f.sheets {
		for i, l := range s.lines {
			if l.heat == nil || s.slipped(i) || f.clay(s.bar.Clay).slope(float64(l.heat.Work)) < loadMatters {
				continue
			}
			p, load := l.heat.Probe, l.heat.loadName()
			if lives[p] == nil {
				names = append(names, p)
			}
			if !slices.ContainsFunc(lives[p], func(o seen) bool { return o.load == load }) {
				lives[p] = append(lives[p], seen{load, l.heat.At})
			}
		}
	}
	slices.Sort(names)
	var out []Witness
	for _, p := range names {
		loads := lives[p]
		slices.SortFunc(loads, func(a, b seen) int { return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.load, b.load)) })
		loads = loads[max(0, len(loads)-witnessLoads):]
		w := Witness{Probe: p, Shift: math.NaN(), ShiftSD: math.NaN()}
		var rows []engine.Row
		var prior []float64
		for _, l := range loads {
			w.Loads = append(w.Loads, l.load)
			at := f.columns.place[column{'l', l.load, ""}]
			rows = append(rows, engine.Row{Cols: []int{at}, Vals: []float64{1}})
			sd := math.Exp(f.solved.Theta[thetaLoad])
			prior = append(prior, sd*sd+square(f.columns.list[at].Extra))
		}
		w.Drift, w.DriftSD = f.common(rows, prior)
		if at, known := f.columns.place[column{'o', p, ""}]; known && len(names) > 1 {
			sd := f.probeSD(p)
			w.Shift, w.ShiftSD = f.common([]engine.Row{{Cols: []int{at}, Vals: []float64{sd}}}, []float64{0})
		}
		over := func(v, sd float64) bool { return math.Abs(v) > witnessOver && math.Abs(v) > 2*sd }
		w.Disagree = over(w.Drift, w.DriftSD) || over(w.Shift, w.ShiftSD)
		out = append(out, w)
	}
	return out
}

// common is the mean that some effects have in common, with no prior on it; between is what
// they scatter by about it. The rows of a single effect whose prior is to be left out
// altogether have between 0.
func (f *Fit) common(rows []engine.Row, between []float64) (mean, sd float64) {
	n := len(rows)
	cov := f.solved.Cov(rows...)
	c, d := mat.NewDense(n, n, nil), mat.NewDense(n, n, nil)
	e := mat.NewVecDense(n, nil)
	for i := range n {
		for j := range n {
			c.Set(i, j, cov[i][j])
		}
		e.SetVec(i, f.solved.Mean(rows[i]))
	}
	if d.Inverse(c) != nil {
		return math.NaN(), math.Inf(1)
	}
	e.MulVec(d, e)
	for i, r := range rows {
		own := between[i]
		if own == 0 { // a probe life: its own prior
			own = square(r.Vals[0])
		}
		d.Set(i, i, d.At(i, i)-1/own)
	}
	s := mat.NewDense(n, n, nil)
	for i := range n {
		for j := range n {
			s.Set(i, j, d.At(i, j)*between[j])
		}
		s.Set(i, i, s.At(i, i)+1)
	}
	var left mat.Dense
	var miss mat.VecDense
	if left.Solve(s, d) != nil || miss.SolveVec(s, e) != nil {
		return math.NaN(), math.Inf(1)
	}
	precision, sum := mat.Sum(&left), mat.Sum(&miss)
	if !(precision > 0) {
		return 0, math.Inf(1)
	}
	return sum / precision, math.Sqrt(1 / precision)
}
