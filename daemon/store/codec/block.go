// Package codec is the bytes in which curves and summaries of firings lie in the store: blocks of samples as
// coded deltas, each minute's lowest and highest, and what a firing came to. In flow samples and firings, out
// flow bytes with a sum of their own, and back. Old forms stay readable.
//
// It opens no file and knows no table. It is our own because a reading takes under half a byte here.
package codec

import (
	"compress/flate"
	"fmt"
	"slices"

	"lidwright/kiln"
)

// A block is a stretch of samples of one firing as it is kept: a batch of some seconds, plain, or
// an hour, small. Its head holds as varints, in order:
//
//	how many samples; the stamps in stretches of one boot, wall offset and trust (a change of any
//	begins another), the times in each as runs of equal steps;
//	the faults that occur; of how many of the last readings a guess is the mean;
//	for each channel its name, its states (good, absent, faulty) in runs, and its unit.
//
// Behind it stands what each reading is above the guess, channel after channel, deflated or not.
//
// The guess of the mean of eight costs a tenth less than that of the last reading, where noise
// hides the slope; Huffman codes alone do the rest. Readings in steps wider than the noise stand
// still for long, and there the last reading and a search for repeats are better.

const (
	mostSamples  = 1 << 20 // in one block
	mostChannels = 1 << 10
	mostFaults   = 1 << 8
	Window       = 3 // log2 of the readings that a guess is the mean of
	jump         = 64
	restless     = 5 // values a byte: below it nothing stands still, and no search for repeats is made
)

// Block is a stretch of samples by column, as it is coded.
type Block struct {
	Stretches []Stretch
	Since     []int64 // of each sample, ns since the start of its boot
	faults    []kiln.Fault
	channels  []column
}

// Stretch is a number of samples by one clock.
type Stretch struct {
	n       int
	boot    kiln.BootID
	Offset  int64 // wall clock less time since the start, ms
	Trusted bool
}

// column is what one channel said. Counts are in sixteen-thousandths of a degree, one for each
// sample whose state has a number.
type column struct {
	id     kiln.ChannelID
	states []states
	counts []int64
	n      int // samples so far, while the block is made
	unit   int // index of the unit of the counts, while it is written
}

// states is a number of samples in one state.
type states struct{ n, state int }

// States of a reading: what the faults of the block add is twice the index of the fault.
const (
	stateGood    = 0 // a number, and good
	stateAbsent  = 1 // the channel did not speak
	stateNothing = 2 // it spoke, called it good, and gave no number
	stateFaulty  = 3 // and a number; stateFaulty+1: and none
)

// hasNumber reports whether a reading of that state has a number.
func hasNumber(state int) bool { return state == stateGood || state >= stateFaulty && state%2 == 1 }

// BlockOf turns samples, all of one firing and in order, into columns. Raw lines are no part of a
// block.
func BlockOf(samples []kiln.Sample) *Block {
	b := &Block{Since: make([]int64, len(samples))}
	var now *Stretch
	for i := range samples {
		s := &samples[i]
		b.Since[i] = int64(s.At.Since)
		if now == nil || !now.holds(&s.At) {
			b.Stretches = append(b.Stretches,
				Stretch{boot: s.At.Boot, Offset: OffsetOf(s.At), Trusted: s.At.Trusted})
			now = &b.Stretches[len(b.Stretches)-1]
		}
		now.n++
		for place := range s.Values {
			v := &s.Values[place]
			b.channel(v.Channel, place, i, len(samples)).add(b.stateOf(v), v.T)
		}
		for c := range b.channels {
			b.channels[c].until(i + 1)
		}
	}
	return b
}

// OffsetOf is how the wall clock of a stamp lies to the time since the start, ms.
func OffsetOf(at kiln.Stamp) int64 { return at.Wall.UnixMilli() - at.Since.Milliseconds() }

// holds reports whether a stamp lies in the stretch; a clock that is slewed stays in one.
func (s *Stretch) holds(at *kiln.Stamp) bool {
	d := s.Offset - OffsetOf(*at)
	return s.boot == at.Boot && s.Trusted == at.Trusted && -100 < d && d < 100
}

// channel finds the column of a channel, which usually stands at place; one that speaks for the
// first time was absent before.
func (b *Block) channel(id kiln.ChannelID, place, before, all int) *column {
	if place < len(b.channels) && b.channels[place].id == id {
		return &b.channels[place]
	}
	at := slices.IndexFunc(b.channels, func(c column) bool { return c.id == id })
	if at < 0 {
		at = len(b.channels)
		b.channels = append(b.channels, column{id: id, counts: make([]int64, 0, all)})
		b.channels[at].until(before)
	}
	return &b.channels[at]
}

func (b *Block) stateOf(v *kiln.Value) int {
	number := IsNumber(v.T)
	if v.Fault == kiln.Good {
		if number {
			return stateGood
		}
		return stateNothing
	}
	at := slices.Index(b.faults, v.Fault)
	if at < 0 {
		at = len(b.faults)
		b.faults = append(b.faults, v.Fault)
	}
	if number {
		return stateFaulty + 2*at
	}
	return stateFaulty + 2*at + 1
}

func (c *column) add(state int, t kiln.Celsius) {
	c.n++
	if n := len(c.states) - 1; n >= 0 && c.states[n].state == state {
		c.states[n].n++
	} else {
		c.states = append(c.states, states{1, state})
	}
	if hasNumber(state) {
		c.counts = append(c.counts, CountOf(t))
	}
}

// until makes the channel absent in the samples before the n-th that it did not speak in.
func (c *column) until(n int) {
	for c.n < n {
		c.add(stateAbsent, 0)
	}
}

// Encode writes samples, all of one firing and in order. small makes it as short as it will get.
func Encode(samples []kiln.Sample, small bool) []byte { return BlockOf(samples).Encode(small) }

// Encode is the block as it is stored: its values in the unit that loses nothing, compressed where small
// asks for it and it is worth it.
func (b *Block) Encode(small bool) []byte {
	for i := range b.channels {
		b.channels[i].unit = UnitOf(b.channels[i].counts)
	}
	if !small {
		return b.wrapped(0, b.values(0), BodyPlain)
	}
	values := b.values(Window)
	best, by := Deflated(values, flate.HuffmanOnly), Window
	if len(best) < len(values)/restless {
		if z := Deflated(b.values(0), Searching); len(z) < len(best) {
			best, by = z, 0
		}
	}
	return b.wrapped(by, best, BodyDeflated)
}

func (b *Block) wrapped(window int, values []byte, how byte) []byte {
	h := &coder{b: make([]byte, 0, 128)}
	h.uint(uint64(len(b.Since)))
	b.putStamps(h)
	h.uint(uint64(len(b.faults)))
	for _, f := range b.faults {
		h.text(string(f))
	}
	h.uint(uint64(window))
	h.uint(uint64(len(b.channels)))
	for _, c := range b.channels {
		h.text(string(c.id))
		for _, s := range c.states {
			h.uint(uint64(s.n))
			h.uint(uint64(s.state))
		}
		h.uint(uint64(c.unit))
	}
	e := &coder{b: make([]byte, 0, len(h.b)+len(values)+16)}
	e.uint(uint64(len(h.b)))
	e.b = append(append(append(e.b, h.b...), how), values...)
	return Wrap(e.b, BodyPlain)
}

// values are what each reading is above the guess, channel after channel.
func (b *Block) values(window int) []byte {
	v := &coder{b: make([]byte, 0, 2*len(b.channels)*len(b.Since)+16)}
	for _, c := range b.channels {
		unit := Units[c.unit]
		g := guess{window: window}
		for _, n := range c.counts {
			n /= unit
			above := n - g.next()
			v.int(above)
			g.saw(n, above)
		}
	}
	return v.b
}

func (b *Block) putStamps(h *coder) {
	i := 0
	for _, s := range b.Stretches {
		h.uint(uint64(s.n))
		h.text(string(s.boot))
		h.int(s.Offset)
		h.flag(s.Trusted)
		h.int(b.Since[i])
		to := i + s.n
		for i++; i < to; {
			step := b.Since[i] - b.Since[i-1]
			same := i + 1
			for same < to && b.Since[same]-b.Since[same-1] == step {
				same++
			}
			h.uint(uint64(same - i))
			h.int(step)
			i = same
		}
	}
}

func (b *Block) takeStamps(h *decoder) {
	for i := 0; i < len(b.Since) && !h.bad; {
		s := Stretch{n: h.count(len(b.Since) - i), boot: kiln.BootID(h.text()),
			Offset: h.int(), Trusted: h.flag()}
		since := h.int()
		if s.n == 0 {
			h.fail()
			return
		}
		b.Stretches = append(b.Stretches, s)
		to := i + s.n
		b.Since[i] = since
		for i++; i < to; {
			same, step := h.count(to-i), h.int()
			if same == 0 {
				h.fail()
				return
			}
			for ; same > 0; same-- {
				since += step
				b.Since[i] = since
				i++
			}
		}
	}
}

// guess is the mean of the last readings, rounded; after a jump it begins anew.
type guess struct {
	window int
	last   [1 << Window]int64
	i      int
	sum    int64
}

func (g *guess) next() int64 { return (g.sum + int64(1)<<g.window>>1) >> g.window }

// saw takes in a reading and what it was above the guess.
func (g *guess) saw(n, above int64) {
	size := 1 << g.window
	if above > jump || above < -jump {
		for i := range size {
			g.last[i] = n
		}
		g.sum = n << g.window
		return
	}
	g.sum += n - g.last[g.i]
	g.last[g.i] = n
	g.i = (g.i + 1) & (size - 1)
}

// DecodeBlock reads a block back.
func DecodeBlock(data []byte) (*Block, error) {
	body, err := unwrap(data)
	if err != nil {
		return nil, err
	}
	all := &decoder{b: body}
	h := &decoder{b: all.bytes()}
	how := all.flag()
	v := &decoder{b: all.b}
	if how {
		if v.b, err = Inflated(all.b); err != nil {
			return nil, err
		}
	}
	b := &Block{Since: make([]int64, h.count(mostSamples))}
	b.takeStamps(h)
	b.faults = make([]kiln.Fault, h.count(mostFaults))
	for i := range b.faults {
		b.faults[i] = kiln.Fault(h.text())
	}
	window := h.count(Window)
	b.channels = make([]column, h.count(mostChannels))
	for i := range b.channels {
		b.takeChannel(h, v, &b.channels[i], window)
	}
	if all.bad || h.bad || v.bad || len(h.b)+len(v.b) > 0 {
		return nil, fmt.Errorf("%w: a block does not end where it should", ErrCoded)
	}
	return b, nil
}

func (b *Block) takeChannel(h, v *decoder, c *column, window int) {
	c.id = kiln.ChannelID(h.text())
	numbers := 0
	for left := len(b.Since); left > 0 && !h.bad; {
		s := states{h.count(left), h.count(stateFaulty + 2*len(b.faults) - 1)}
		if s.n == 0 {
			h.fail()
		}
		if hasNumber(s.state) {
			numbers += s.n
		}
		c.states = append(c.states, s)
		left -= s.n
	}
	unit := Units[h.count(len(Units)-1)]
	if h.bad || numbers > len(v.b) {
		h.fail()
		return
	}
	c.counts = make([]int64, numbers)
	g := guess{window: window}
	for i := range c.counts {
		var above int64
		if len(v.b) > 0 && v.b[0] < 0x80 { // as nearly all are
			above = int64(v.b[0]>>1) ^ -int64(v.b[0]&1)
			v.b = v.b[1:]
		} else {
			above = v.int()
		}
		n := above + g.next()
		g.saw(n, above)
		c.counts[i] = n * unit
	}
}

// Same reports whether two blocks hold the same.
func (b *Block) Same(o *Block) bool {
	return slices.Equal(b.Stretches, o.Stretches) && slices.Equal(b.Since, o.Since) &&
		slices.Equal(b.faults, o.faults) &&
		slices.EqualFunc(b.channels, o.channels, func(x, y column) bool {
			return x.id == y.id && slices.Equal(x.states, y.states) && slices.Equal(x.counts, y.counts)
		})
}
