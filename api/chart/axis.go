package chart

import (
	"fmt"
	"math"
	"strconv"
	"time"
)

// tick is a mark on the axis of time.
type tick struct {
	after time.Duration // since the first rise
	says  string
	day   string // at midnight: the day that begins
}

// timeSteps are what the marks of the axis of time stand apart.
var timeSteps = []time.Duration{time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute,
	15 * time.Minute, 30 * time.Minute,
	time.Hour, 2 * time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour, 24 * time.Hour, 48 * time.Hour,
	96 * time.Hour}

// ticks are the marks between two ages of a firing, at most n of them and three: times of the clock in a zone
// where it is known when the firing began, else hours since then. Midnight is among them, whatever the step.
func (d Curve) ticks(from, to time.Duration, n int) (all []tick) {
	step := timeSteps[len(timeSteps)-1]
	for _, s := range timeSteps {
		if float64(to-from)/float64(s) <= float64(n) {
			step = s
			break
		}
	}
	if d.Began.IsZero() {
		for a := from.Truncate(step); a <= to; a += step {
			if a >= from {
				all = append(all, tick{after: a, says: hoursSay(a)})
			}
		}
		return all
	}
	began := d.Began.In(d.Zone)
	first := began.Add(from)
	midnight := time.Date(first.Year(), first.Month(), first.Day(), 0, 0, 0, 0, d.Zone)
	for i := range int(float64(to-from+48*time.Hour)/float64(step)) + 2 {
		// By the clock on the wall, so that a change of the clock leaves the marks on whole hours.
		wall := midnight.Add(time.Duration(i) * step)
		if step >= time.Hour {
			wall = time.Date(first.Year(), first.Month(), first.Day(), i*int(step/time.Hour), 0, 0, 0, d.Zone)
		}
		a := wall.Sub(began)
		if a < from || a > to || len(all) > 0 && a <= all[len(all)-1].after {
			continue
		}
		t := tick{after: a, says: wall.Format(d.clock())}
		if wall.Hour() == 0 && wall.Minute() == 0 {
			t.day = d.say(wall.Format("Mon")) + " " + wall.Format("2") + " " + d.say(wall.Format("Jan"))
		}
		all = append(all, t)
	}
	return all
}

func (d Curve) clock() string {
	if d.Twelve {
		return "3:04 pm"
	}
	return "15:04"
}

// hoursSay writes an age in whole hours where it has no minutes: 7 h, 7 h 05.
func hoursSay(a time.Duration) string {
	if a%time.Hour == 0 {
		return fmt.Sprintf("%d h", a/time.Hour)
	}
	return HoursMinutes(a)
}

// niceStep is 1, 2 or 5 times a power of ten, so that at most n steps reach top.
func niceStep(top float64, n int) float64 {
	p := math.Pow(10, math.Floor(math.Log10(top/float64(n))))
	for _, m := range []float64{1, 2, 5, 10} {
		if top/(m*p) <= float64(n) {
			return m * p
		}
	}
	return 10 * p
}

// HoursMinutes writes a time since the first rise: 7 h 05.
func HoursMinutes(d time.Duration) string {
	return fmt.Sprintf("%d h %02d", int(d.Hours()), int(d.Minutes())%60)
}

// strokes are the data of a path through points (SVG 2, 9.3): the first where it is, each after it by how far
// it lies from the one before, so that a long line is short text. Points that end up in one place are one.
// px, to a tenth, of the place and not of the distance: nothing adds up.
func strokes(points []point) string {
	var b []byte
	tenths := func(v int, first bool) {
		if v >= 0 && !first {
			b = append(b, ' ')
		}
		b = strconv.AppendFloat(b, float64(v)/10, 'f', -1, 64)
	}
	lastX, lastY := 0, 0
	for i, at := range points {
		x, y := int(math.Round(at.x*10)), int(math.Round(at.y*10))
		switch {
		case i == 0:
			b = append(b, 'M')
			tenths(x, true)
			tenths(y, false)
			b = append(b, 'l')
		case x != lastX || y != lastY:
			tenths(x-lastX, b[len(b)-1] == 'l')
			tenths(y-lastY, false)
		}
		lastX, lastY = x, y
	}
	if len(b) > 0 && b[len(b)-1] == 'l' {
		b = append(b, "0 0"...) // a dot
	}
	return string(b)
}
