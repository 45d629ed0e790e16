package tiles

import (
	"fmt"
	"math"
	"slices"

	engine "lidwright/tiles/fit"

	"gonum.org/v1/gonum/mat"
)

// Summary is what the bars of one kiln say about some clays, with everything else (loads,
// batches, formings, probe lives) integrated out: the information that they add to the
// handbook's prior. Summaries of kilns that share nothing but those clays can be summed, and
// the sum is exactly what one joint fit would say, at the same sds and slopes. A later summary
// of the same kiln, clays and model takes the place of an earlier one.
type Summary struct {
	Model   string
	Theta   [6]float64 // the sds it was made with, as logs; only equal ones sum exactly
	Clays   []ClayID   // in rising order
	Matures []float64  // maturing point of each, °C: the same clay must have the same
	Shift   []float64  // sd of the shift that its curve was given, °C
	Bars    int
	Lambda  []float64 // precision added, n x n with n = 13 for each clay, row by row
	Eta     []float64 // precision-weighted mean added, n
}

// Summary of some clays; with more than one, what they share through loads is kept. A clay
// alone carries 13 + 91 different numbers.
func (f *Fit) Summary(clays ...ClayID) (Summary, error) {
	ids := slices.Clone(clays)
	slices.Sort(ids)
	ids = slices.Compact(ids)
	out := Summary{Model: ShrinkModel, Clays: ids}
	copy(out.Theta[:], f.solved.Theta)
	var zs []engine.Row
	var means []float64
	for _, id := range ids {
		k := f.clay(id)
		if k == nil {
			return Summary{}, &Invalid{Field: "clay", Why: fmt.Sprintf("no clay %q here", id), Type: "unknown-clay"}
		}
		out.Matures, out.Shift = append(out.Matures, k.matures), append(out.Shift, k.shift)
		for i := range coefs {
			r := newRows(1)
			for j := 0; j <= i; j++ {
				r.put(0, k.first+j, k.factor[i][j])
			}
			var z engine.Row
			z.Cols, z.Vals = r.pack()
			zs, means = append(zs, z), append(means, k.fitted[i])
		}
		for _, s := range f.sheets {
			if s.bar.Clay == id {
				out.Bars++
			}
		}
	}
	// In handbook sds from the handbook's mean the coefficients x have covariance G and, before
	// any bar, the clay's own prior G0: Lambda = G^-1 - G0^-1, eta = G^-1 x - G0^-1 x0. A
	// supplier's figure is this site's own and stays out.
	n := len(zs)
	cov := f.solved.Cov(zs...)
	post, prior := mat.NewSymDense(n, nil), mat.NewSymDense(n, nil)
	before := mat.NewVecDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			post.SetSym(i, j, cov[i][j])
		}
	}
	for c, id := range ids {
		k := f.clay(id)
		for i := range coefs {
			before.SetVec(c*coefs+i, k.mean[i])
			for j := i; j < coefs; j++ {
				prior.SetSym(c*coefs+i, c*coefs+j, dot(k.factor[i], k.factor[j]))
			}
		}
	}
	pi, pe, err := information(post, mat.NewVecDense(n, means))
	if err != nil {
		return Summary{}, err
	}
	qi, qe, err := information(prior, before)
	if err != nil {
		return Summary{}, err
	}
	out.Lambda, out.Eta = make([]float64, n*n), make([]float64, n)
	for i := range n {
		out.Eta[i] = pe.AtVec(i) - qe.AtVec(i)
		for j := range n {
			out.Lambda[i*n+j] = pi.At(i, j) - qi.At(i, j)
		}
	}
	return out, nil
}

// information is the inverse of a covariance, and its product with a mean.
func information(cov *mat.SymDense, mean *mat.VecDense) (*mat.SymDense, *mat.VecDense, error) {
	var c mat.Cholesky
	if !c.Factorize(cov) {
		return nil, nil, fmt.Errorf("summary: a covariance is not positive definite")
	}
	inv := mat.NewSymDense(cov.SymmetricDim(), nil)
	eta := mat.NewVecDense(mean.Len(), nil)
	if err := c.InverseTo(inv); err != nil {
		return nil, nil, fmt.Errorf("summary: %w", err)
	}
	eta.MulVec(inv, mean)
	return inv, eta, nil
}

// Sum joins summaries of kilns that share nothing but their clays. All must be of one model
// and one set of sds, and a clay must mature at one heat in all of them.
func Sum(all ...Summary) (Summary, error) {
	var out Summary
	for i, s := range all {
		n := coefs * len(s.Clays)
		if len(s.Lambda) != n*n || len(s.Eta) != n || len(s.Matures) != len(s.Clays) || len(s.Shift) != len(s.Clays) {
			return Summary{}, fmt.Errorf("summary %d: its lengths do not agree with its %d clays", i, len(s.Clays))
		}
		for _, v := range append(slices.Clone(s.Lambda), s.Eta...) {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return Summary{}, fmt.Errorf("summary %d holds something that is not a number", i)
			}
		}
		if i == 0 {
			out.Model, out.Theta = s.Model, s.Theta
		} else if s.Model != out.Model || s.Theta != out.Theta {
			return Summary{}, fmt.Errorf("summary %d was made with another model or other sds than summary 0", i)
		}
		out.Bars += s.Bars
		for j, id := range s.Clays {
			at, known := slices.BinarySearch(out.Clays, id)
			if known {
				if out.Matures[at] != s.Matures[j] || out.Shift[at] != s.Shift[j] {
					return Summary{}, fmt.Errorf("clay %s matures at %g °C in one summary and at %g °C in another", id, out.Matures[at], s.Matures[j])
				}
				continue
			}
			out.Clays = slices.Insert(out.Clays, at, id)
			out.Matures = slices.Insert(out.Matures, at, s.Matures[j])
			out.Shift = slices.Insert(out.Shift, at, s.Shift[j])
		}
	}
	n := coefs * len(out.Clays)
	out.Lambda, out.Eta = make([]float64, n*n), make([]float64, n)
	for _, s := range all {
		m := coefs * len(s.Clays)
		at := make([]int, m)
		for j, id := range s.Clays {
			place, _ := slices.BinarySearch(out.Clays, id)
			for i := range coefs {
				at[j*coefs+i] = place*coefs + i
			}
		}
		for i := range m {
			out.Eta[at[i]] += s.Eta[i]
			for j := range m {
				out.Lambda[at[i]*n+at[j]] += s.Lambda[i*m+j]
			}
		}
	}
	return out, nil
}

// Pooled is the shrink from wet to fired of a clay in a summary, at heat work h: the clay
// itself, no batch. sd is that of the rate at the summary's sds.
func (s Summary) Pooled(id ClayID, h float64) (mean, sd LogPercent, err error) {
	at, known := slices.BinarySearch(s.Clays, id)
	if !known {
		return 0, 0, &Invalid{Field: "clay", Why: fmt.Sprintf("no clay %q in the summary", id), Type: "unknown-clay"}
	}
	n := coefs * len(s.Clays)
	a := mat.NewSymDense(n, nil) // the handbook's prior is I in these units
	for i := range n {
		for j := i; j < n; j++ {
			a.SetSym(i, j, s.Lambda[i*n+j])
		}
		a.SetSym(i, i, a.At(i, i)+1)
	}
	var c mat.Cholesky
	if !c.Factorize(a) {
		return 0, 0, fmt.Errorf("summary of %s: its precision is not positive definite", id)
	}
	k := clayCurve{matures: s.Matures[at], shift: s.Shift[at]}
	z := k.white(h)
	z[coefDrying] = dryingSD
	row := mat.NewVecDense(n, nil)
	for i, v := range z {
		row.SetVec(at*coefs+i, v)
	}
	var x mat.VecDense
	if err := c.SolveVecTo(&x, row); err != nil {
		return 0, 0, fmt.Errorf("summary of %s: %w", id, err)
	}
	eta := mat.NewVecDense(n, slices.Clone(s.Eta))
	return LogPercent(dryingMean + k.base(h) + mat.Dot(&x, eta)), LogPercent(math.Sqrt(mat.Dot(&x, row))), nil
}
