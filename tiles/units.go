// Package tiles is the trade of clay in its nouns: clays and their batches, test bars and what was
// measured on them, loads, lengths as people write them, codes of bars, and sheets of bars. (A tile
// is a potter's word for a test piece.)
//
// What a person typed comes in; it goes out in its usual form, or with every fault told at once as
// Invalid with its field. Rooms further up reckon with it: tiles/shrinkage how much a clay shrinks,
// tiles/lid the size of a lid, tiles/board whole boards.
//
// It is pure: no I/O, no clock, no SQL. It works out no shrink and judges no reading, and knows
// kilns by the heat work of a firing alone, not by their lines or curves.
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
