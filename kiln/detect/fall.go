package detect

import (
	"slices"
	"time"

	"lidwright/kiln"
)

// Fall is how soon after its peak a kiln came down to a temperature.
type Fall struct {
	// one of FallLevels
	To kiln.Celsius
	// from the peak
	After time.Duration
}

// Choices about a reading that comes down sooner than a kiln can cool (own).
const (
	FallsFrom = 600 // °C: peaks from here on tell how a kiln cools
	// sooner than this no kiln of which nothing is known is believed to have cooled
	fallNobody  = 4 * time.Hour
	fallAllowed = 0.9 // of the quickest fall so far
)

// FallLevels are the temperatures to which the quickest falls of a kiln are kept.
func FallLevels() []kiln.Celsius { return []kiln.Celsius{200, 150, 100, 75, 50, 40, 30} }

// Fell takes in how quickly one firing came down, so that what is quicker is doubted.
func (p *Past) Fell(falls []Fall) {
	for _, f := range falls {
		if i := slices.IndexFunc(p.falls, func(g Fall) bool { return g.To == f.To }); i < 0 {
			p.falls = append(p.falls, f)
		} else {
			p.falls[i].After = min(p.falls[i].After, f.After)
		}
	}
}

// TooSoon reports whether a kiln that was as hot as peak reads no more than t so long after it, and never
// cooled as quickly: the probe may be wrong.
func (p Past) TooSoon(peak, t kiln.Celsius, after time.Duration) bool {
	if peak < FallsFrom {
		return false
	}
	least, known := time.Duration(0), false
	for _, f := range p.falls { // to the nearest level at or above t; the kiln takes longer to t itself
		if f.To >= t && f.After >= least {
			least, known = f.After, true
		}
	}
	if !known {
		return after < fallNobody
	}
	return float64(after) < fallAllowed*float64(least)
}

// fallen is where the open or last firing was hottest, for what comes after its end too.
type fallen struct {
	peak kiln.Celsius
	at   time.Duration
	lost bool // a gap of unknown length lies since
	soon bool // it came down sooner than it ever cooled
}

// hottest is the highest reading of any probe in a bin: one that slipped out of the kiln reads cold.
func (d *Detector) hottest(b bin) kiln.Celsius {
	t := b.t
	for i, c := range d.kiln.Channels {
		if c.Role == kiln.RoleProbe && b.all[i] > t {
			t = b.all[i]
		}
	}
	return t
}

// fall follows the peak and says, when the kiln comes down to where it is kept shut above, whether that was
// too soon to be true.
func (d *Detector) fall(b bin, arrives bool) {
	f := &d.fell
	if t := d.hottest(b); t > f.peak {
		*f = fallen{peak: t, at: b.age}
	}
	if arrives {
		f.soon = !f.lost && d.Past.TooSoon(f.peak, d.mark, b.age-f.at)
	}
}

// TooSoon reports whether the kiln came down to the temperature that it is kept shut above sooner than it
// ever cooled.
func (d *Detector) TooSoon() bool { return d.fell.soon }
