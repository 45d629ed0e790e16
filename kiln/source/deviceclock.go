package source

import (
	"strconv"
	"strings"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// lag is how much later than said a line may come before the device's clock is set anew, and
// also the most that it may lead by.
const lag = 5 * time.Second

// deviceClock follows the clock of a device by ours. Lines that come in a bunch are stamped as far
// apart as the device says; the order and the place in time are always ours, so that a device that
// starts again or is set back makes no negative step.
type deviceClock struct {
	known  bool
	offset time.Duration // our Since minus the device's time, the smallest that was seen
	said   time.Duration // the last time told
	last   kiln.Stamp    // the last stamp given
}

var (
	errTime   = message.NewError("the device's time makes no sense")
	errRepeat = message.NewError("the line came twice: the device's time is that of the line before")
)

// stamp gives the time of a line that came at and tells text as the device's time.
func (c *deviceClock) stamp(at kiln.Stamp, text string) (kiln.Stamp, error) {
	said, err := parseTime(text)
	if err != nil {
		return at, err
	}
	if c.known && said == c.said {
		return at, errRepeat
	}
	offset := at.Since - said
	behind := offset - c.offset // how much later than usual this line came
	if !c.known || at.Boot != c.last.Boot || said < c.said || behind > lag || behind < 0 {
		c.offset, behind = offset, 0
	}
	out := at
	out.Since -= behind
	out.Wall = at.Wall.Add(-behind)
	if c.known && out.Boot == c.last.Boot && out.Since <= c.last.Since {
		out = at
	}
	c.known, c.said, c.last = true, said, out
	return out, nil
}

// parseTime reads seconds ("12.5"), a time of day ("13:05:59.5") or a date with time as RFC 3339
// has it, with T or a blank. The zero point does not matter.
func parseTime(text string) (time.Duration, error) {
	text = strings.Trim(text, " \t\"")
	if plain(text) {
		s, err := strconv.ParseFloat(text, 64)
		if err != nil || s < 0 || s > 9e9 {
			return 0, errTime
		}
		return time.Duration(s * float64(time.Second)), nil
	}
	if t, err := time.Parse(time.TimeOnly, text); err == nil {
		h, m, s := t.Clock()
		return time.Duration(h*3600+m*60+s)*time.Second + time.Duration(t.Nanosecond()), nil
	}
	for _, layout := range []string{"2006-01-02T15:04:05", time.DateTime, time.RFC3339} {
		if t, err := time.Parse(layout, text); err == nil && t.Year() >= 1970 && t.Year() < 2200 {
			return time.Duration(t.UnixNano()), nil
		}
	}
	return 0, errTime
}
