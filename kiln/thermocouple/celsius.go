package thermocouple

import (
	"math"

	"lidwright/kiln"
)

// Millivolt is a thermoelectric voltage in mV. With the reference junction at 0 °C it lies in
// -9.835 to 76.373 over all types.
type Millivolt float64

// A round trip at the very end of a table may overshoot by its own rounding; these let it pass.
const (
	hairCelsius   = 1e-6
	hairMillivolt = 1e-9
)

// Millivolt is the voltage of a couple at t with its reference junction at 0 °C. Outside the range
// of the type, for NaN and for what is no type, ok is false and there is no number: nothing is
// ever clamped.
func (k Type) Millivolt(t kiln.Celsius) (e Millivolt, ok bool) {
	table := k.table()
	if table == nil {
		return Millivolt(math.NaN()), false
	}
	low, high := k.Range()
	if !(t >= low-hairCelsius && t <= high+hairCelsius) {
		return Millivolt(math.NaN()), false
	}
	value, _ := table.emf(float64(t))
	return Millivolt(value), true
}

// Celsius is the temperature of the hot junction when the meter sees the voltage measured and the
// place where the couple meets copper is at coldJunction, in °C. The junction is made good in mV:
// adding its degrees afterwards would be 2.5 °C wrong at 1222 °C for K and 13 °C for S.
//
// The fault is Good, or there is no number (NaN) and the fault says why:
//
//   - NotConverted: coldJunction is missing (NaN) or outside -20 to 70 °C (type B: 0 to 70 °C), or
//     k is no type. The limits are our own. Type B alone needs no cold junction: NaN then counts as
//     0 mV, which moves the answer at 1222 °C by at most 0.25 °C for a junction of 0 to 50 °C.
//   - BelowRange: colder than the inverse reaches, -200 °C for K, N, T and E, -210 °C for J, -50 °C
//     for R and S, 250 °C for B. For B this is a state and no defect.
//   - Break: the voltage is no number, or lies above the top of the type, where the input of a
//     meter goes when the couple is open.
func (k Type) Celsius(measured Millivolt, coldJunction kiln.Celsius) (kiln.Celsius, kiln.Fault) {
	table := k.table()
	if table == nil {
		return kiln.NoTemperature(), kiln.NotConverted
	}
	junction := 0.0
	switch {
	case k == B && math.IsNaN(float64(coldJunction)):
	case !(coldJunction >= leastJunction(k) && coldJunction <= 70):
		return kiln.NoTemperature(), kiln.NotConverted
	default:
		junction, _ = table.emf(float64(coldJunction))
	}
	// the voltage that the couple would give with its junction at 0 °C
	e := float64(measured) + junction
	switch {
	case math.IsNaN(e) || math.IsInf(e, 0):
		return kiln.NoTemperature(), kiln.Break
	case e < table.least-hairMillivolt:
		return kiln.NoTemperature(), kiln.BelowRange
	case e > table.most+hairMillivolt:
		return kiln.NoTemperature(), kiln.Break
	}
	return kiln.Celsius(table.celsius(e)), kiln.Good
}

// leastJunction is the coldest junction that is believed, °C (own).
func leastJunction(k Type) kiln.Celsius {
	if k == B {
		return 0 // its function begins there
	}
	return -20
}

// fixedSlope is what one class of type K converter takes for the slope at every temperature, in
// mV/°C. It reports the cold junction plus the voltage over this. Source: public driver code of a
// common thermocouple-to-digital chip.
const fixedSlope = 0.041276

// Linearise undoes the fixed slope of such a front end: reported is what it says the hot junction
// has and coldJunction what it says of its own, both in °C. At 1222 °C it reports about 18.7 °C
// too little. Without the cold junction nothing can be undone: NotConverted. Faults are those of
// Celsius.
func Linearise(reported, coldJunction kiln.Celsius) (kiln.Celsius, kiln.Fault) {
	return K.Celsius(Millivolt((reported-coldJunction)*fixedSlope), coldJunction)
}
