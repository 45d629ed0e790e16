package analysis

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"lidwright/kiln"
)

// MostCompared is how many firings can be laid over one another and still be told apart.
const MostCompared = 4

// The reasons why firings cannot be compared.
var (
	ErrHowMany      = errors.New("one to four firings can be compared")
	ErrNeverReached = errors.New("never reached that temperature")
)

// Compared is one firing of a comparison, with the curve of its control channel.
type Compared struct {
	Firing kiln.Firing
	Curve  kiln.Envelope
	Shift  time.Duration // to be taken from its ages so that the firings lie over one another
}

// heatWork is that of the curve's channel, NaN if it has none.
func (c Compared) heatWork() kiln.Celsius {
	if w, ok := c.Firing.Work(c.Curve.Channel); ok {
		return w.C
	}
	return kiln.NoTemperature()
}

// Align lays up to four firings over one another: at their first rise if at is not known,
// else at the moment when each first reached that temperature. One that never did is an error.
func Align(firings []Compared, at kiln.Celsius) ([]Compared, error) {
	if n := len(firings); n < 1 || n > MostCompared {
		return nil, fmt.Errorf("compare %d firings: %w", n, ErrHowMany)
	}
	out := slices.Clone(firings)
	for i := range out {
		out[i].Shift = 0
		if !at.Known() {
			continue
		}
		shift, ok := out[i].Curve.Reached(at)
		if !ok {
			return nil, fmt.Errorf("align %s at %.0f °C: %w", out[i].Firing.Name(), at, ErrNeverReached)
		}
		out[i].Shift = shift
	}
	return out, nil
}

// Difference says in one sentence how a differs from b, as in "25 min slower above 1000 °C,
// 9 °C less heat work than big-blue 141; gap 48 min". With nothing to tell it is "as big-blue 141".
func Difference(a, b Compared) string {
	var said []string
	if s := pace(a, b); s != "" {
		said = append(said, s)
	}
	work := a.heatWork() - b.heatWork()
	if work.Known() && math.Abs(float64(work)) >= usualHeat {
		said = append(said, fmt.Sprintf("%.0f °C %s heat work", math.Abs(float64(work)), oneOf(work > 0, "more", "less")))
	}
	peak := a.Firing.Peak - b.Firing.Peak
	if peak.Known() && math.Abs(float64(peak)) >= usualPeak {
		said = append(said, fmt.Sprintf("peak %.0f °C %s", math.Abs(float64(peak)), oneOf(peak > 0, "higher", "lower")))
	}
	sentence := "as " + b.Firing.Name()
	if len(said) > 0 {
		sentence = strings.Join(said, ", ") + " than " + b.Firing.Name()
	}
	for _, g := range a.Firing.Gaps {
		if !g.Known {
			return sentence + "; gap of unknown length"
		}
	}
	if gap := gapTime(a.Firing); gap >= time.Minute {
		sentence += "; gap " + minutes(gap)
	}
	return sentence
}

// What makes a difference; less is usual. Own choice.
const (
	usualHeat  = 8.0 // °C
	usualPeak  = 5.0 // °C
	usualHours = 0.10
)

// pace says where the climb differs most: of the bands below 600, 600 to 1000 and above 1000 °C
// the one with the largest difference, if the whole climb differs by a tenth.
func pace(a, b Compared) string {
	whole := a.Firing.ToTop - b.Firing.ToTop
	if a.Firing.ToTop <= 0 || b.Firing.ToTop <= 0 || math.Abs(float64(whole)) < usualHours*float64(b.Firing.ToTop) {
		return ""
	}
	top := min(a.Firing.Peak, b.Firing.Peak) - 3
	edges := []kiln.Celsius{100, 600, 1000, top}
	words := []string{"below 600", "between 600 and 1000", "above 1000"}
	most, where := time.Duration(0), ""
	for i, word := range words {
		low, high := edges[i], min(edges[i+1], top)
		if high <= low {
			continue
		}
		d := climb(a.Curve, low, high) - climb(b.Curve, low, high)
		if d.Abs() > most.Abs() {
			most, where = d, word
		}
	}
	word := oneOf(whole > 0, "slower", "quicker")
	if where == "" || most.Abs() < whole.Abs()*2/3 || (most < 0) != (whole < 0) {
		return minutes(whole.Abs()) + " " + word + " to the top"
	}
	return minutes(most.Abs()) + " " + word + " " + where + " °C"
}

// climb is how long the curve took from low to high, 0 if it did not go through both.
func climb(e kiln.Envelope, low, high kiln.Celsius) time.Duration {
	from, ok := e.Reached(low)
	to, too := e.Reached(high)
	if !ok || !too {
		return 0
	}
	return to - from
}

// gapTime is how long the firing was not heard, of the gaps whose length is known.
func gapTime(f kiln.Firing) time.Duration {
	var sum time.Duration
	for _, g := range f.Gaps {
		if g.Known {
			sum += g.For
		}
	}
	return sum
}

func minutes(d time.Duration) string {
	d = d.Round(time.Minute)
	if d < 2*time.Hour {
		return fmt.Sprintf("%d min", int(d.Minutes()))
	}
	return fmt.Sprintf("%d h %02d", int(d.Hours()), int(d.Minutes())%60)
}

func oneOf(first bool, a, b string) string {
	if first {
		return a
	}
	return b
}
