package faults

import (
	"math"

	"lidwright/kiln"
)

// channelJudge judges one channel.
type channelJudge struct {
	role  kiln.Role
	every float64    // seconds between samples
	ref   reading    // the last believed
	heard kiln.Stamp // when that was
	doubt bool       // the sample now held back waits for a word on this channel

	open   bool         // broken, and reading openAt since
	openAt kiln.Celsius // full scale, 0.0 and their like
	short  bool         // fell to the room at once, and has read about the room since

	spoke   kiln.Stamp // when it last gave a number, believed or not
	silence silence

	aside  aside   // a run of readings that no kiln could jump to
	fall   fall    // a run of readings below the last believed one, not believed yet
	sinks  float64 // K/s at which a fall that is believed goes on, 0 if none does
	pace   float64 // K/s, between the last two believed
	before reading // the last believed before a fast fall: what fell may come back up to there

	state   kiln.Fault   // Frozen, Reversed or Shorted as the trend shows it
	above   kiln.Celsius // Reversed is over above this
	lags    bool         // Shorted because it rose so much less than the others
	minutes lookback
	same    same
}

// doubtAt is how far a reading may be off what was expected before it is held back, in K. A kiln at
// 1,500 K/h does 0.42 K in a second; after a gap the next sample is soon there to ask.
func (c *channelJudge) doubtAt(seconds float64) float64 {
	return 9.4 + min(0.6*min(seconds, c.every), 6+0.1*seconds)
}

// mark judges a reading by what came before it. It may leave doubt, and then settle has the word.
func (c *channelJudge) mark(r reading, j *FaultDetector) kiln.Fault {
	if r.fault != kiln.Good {
		return r.fault
	}
	if !r.t.Known() {
		return kiln.Break
	}
	if c.role != kiln.RoleProbe && c.role != kiln.RoleRoom {
		return kiln.Good
	}
	// when it spoke, and after how long a silence
	c.listen(r.at)
	// outside -50 to 1850 °C: a couple the wrong way round, another unit, or an open input
	if !believable(r.t) {
		if c.state == kiln.Reversed && r.t < 0 {
			return kiln.Reversed
		}
		if seconds, known := c.ref.since(r.at); known {
			if unit := c.turnedTo(r, r, seconds); unit != asSet {
				c.asideIn(unit, r)
				return kiln.UnitChanged
			}
		}
		return outOfBelief(r.t)
	}
	// broken before: the same reading again is the same break
	if c.open {
		if math.Abs(float64(r.t-c.openAt)) <= 2 {
			return kiln.Break
		}
		c.open = false
	}
	// exactly zero on a hot kiln is an open input of a chip without a flag
	if isZero(r.t) && c.ref.known() && c.ref.t > 60 {
		c.open, c.openAt = true, r.t
		return kiln.Break
	}
	// shorted before: about the room's temperature again, which the kiln cannot have reached
	if c.short {
		if c.nearRoom(r.t, j) && !c.cooledBy(r, j) {
			return kiln.Shorted
		}
		c.short = false
	}
	seconds, known := c.ref.since(r.at)
	if !known {
		c.doubt = true
		return kiln.Good
	}
	expected := c.expected(seconds)
	if c.aside.unit != asSet {
		if c.stillTurned(r, seconds) {
			if c.aside.moved && c.explained(r, j) {
				c.restart()
				return c.believe(r, j)
			}
			return kiln.UnitChanged
		}
		c.aside.unit = asSet
	}
	return c.against(r, j, expected, seconds)
}

// against judges a reading by what is expected of it, the seconds after the last believed one.
func (c *channelJudge) against(r reading, j *FaultDetector, expected kiln.Celsius,
	seconds float64) kiln.Fault {
	near := func(t kiln.Celsius) bool { return math.Abs(float64(r.t-t)) <= c.doubtAt(seconds) }
	if near(expected) && (seconds > 15 || near(c.ref.t)) {
		c.sinks = 0
		return c.believe(r, j)
	}
	if c.sinks > 0 && r.t < c.ref.t && float64(c.ref.t-r.t) <= (1.5*c.sinks+2)*seconds {
		return c.sink(r, j)
	}
	if since, ok := c.aside.last.since(r.at); ok && agree(r.t, c.aside.last.t, since) {
		c.aside.add(r)
		if c.explained(r, j) {
			c.restart()
			return c.believe(r, j)
		}
		if lasted, _ := r.at.Sub(c.aside.first); lasted < fallsWith &&
			r.t < c.ref.t && !j.contradicted(c, r) {
			return c.fell(r, j) // the others fall too by now
		}
		return kiln.Unbelievable
	}
	if c.fall.goesOn(r, c.ref) {
		if c.fall.believed(j) && !j.contradicted(c, r) {
			return c.fell(r, j)
		}
		if c.fall.n >= j.confirm { // the others do not fall: it waits until they do, or is explained
			c.fall = fall{}
			c.aside.begin(r, asSet)
		}
		return kiln.Unbelievable
	}
	c.fall = fall{}
	c.doubt = true
	return kiln.Good
}

// settle judges the reading held by the one after it, which is the zero one if there is none.
func (c *channelJudge) settle(held, after reading, j *FaultDetector) kiln.Fault {
	seconds, known := c.ref.since(held.at)
	can := !known || c.couldBe(held.t, seconds)
	wait, heard := held.since(after.at)
	if !heard || !after.known() {
		if !can {
			return kiln.Unbelievable
		}
		return c.believe(held, j)
	}
	// off to one side and back again by the next reading: a spike, or an open input for a moment
	if known {
		off, back := float64(held.t-c.ref.t), float64(held.t-after.t)
		least := min(9.4+0.6*min(seconds, wait), 50)
		if off*back > 0 && min(math.Abs(off), math.Abs(back)) > least {
			if fullScale(held.t) {
				return kiln.Break
			}
			return kiln.Spike
		}
		if unit := c.turnedTo(held, after, seconds); unit != asSet {
			c.asideIn(unit, held)
			return kiln.UnitChanged
		}
	}
	if known && can && float64(c.ref.t-held.t) > 20+0.5*seconds && j.contradicted(c, held) {
		can = false
	}
	// a fall too fast to be one by itself
	falls := known && held.t < c.ref.t && !can
	// beside the next reading: a fall that goes on, the end of a range, or what a kiln can do
	switch {
	case !agree(held.t, after.t, wait):
		if falls && after.t < held.t {
			c.fall.begin(held, c.ref)
		} else if c.comesBack(held.t) && c.comesBack(after.t) {
			return c.believe(held, j)
		}
		return kiln.Unbelievable
	case can && held.t == after.t && topScale(held.t):
		c.open, c.openAt = true, held.t
		return kiln.Break
	case can || c.comesBack(held.t):
		if !known {
			c.restart()
		}
		return c.believe(held, j)
	}
	switch {
	case held.t == after.t && fullScale(held.t):
		c.open, c.openAt = true, held.t
		return kiln.Break
	case c.ref.t > 100 && c.nearRoom(held.t, j):
		c.short = true
		return kiln.Shorted
	case falls:
		c.fall.begin(held, c.ref)
		return kiln.Unbelievable
	}
	// a jump that nothing explains yet
	c.aside.begin(held, asSet)
	return kiln.Unbelievable
}

// believe takes a reading in, and gives the fault that the trend shows, if any.
func (c *channelJudge) believe(r reading, j *FaultDetector) kiln.Fault {
	before := reading{at: c.heard}
	// how fast it moves, for what it may do next
	if since, known := c.ref.since(r.at); known {
		c.pace = math.Abs(float64(r.t-c.ref.t)) / max(since, 1)
	}
	c.ref, c.heard = reading{t: r.t, at: r.at}, r.at
	c.aside, c.fall, c.sinks = aside{}, fall{}, 0
	if c.role != kiln.RoleProbe {
		return kiln.Good
	}
	// a run of equal readings does not go on over a silence
	seconds, known := before.since(r.at)
	if !known || c.gap(seconds) {
		c.same.forget()
	}
	c.same.add(r, &c.minutes)
	if c.minutes.add(r) {
		c.trend(r, j)
	}
	if c.state == kiln.Reversed && r.t > c.above || c.state == kiln.Shorted && c.unshorted(r, j) {
		c.state, c.lags = kiln.Good, false
	}
	// frozen as long as nothing moves; the first other reading ends it
	if c.state == kiln.Frozen {
		if c.same.n > 1 {
			c.ref.at = c.same.first // what comes after may have moved on meanwhile
			return kiln.Frozen
		}
		c.state = kiln.Good
	}
	return c.state
}

// unshorted reports whether a probe that was called shorted reads the kiln again: it is hot, or where
// it lagged behind the others it is about as hot as they.
func (c *channelJudge) unshorted(r reading, j *FaultDetector) bool {
	if !c.lags {
		return r.t > 60
	}
	_, now, ok := j.others(c, r.at, 1)
	return ok && now-r.t < 100
}

// restart forgets the trend, after which another couple or another place may be read.
func (c *channelJudge) restart() {
	c.minutes = lookback{}
	c.same.forget()
	c.state = kiln.Good
}

// nearRoom reports whether t is about the room's temperature: within 15 K of the room's channel,
// and between 0 and 45 °C where there is none.
func (c *channelJudge) nearRoom(t kiln.Celsius, j *FaultDetector) bool {
	if room, ok := j.room(); ok {
		return math.Abs(float64(t-room)) <= 15
	}
	return t >= 0 && t <= 45
}

// cooledBy reports whether the kiln can have cooled to r by itself since it was last believed: at
// 100 K/h or less on average, with no other probe still 100 K hotter.
func (c *channelJudge) cooledBy(r reading, j *FaultDetector) bool {
	seconds, known := c.ref.since(r.at)
	_, now, others := j.others(c, r.at, 1)
	return known && float64(c.ref.t-r.t) <= 100*seconds/3600 && !(others && now > r.t+100)
}

// isZero reports whether t is exactly 0.0 °C or exactly 0.0 °F, which one kind of converter chip
// gives for an open input without a flag (a maker's note on floating inputs).
func isZero(t kiln.Celsius) bool { return t == 0 || math.Abs(float64(t)+32/1.8) < 1e-6 }

// topScale reports whether t is the top of a type that kilns do not reach: K 1372, R and S 1768,
// B 1820 °C, and 1370 as some meters round it.
func topScale(t kiln.Celsius) bool {
	for _, top := range [...]kiln.Celsius{1370, 1372, 1768, 1820} {
		if math.Abs(float64(t-top)) <= 1.5 {
			return true
		}
	}
	return false
}

// fullScale reports whether t is a number that an open input is known to give and a kiln may have
// all the same: it is held against a reading only where it is a jump. Ends of the NIST tables.
func fullScale(t kiln.Celsius) bool {
	for _, top := range [...]kiln.Celsius{400, 1000, 1200, 1300} {
		if math.Abs(float64(t-top)) <= 0.5 {
			return true
		}
	}
	return topScale(t) || isZero(t)
}

// outOfBelief names what lies outside -50 to 1850 °C: from 2000 °C up and -195 °C down it is where
// an open input goes (3276.7, 9.91E37, -270 and their like), and else no kiln does it.
func outOfBelief(t kiln.Celsius) kiln.Fault {
	if t >= 2000 || t <= -195 {
		return kiln.Break
	}
	return kiln.Unbelievable
}
