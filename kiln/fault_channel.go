package kiln

import "math"

// channelJudge judges one channel.
type channelJudge struct {
	role  Role
	every float64 // seconds between samples
	ref   reading // the last believed
	heard Stamp   // when that was
	doubt bool    // the sample now held back waits for a word on this channel

	open   bool    // broken, and reading openAt since
	openAt Celsius // full scale, 0.0 and their like
	short  bool    // fell to the room at once, and has read about the room since
	unit   int     // 1: reads °F where °C was, -1: the reverse; ref is then turned back

	step      reading // newest of a run of readings that no kiln could jump to
	stepCount int

	state   Fault   // Frozen, Reversed or Shorted as the trend shows it
	above   Celsius // Reversed is over above this
	minutes lookback
	same    same
}

// doubtAt is how far a reading may be off the last believed one before it is held back, in K. A
// kiln at 1,500 K/h does 0.42 K in a second; after a gap the next sample is soon there to ask.
func (c *channelJudge) doubtAt(seconds float64) float64 {
	return 9.4 + 0.6*min(seconds, c.every)
}

// mark judges a reading by what came before it. It may leave doubt, and then settle has the word.
func (c *channelJudge) mark(r reading, j *Judge) Fault {
	if r.fault != Good {
		return r.fault
	}
	if !r.t.Known() {
		return Break
	}
	if c.role != RoleProbe && c.role != RoleRoom {
		return Good
	}
	if !believable(r.t) {
		if c.state == Reversed && r.t < 0 {
			return Reversed
		}
		return outOfBelief(r.t)
	}
	if c.open {
		if math.Abs(float64(r.t-c.openAt)) <= 2 {
			return Break
		}
		c.open = false
	}
	if isZero(r.t) && c.ref.known() && c.ref.t > 60 {
		c.open, c.openAt = true, r.t
		return Break
	}
	if c.short {
		if c.nearRoom(r.t, j) && !c.cooledBy(r, j) {
			return Shorted
		}
		c.short = false
	}
	seconds, known := c.ref.since(r.at)
	if !known {
		c.doubt = true
		return Good
	}
	if c.unit != 0 {
		turned := turn(r.t, c.unit)
		if math.Abs(float64(turned-c.ref.t)) < math.Abs(float64(r.t-c.ref.t)) {
			if possible(turned, c.ref.t, seconds) {
				c.ref = reading{t: turned, at: r.at}
			}
			return UnitChanged
		}
		c.unit = 0
	}
	if math.Abs(float64(r.t-c.ref.t)) <= c.doubtAt(seconds) {
		return c.believe(r, j)
	}
	if since, ok := c.step.since(r.at); ok && c.stepCount > 0 && agree(r.t, c.step.t, since) {
		c.step = r
		c.stepCount++
		if c.stepCount >= j.confirm {
			c.restart()
			return c.believe(r, j)
		}
		return Unbelievable
	}
	c.stepCount = 0
	c.doubt = true
	return Good
}

// settle judges the reading held by the one after it, which is the zero one if there is none.
func (c *channelJudge) settle(held, after reading, j *Judge) Fault {
	seconds, known := c.ref.since(held.at)
	can := known && possible(held.t, c.ref.t, seconds) || !c.ref.known() || !known
	wait, heard := held.since(after.at)
	if !heard || !after.known() {
		if !can {
			return Unbelievable
		}
		return c.believe(held, j)
	}
	if known {
		off, back := float64(held.t-c.ref.t), float64(held.t-after.t)
		least := min(9.4+0.6*min(seconds, wait), 50)
		if off*back > 0 && min(math.Abs(off), math.Abs(back)) > least {
			if fullScale(held.t) {
				return Break
			}
			return Spike
		}
	}
	switch {
	case !agree(held.t, after.t, wait):
		return Unbelievable
	case can && held.t == after.t && topScale(held.t):
		c.open, c.openAt = true, held.t
		return Break
	case can:
		if !known {
			c.restart()
		}
		return c.believe(held, j)
	}
	for _, unit := range [...]int{1, -1} {
		if math.Abs(float64(turn(held.t, unit)-c.ref.t)) <= 5+seconds {
			c.unit = unit
			c.ref = reading{t: turn(held.t, unit), at: held.at}
			return UnitChanged
		}
	}
	switch {
	case held.t == after.t && fullScale(held.t):
		c.open, c.openAt = true, held.t
		return Break
	case c.ref.t > 100 && c.nearRoom(held.t, j):
		c.short = true
		return Shorted
	}
	c.step, c.stepCount = held, 1
	return Unbelievable
}

// believe takes a reading in, and gives the fault that the trend shows, if any.
func (c *channelJudge) believe(r reading, j *Judge) Fault {
	before := reading{at: c.heard}
	c.ref, c.heard = reading{t: r.t, at: r.at}, r.at
	c.stepCount = 0
	if c.role != RoleProbe {
		return Good
	}
	seconds, known := before.since(r.at)
	if !known || seconds > max(60, 3*c.every) {
		c.same.forget()
	}
	c.same.add(r, &c.minutes)
	if c.minutes.add(r) {
		c.trend(r, j)
	}
	if c.state == Reversed && r.t > c.above || c.state == Shorted && r.t > 60 {
		c.state = Good
	}
	if c.state == Frozen {
		if c.same.n > 1 {
			c.ref.at = c.same.first // what comes after may have moved on meanwhile
			return Frozen
		}
		c.state = Good
	}
	return c.state
}

// restart forgets the trend, after which another couple or another place may be read.
func (c *channelJudge) restart() {
	c.minutes = lookback{}
	c.same.forget()
	c.state = Good
}

// nearRoom reports whether t is about the room's temperature: within 15 K of the room's channel,
// and between 0 and 45 °C where there is none.
func (c *channelJudge) nearRoom(t Celsius, j *Judge) bool {
	if room, ok := j.room(); ok {
		return math.Abs(float64(t-room)) <= 15
	}
	return t >= 0 && t <= 45
}

// cooledBy reports whether the kiln can have cooled to r by itself since it was last believed: at
// 100 K/h or less on average, with no other probe still 100 K hotter.
func (c *channelJudge) cooledBy(r reading, j *Judge) bool {
	seconds, known := c.ref.since(r.at)
	_, now, others := j.others(c, 1)
	return known && float64(c.ref.t-r.t) <= 100*seconds/3600 && !(others && now > r.t+100)
}

// turn gives what °C a reading would be if unit is 1 and it is in °F, or if unit is -1 and the
// settings take for °F what is in °C.
func turn(t Celsius, unit int) Celsius {
	if unit > 0 {
		return (t - 32) / 1.8
	}
	return t*1.8 + 32
}

// isZero reports whether t is exactly 0.0 °C or exactly 0.0 °F, which one kind of converter chip
// gives for an open input without a flag (a maker's note on floating inputs).
func isZero(t Celsius) bool { return t == 0 || math.Abs(float64(t)+32/1.8) < 1e-6 }

// topScale reports whether t is the top of a type that kilns do not reach: K 1372, R and S 1768,
// B 1820 °C, and 1370 as some meters round it.
func topScale(t Celsius) bool {
	for _, top := range [...]Celsius{1370, 1372, 1768, 1820} {
		if math.Abs(float64(t-top)) <= 1.5 {
			return true
		}
	}
	return false
}

// fullScale reports whether t is a number that an open input is known to give and a kiln may have
// all the same: it is held against a reading only where it is a jump. Ends of the NIST tables.
func fullScale(t Celsius) bool {
	for _, top := range [...]Celsius{400, 1000, 1200, 1300} {
		if math.Abs(float64(t-top)) <= 0.5 {
			return true
		}
	}
	return topScale(t) || isZero(t)
}

// outOfBelief names what lies outside -50 to 1850 °C: from 2000 °C up and -195 °C down it is where
// an open input goes (3276.7, 9.91E37, -270 and their like), and else no kiln does it.
func outOfBelief(t Celsius) Fault {
	if t >= 2000 || t <= -195 {
		return Break
	}
	return Unbelievable
}
