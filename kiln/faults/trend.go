package faults

import (
	"math"
	"time"

	"lidwright/kiln"
)

// Rules of the trend. Own choice, not tuned on real kilns.
const (
	frozenFor    = 10 * time.Minute
	frozenTimes  = 10   // and so many readings at least
	frozenAlone  = 100  // or so many where no other probe speaks against it
	frozenSlope  = 20.0 // K/h that the channel had before it froze
	othersMoved  = 3.0  // K that other probes moved while a lively one stood still
	othersMoved2 = 20.0 // K for one that is not lively, because its steps are coarse
	// K in half an hour that the others rise, of which a shorted one shows a quarter at most
	lagRise = 40
)

// trend looks once a minute at what a probe has done for a while.
func (c *channelJudge) trend(r reading, j *FaultDetector) {
	if c.state != kiln.Frozen && c.isFrozen(r, j) {
		c.state = kiln.Frozen
		return
	}
	if c.state != kiln.Good {
		return
	}
	if c.isReversed(r, j) {
		c.state = kiln.Reversed
	} else if c.isShorted(r, j) {
		c.state = kiln.Shorted
	}
}

// isFrozen: the same to the last digit for ten minutes, though the display was so noisy before that
// this is no accident, or while others move. A channel that shows whole or half degrees, or one
// without noise, stands still in a real hold too: that one is frozen only beside others that moved by
// 20 K, and else Still.
func (c *channelJudge) isFrozen(r reading, j *FaultDetector) bool {
	if c.same.n < frozenTimes || c.same.lasted(r) < frozenFor {
		return false
	}
	// a lively display that stands still by no accident needs few witnesses, a coarse one many
	moved, _, others := j.others(c, r.at, 10)
	by := math.Abs(float64(moved))
	if c.same.lively() && !c.same.byChance() {
		return c.same.n >= frozenAlone || others && by > othersMoved
	}
	return others && by > othersMoved2
}

// isReversed: it falls below the room though nothing cools there, or falls while others rise by
// more than 20 K.
func (c *channelJudge) isReversed(r reading, j *FaultDetector) bool {
	own, now, known := c.minutes.change(10)
	if !known {
		return false
	}
	// beside others that heat
	if rise, _, ok := j.others(c, r.at, 10); ok && rise > 20 && own < -10 && now < 100 {
		c.above = now + 10
		return true
	}
	// A kiln that cools into a cold room falls ever slower; a couple the wrong way round does not.
	from, long := c.minutes.oldest()
	room := from
	if t, ok := j.room(); ok {
		room = t
	}
	slope, _ := c.minutes.slope(5)
	if long >= 15*time.Minute && from <= 35 && now < room-5 && slope < -20 &&
		slope < 0.97*float64(now-from)/long.Hours() {
		c.above = room - 3
		return true
	}
	return false
}

// isShorted: near the room and standing there while the others are hot; or far below them with less
// than a quarter of their rise, as a couple does that is shorted in its lead or hangs out of the kiln.
func (c *channelJudge) isShorted(r reading, j *FaultDetector) bool {
	if rise, hot, ok := j.others(c, r.at, 30); ok && rise > lagRise {
		own, now, known := c.minutes.change(30)
		if known && hot > now+150 && own > -5 && own < rise/4 {
			c.lags = true
			return true
		}
	}
	own, now, known := c.minutes.change(30)
	_, others, ok := j.others(c, r.at, 1)
	return known && ok && now < 60 && own < 2 && others > now+150
}

// lookback keeps the means of the last 31 minutes of a probe, newest last; where it speaks less
// often, the last 31 readings.
type lookback struct {
	boot kiln.BootID
	n    int
	mean [31]kiln.Celsius
	at   [31]time.Duration // since the start of that boot, when the minute began

	sum   kiln.Celsius // of the minute under way
	count int
	began time.Duration
}

// add takes a reading and reports whether a minute has just been completed.
func (m *lookback) add(r reading) (complete bool) {
	if m.boot != r.at.Boot {
		*m = lookback{boot: r.at.Boot}
	}
	if m.count > 0 && r.at.Since-m.began >= time.Minute {
		if m.n == len(m.mean) {
			copy(m.mean[:], m.mean[1:])
			copy(m.at[:], m.at[1:])
			m.n--
		}
		m.mean[m.n], m.at[m.n] = m.sum/kiln.Celsius(m.count), m.began
		m.n++
		m.sum, m.count = 0, 0
		complete = true
	}
	if m.count == 0 {
		m.began = r.at.Since
	}
	m.sum += r.t
	m.count++
	return complete
}

// back is the index of the newest mean at least so many minutes older than the last, -1 if none.
func (m *lookback) back(count int) int {
	for i := m.n - 2; i >= 0; i-- {
		if m.at[m.n-1]-m.at[i] >= time.Duration(count)*time.Minute-30*time.Second {
			return i
		}
	}
	return -1
}

// change is how much the mean rose over the last minutes, and the newest mean.
func (m *lookback) change(count int) (by, now kiln.Celsius, known bool) {
	i := m.back(count)
	if i < 0 {
		return 0, 0, false
	}
	return m.mean[m.n-1] - m.mean[i], m.mean[m.n-1], true
}

// slope is the rate over the last minutes in K/h.
func (m *lookback) slope(count int) (float64, bool) {
	i := m.back(count)
	if i < 0 {
		return 0, false
	}
	return float64(m.mean[m.n-1]-m.mean[i]) / (m.at[m.n-1] - m.at[i]).Hours(), true
}

// oldest is the oldest mean, and how much older it is than the newest.
func (m *lookback) oldest() (kiln.Celsius, time.Duration) {
	if m.n == 0 {
		return kiln.NoTemperature(), 0
	}
	return m.mean[0], m.at[m.n-1] - m.at[0]
}

// now is the newest whole minute's mean.
func (m *lookback) now() (kiln.Celsius, bool) {
	if m.n == 0 {
		return kiln.NoTemperature(), false
	}
	return m.mean[m.n-1], true
}

// same follows how long a channel has read one value to the last digit, and how noisy it was.
type same struct {
	t     kiln.Celsius
	first kiln.Stamp
	n     int
	slope float64 // K/h over the ten minutes before first
	noise float64 // bend at first

	last2, last1 kiln.Celsius // the readings before
	heard        int          // readings so far, up to 60
	bend         float64      // K², mean square of second differences lately
	grain        float64      // K, the smallest move lately: the step of the display
}

const mostBend = 10 // K; a second difference above is a jump and no noise

// add takes a believed reading. The second difference of readings is free of the kiln's own slope:
// of white noise its mean square is six times the variance.
func (s *same) add(r reading, m *lookback) {
	if s.heard >= 2 {
		d := math.Abs(float64(r.t - 2*s.last1 + s.last2))
		d = min(d, mostBend)
		s.bend += (d*d - s.bend) / float64(s.heard)
	}
	if s.heard > 0 && r.t != s.last1 {
		move := math.Abs(float64(r.t - s.last1))
		if s.grain *= 1.001; s.grain == 0 || move < s.grain {
			s.grain = move
		}
	}
	s.heard = min(s.heard+1, 60)
	s.last2, s.last1 = s.last1, r.t
	if s.n > 0 && r.t == s.t {
		s.n++
		return
	}
	s.slope, _ = m.slope(10)
	s.t, s.first, s.n, s.noise = r.t, r.at, 1, s.bend
}

// sd is one sd of the noise, K.
func (s *same) sd() float64 { return math.Sqrt(max(s.bend, s.noise) / 6) }

// lively reports whether the display was never still for long before this run: steps without noise
// have second differences of one step at most, and half of that is taken off the noise.
func (s *same) lively() bool {
	return s.heard >= 60 && s.grain > 0 && s.noise > 1.3*s.grain*s.grain
}

// byChance reports whether a lively display may read the same so often by accident: once in 10^9.
func (s *same) byChance() bool {
	sd := math.Sqrt((s.noise - s.grain*s.grain/2) / 6)
	return float64(s.n)*math.Log(math.Erf(s.grain/2/(sd*math.Sqrt2))) > -21
}

// lasted is how long the run has gone on at r; 0 over a restart without a trusted clock.
func (s *same) lasted(r reading) time.Duration {
	d, known := r.at.Sub(s.first)
	if !known {
		return 0
	}
	return d
}

// forget ends the run, after a gap or a jump; how noisy the channel is stays known.
func (s *same) forget() { s.n = 0 }

// Still is since when a probe has read the same to the last digit, for ten minutes and more, where
// it moved by more than 20 K/h before; false where it has not. A display in coarse steps does that
// in a hold too, so nothing is taken out: somebody must look.
func (j *FaultDetector) Still(id kiln.ChannelID) (kiln.Stamp, bool) {
	c := j.channel(id)
	if c == nil || c.role != kiln.RoleProbe || c.same.n < frozenTimes ||
		math.Abs(c.same.slope) <= frozenSlope {
		return kiln.Stamp{}, false
	}
	return c.same.first, c.same.lasted(reading{at: c.heard}) >= frozenFor
}
