package detect

import (
	"time"

	"lidwright/kiln"
)

// progress is how the open firing of a Detector has gone so far.
type progress struct {
	open     bool
	began    moment
	base     float64
	peak     kiln.Celsius // highest running median of five bins
	peakAt   time.Duration
	climbs   []agedT // bins within 3 °C of the peak that were the highest so far
	top      bool    // passed
	topAt    time.Duration
	since    kiln.Celsius // highest since the last dip, against which a fall is measured
	lastUp   moment       // last rising, holding or soaking moment
	lowest   bin          // since then
	dips     []kiln.Dip
	unpacked bool // unpacked, it was said, while the top was not passed
	stalled  bool
	fell     bool // fell early
	fellSaid bool
	lowSaid  bool // that it stands below 200 °C
	above    bool // of the stall: the kind was told when it began
}

// newProgress begins a firing with its first bin; base is the lowest 10 min mean before it, °C.
func newProgress(first bin, base float64) progress {
	return progress{open: true, began: moment{first.at, first.age}, base: base, peak: first.t, since: first.t,
		peakAt: first.age,
		lastUp: moment{first.at, first.age}, lowest: first}
}

// climb takes a bin and the running median at it into the peak.
func (c *progress) climb(b bin, steady kiln.Celsius) {
	if steady > c.peak {
		c.peak, c.peakAt = steady, b.age
	}
	c.since = max(c.since, steady)
	// the bins that were the highest so far; those that fell more than 3 °C below the peak go
	if n := len(c.climbs); n == 0 || float64(b.t) > c.climbs[n-1].t {
		c.climbs = append(c.climbs, agedT{b.age, float64(b.t)})
	}
	first := 0
	for first < len(c.climbs)-1 && c.climbs[first].t < float64(c.peak)-3 {
		first++
	}
	c.climbs = c.climbs[first:]
	if b.t < c.lowest.t {
		c.lowest = b
	}
}

// seen keeps the last moment at which the firing did not fall.
func (c *progress) seen(state kiln.State, b bin) {
	if c.open && (state == kiln.Rising || state == kiln.Holding || state == kiln.Soaking) {
		c.lastUp, c.lowest = moment{b.at, b.age}, b
	}
}

// report is the progress for others to keep, as it was at now.
func (c *progress) report(now moment) Course {
	r := Course{Began: c.began.at, Status: kiln.Running, Top: c.top, Peak: c.peak,
		PeakAfter: c.peakAt - c.began.age,
		Length:    max(0, now.age-c.began.age), Stalled: c.stalled, FellEarly: c.fell}
	r.Dips = append(r.Dips, c.dips...)
	if c.top && len(c.climbs) > 0 {
		r.ToTop = c.climbs[0].age - c.began.age
	}
	return r
}

// follow takes b into the open firing: its peak, and whether the top is passed.
func (d *Detector) follow(b bin) []Event {
	f := &d.fire
	var events []Event
	// hotter than the peak: the top was none
	if f.top && b.t > f.peak+2 {
		f.top, f.fell = false, false
		events = append(events, Event{What: TopTakenBack, At: b.at})
	}
	f.climb(b, d.ring.steady())
	// a fall of 20 °C or 2 % of the peak, whichever is more, that lasts 10 min while it goes on falling
	below := b.t < f.since-max(20, 0.02*f.peak)
	long := d.belowFor.hold(below && d.slopeKnown && d.slope < -kiln.FlatRate, b)
	if !f.top && long >= lasting && float64(f.peak) >= f.base+100 {
		f.top, f.topAt = true, b.age
		events = append(events, Event{What: TopPassed, At: b.at})
	}
	return append(events, d.fellEarly(b)...)
}

// riseAgain looks at a kiln that climbs after its top was passed: a dip of this firing, or a reheat, which
// is another.
func (d *Detector) riseAgain(b bin, rising time.Duration) []Event {
	f := &d.fire
	if !f.top || rising < lasting || b.t < f.lowest.t+10 {
		return nil
	}
	// a turn within two hours of the last climb, or near the top and not half cold, is a dip
	turn := f.lowest
	dip := turn.age-f.lastUp.age <= dipWithin || d.near(f.peak) && turn.t > f.peak/2
	if dip && !f.unpacked {
		f.top, f.fell, f.since = false, false, b.t // passed again when it falls again
		f.dips = append(f.dips, kiln.Dip{From: f.lastUp.age - f.began.age, To: turn.age - f.began.age,
			Lowest: turn.t})
		return []Event{{What: Dipped, At: turn.at}, {What: TopTakenBack, At: b.at}}
	}
	// else the firing is over at the turn and another begins there, with the load if nobody unpacked
	kept := !f.unpacked
	events := d.finish(moment{turn.at, turn.age}, d.status(), false)
	events[len(events)-1].Reheat = kept
	began := d.open(turn, "", kept)
	began.Reheat = kept
	return append(events, began)
}
