package thermocouple

import (
	"math"

	"lidwright/kiln"
)

// Class is a tolerance class of IEC 60584: 1 is the tighter, 2 the usual.
type Class int

// limit is one line of the tolerance table: the greater of flat and share times t, from low to high.
type limit struct {
	low, high   kiln.Celsius
	flat, share float64
}

// Tolerance is how far a new couple of the class may be off at t, plus or minus, in kelvin, and
// whether the class reaches t at all. Outside its range the formula goes on and inClass is false:
// at stoneware heat a K or N couple is in no class, and the number is then only a guess to begin
// with. Where there is no class (B class 1, other classes, t NaN) the number is NaN.
//
// Source: IEC 60584 classes as two suppliers' tables print them; the standard's own text was not
// read. That the slope of R and S class 1 begins at 1100 °C is from memory. B class 1 is left out
// because the two tables disagree.
func (k Type) Tolerance(class Class, t kiln.Celsius) (plusMinus kiln.Celsius, inClass bool) {
	limit, ok := k.limit(class)
	if !ok || !t.Known() {
		return kiln.NoTemperature(), false
	}
	inClass = t >= limit.low && t <= limit.high
	if (k == R || k == S) && class == 1 {
		return kiln.Celsius(1 + 0.003*max(0, float64(t)-1100)), inClass
	}
	return kiln.Celsius(max(limit.flat, limit.share*math.Abs(float64(t)))), inClass
}

// limit is the line of the table for a type and class; ok is false where the table has none.
func (k Type) limit(class Class) (limit, bool) {
	switch class {
	case 1:
		switch k {
		case K, N:
			return limit{-40, 1000, 1.5, 0.004}, true
		case J:
			return limit{-40, 750, 1.5, 0.004}, true
		case E:
			return limit{-40, 800, 1.5, 0.004}, true
		case T:
			return limit{-40, 350, 0.5, 0.004}, true
		case R, S:
			return limit{0, 1600, 1.0, 0}, true
		}
	case 2:
		switch k {
		case K, N:
			return limit{-40, 1200, 2.5, 0.0075}, true
		case J:
			return limit{-40, 750, 2.5, 0.0075}, true
		case E:
			return limit{-40, 900, 2.5, 0.0075}, true
		case T:
			return limit{-40, 350, 1.0, 0.0075}, true
		case R, S:
			return limit{0, 1600, 1.5, 0.0025}, true
		case B:
			return limit{600, 1700, 1.5, 0.0025}, true
		}
	}
	return limit{}, false
}
