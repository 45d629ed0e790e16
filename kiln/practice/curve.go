package practice

import (
	"math"
	"math/rand/v2"
	"time"

	"lidwright/kiln"
)

// Curve is what one probe of a practice kiln shows: the programme, with noise, in steps, with the
// swings of a fuel kiln where wanted. It is a pure function of the age and its fields.
type Curve struct {
	Programme Programme    // what the kiln does
	Off       kiln.Celsius // how much hotter this probe is than the programme, the same everywhere
	Noise     kiln.Celsius // standard deviation of the noise, normally distributed; 0.15 is usual here
	Step      kiln.Celsius // readings are rounded to multiples of it; 0 leaves them be
	Seed      uint64       // of the noise; the same gives the same readings
	Swing     Swing        // zero: none
}

// Swing is the breathing of a fuel kiln in reduction: By up and down, once a Period, while the
// programme is above Above. The zero Swing does nothing.
type Swing struct {
	// °C of the programme
	Above kiln.Celsius
	// °C, half of the whole swing
	By kiln.Celsius
	// 0: no swing
	Period time.Duration
}

// True is the temperature at the probe, in °C, without noise or rounding.
func (c Curve) True(after time.Duration) kiln.Celsius {
	t := c.Programme.T(after)
	if c.Swing.Period > 0 && t > c.Swing.Above {
		t += c.Swing.By * kiln.Celsius(math.Sin(2*math.Pi*float64(after)/float64(c.Swing.Period)))
	}
	return t + c.Off
}

// Reading is what the probe shows at an age: True with noise and rounding. The same age gives the
// same reading, in whatever order they are asked.
func (c Curve) Reading(after time.Duration) kiln.Celsius {
	t := float64(c.True(after))
	if c.Noise > 0 {
		t += float64(c.Noise) * rand.New(rand.NewPCG(c.Seed, uint64(after))).NormFloat64()
	}
	if c.Step > 0 {
		t = math.Round(t/float64(c.Step)) * float64(c.Step)
	}
	return kiln.Celsius(t)
}
