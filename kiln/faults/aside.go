package faults

import (
	"math"
	"time"

	"lidwright/kiln"
)

// How long a run of readings held aside must go on like a kiln before it is believed: while it
// heats, and while it stands or falls, which a broken line does too. Own choice.
const (
	explainedHeating = 10 * time.Minute
	explainedElse    = 30 * time.Minute
	comesBackWithin  = 600 // seconds after a fast fall
	fallsWith        = 2 * time.Minute
)

// turned is how a reading stands to the temperature where the controller tells another unit than
// the settings say: 273.15 between °C and K, 1.8 and 32 between °C and °F.
type turned int

const (
	asSet     turned = iota
	fForC            // °F where the settings say °C
	cForF            // °C where the settings say °F
	kForC            // K where the settings say °C
	cForK            // °C where the settings say K
	lastTurns        // how many there are
)

// turn gives the temperature behind a reading.
func (u turned) turn(t kiln.Celsius) kiln.Celsius {
	switch u {
	case fForC:
		return (t - 32) / 1.8
	case cForF:
		return t*1.8 + 32
	case kForC:
		return t - 273.15
	case cForK:
		return t + 273.15
	}
	return t
}

// aside is a run of readings that no kiln could jump to. The zero one is none.
type aside struct {
	unit    turned       // what explains them; then the reference goes on behind them
	moved   bool         // so does a gap in which the kiln may have gone there by itself
	first   kiln.Stamp   // the first of them
	from    kiln.Celsius // what it read
	last    reading      // the newest of them
	lively  bool         // they are not all the same
	minutes lookback
}

// begin starts a run with its first reading, which unit explains if it is not asSet.
func (a *aside) begin(r reading, unit turned) {
	*a = aside{unit: unit, first: r.at, from: r.t, last: r}
	a.minutes.add(r)
}

// add takes the next reading of the run.
func (a *aside) add(r reading) {
	a.lively = a.lively || r.t != a.last.t
	a.last = r
	a.minutes.add(r)
}

// Aside is a reading that is held aside, because no kiln can have jumped to it: it may be false.
type Aside struct {
	T     kiln.Celsius // as it reads
	Since kiln.Stamp   // when it jumped
	Unit  bool         // another unit of the controller explains it
}

// Held tells one from the zero one.
func (a Aside) Held() bool { return a.Since != kiln.Stamp{} }

// Aside is what a channel reads and is not believed, and whether there is such a thing.
func (j *FaultDetector) Aside(id kiln.ChannelID) (Aside, bool) {
	c := j.channel(id)
	if c == nil || c.aside.first == (kiln.Stamp{}) {
		return Aside{}, false
	}
	return Aside{c.aside.last.t, c.aside.first, c.aside.unit != asSet}, true
}

// expected is what the channel should read by now, so many seconds after it was last believed, if
// it went on as it did.
func (c *channelJudge) expected(seconds float64) kiln.Celsius {
	if c.sinks > 0 {
		return c.ref.t - kiln.Celsius(c.sinks*min(seconds, 10))
	}
	slope, _ := c.minutes.slope(5)
	return c.ref.t + kiln.Celsius(slope*min(seconds, 600)/3600)
}

// couldBe reports whether a reading may follow the last believed one. Beside a run that is held
// aside only what lies about where the kiln should be is a return: what time alone makes possible
// is no explanation of a jump.
func (c *channelJudge) couldBe(t kiln.Celsius, seconds float64) bool {
	if c.aside.first != (kiln.Stamp{}) {
		moved := c.ref.t + c.aside.last.t - c.aside.from // a jump by so much goes with the kiln
		off, offMoved := math.Abs(float64(t-c.expected(seconds))), math.Abs(float64(t-moved))
		return off <= 15+0.2*min(seconds, 1800) || offMoved <= 15+0.05*min(seconds, 1800)
	}
	return possible(c.ref.t, t, seconds)
}

// turnedTo says which unit explains two readings, where they are far off what was expected: each
// lies within the noise and what a kiln does of where that unit puts it; asSet explains neither. It
// is asked only within a quarter of an hour, after which a kiln may be anywhere.
func (c *channelJudge) turnedTo(held, after reading, seconds float64) turned {
	expected := c.expected(seconds)
	off := math.Abs(float64(held.t - expected))
	wait, _ := held.since(after.at)
	// what a reading may be off: noise, what a kiln does in that time, and how fast this one moved
	within := 3 + 4*c.same.sd() + 0.1*min(seconds, 60) + 0.03*seconds + c.pace*min(seconds, 10)
	_, known := c.minutes.slope(5)
	if seconds > 900 || !known && c.gap(seconds) || off <= max(2*within, 15) {
		return asSet
	}
	// a unit must explain both readings, and better by half than no unit does
	best, nearest := asSet, off/2
	for u := fForC; u < lastTurns; u++ {
		a := math.Abs(float64(u.turn(held.t) - expected))
		b := math.Abs(float64(u.turn(after.t) - expected))
		if a <= within && b <= within+1+(0.5+c.pace)*min(wait, 60) && a < nearest {
			best, nearest = u, a
		}
	}
	return best
}

// asideIn holds a reading aside that another unit explains, and goes on behind it.
func (c *channelJudge) asideIn(unit turned, r reading) {
	if c.aside.unit != unit {
		moved := c.mayHaveMoved(r)
		c.aside.begin(r, unit)
		c.aside.moved = moved
	} else {
		c.aside.add(r)
	}
	c.ref = reading{t: unit.turn(r.t), at: r.at}
}

// silence is the last long while in which nothing was heard of a channel. The zero one is none.
type silence struct {
	before reading    // the last believed before it; the zero one if nothing is known from before
	over   kiln.Stamp // when the channel spoke again
}

// listen notes when a channel speaks, and that it does so again after a silence or a restart.
func (c *channelJudge) listen(at kiln.Stamp) {
	if ago, known := (reading{at: c.spoke}).since(at); !known || c.gap(ago) {
		c.silence = silence{c.ref, at}
	}
	c.spoke = at
}

// gap reports whether so many seconds are more than a channel lets go by between two readings.
func (c *channelJudge) gap(seconds float64) bool { return seconds > max(60, 3*c.every) }

// mayHaveMoved reports whether the kiln may have gone to r by itself while it was not heard, so that
// what was last believed is no witness for a change of unit. The first readings after a silence can be
// as old as it: a line keeps what nobody reads. Such ones are looked for in the first quarter of an
// hour, and in the first minute where it is not known how long the silence was. Own choice.
func (c *channelJudge) mayHaveMoved(r reading) bool {
	if seconds, known := c.ref.since(r.at); !known || c.gap(seconds) {
		return !known || possible(c.ref.t, r.t, seconds)
	}
	ago, _ := reading{at: c.silence.over}.since(r.at)
	lasted, known := c.silence.before.since(c.silence.over)
	return !known && ago < 60 || known && ago < 900 && possible(c.silence.before.t, r.t, lasted)
}

// stillTurned goes on behind a reading in another unit, and reports false where that no longer
// explains it. A lid may be opened and shut meanwhile.
func (c *channelJudge) stillTurned(r reading, seconds float64) bool {
	t := c.aside.unit.turn(r.t)
	if off := math.Abs(float64(t - c.ref.t)); off > max(c.doubtAt(seconds),
		math.Abs(float64(r.t-c.ref.t))/2) {
		return false
	}
	c.asideIn(c.aside.unit, r)
	return true
}

// explained reports whether a run held aside has gone on for long enough as a kiln does: it heats
// at a rate that kilns have; or it stands or falls, which takes longer to tell from a broken line
// and must not be the same to the last digit. Where other probes can be asked it goes with them.
func (c *channelJudge) explained(r reading, j *FaultDetector) bool {
	// ten minutes of means at least, and not the same to the last digit
	a := &c.aside
	lasted, known := r.at.Sub(a.first)
	by, _, ten := a.minutes.change(10)
	if !known || !ten || !a.lively || lasted < explainedHeating {
		return false
	}
	// other probes must have moved about as much
	others, _, ok := j.others(c, r.at, 10)
	if ok && math.Abs(float64(by-others)) > 10+math.Abs(float64(others))/2 {
		return false
	}
	// heats as kilns heat, or has gone on for half an hour
	perHour := float64(by) * 6
	return perHour > kiln.FlatRate && perHour < 1800 || lasted >= explainedElse
}

// comesBack reports whether a reading lies between the last believed one and what was believed
// before a fast fall: the lid was shut again, or the plug was loose.
func (c *channelJudge) comesBack(t kiln.Celsius) bool {
	ago, known := c.before.since(c.ref.at)
	return known && ago < comesBackWithin && t > c.ref.t && t <= c.before.t+10
}

// fall is a run of readings far below the last believed one. The zero one is none.
type fall struct {
	n     int
	last  reading
	rates [3]float64 // K/s, the newest last
}

// begin starts a run with a reading that lies below ref, the last believed one.
func (f *fall) begin(r, ref reading) {
	*f = fall{n: 1, last: r}
	f.rate(ref, r)
}

// rate keeps how fast it fell between two readings, K/s; two in one moment count as a tenth of a second
// apart.
func (f *fall) rate(a, b reading) {
	seconds, _ := a.since(b.at)
	copy(f.rates[:], f.rates[1:])
	f.rates[2] = float64(a.t-b.t) / max(seconds, 0.1)
}

// goesOn takes a reading that is still below, and no step up from the one before.
func (f *fall) goesOn(r, ref reading) bool {
	seconds, known := f.last.since(r.at)
	if f.n == 0 || !known || r.t > ref.t-10 || float64(r.t-f.last.t) > max(10, 2*min(seconds, 60)) {
		return false
	}
	f.n++
	f.rate(f.last, r)
	f.last = r
	return true
}

// believed reports whether it is a fall and no row of damaged lines: there are enough of them, or
// three that slow down as what cools does.
func (f *fall) believed(j *FaultDetector) bool {
	a, b, c := f.rates[0], f.rates[1], f.rates[2]
	return f.n >= j.confirm || f.n >= 3 && c > 0 && c <= 1.05*b && c >= 0.5*b && b >= 0.5*a && b <= 3*a
}

// fell believes a fall, and remembers from where.
func (c *channelJudge) fell(r reading, j *FaultDetector) kiln.Fault {
	before := c.ref
	if ago, known := c.before.since(c.ref.at); !known || ago >= comesBackWithin || c.ref.t > c.before.t {
		c.before = before
	}
	return c.sink(r, j)
}

// sink believes a reading of a fall that may go on.
func (c *channelJudge) sink(r reading, j *FaultDetector) kiln.Fault {
	seconds, _ := c.ref.since(r.at)
	rate := float64(c.ref.t-r.t) / max(seconds, 0.1)
	if c.fall.n > 1 {
		rate = c.fall.rates[2]
	}
	fault := c.believe(r, j)
	c.sinks = max(rate, 0)
	return fault
}

// speaks reports whether the channel is a probe that is believed at a moment, and not only once.
func (c *channelJudge) speaks(at kiln.Stamp) bool {
	ago, known := reading{at: c.heard}.since(at)
	heard := known && !c.gap(ago)
	return c.role == kiln.RoleProbe && heard && c.state == kiln.Good && !c.open && !c.short &&
		c.aside.first == (kiln.Stamp{})
}

// contradicted reports whether other probes speak against a fall of c to r: none of them falls with
// it. One that may be falling too says nothing.
func (j *FaultDetector) contradicted(c *channelJudge, r reading) bool {
	against := false
	// one that may be falling too leaves the question open; one that stands speaks against
	for i := range j.channels {
		o := &j.channels[i]
		if o == c || !o.speaks(r.at) {
			continue
		}
		if o.doubt || o.fall.n > 0 {
			return false
		}
		before, known := o.minutes.now() // about a minute and a half ago
		slope, _ := o.minutes.slope(5)
		if known && float64(before-o.ref.t)+min(0, slope/40) > max(10, 0.1*float64(c.ref.t-r.t)) {
			return false
		}
		against = true
	}
	return against
}
