package analysis

import (
	"math"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// CoolingForecast is how long a cooling kiln will still take to a mark, with a 90 % range. It is no leave
// to open.
type CoolingForecast struct {
	Known bool            // Left, Low and High can be told
	Left  time.Duration   // from the last reading; 0 when it is there
	Low   time.Duration   // at least so long, 5 % below
	High  time.Duration   // at most so long, 5 % above
	Says  message.Message // why it is not known, or the range in words
}

// Choices about the forecast (own).
const (
	coolWindow  = time.Hour // over which the fall is fitted
	coolBack    = 2 * time.Hour
	coolLeast   = 20 * time.Minute // of readings in a window
	coolFewest  = 8                // readings in a window
	coolRoomOff = 2                // °C that the room may be warmer or colder than said
	coolModel   = 0.03             // of the time left: no kiln falls quite as Newton says
	coolOpen    = 3                // °C above the room below which a mark is never surely reached
)

// TimeToCool says when a kiln left to itself comes down to mark. It is Newton's fall towards
// the room, T - room going as exp(-t/tau), fitted over the last hour, and the same with tau
// changing as it has since two hours before, because the brick gives its heat back late; the
// answer lies between the two. after and t are readings in order of age, room the air of the
// room. It is not known while the kiln does not cool, and for a mark less than 3 °C above the room.
func TimeToCool(after []time.Duration, t []kiln.Celsius, mark, room kiln.Celsius) CoolingForecast {
	last := len(after) - 1
	for last >= 0 && !t[last].Known() {
		last--
	}
	// nothing to go by, there already, or a mark that Newton's law reaches only after ever so long
	switch {
	case last < 0 || !mark.Known() || !room.Known():
		return CoolingForecast{Says: message.New("There is no reading to go by.")}
	case t[last] <= mark:
		return CoolingForecast{Known: true, Says: message.New("At or below {1} now.", mark)}
	case mark < room+coolOpen:
		return CoolingForecast{Says: message.New("{1} is about the warmth of the room ({2}): nobody can say when that is.", mark, room)}
	}
	now := after[last]
	// the fall of the last hour must be one: above 1 °C/h, and above twice its own doubt
	fall, ok := fitFall(after[:last+1], t, now-coolWindow, now, room)
	if !ok {
		return CoolingForecast{Says: message.New("Too few readings in the last hour to say how quickly it cools.")}
	}
	if fall.rate <= 0 || fall.rate*float64(t[last]-room) < 1 || fall.rate < 2*fall.rateSD {
		return CoolingForecast{Says: message.New("It is not cooling now.")}
	}
	// how tau changed since two hours before, per e-fold of the excess, carried on to the mark
	earlier, some := fitFall(after[:last+1], t, now-coolBack-coolWindow, now-coolBack, room)
	straight, bent := fall.left(mark, room), fall.left(mark, room)
	if some && earlier.rate > 0 && earlier.log > fall.log {
		// of tau, for each e-fold of T - room
		slower := (1/fall.rate - 1/earlier.rate) / (fall.log - earlier.log)
		u := fall.log - math.Log(float64(mark-room))
		bent = min(max(straight-slower*u*u/2, 0.7*straight), 1.5*straight)
	}
	// between both; the range spans them and a room that is 2 °C off
	left := (straight + bent) / 2
	low, high := math.Min(straight, bent), math.Max(straight, bent)
	for _, r := range []kiln.Celsius{room - coolRoomOff, room + coolRoomOff} {
		f, _ := fitFall(after[:last+1], t, now-coolWindow, now, r)
		if shifted := f.left(mark, r); shifted > 0 && !math.IsInf(shifted, 0) {
			low, high = math.Min(low, left+shifted-straight), math.Max(high, left+shifted-straight)
		}
	}
	// widened by the doubt of the slope and of the law
	doubt := kiln.Z90 * math.Hypot(fall.rateSD/fall.rate, coolModel)
	u := CoolingForecast{Known: true, Left: hoursToDuration(left),
		Low: hoursToDuration(math.Max(0, low*(1-doubt))), High: hoursToDuration(high * (1 + doubt))}
	u.Says = message.New("{1} in about {2}, likely {3} to {4}.", mark, kiln.Span(u.Left), kiln.Span(u.Low),
		kiln.Span(u.High))
	return u
}

// coolFall is a fall of T - room at a moment: its logarithm, and how much that loses an hour.
type coolFall struct{ log, rate, rateSD float64 }

// left is how many hours the fall takes to the mark.
func (f coolFall) left(mark, room kiln.Celsius) float64 {
	return (f.log - math.Log(float64(mark-room))) / f.rate
}

// fitFall fits a straight line to the logarithm of T - room over the readings between two ages;
// the line's value is at the later one. The sd of its slope takes the readings of one sixth of
// the window as one: a controller and the wind do not change from one reading to the next.
func fitFall(after []time.Duration, t []kiln.Celsius, from, to time.Duration,
	room kiln.Celsius) (f coolFall, ok bool) {
	var n, sx, sy, sxx, sxy, syy float64
	first, lastAt := time.Duration(-1), time.Duration(0)
	// readings no more than 1 °C above the room have no logarithm to speak of
	for i := len(after) - 1; i >= 0 && after[i] >= from; i-- {
		if after[i] > to || !(t[i] > room+1) {
			continue
		}
		x, y := (after[i] - to).Hours(), math.Log(float64(t[i]-room))
		n, sx, sy, sxx, sxy, syy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y, syy+y*y
		if first < 0 {
			lastAt = after[i]
		}
		first = after[i]
	}
	if n < coolFewest || lastAt-first < coolLeast {
		return f, false
	}
	// least squares; sums about the mean
	vxx, vxy, vyy := sxx-sx*sx/n, sxy-sx*sy/n, syy-sy*sy/n
	slope := vxy / vxx
	f.log, f.rate = (sy-slope*sx)/n, -slope
	residual := math.Max(0, vyy-slope*vxy) / (n - 2)
	f.rateSD = math.Sqrt(residual / vxx * math.Max(1, n/6))
	return f, true
}
