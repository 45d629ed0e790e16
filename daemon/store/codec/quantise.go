package codec

import (
	"math"
	"slices"

	"lidwright/kiln"
)

// Temperatures are kept as whole numbers of perCelsius to the degree, which gives every reading
// of the steps below back to the last digit.
const perCelsius = 16000

// Units are the steps that a channel of a block may be kept in, in sixteen-thousandths of a
// degree, coarsest first: 1, 0.5, 0.25, 0.1, 1/16, 0.05, 0.01, 1/128, 0.001 °C, and the last
// resort where an hour has several of them.
var Units = [...]int64{16000, 8000, 4000, 1600, 1000, 800, 160, 125, 16, 1}

// mostCelsius bounds what counts as a number: nothing beyond it is a temperature of any kiln.
const mostCelsius = 1e6

// CountOf is t in sixteen-thousandths: exactly if it is a multiple of one, else to the nearest
// thousandth of a degree, below which nothing that reads a kiln has anything to say.
func CountOf(t kiln.Celsius) int64 {
	exact := float64(t) * perCelsius
	if n := math.Round(exact); math.Abs(exact-n) < 1e-4 {
		return int64(n)
	}
	return int64(math.Round(float64(t)*1000)) * (perCelsius / 1000)
}

// CelsiusOf is the float nearest to n sixteen-thousandths, the same that reading its decimals gives.
func CelsiusOf(n int64) kiln.Celsius { return kiln.Celsius(float64(n) / perCelsius) }

// UnitOf is the index of the coarsest unit of which all counts are multiples: of which their
// greatest common divisor is one.
func UnitOf(counts []int64) int {
	var common int64
	for _, n := range counts {
		if common != 0 && n%common == 0 {
			continue
		}
		for n != 0 {
			common, n = n, common%n
		}
	}
	return slices.IndexFunc(Units[:], func(unit int64) bool { return common%unit == 0 })
}

// IsNumber is false for NaN too, which no comparison holds of.
func IsNumber(t kiln.Celsius) bool { return t > -mostCelsius && t < mostCelsius }
