package source

import (
	"context"
	"errors"
	"fmt"
	"math/bits"
	"slices"
	"time"
)

// Overheard is what listening to an unknown line has told.
type Overheard struct {
	Speed    int           // baud
	Framing  string        // data bits, parity, stop bits, such as "8N1"
	Every    time.Duration // between two lines, to the second above one; 0 where only one came
	Readings []Reading     // the likeliest first, never none
}

// Listener finds out how a device speaks. It only reads: there is no way from here to a Write.
type Listener struct {
	Open     func(Settings) (Port, error) // OpenPort, but in tests
	Patience time.Duration                // how long a device may say nothing before it counts as silent
	Tell     func(text string)            // what is tried, for whoever waits
}

// ErrSilent says that a line was open for as long as patience lasts and nothing came.
var ErrSilent = errors.New("nothing was heard")

// ErrUnknown says that bytes came, and make no sense at any usual speed in any form that is known.
var ErrUnknown = errors.New("what was heard makes no sense in any form that is known")

const (
	linesWanted = 3
	// bytesWanted without one line of sense are enough to try another speed.
	bytesWanted = 300
)

// Hear listens on the port at the usual speeds, those given or else all, most usual first, until
// lines make sense. Where bytes came that are garbled it tries first the speed that they look like.
// Errors are ErrSilent, ErrUnknown, ctx's and those of opening.
func (l Listener) Hear(ctx context.Context, port string, speeds ...int) (Overheard, error) {
	todo := slices.Clone(speeds)
	if len(todo) == 0 {
		todo = []int{9600, 19200, 115200, 38400, 57600, 4800, 2400, 1200, 230400}
	}
	for len(todo) > 0 {
		speed := todo[0]
		todo = todo[1:]
		l.Tell(fmt.Sprintf("listening at %d baud ...", speed))
		h, err := l.at(ctx, Settings{Port: port, Speed: speed, Framing: "8N1"})
		if err != nil {
			return Overheard{}, err
		}
		if h.framing != "8N1" && h.readings != nil { // once more, so that what is told was heard so
			l.Tell(fmt.Sprintf("the bytes look like %s ...", h.framing))
			if again, err := l.at(ctx, Settings{Port: port, Speed: speed,
				Framing: h.framing}); err == nil && again.readings != nil {
				again.framing, h = h.framing, again
			}
		}
		if h.readings != nil {
			return Overheard{Speed: speed, Framing: h.framing, Every: h.every, Readings: h.readings}, nil
		}
		if guess := GuessSpeed(h.counts, speed); guess != 0 {
			if i := slices.Index(todo, guess); i > 0 {
				todo = slices.Insert(slices.Delete(todo, i, i+1), 0, guess)
			}
		}
	}
	return Overheard{}, ErrUnknown
}

// heardSo is what one speed gave.
type heardSo struct {
	counts   [256]int
	framing  string
	every    time.Duration
	readings []Reading // nil: no sense
}

// at listens at one speed and framing until lines make sense, enough bytes make none, or patience is
// over. readings is nil where nothing made sense; the counts of bytes tell which speed to try next.
func (l Listener) at(ctx context.Context, s Settings) (heardSo, error) {
	port, err := l.Open(s)
	if err != nil {
		return heardSo{}, err
	}
	defer port.Close()
	if err := port.SetReadTimeout(readTimeout); err != nil {
		return heardSo{}, fmt.Errorf("%s: set the read time-out: %w", s.Port, err)
	}
	h := heardSo{framing: s.Framing}
	var all []byte
	var came []time.Duration // when a line ended
	buf := make([]byte, 1024)
	for begin := time.Now(); ; {
		if err := ctx.Err(); err != nil {
			return h, err
		}
		n, err := port.Read(buf)
		if err != nil {
			return h, fmt.Errorf("%s went away while it was listened to: %w", s.Port, err)
		}
		for _, b := range buf[:n] {
			h.counts[b]++
		}
		all = append(all, buf[:n]...)
		// parity bits look like garbage to a receiver of eight bits
		framing, text := parity(all)
		lines, ended := linesOf(text)
		for range ended - len(came) {
			came = append(came, monotonic(begin))
		}
		late := monotonic(begin) >= l.Patience
		// silent; or enough was heard, or time is up: try to read it
		switch {
		case late && len(all) == 0:
			return h, fmt.Errorf("%s: %w in %v", s.Port, ErrSilent, l.Patience)
		case n > 0 && len(lines) >= linesWanted || late || len(all) >= bytesWanted &&
			(len(lines) == 0 || len(lines) > 2*linesWanted):
			if s.Framing == "8N1" {
				h.framing = framing
			}
			if h.readings = recognise(lines); h.readings != nil {
				h.every = period(came)
				return h, nil
			}
			if late || len(all) >= bytesWanted {
				return h, nil
			}
		}
	}
}

// linesOf cuts bytes into the lines that ended, of which it gives the number too. The first may have been
// heard from its middle on and is left out where there are others; its end counts.
func linesOf(text []byte) (lines []string, ended int) {
	c := newLineSplitter("\n")
	c.fresh()
	var out []string
	c.cut(text, func(line []byte) {
		if line != nil {
			out = append(out, string(line))
		}
	})
	if ended = len(out); ended > 1 {
		out = out[1:]
	}
	return out, ended
}

// period is the middle of the times between lines, the shorter of two in the middle, since a line that was
// missed makes a time longer: to the second above one second, else to a tenth.
func period(came []time.Duration) time.Duration {
	var gaps []time.Duration
	for i := 1; i < len(came); i++ {
		gaps = append(gaps, came[i]-came[i-1])
	}
	if len(gaps) == 0 {
		return 0
	}
	slices.Sort(gaps)
	gap := gaps[(len(gaps)-1)/2]
	if gap > time.Second {
		return gap.Round(time.Second)
	}
	return max(gap.Round(100*time.Millisecond), 100*time.Millisecond)
}

// parity tells from bytes that were read as 8N1 whether seven bits and a parity were sent, which
// take as long on the wire: the eighth bit then makes the ones of every byte even, or odd, or is
// always set where two stop bits were sent. It gives the bytes without it.
func parity(raw []byte) (framing string, text []byte) {
	var high, odd int
	for _, b := range raw {
		high += int(b >> 7)
		odd += bits.OnesCount8(b) & 1
	}
	n := len(raw)
	switch {
	case high == 0 || n < 20:
		return "8N1", raw
	case high == n:
		framing = "7N2"
	case odd == 0:
		framing = "7E1"
	case odd == n:
		framing = "7O1"
	default:
		return "8N1", raw
	}
	text = slices.Clone(raw)
	for i := range text {
		text[i] &= 0x7f
	}
	return framing, text
}
