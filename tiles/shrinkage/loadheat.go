package shrinkage

import (
	"cmp"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"

	"lidwright/tiles/mixedmodel"
)

const (
	driftLoads   = 4  // the last loads of a probe life that are looked at
	scatterLoads = 24 // and how many before them tell how much loads scatter
	disagreeOver = 8  // °C beyond which probe and bars disagree, if it is also over 2 sd
)

// LoadHeat is what bars of all clays say about the heat of loads: how much hotter the loads
// were than their record said. Below 0: the record said too much.
type LoadHeat struct {
	Probe    string   // life of a probe, as heatwork.ProbeName; "": loads of none that is named
	Loads    []string // the last of this probe life that bars tell about, in order of time
	Drift    float64  // of these loads against the others, °C
	DriftSD  float64  // °C
	Shift    float64  // of the whole probe life against other lives, °C; NaN: no other life to tell by
	ShiftSD  float64  // °C; NaN where Shift is
	Disagree bool     // one of the two is over 8 °C and over 2 sd
}

// LoadHeats gives one for each probe life, by its name; "" stands for loads of no named one.
//
// Drift is estimated without the prior that loads are right on average. With L the loads'
// errors, C their posterior covariance and T their prior, D = C^-1 - T^-1 is what the bars say
// and e = C^-1 L. A drift m common to the last loads (x = 1 there, 0 elsewhere) has, for loads
// that scatter by s about it, T = s^2 I, precision a = x'(I + D T)^-1 D x and mean b/a,
// b = x'(I + D T)^-1 e. How much they scatter is weighed anew, since in the fit a drift counts
// as scatter: each s by exp(e'T(I + D T)^-1 e + b^2/a)^(1/2)/|I + D T|^(1/2)/a^(1/2) and the
// handbook's prior of s; mean and sd are those over all s. Shift is the one coefficient of a
// probe life without its prior.
func (f *Fit) LoadHeats() []LoadHeat {
	type seen struct {
		load string
		at   time.Time
	}
	lives := map[string][]seen{}
	var names []string
	// the loads of each probe life that bars tell about
	for _, s := range f.sheets {
		for i, l := range s.lines {
			if l.heat == nil || l.heat.Assumed || s.slipped(i) ||
				f.clay(s.bar.Clay).slope(float64(l.heat.Work)) < loadMatters {
				continue
			}
			p, load := l.heat.Probe, loadName(l.heat)
			if lives[p] == nil {
				names = append(names, p)
			}
			if !slices.ContainsFunc(lives[p], func(o seen) bool { return o.load == load }) {
				lives[p] = append(lives[p], seen{load, l.heat.At})
			}
		}
	}
	slices.Sort(names)
	var out []LoadHeat
	for _, p := range names {
		loads := lives[p]
		slices.SortFunc(loads, func(a, b seen) int {
			return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.load, b.load))
		})
		// the last four, and those before them that tell how much loads scatter
		loads = loads[max(0, len(loads)-driftLoads-scatterLoads):]
		w := LoadHeat{Probe: p, Shift: math.NaN(), ShiftSD: math.NaN()}
		var rows []mixedmodel.Row
		var extra []float64
		for i, l := range loads {
			if len(loads)-i <= driftLoads {
				w.Loads = append(w.Loads, l.load)
			}
			at := f.columns.place[column{'l', l.load, ""}]
			rows = append(rows, mixedmodel.Row{Cols: []int{at}, Vals: []float64{1}})
			extra = append(extra, square(f.columns.list[at].Extra))
		}
		w.Drift, w.DriftSD = f.drift(rows, extra, len(w.Loads))
		if at, known := f.columns.place[column{'o', p, ""}]; known && len(names) > 1 {
			sd := f.probeSD(p)
			w.Shift, w.ShiftSD = f.shift(mixedmodel.Row{Cols: []int{at}, Vals: []float64{sd}})
		}
		over := func(v, sd float64) bool { return math.Abs(v) > disagreeOver && math.Abs(v) > 2*sd }
		w.Disagree = over(w.Drift, w.DriftSD) || over(w.Shift, w.ShiftSD)
		out = append(out, w)
	}
	return out
}

// drift is the drift of the last loads of rows; extra is the variance of each one's own record.
func (f *equations) drift(rows []mixedmodel.Row, extra []float64, last int) (mean, sd float64) {
	n := len(rows)
	d, e, ok := f.said(rows, func(i int) float64 { return math.Exp(2*f.solved.Theta[thetaLoad]) + extra[i] })
	if !ok {
		return math.NaN(), math.Inf(1)
	}
	first := n - last
	var weights, means, vars []float64
	// over a grid of scatters from a fifth to five times the handbook's
	for step := -8; step <= 8; step++ {
		away := 0.2 * float64(step)
		s := f.book.Load * math.Exp(away)
		m := mat.NewDense(n, n, nil) // I + D T
		for i := range n {
			for j := range n {
				m.Set(i, j, d.At(i, j)*(s*s+extra[j]))
			}
			m.Set(i, i, m.At(i, i)+1)
		}
		var lu mat.LU
		lu.Factorize(m)
		var left mat.Dense
		var miss mat.VecDense
		if lu.SolveTo(&left, false, d) != nil || lu.SolveVecTo(&miss, false, e) != nil {
			continue
		}
		logDet, _ := lu.LogDet()
		var a, b, fits float64
		for i := range n {
			fits += e.AtVec(i) * (s*s + extra[i]) * miss.AtVec(i)
			if i < first {
				continue
			}
			b += miss.AtVec(i)
			for j := first; j < n; j++ {
				a += left.At(i, j)
			}
		}
		if !(a > 0) {
			continue
		}
		weights = append(weights, (fits+b*b/a-logDet-math.Log(a)-square(away/f.book.Spread))/2)
		means, vars = append(means, b/a), append(vars, 1/a)
	}
	if len(weights) == 0 {
		return 0, math.Inf(1)
	}
	// mean and sd over all scatters, by their weights
	best, total := slices.Max(weights), 0.0
	for i, w := range weights {
		weights[i] = math.Exp(w - best)
		total += weights[i]
	}
	var square2 float64
	for i, w := range weights {
		mean += w / total * means[i]
		square2 += w / total * (vars[i] + means[i]*means[i])
	}
	return mean, math.Sqrt(square2 - mean*mean)
}

// shift is one effect of unit prior, in row's units, without that prior.
func (f *equations) shift(row mixedmodel.Row) (mean, sd float64) {
	d, e, ok := f.said([]mixedmodel.Row{row}, func(int) float64 { return square(row.Vals[0]) })
	if !ok || !(d.At(0, 0) > 0) {
		return 0, math.Inf(1)
	}
	return e.AtVec(0) / d.At(0, 0), math.Sqrt(1 / d.At(0, 0))
}

// said is what the bars say about some effects, apart from their prior variances: D and e above.
func (f *equations) said(rows []mixedmodel.Row, prior func(int) float64) (d *mat.Dense,
	e *mat.VecDense, ok bool) {
	n := len(rows)
	cov := f.solved.Cov(rows...)
	c := mat.NewDense(n, n, nil)
	d, e = mat.NewDense(n, n, nil), mat.NewVecDense(n, nil)
	for i := range n {
		for j := range n {
			c.Set(i, j, cov[i][j])
		}
		e.SetVec(i, f.solved.Mean(rows[i]))
	}
	if d.Inverse(c) != nil {
		return nil, nil, false
	}
	e.MulVec(d, e)
	for i := range n {
		d.Set(i, i, d.At(i, i)-1/prior(i))
	}
	return d, e, true
}
