package shrinkage

import (
	"math"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"lidwright/tiles"
)

// Figure is a figure worked out from readings, with a 90 % range.
type Figure struct {
	Value, Low, High float64 // a share, or g/cm³ for a density; NaN never: see Known
	Readings         int     // lengths or sets of masses in it
}

// Known reports whether there was anything to work it out from.
func (f Figure) Known() bool { return f.Readings > 0 }

// Derived are the figures of one bar by their definitions.
//
// Linear shrinkage (ASTM C326, drying and firing shrinkages of ceramic whiteware clays; that drying
// and total refer to the plastic length is from memory, the dry base for firing is our definition):
//
//	drying = (wet - dry)/wet      100.0, 94.0:  6.00 %
//	firing = (dry - fired)/dry    94.0, 87.42:  7.00 %
//	total  = (wet - fired)/wet    100.0, 87.42: 12.58 %, which is 1 - (1 - 0.06)(1 - 0.07), not 13
//
// Water absorption (ASTM C373; formulas from memory), D the dry mass, M saturated, S suspended in
// water, so that M - S is the outer volume in cm³ at 1 g/cm³:
//
//	absorption        = (M - D)/D        50.0, 52.5 g:       5.00 %
//	apparent porosity = (M - D)/(M - S)  50.0, 52.5, 30.0 g: 11.11 %
//	bulk density      = D/(M - S)        50.0, 52.5, 30.0 g: 2.222 g/cm³
//
// The standards ask for ten bars, and for five pieces of 50 g or more; this is one.
type Derived struct {
	Drying, Firing, Total         Figure      // shares of the length before; Total of the wet length
	Absorption, Porosity, Density Figure      // shares; Density in g/cm³
	MassStage                     tiles.Stage // at which the masses were taken
}

const (
	usualBalance = 0.1 // g, step of a balance that does not say its own (own)
	readingBook  = 4   // repeats' worth of belief in the usual error of an instrument (own)
)

// Derive works out every figure that the readings of b allow: those that count, and of several
// firings of one sort those after the last. The ranges come from the step of the instrument
// (step/√12, JCGM 100:2008, 4.3.7, from memory) and from how far repeats lie apart, pooled over the bar with
// the usual error of the instrument.
func Derive(b tiles.Bar) Derived {
	error2, freedom := repeatability(b)
	var d Derived
	// each pair of stages: the mean over the marks, with both ends' variances
	for _, leg := range []struct {
		to       *Figure
		from, by tiles.Stage
	}{{&d.Drying, tiles.Wet, tiles.Dry}, {&d.Firing, tiles.Dry, tiles.Fired},
		{&d.Total, tiles.Wet, tiles.Fired}} {
		var sum, variance float64
		var marks, n int
		for mark := 1; mark <= max(b.Marks, 1); mark++ {
			// marks that lack one of the ends tell nothing of it
			a, va, na := meanLength(b, leg.from, mark, error2)
			z, vz, nz := meanLength(b, leg.by, mark, error2)
			if na == 0 || nz == 0 {
				continue
			}
			marks, n = marks+1, n+na+nz
			sum += 1 - z/a
			variance += z * z / (a * a) * (va/(a*a) + vz/(z*z))
		}
		if marks > 0 {
			m := float64(marks)
			*leg.to = figure(sum/m, math.Sqrt(variance)/m, freedom, n)
		}
	}
	masses(b, &d)
	return d
}

// figure is a value with its 90 % range: of Student's t where its sd comes from the scatter itself, else
// of the normal.
func figure(value, sd, freedom float64, n int) Figure {
	half := quantile(math.Inf(1), (1+tiles.LikelyLevel)/2) * sd
	if freedom < 1e6 { // the sd is that of the readings themselves
		half = distuv.StudentsT{Sigma: 1, Nu: freedom}.Quantile((1+tiles.LikelyLevel)/2) * sd
	}
	return Figure{value, value - half, value + half, n}
}

// latest are the readings of a stage and mark that count; of a stage after a firing those since the
// last firing that gives it.
func latest(b tiles.Bar, stage tiles.Stage, mark int) []tiles.Reading {
	var out []tiles.Reading
	var newest time.Time
	for _, r := range b.Readings {
		if r.Stage == stage && max(r.Mark, 1) == mark && r.Counts() && r.Length > 0 {
			out = append(out, r)
			if r.At.After(newest) {
				newest = r.At
			}
		}
	}
	since := lastFiring(b, stage, newest)
	kept := out[:0]
	for _, r := range out {
		if !r.At.Before(since) {
			kept = append(kept, r)
		}
	}
	return kept
}

// lastFiring is when the last firing that gives a stage ended, up to a time; zero if there was none.
func lastFiring(b tiles.Bar, stage tiles.Stage, upTo time.Time) time.Time {
	var last time.Time
	for _, h := range b.Firings {
		if tiles.Measures(h.Kind) == stage && !h.At.After(upTo) && h.At.After(last) {
			last = h.At
		}
	}
	return last
}

// meanLength is the mean of a length with its variance, mm and mm².
func meanLength(b tiles.Bar, stage tiles.Stage, mark int, error2 func(tiles.Reading) float64) (mean,
	variance float64, n int) {
	all := latest(b, stage, mark)
	for _, r := range all {
		mean += float64(r.Length) / float64(len(all))
		variance += error2(r) / float64(len(all)*len(all))
	}
	if len(all) > 0 { // the step is the same each time and does not average out
		variance += square(stepOf(all[0])) / 12
	}
	return mean, variance, len(all)
}

// stepOf is the step of the instrument, mm, or what is usual for it.
func stepOf(r tiles.Reading) float64 {
	if r.Step > 0 {
		return float64(r.Step)
	}
	return usualStep(r.Instrument)
}

// repeatability is the variance of one reading, and how freely it is known: the scatter of the bar's
// repeats pooled with what is usual for the instrument.
func repeatability(b tiles.Bar) (of func(tiles.Reading) float64, freedom float64) {
	var sum, n float64
	// how far repeats lie apart, in units of what the instrument is known to miss
	for mark := 1; mark <= max(b.Marks, 1); mark++ {
		for _, stage := range tiles.Stages() {
			all := latest(b, stage, mark)
			if len(all) < 2 {
				continue
			}
			var mean float64
			for _, r := range all {
				mean += float64(r.Length) / float64(len(all))
			}
			for _, r := range all { // in units of the instrument's own error
				sum += square((float64(r.Length) - mean) / readingSD(r.Instrument, r.Step))
			}
			n += float64(len(all) - 1)
		}
	}
	// four readings' worth of the handbook beside them
	factor := (readingBook + sum) / (readingBook + n)
	return func(r tiles.Reading) float64 { return factor * square(readingSD(r.Instrument, r.Step)) },
		readingBook + n
}

// masses works out what the masses tell: those of the last stage at which there are any.
func masses(b tiles.Bar, d *Derived) {
	var all []tiles.Mass
	// the masses of the last stage at which it was weighed
	for _, r := range b.Readings {
		if r.Mass == nil || r.Struck != nil {
			continue
		}
		if r.Stage != d.MassStage && (d.MassStage == "" || d.MassStage.Before(r.Stage)) {
			all, d.MassStage = nil, r.Stage
		}
		if r.Stage == d.MassStage {
			all = append(all, *r.Mass)
		}
	}
	var absorption, porosity, density sample
	// each figure with the variance that the step of the balance carries into it
	for _, m := range all {
		u := square(m.Step) / 12
		if m.Step == 0 {
			u = square(usualBalance) / 12
		}
		absorption.add((m.Saturated-m.Dry)/m.Dry, u*(1/square(m.Dry)+square(m.Saturated/square(m.Dry))))
		if m.Suspended == 0 {
			continue
		}
		v := m.Saturated - m.Suspended
		p, rho := (m.Saturated-m.Dry)/v, m.Dry/v
		porosity.add(p, u*(square(1-p)+1+p*p)/(v*v))
		density.add(rho, u*(1+2*rho*rho)/(v*v))
	}
	d.Absorption, d.Porosity, d.Density = absorption.figure(), porosity.figure(), density.figure()
}

// sample gathers one figure over the repeats of its weighing.
type sample struct {
	values []float64
	step   float64 // variance by the steps, of one weighing
}

// add takes one figure with the variance that the balance's step gives it.
func (s *sample) add(value, variance float64) {
	s.values = append(s.values, value)
	s.step = max(s.step, variance)
}

// figure is the mean, whose variance is that of the steps and, of two and more, of the scatter.
func (s sample) figure() Figure {
	n := float64(len(s.values))
	if n == 0 {
		return Figure{}
	}
	var mean, sum float64
	for _, v := range s.values {
		mean += v / n
	}
	for _, v := range s.values {
		sum += square(v - mean)
	}
	freedom := math.Inf(1)
	variance := s.step
	if n > 1 {
		variance += sum / (n - 1) / n
		if sum > s.step {
			freedom = n - 1
		}
	}
	return figure(mean, math.Sqrt(variance), freedom, len(s.values))
}
