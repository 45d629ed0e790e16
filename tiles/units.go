// Package tiles is the trade of clay: clays and their batches, test bars and what was
// measured on them, how much a clay shrinks for the heat it got, and the size of a lid.
// It is pure: no I/O, no clock, no SQL. (A tile is a potter's word for a test piece.)
//
// It does not know kilns' lines or curves, only the heat work of a firing.
package tiles

import "math"

// Millimetre is a length between the jaws of the calliper.
type Millimetre float64

// Ratio is a share: 0.06 is 6 %. What it is a share of stands beside each use.
type Ratio float64

// LogPercent is -100 ln(length/length before): shrinks add in it. 12.58 % is 13.44.
type LogPercent float64

// Ratio is the shrink as a share of the length before it.
func (l LogPercent) Ratio() Ratio { return Ratio(-math.Expm1(-float64(l) / 100)) }

// LikelyLevel is the level of every range that is called likely.
const LikelyLevel = 0.90
