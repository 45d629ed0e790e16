package tiles

import (
	"fmt"
	"math"
)

// usualShrink is what a bar has lost of its wet length at each stage, log-percent, and how far
// one may miss that (one sd): common practice, no source. The guard against slips proper asks
// the fit; this one needs no bar before it.
var usualShrink = map[Stage]struct{ mean, sd float64 }{
	Wet: {0, 1}, Soft: {1.8, 1.2}, Leather: {3.6, 1.5}, Dry: {6.0, 1.3}, Biscuit: {6.5, 1.6}, Fired: {11.2, 2.9},
}

// A length outside these shares of the wet one is kept, and counted by the owner alone.
const (
	leastLeft = 0.72
	mostLeft  = 1.01
	askBeyond = 4 // sds
)

// WetLength is the bar's wet length between its first marks as last read; 0 if it was not.
func (b Bar) WetLength() Millimetre {
	wet := Millimetre(0)
	for _, r := range b.Readings {
		if r.Stage == Wet && r.Mark <= 1 && r.Counts() {
			wet = r.Length
		}
	}
	return wet
}

// Believe sees whether the length of r can be believed, against the wet length of its bar or,
// without one, against its marks as laid out. It sets Unusual, Outside and Question, and gives
// the range that is believed; false for a reading of masses, which is not judged.
func (r *Reading) Believe(bar Bar) (low, high Millimetre, ok bool) {
	if r.Mass != nil {
		return 0, 0, false
	}
	wet := bar.WetLength()
	if wet == 0 {
		wet = bar.MarkLength
	}
	u := usualShrink[r.Stage]
	left := func(shrink float64) Millimetre { return wet * Millimetre(math.Exp(-shrink/100)) }
	low, high = left(u.mean+askBeyond*u.sd), left(u.mean-askBeyond*u.sd)
	if r.Stage != Wet {
		high = min(high, mostLeft*wet)
	}
	ratio := float64(r.Length / wet)
	r.Outside = ratio < leastLeft || ratio > mostLeft && r.Stage != Wet
	r.Unusual = r.Outside || r.Length < low || r.Length > high
	r.Question = ""
	if r.Unusual {
		r.Question = fmt.Sprintf("Is that right? About %s is to be expected.", MM.Format(left(u.mean)))
	}
	return low, high, true
}
