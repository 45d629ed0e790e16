package source

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/synctest"
)

// levels is a line in time, made apart from the code under test: sampled a thousand times a bit of
// the fastest speed, with a sender's clock that is off by up to a percent and pauses between lines.
type levels struct {
	low [][2]float64 // from when to when the line is low, in seconds
	end float64
}

func transmit(lines int, baud float64, dice *rand.Rand) levels {
	var l levels
	bit := (1 + 0.02*(dice.Float64()-0.5)) / baud
	now := 10 * bit
	for range lines {
		for _, c := range []byte(fmt.Sprintf("T1=%.1f T2=%.1f\r\n",
			dice.Float64()*1200, dice.Float64()*1200)) {
			word := uint32(c)<<1 | 1<<9 // start bit low, eight bits, stop bit high
			for i := range 10 {
				if word>>i&1 == 0 {
					l.low = append(l.low, [2]float64{now, now + bit})
				}
				now += bit
			}
		}
		now += bit * (30 + 50*dice.Float64())
	}
	l.end = now
	return l
}

// pick is what a receiver makes of the line: it waits for a fall, looks at the middle of each of
// its bits, and gives NUL where the stop bit is low.
func (l levels) pick(baud float64) []byte {
	bit := 1 / baud
	at := 0
	isLow := func(t float64) bool {
		for at > 0 && l.low[at][0] > t {
			at--
		}
		for at < len(l.low)-1 && l.low[at][1] <= t {
			at++
		}
		return l.low[at][0] <= t && t < l.low[at][1]
	}
	var out []byte
	for t := 0.0; t < l.end; {
		for t < l.end && !isLow(t) {
			t += bit / 16
		}
		if t >= l.end {
			break
		}
		c := byte(0)
		for i := range 8 {
			if !isLow(t + bit*(1.5+float64(i))) {
				c |= 1 << i
			}
		}
		if isLow(t + bit*9.5) {
			c = 0
			for t += bit * 9.5; t < l.end && isLow(t); {
				t += bit / 16
			}
		} else {
			t += bit * 9.5
		}
		out = append(out, c)
	}
	return out
}

// A wrong speed is told from the garbage, and a right one or noise is not called wrong. The speeds
// are those that controllers have (common practice, no source).
func TestGuessSpeed(t *testing.T) {
	dice := rand.New(rand.NewPCG(1, 1))
	named, wrong, all := 0, 0, 0
	for _, sent := range []int{1200, 2400, 4800, 9600, 19200, 38400, 115200} {
		for _, set := range []int{1200, 2400, 4800, 9600, 19200, 38400, 115200} {
			ratio := float64(sent) / float64(set)
			if ratio < 0.24 || ratio > 4.1 {
				continue
			}
			var counts [256]int
			for _, b := range transmit(30, float64(sent), dice).pick(float64(set)) {
				counts[b]++
			}
			all++
			switch GuessSpeed(counts, set) {
			case sent:
				named++
			case 0:
				t.Logf("sent at %d, read at %d: cannot be told", sent, set)
			default:
				wrong++
				t.Errorf("sent at %d, read at %d: guessed %d", sent, set, GuessSpeed(counts, set))
			}
		}
	}
	t.Logf("%d of %d speeds named, %d wrongly", named, all, wrong)
	if named < all*3/4 {
		t.Errorf("only %d of %d speeds named", named, all)
	}
	var counts [256]int
	for range 1000 {
		counts[dice.IntN(256)]++
	}
	if g := GuessSpeed(counts, 9600); g != 0 {
		t.Errorf("noise was called %d baud", g)
	}
}

func TestWrongSpeedInWords(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		port := newFakePort(nil)
		port.in <- transmit(60, 9600, rand.New(rand.NewPCG(2, 2))).pick(19200)
		s := columnsOn("z")
		s.Speed = 19200
		_, heard := runFor(t, 5e9, s, port)
		if words := strings.Join(heard.Words(), "\n"); !strings.Contains(words,
			"looks like 9600 baud, you set 19200") {
			t.Errorf("%s", words)
		}
	})
}
