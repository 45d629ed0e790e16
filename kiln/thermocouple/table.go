package thermocouple

import "math"

// table holds the functions of one type. Nothing changes it.
type table struct {
	forward []polynomial // °C to mV, ranges in rising order without a hole
	inverse []polynomial // mV to °C, a start for one Newton step; ranges rising, R and S overlap
	bump    bump         // type K alone: added to the last forward range
	least   float64      // mV, lowest voltage that is inverted
	most    float64      // mV, voltage at the top of the last forward range
}

// polynomial is a sum of of[i] x^i that holds from low to high.
type polynomial struct {
	low, high float64
	of        []float64
}

// bump is the exponential of type K from 0 °C up: a0 exp(a1 (t - a2)²), in mV.
type bump struct{ a0, a1, a2 float64 }

// at gives value and slope by one pass of Horner's rule.
func (p *polynomial) at(x float64) (value, slope float64) {
	for i := len(p.of) - 1; i >= 0; i-- {
		slope = slope*x + value
		value = value*x + p.of[i]
	}
	return value, slope
}

// emf is the voltage in mV and its slope in mV/°C at t °C with the junction at 0 °C. Outside the
// table the nearest range goes on, which a Newton step at the very end needs.
func (a *table) emf(t float64) (value, slope float64) {
	last := len(a.forward) - 1
	i := 0
	for i < last && t > a.forward[i].high { // the upper bound belongs to the range
		i++
	}
	value, slope = a.forward[i].at(t)
	if i == last && a.bump.a0 != 0 {
		d := t - a.bump.a2
		g := a.bump.a0 * math.Exp(a.bump.a1*d*d)
		value += g
		slope += 2 * a.bump.a1 * d * g
	}
	return value, slope
}

// celsius inverts emf: the published inverse polynomial, then exactly one Newton step. A loop
// until it converges could flip for ever, because the forward ranges meet only to 7.5e-8 mV (J).
// The polynomial alone errs by up to 0.054 °C and steps at its joins.
func (a *table) celsius(e float64) float64 {
	i := len(a.inverse) - 1
	for i > 0 && e < a.inverse[i].low { // the last range that holds e: of two, R's and S's tighter
		i--
	}
	t, _ := a.inverse[i].at(e)
	value, slope := a.emf(t)
	return t - (value-e)/slope
}
