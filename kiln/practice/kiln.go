package practice

import (
	"context"
	"fmt"
	"strings"
	"time"

	"lidwright/kiln"
)

// Kiln is a practice kiln with its controller. Set the fields, then Run plays it down a line.
type Kiln struct {
	Curves []Curve       // one a channel
	Every  time.Duration // age between two lines; 0 means 1 s
	// in the order in which they are applied to a reading
	Faults []Fault
	Seed   uint64 // of the faults; each curve has its own

	// Line writes down what the channels show at an age, line end and all; texts[i] is not empty
	// where channel i shows no number. nil: Columns.
	Line func(after time.Duration, shown []kiln.Celsius, texts []string) string

	// Factor is how many seconds of the kiln's pass in one of ours; 0 means 1. A listener that is
	// to see true rates needs a clock that runs as fast.
	Factor float64
	// Wait waits for d of our time, or until ctx is done; nil waits for real.
	Wait func(ctx context.Context, d time.Duration) error
}

// Columns is the usual line of a practice kiln: one column a channel, one decimal, commas, CR LF.
func Columns(_ time.Duration, shown []kiln.Celsius, texts []string) string {
	columns := make([]string, len(shown))
	for i, t := range shown {
		if columns[i] = texts[i]; columns[i] == "" {
			columns[i] = fmt.Sprintf("%.1f", t)
		}
	}
	return strings.Join(columns, ",") + "\r\n"
}

// Said is the line of one moment as it goes down the wire, faults and all; nil where nothing is said.
func (k *Kiln) Said(after time.Duration) []byte {
	if k.silent(after) {
		return nil
	}
	shown, texts := make([]kiln.Celsius, len(k.Curves)), make([]string, len(k.Curves))
	for i := range k.Curves {
		shown[i], texts[i] = k.faulty(i, after)
	}
	line := k.Line
	if line == nil {
		line = Columns
	}
	return k.garble([]byte(line(after, shown, texts)), after)
}

// silent reports whether the controller says nothing at an age.
func (k *Kiln) silent(after time.Duration) bool {
	if k.is(Quiet, after) || k.is(Unplug, after) {
		return true
	}
	return len(k.Curves) > 0 && k.Curves[0].Programme.Silent(after)
}

// True is the temperature at the probe of a channel at an age, in °C: what should have been seen.
func (k *Kiln) True(channel int, after time.Duration) kiln.Celsius {
	return k.Curves[channel].True(after)
}

// Length is the age at which the longest programme is over.
func (k *Kiln) Length() time.Duration {
	var long time.Duration
	for _, c := range k.Curves {
		long = max(long, c.Programme.Length())
	}
	return long
}

// Run plays the kiln down the line, from age 0 to the end of its longest programme or until ctx is
// done. It ends with nil, with ctx's error, or when a line cannot be plugged in.
func (k *Kiln) Run(ctx context.Context, line *Plug) error {
	every, factor, wait := k.Every, k.Factor, k.Wait
	if every <= 0 {
		every = time.Second
	}
	if factor <= 0 {
		factor = 1
	}
	if wait == nil {
		wait = Wait
	}
	for after := time.Duration(0); after <= k.Length(); after += every {
		if err := k.step(line, after); err != nil {
			return err
		}
		if err := wait(ctx, time.Duration(float64(every)/factor)); err != nil {
			return err
		}
	}
	return nil
}

// step plays one age: the plug goes in or out, and the line is said.
func (k *Kiln) step(line *Plug, after time.Duration) error {
	if k.is(Unplug, after) {
		return line.Unplug()
	}
	if err := line.Plug(); err != nil {
		return err
	}
	if said := k.Said(after); said != nil {
		line.Write(said) // a listener that goes away in the middle is his affair
	}
	return nil
}

// Wait waits for d, or until ctx is done, and then gives its error.
func Wait(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}
