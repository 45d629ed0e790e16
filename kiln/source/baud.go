package source

import (
	"fmt"
	"math"
	"math/rand/v2"

	"lidwright/kiln/message"
)

// baudDetector gathers the bytes of a line, to tell from garbage at which speed it was sent.
type baudDetector struct {
	counts [256]int
	n      int
	lookAt int    // the number of bytes at which to think about it
	good   uint64 // good lines up to the last thought
}

// To guess takes a few milliseconds: the first time after an earful, then ever more rarely.
const (
	earful = 200
	rarely = 1 << 16
)

// hear counts bytes as they came.
func (e *baudDetector) hear(b []byte) {
	for _, c := range b {
		e.counts[c]++
	}
	e.n += len(b)
}

// guessSpeed guesses the speed of the line now and then, from the bytes since it did so before. While
// good lines come there is nothing to guess.
func (l *line) guessSpeed(e *baudDetector, decoders []*decoder) {
	if e.n < e.lookAt {
		return
	}
	good := uint64(0)
	for _, t := range decoders {
		good += t.tally.goodSoFar()
	}
	var guess message.Message
	if good == e.good {
		if speed := GuessSpeed(e.counts, l.settings.Speed); speed != l.settings.Speed && speed != 0 {
			guess = message.New("looks like {1} baud, you set {2}", speed, l.settings.Speed)
		}
	}
	*e = baudDetector{lookAt: min(2*e.lookAt, rarely), good: good}
	l.mu.Lock()
	l.guess = guess
	l.mu.Unlock()
}

// GuessSpeed tells at which speed a line of text was most likely sent, from how often each byte
// came when it was read at the speed set, in baud. 0 means that it cannot be told.
//
// For each usual speed from a quarter to four times the one set it works out which bytes a line of
// numbers would turn into, by sampling the sent bits where a receiver of the set speed would, and
// takes the speed under which the bytes are likeliest, if it is likelier than any other and than
// bytes without any order, by a clear margin. What a receiver takes for a framing error counts as
// NUL, which is how it arrives.
func GuessSpeed(counts [256]int, set int) int {
	n := 0
	for _, c := range counts {
		n += c
	}
	if n == 0 {
		return 0
	}
	best, speed, second := math.Inf(-1), 0, float64(n)*math.Log(1.0/256)
	for _, sent := range Speeds() {
		if ratio := float64(sent) / float64(set); ratio < 0.24 || ratio > 4.1 {
			continue
		}
		l := likelihood(counts, misread(float64(sent)/float64(set)))
		if l > best {
			best, speed, second = l, sent, max(second, best)
		} else {
			second = max(second, l)
		}
	}
	if best-second < 0.3*float64(n) { // own choice: a third of a nat a byte
		return 0
	}
	return speed
}

// likelihood is the logarithm of how likely the counted bytes are under p.
func likelihood(counts [256]int, p [256]float64) float64 {
	sum := 0.0
	for b, c := range counts {
		if c > 0 {
			sum += float64(c) * math.Log(p[b])
		}
	}
	return sum
}

// misread gives how likely each byte is when lines of numbers are sent at ratio times the speed of
// the receiver. A twentieth of it all is left to any other byte.
func misread(ratio float64) [256]float64 {
	var counts [256]int
	dice := rand.New(rand.NewPCG(1, 2)) // made-up numbers; the same ones each time
	n := 0
	for range 64 {
		text := fmt.Sprintf("%.1f,%.1f,%d\r\n", dice.Float64()*1300, dice.Float64()*1300, dice.IntN(1300))
		for _, b := range receive(wire([]byte(text)), ratio) {
			counts[b]++
			n++
		}
	}
	var p [256]float64
	for b := range p {
		p[b] = 0.05/256 + 0.95*float64(counts[b])/float64(max(n, 1))
	}
	return p
}

// wire is how bytes look on the line, one bool for each bit sent: a start bit, eight bits from the
// lowest, a stop bit; and a pause of twenty bits at the end.
func wire(text []byte) []bool {
	var bits []bool
	for _, b := range text {
		bits = append(bits, false)
		for i := range 8 {
			bits = append(bits, b>>i&1 == 1)
		}
		bits = append(bits, true)
	}
	for range 20 {
		bits = append(bits, true)
	}
	return bits
}

// receive is what a receiver makes of bits that come ratio times as fast as it thinks.
func receive(bits []bool, ratio float64) []byte {
	at := func(t float64) bool { // the level t of its own bits after the begin
		i := int(t * ratio)
		return i >= len(bits) || bits[i]
	}
	var out []byte
	end := float64(len(bits)) / ratio
	step := 1.0 / 16 // a receiver looks for an edge sixteen times a bit (common practice, no source)
	for t := 0.0; t < end; {
		// a byte begins where the level falls
		if at(t) || !at(max(0, t-step)) && t > 0 {
			t += step
			continue
		}
		var b byte
		for i := range 8 {
			if at(t + 1.5 + float64(i)) {
				b |= 1 << i
			}
		}
		if !at(t + 9.5) {
			b = 0 // a framing error
		}
		out = append(out, b)
		t += 9.5
	}
	return out
}
