package shrinkage

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/mixedmodel"
)

// Summary is what a studio's own bars of one body say of its curve, and nothing else: precision and precision
// times mean of the coefficients of claycurve.go, beside the handbook's prior. There are 104 numbers in it,
// no reading, name, note or date.
type Summary struct {
	Precision [coefs]vec // symmetric, positive semidefinite
	Pull      vec        // Precision times the mean that the bars alone would have
}

// SummaryBytes is the length of a summary as it is sent: 13 and 91 numbers of 8 bytes.
const SummaryBytes = 8 * (coefs + coefs*(coefs+1)/2)

// ErrSummary means that the numbers of a summary belong to no bars.
var ErrSummary = errors.New("this is no summary of bars")

// Summarise gives what the bars of one clay say that count: bought batches alone, no practice, at the sds of
// the fit of the whole studio (fit), with the maturing point that the catalogue gives the body and no
// supplier's figure. bars is how many had a say; none is no error.
func Summarise(ctx context.Context, fit *Fit, clay tiles.ClayID, matures kiln.Celsius) (out Summary, bars int,
	err error) {
	// this clay's bought bags alone, beside the handbook
	own := Studio{Clays: []tiles.Clay{{ID: clay, Matures: matures}}, Handbook: &fit.book,
		ProbeSD: fit.studio.ProbeSD}
	bought := map[tiles.BatchID]bool{}
	for _, b := range fit.studio.Batches {
		if b.Clay == clay && b.Kind == tiles.Bought {
			own.Batches, bought[b.BatchRef.Batch] = append(own.Batches, b), true
		}
	}
	for _, b := range fit.studio.Bars {
		if b.Clay == clay && bought[b.BatchRef.Batch] && b.InFit() {
			own.Bars = append(own.Bars, b)
		}
	}
	f, err := own.begin(ctx)
	if err != nil || len(f.sheets) == 0 {
		return out, 0, err
	}
	// slopes of the handbook, then of the fitted curve, as in a fit
	for _, theta := range [][]float64{fit.first, fit.average()} {
		if err := solveAt(ctx, f, theta); err != nil {
			return out, 0, fmt.Errorf("summarise clay %s: %w", clay, err)
		}
		f.takeSlopes()
	}
	// the posterior of the coefficients, of which the prior's unit precision is taken off
	k := f.clays[0]
	rows := make([]mixedmodel.Row, coefs)
	for i := range rows {
		rows[i] = mixedmodel.Row{Cols: []int{k.first + i}, Vals: []float64{1}}
	}
	c := mat.NewSymDense(coefs, nil)
	for i, row := range f.solved.Cov(rows...) {
		for j := 0; j <= i; j++ {
			c.SetSym(i, j, row[j])
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(c) {
		return out, 0, fmt.Errorf("summarise clay %s: the doubt of its curve is no covariance", clay)
	}
	var inverse mat.SymDense
	if err := chol.InverseTo(&inverse); err != nil {
		return out, 0, fmt.Errorf("summarise clay %s: %w", clay, err)
	}
	for i := range coefs {
		for j := range coefs {
			out.Pull[i] += inverse.At(i, j) * f.solved.Unit(k.first+j)
			out.Precision[i][j] = inverse.At(i, j)
		}
		out.Precision[i][i]--
	}
	return out.semidefinite(), len(f.sheets), nil
}

// average are the logs of the sds whose squares are the mean over what is not known of them, as in the ranges
// of the fit itself. At the modes a summary would be too sure, and a pool takes that for a difference between
// studios.
func (f *Fit) average() []float64 {
	out := slices.Clone(f.solved.Theta)
	for i := range out {
		out[i] += math.Log(f.grows[i]) / 2
	}
	return out
}

// NewestBag is the year in which the newest bought bag of a clay arrived of which a bar has a say; 0 where
// none has.
func NewestBag(f *Fit, clay tiles.ClayID) (year int) {
	arrived := map[tiles.BatchID]int{}
	for _, b := range f.studio.Batches {
		if b.Clay != clay || b.Kind != tiles.Bought {
			continue
		}
		when := b.Made
		if day, err := time.Parse(time.DateOnly, b.Arrived); err == nil {
			when = day
		}
		if !when.IsZero() {
			arrived[b.BatchRef.Batch] = when.Year()
		}
	}
	for _, b := range f.studio.Bars {
		if b.Clay == clay && b.InFit() {
			year = max(year, arrived[b.BatchRef.Batch])
		}
	}
	return year
}

// solveAt screens, at the handbook's sds as a fit does, and solves at sds that are given.
func solveAt(ctx context.Context, f *Fit, theta []float64) error {
	if err := f.screen(ctx); err != nil {
		return err
	}
	var err error
	if f.solved, err = f.model.At(ctx, slices.Clone(theta)); err != nil {
		return err
	}
	f.takeCoefficients()
	return nil
}

// semidefinite takes what rounding left below zero out of a summary.
func (s Summary) semidefinite() Summary {
	values, vectors := s.eigen()
	if values == nil || values[0] >= 0 {
		return s
	}
	for i := range coefs {
		for j := range coefs {
			sum := 0.0
			for k, v := range values {
				sum += max(v, 0) * vectors.At(i, k) * vectors.At(j, k)
			}
			s.Precision[i][j] = sum
		}
	}
	return s
}

// eigen gives the eigenvalues, rising, and the vectors of the precision; nil where there are none.
func (s Summary) eigen() ([]float64, *mat.Dense) {
	m := mat.NewSymDense(coefs, nil)
	for i := range coefs {
		for j := 0; j <= i; j++ {
			m.SetSym(i, j, s.Precision[i][j])
		}
	}
	var e mat.EigenSym
	if !e.Factorize(m, true) {
		return nil, nil
	}
	var vectors mat.Dense
	e.VectorsTo(&vectors)
	return e.Values(nil), &vectors
}

// Bytes are the numbers of a summary, little endian: the pull, then the lower half of the precision by rows.
func (s Summary) Bytes() []byte {
	out := make([]byte, 0, SummaryBytes)
	put := func(v float64) { out = binary.LittleEndian.AppendUint64(out, math.Float64bits(v)) }
	for _, v := range s.Pull {
		put(v)
	}
	for i := range coefs {
		for j := 0; j <= i; j++ {
			put(s.Precision[i][j])
		}
	}
	return out
}

// Most that bars of one body can say, in handbook sds: 5,000 bars measured to 0.001 % would say less.
const mostPrecision = 1e12

// ReadSummary takes a summary in. The error is ErrSummary where it is of another length, holds what is no
// number, or a precision that no bars have.
func ReadSummary(data []byte) (s Summary, err error) {
	if s, err = readNumbers(data); err != nil {
		return Summary{}, err
	}
	values, _ := s.eigen()
	if values == nil || values[0] < -1e-9*max(1, values[coefs-1]) {
		return Summary{}, fmt.Errorf("%w: its precision is not positive", ErrSummary)
	}
	return s, nil
}

// readNumbers reads a pull and the lower half of a precision, both of bounded numbers.
func readNumbers(data []byte) (s Summary, err error) {
	if len(data) != SummaryBytes {
		return s, fmt.Errorf("%w: %d bytes, not %d", ErrSummary, len(data), SummaryBytes)
	}
	take := func() float64 {
		v := math.Float64frombits(binary.LittleEndian.Uint64(data))
		data = data[8:]
		if !(math.Abs(v) <= mostPrecision) {
			err = fmt.Errorf("%w: %g", ErrSummary, v)
			v = 0
		}
		return v
	}
	for i := range s.Pull {
		s.Pull[i] = take()
	}
	for i := range coefs {
		for j := 0; j <= i; j++ {
			s.Precision[i][j] = take()
			s.Precision[j][i] = s.Precision[i][j]
		}
	}
	return s, err
}
