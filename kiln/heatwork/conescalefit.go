package heatwork

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Choices of the fit. The weight was chosen on the table by leaving values out; the floor
// keeps a sparse cone from having no dependence on the rate at all.
const (
	ladderSmoothing = 0.1
	ladderPasses    = 8
	ladderLeastS    = 4 // °C per e-fold
)

// fitLadder finds tau and s of every rung from the end points of the main series: least
// squares of T(r) = tau + s L + q L², L = ln(r/60), with the curvature of s along the ladder
// penalised. q = s²/(tau + 273.15) is the second term that Arrhenius kinetics give; it comes
// from the pass before, so that every pass is linear. A rung without a value (the half cones)
// lies on the straight line between its neighbours.
func fitLadder(ends []ConeEnd) (tau, s [rungCount]float64, err error) {
	// the values of the main series, each with its rung and ln(r/60)
	type row struct {
		i        int
		lnr, end float64
	}
	var rows []row
	var have [rungCount]bool
	// another series has a scale of its own and is joined by seriesShift
	for _, e := range ends {
		if e.Series != SeriesSelfSupporting {
			continue
		}
		i, err := coneIndex(e.Cone)
		if err != nil {
			return tau, s, fmt.Errorf("the table of cones: %w", err)
		}
		if e.Rate <= 0 {
			return tau, s, fmt.Errorf("the table of cones: cone %s of the main series has no rate", e.Cone)
		}
		rows = append(rows, row{i, math.Log(float64(e.Rate) / 60), float64(e.At)})
		have[i] = true
	}
	// the ends of the ladder cannot be filled in from neighbours
	if !have[0] || !have[rungCount-1] {
		return tau, s, fmt.Errorf("the table of cones needs cones 022 and 14 of the main series")
	}

	const n = 2 * rungCount // unknowns: tau of every rung, then s of every rung
	// the normal equations; their left side is the same in every pass
	normal := mat.NewSymDense(n, nil)
	add := func(i, j int, v float64) { normal.SetSym(i, j, normal.At(i, j)+v) }
	for _, r := range rows {
		add(r.i, r.i, 1)
		add(r.i, rungCount+r.i, r.lnr)
		add(rungCount+r.i, rungCount+r.i, r.lnr*r.lnr)
	}
	for i := range rungCount {
		if !have[i] {
			add(i, i, 1) // keeps the system regular; its tau is set below
		}
	}
	addLadderPenalty(add)
	var chol mat.Cholesky
	if !chol.Factorize(normal) {
		return tau, s, fmt.Errorf("the table of cones is too sparse to fit the ladder")
	}

	var q [rungCount]float64
	right, x := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	// each pass takes the second-order term of the one before off the values and solves for tau and s
	for range ladderPasses {
		right.Zero()
		for _, r := range rows {
			y := r.end - q[r.i]*r.lnr*r.lnr
			right.SetVec(r.i, right.AtVec(r.i)+y)
			right.SetVec(rungCount+r.i, right.AtVec(rungCount+r.i)+y*r.lnr)
		}
		if err := chol.SolveVecTo(x, right); err != nil {
			return tau, s, fmt.Errorf("fit the ladder of cones: %w", err)
		}
		for i := range rungCount {
			tau[i] = x.AtVec(i)
			// a slope near 0 would make a cone that no rate moves
			s[i] = math.Max(x.AtVec(rungCount+i), ladderLeastS)
		}
		fillRungs(&tau, &have)
		for i := range rungCount {
			q[i] = s[i] * s[i] / (tau[i] + 273.15)
		}
	}
	return tau, s, nil
}

// addLadderPenalty adds to the normal equations what keeps the slopes s smooth: their second divided
// differences along the ladder, weighted by the width that they span.
func addLadderPenalty(add func(i, j int, v float64)) {
	for i := 1; i < rungCount-1; i++ {
		h1, h2 := rungPosition(i)-rungPosition(i-1), rungPosition(i+1)-rungPosition(i)
		w := math.Sqrt((h1 + h2) / 2)
		d := [3]float64{1 / h1 / w, (-1/h1 - 1/h2) / w, 1 / h2 / w}
		for a := range 3 {
			for b := a; b < 3; b++ {
				add(rungCount+i-1+a, rungCount+i-1+b, ladderSmoothing*d[a]*d[b])
			}
		}
	}
}

// fillRungs puts the rungs without a value on the line between their nearest neighbours
// that have one.
func fillRungs(tau *[rungCount]float64, have *[rungCount]bool) {
	for i := range rungCount {
		if have[i] {
			continue
		}
		lo, hi := i, i
		for !have[lo] {
			lo--
		}
		for !have[hi] {
			hi++
		}
		f := (rungPosition(i) - rungPosition(lo)) / (rungPosition(hi) - rungPosition(lo))
		tau[i] = tau[lo] + f*(tau[hi]-tau[lo])
	}
}
