package detect

import (
	"math"
	"slices"
	"time"

	"lidwright/kiln"
)

// Choices of the watch for a kiln that heats on after its end (own), proved on invented firings.
const (
	endFallen   = 50               // °C below the peak from which on a firing is at its end
	endReached  = 15               // °C short of the usual top that still are the top
	climbWindow = 12 * time.Minute // in which a climb is looked for
	climbLasts  = 5 * time.Minute
	climbLeast  = 8.0 // °C
	// °C, of a kiln that reads less than climbCoolBelow: a lid that was ajar for a moment gives less
	climbLeastCool = 12.0
	climbCoolBelow = 250
	climbGoesOn    = 0.75             // of the rate of its first half a climb keeps in its second
	onLeast        = 5.0              // °C above the hold at the usual top
	openedWindow   = 30 * time.Minute // the same after a lid was open: its brick warms the air again
	openedLasts    = 20 * time.Minute
	openedLeast    = 40.0
	openedCold     = 100            // °C, under which whoever opens it may fire it anew
	openedBelow    = 400            // °C, above which nobody opens a kiln but for raku
	lateAfter      = 1.5            // times the longest of the usual coolings
	LateLeast      = 12 * time.Hour // records that were stopped by hand make a cooling look short
	lateAbove      = 200            // °C
	// of its excess over the room that a cooling kiln loses in an hour, and more
	lateFall = 0.05
)

// StillHot watches for a kiln that should cool and does not, as when a relay or contactor sticks: it
// climbs again after its end, climbs on from the hold at its usual top, or stays hot half as long again
// as its cooling usually takes. It looks at every bin, with a firing open or not, until the kiln is cold
// or somebody is at it. The zero one is ready for use.
type StillHot struct {
	climbing bool
	late     bool

	usual    Expected
	peak     kiln.Celsius // highest steady reading since the kiln was cold; 0 before the first
	peakAt   time.Duration
	fallen   bool         // well below the peak since
	low      kiln.Celsius // lowest since the peak
	lowAt    time.Duration
	held     kiln.Celsius // level of the hold at the usual top; 0 if there was none
	heldTill time.Duration
	opened   bool
	openedAt time.Duration
	highest  kiln.Celsius // since it climbs
	seen     time.Duration
}

// So reports whether the kiln is still hot, or climbing again, long after its end.
func (w *StillHot) So() bool { return w.climbing || w.late }

// Attended forgets what was before: somebody is at the kiln, or begins a firing.
func (w *StillHot) Attended() { *w = StillHot{seen: w.seen, usual: w.usual} }

// Look takes the newest bin of d. usual is the usual firing of the kind that burns, the zero one where
// it is not known; what was known before holds on.
func (w *StillHot) Look(d *Detector, usual Expected) {
	r := &d.ring
	if len(r.bins) == 0 || r.bins[len(r.bins)-1].age == w.seen {
		return
	}
	b := r.bins[len(r.bins)-1]
	w.seen = b.age
	if usual.Of > 0 {
		w.usual = usual
	}
	t := r.steady()
	// somebody at the kiln, or a cold one, begins everything anew
	w.lid(r, b)
	if b.t < ColdBelow || w.opened && w.openedAt == b.age && b.t < openedCold {
		w.Attended()
	}
	// follow the peak and the lowest since
	if t > w.peak {
		w.peak, w.peakAt, w.fallen = t, b.age, false
		w.low, w.lowAt = t, b.age
	}
	if t < w.low {
		w.low, w.lowAt = t, b.age
	}
	// once 50 °C below the peak it is past it
	w.fallen = w.fallen || t < w.peak-endFallen
	slope, known := r.slope()
	if !known {
		return
	}
	// a climb is over when it has fallen 10 °C and goes on falling
	switch {
	case w.climbing:
		w.highest = max(w.highest, t)
		w.climbing = t > w.highest-10 || slope > -kiln.FlatRate
	case w.ended() && w.climbsAgain(r, b, t), w.climbsOn(r, b, t):
		w.climbing, w.highest = true, t
	}
	w.late = t > lateAbove && (w.late || w.isLate(r, b, t))
}

// reached reports whether the firing came as far as it usually does; without a usual one nobody knows.
func (w *StillHot) reached() bool {
	// else it is another sort of firing
	return w.usual.Of > 0 && w.peak >= w.usual.Top-endReached && w.peak <= w.usual.Top+100
}

// ended reports whether the firing is past its end: it fell well below its top and, where that was not
// the usual one, so long ago that it is no dip.
func (w *StillHot) ended() bool {
	return w.fallen && (w.reached() || w.peak >= kiln.NoConeMoves && w.lowAt-w.peakAt >= dipWithin)
}

// lid notes a fall that is too quick for cooling: somebody opened the kiln.
func (w *StillHot) lid(r *ring, b bin) {
	slope, known := r.slope()
	before := r.since(max(r.whole, b.age-70*time.Second))
	if known && b.t < openedBelow && before[0].t-b.t > kiln.Celsius(6+3*math.Abs(slope)/60) {
		w.opened, w.openedAt = true, b.age
	}
}

// climbsAgain reports a climb that goes on. A hold that is usual while cooling is none.
func (w *StillHot) climbsAgain(r *ring, b bin, t kiln.Celsius) bool {
	for _, h := range w.usual.Holds {
		if h.After > w.usual.ToTop && t > h.At-20 && t < h.At+10 {
			return false
		}
	}
	if w.opened && b.age-w.openedAt < 3*time.Hour {
		return climbs(r, b.age-openedWindow, openedLeast, openedLasts)
	}
	least := kiln.Celsius(climbLeast)
	if t < climbCoolBelow {
		least = climbLeastCool
	}
	return climbs(r, b.age-climbWindow, least, climbLasts)
}

// climbsOn reports a climb from the hold at the usual top, where the usual firing ends after it.
func (w *StillHot) climbsOn(r *ring, b bin, t kiln.Celsius) bool {
	if !slices.ContainsFunc(w.usual.Holds,
		func(h kiln.Hold) bool { return h.At >= w.usual.Top-8 && h.At <= w.usual.Top+30 }) ||
		t < w.usual.Top-8 {
		return false
	}
	bins := r.since(max(r.whole, b.age-climbLasts))
	if span := b.age - bins[0].age; span >= slopeLeast && math.Abs(lineThrough(bins)) < 12 {
		w.held, w.heldTill = t, b.age
		return false
	}
	return w.held > 0 && t >= max(w.held+onLeast, w.usual.Top+3) && climbs(r,
		max(w.heldTill-time.Minute, b.age-climbWindow), onLeast, 3*time.Minute)
}

// isLate reports a kiln that is hot long after its usual cooling, and no longer cools.
func (w *StillHot) isLate(r *ring, b bin, t kiln.Celsius) bool {
	if since := b.age - w.peakAt; w.usual.Cooling == 0 || !w.reached() || since < LateLeast ||
		float64(since) < lateAfter*float64(w.usual.Cooling) {
		return false
	}
	hour := r.since(max(r.whole, b.age-time.Hour))
	return b.age-hour[0].age >= 55*time.Minute && hour[0].t-t < lateFall*(t-20)
}

// climbs reports whether the readings since an age rise from their lowest by least °C or more, for a time
// or longer, and still do: a lid that was shut again and a controller that comes up to its hold slow down.
func climbs(r *ring, since time.Duration, least kiln.Celsius, lasts time.Duration) bool {
	bins := r.since(max(r.whole, since))
	// from the lowest bin on
	low := 0
	for i, b := range bins {
		if b.t < bins[low].t {
			low = i
		}
	}
	risen := r.steady() - bins[low].t
	if risen < least {
		return false
	}
	level := bins[low].t + risen/10 + 0.5
	for i, b := range bins { // where it still lay level the climb had not begun
		if i > low && b.t <= level {
			low = i
		}
	}
	bins = bins[low:]
	n := len(bins)
	span := bins[n-1].age - bins[0].age
	if n < 6 || span < lasts {
		return false
	}
	// the second half must climb nearly as fast as the first: what only swings up slows down
	half, _ := slices.BinarySearchFunc(bins, bins[0].age+span/2,
		func(b bin, at time.Duration) int { return int(b.age - at) })
	if half < 3 || n-half < 3 {
		return false
	}
	first, second := lineThrough(bins[:half]), lineThrough(bins[half:])
	return second > kiln.FlatRate && second > climbGoesOn*first
}

// lineThrough is the slope of the least squares line through bins, in °C/h.
func lineThrough(bins []bin) float64 {
	var sx, sy, sxx, sxy float64
	for _, b := range bins {
		x, y := (b.age - bins[0].age).Hours(), float64(b.t-bins[0].t)
		sx, sy, sxx, sxy = sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	n := float64(len(bins))
	return (n*sxy - sx*sy) / (n*sxx - sx*sx)
}
