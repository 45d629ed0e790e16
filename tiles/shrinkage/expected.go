package shrinkage

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"

	"lidwright/tiles"
	"lidwright/tiles/mixedmodel"
)

// Expected is what a reading should be, by the other readings of its bar and by the fit.
type Expected struct {
	Length tiles.Millimetre // the middle of the range on the log scale
	SD     tiles.LogPercent // of -100 ln(length), the reading's own error in it
	Low    tiles.Millimetre // a 90 % range
	High   tiles.Millimetre // a reading beyond either end is asked about
}

// Expect says what reading r of bar b should be, from the readings of b that count (r left
// out, if it is there). Where no heat work is known of the firing of r, that of the clay's other bars is
// assumed, with its doubt. It is false where nothing can be said: a first reading between its marks, a stage
// without a fixed state, a clay without a fit.
func (f *Fit) Expect(b tiles.Bar, r tiles.Reading) (Expected, bool) {
	if _, fits := leftAt[r.Stage]; !fits || f.clay(b.Clay) == nil {
		return Expected{}, false
	}
	r.Unusual, r.Outside, r.Struck, r.Mass = false, false, nil, nil
	// What was read plays no part, not even in how long the bar is taken to be.
	var wet []float64
	for _, o := range b.Readings {
		if left, fits := leftAt[o.Stage]; fits && o.ID != r.ID && o.Counts() && o.Length > 0 {
			wet = append(wet, float64(o.Length)/left)
		}
	}
	if len(wet) == 0 {
		return Expected{}, false
	}
	// the length that its usual share of the middle wet length makes: it sets the noise alone
	slices.Sort(wet)
	r.Length = tiles.Millimetre(wet[(len(wet)-1)/2] * leftAt[r.Stage])
	c := b
	c.Practice, c.Flags = false, nil
	f.assume(&c)
	if r.At.IsZero() { // not read yet: after every firing
		r.At = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	// a firing of unknown heat: as hot as is usual, with its doubt
	if _, ok := c.HeatFor(r); !ok && (r.Stage == tiles.Biscuit || r.Stage == tiles.Fired) {
		c.Firings = slices.DeleteFunc(slices.Clone(b.Firings), func(h tiles.Heat) bool {
			return !h.Work.Known()
		})
		c.Firings = append(c.Firings, f.assumedHeat(b, r))
	}
	c.Readings = slices.DeleteFunc(slices.Clone(b.Readings), func(o tiles.Reading) bool {
		return o.ID == r.ID
	})
	c.Readings = append(c.Readings, r)
	// the bar laid out with r on a line of its own
	s, _ := f.sheet(&c, r.ID)
	if s == nil {
		return Expected{}, false
	}
	at := slices.IndexFunc(s.lines, func(l line) bool { return l.reading.ID == r.ID })
	if at < 0 {
		return Expected{}, false
	}
	// what the fit distrusts of this bar it distrusts here too
	for _, old := range f.sheets {
		if old.bar.ID == b.ID && old.bar.Code == b.Code {
			s.keepSlips(old)
		}
	}
	// what the bar is the first to name gets its prior
	g := *f
	if fresh := g.growColumns(s); len(fresh) > 0 {
		solved, err := f.solved.With(mixedmodel.Change{Columns: fresh, Blocks: f.solved.Blocks()})
		if err != nil {
			return Expected{}, false
		}
		g.solved = solved
	}
	mean, sd, ok := g.expectLine(s, at)
	if !ok {
		return Expected{}, false
	}
	half := quantile(math.Inf(1), (1+tiles.LikelyLevel)/2) * sd
	length := func(y float64) tiles.Millimetre { return tiles.Millimetre(math.Exp(-y / 100)) }
	return Expected{length(mean), tiles.LogPercent(sd), length(mean + half), length(mean - half)}, true
}

// expectLine predicts line n of s, -100 ln(length), from the others J, as generalised least squares does
// with a free wet length:
//
//	a = V_JJ^-1 V_Jn,  c = V_JJ^-1 1,  k = (1 - 1'a)/(1'c),  d = z_n - Z_J'(a + k c)
//	y_n = z_n'u + (a + k c)'(y_J - Z_J u),  var = d'C d + V_nn - V_nJ a + (1 - 1'a)^2/(1'c)
//
// 1 marks the free wet length between n's own marks. Readings between other marks of the bar
// are left aside.
func (f *equations) expectLine(s *sheet, n int) (mean, sd float64, ok bool) {
	if _, known := f.columns.place[column{'d', string(s.bar.Clay), string(s.bar.Batch)}]; !known {
		return 0, 0, false
	}
	// rows, noise and covariance of the sheet at the fitted sds
	p := f.pattern(s)
	b := p.of(s)
	v := b.Variance(f.solved.Theta)
	k := len(s.lines)
	// the other readings between the same marks
	var j []int
	for i, l := range s.lines {
		if i != n && l.mark == s.lines[n].mark {
			j = append(j, i)
		}
	}
	if len(j) == 0 {
		return 0, 0, false
	}
	// a and c by the Cholesky factor of their covariance
	vjj := mat.NewSymDense(len(j), nil)
	vjn, one := mat.NewVecDense(len(j), nil), mat.NewVecDense(len(j), nil)
	for x, i := range j {
		for y := x; y < len(j); y++ {
			vjj.SetSym(x, y, v[i*k+j[y]])
		}
		vjn.SetVec(x, v[i*k+n])
		one.SetVec(x, 1)
	}
	var chol mat.Cholesky
	if !chol.Factorize(vjj) {
		return 0, 0, false
	}
	var a, c mat.VecDense
	if chol.SolveVecTo(&a, vjn) != nil || chol.SolveVecTo(&c, one) != nil {
		return 0, 0, false
	}
	// the weights must sum to 1, since each length has the same wet length in it
	rest := 1 - mat.Dot(one, &a)
	share := rest / mat.Dot(one, &c)
	row := mixedmodel.Row{Cols: b.Cols, Vals: make([]float64, len(b.Cols))}
	z := func(i, col int) float64 { return b.Z[i*len(b.Cols)+col] }
	for col := range b.Cols {
		row.Vals[col] = z(n, col)
	}
	// what the prior expects, the others' weighted surprise, and the doubt of both
	mean = p.expected[n]
	variance := v[n*k+n] - mat.Dot(vjn, &a) + rest*share
	for x, i := range j {
		w := a.AtVec(x) + share*c.AtVec(x)
		mean += w * b.Y[i]
		for col := range b.Cols {
			row.Vals[col] -= w * z(i, col)
		}
	}
	mean += f.solved.Mean(row)
	variance += f.solved.Cov(row)[0][0]
	return mean, math.Sqrt(variance), true
}
