package source

import (
	"slices"
	"sync"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// Outcome is how one line, or one answer on a bus, turned out.
type Outcome string

const (
	LineGood       Outcome = "good"
	LineGarbled    Outcome = "garbled"    // makes no sense, a wrong check, an exception of a slave
	LineSilent     Outcome = "silent"     // none came where one was due
	LineBreakvalue Outcome = "breakvalue" // makes sense, and says of a channel that its couple is open
)

// minute is how far back the lines are counted that are told in words.
const minute = time.Minute

// keptBad is how many bad lines are kept to be shown.
const keptBad = 5

// tally counts what was heard of one kiln. The line's goroutine writes, anyone reads.
type tally struct {
	mu      sync.Mutex
	total   map[Outcome]uint64
	minute  [60]second
	last    kiln.Sample // the last that had a good value
	heard   bool
	bad     []BadLine
	hint    message.Message
	orders  []Decoded
	crowded uint64
	stood   map[kiln.ChannelID]kiln.Stamp // when a channel was on a line last
	line    string                        // the last line on which one was not
}

// second counts the lines of one second.
type second struct {
	at        int64 // which second since the machine started, plus 1; 0 is none
	good, bad int
}

// newTally has heard nothing.
func newTally() *tally { return &tally{total: map[Outcome]uint64{}} }

// count counts one line in its total and in its second.
func (t *tally) count(at kiln.Stamp, what Outcome) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.total[what]++
	now := int64(at.Since/time.Second) + 1
	s := &t.minute[int(now)%len(t.minute)]
	if s.at != now {
		*s = second{at: now}
	}
	if what == LineGood {
		s.good++
	} else {
		s.bad++
	}
}

// badLine counts a line that made no sense and keeps it to be shown.
func (t *tally) badLine(at kiln.Stamp, line []byte, why message.Message) {
	t.count(at, LineGarbled)
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.bad) == keptBad {
		t.bad = slices.Delete(t.bad, 0, 1)
	}
	t.bad = append(t.bad, BadLine{At: at, Line: string(line), Why: why})
}

// good keeps the newest sample that had a good value.
func (t *tally) good(s kiln.Sample) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.last, t.heard = s, true
}

// crowd counts a line that came too soon after the one before to be worth a sample.
func (t *tally) crowd() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.crowded++
}

// places notes which channels were on a line and which were not.
func (t *tally) places(at kiln.Stamp, channels []Channel, raws []raw, line []byte) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.stood == nil {
		t.stood = map[kiln.ChannelID]kiln.Stamp{}
	}
	for i, c := range channels {
		if raws[i].there {
			t.stood[c.ID] = at
		} else {
			t.line = string(line)
		}
	}
}

// absent are the channels that were on no line of the minute before now, and a line that they are not on.
func (t *tally) absent(channels []Channel, now kiln.Stamp) (none []Channel, line string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.stood == nil {
		return nil, ""
	}
	for _, c := range channels {
		if last, ever := t.stood[c.ID]; !ever || now.Since-last.Since > minute {
			none = append(none, c)
		}
	}
	return none, t.line
}

// say keeps what the newest line suggests; empty takes the last hint back.
func (t *tally) say(hint message.Message) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.hint = hint
}

// decoded keeps the numbers of 32 bits of the newest round.
func (t *tally) decoded(orders []Decoded) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.orders = orders
}

// goodSoFar is how many lines made sense.
func (t *tally) goodSoFar() uint64 {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.total[LineGood] + t.total[LineBreakvalue] + t.crowded
}

// read gives a copy of it all, with the lines of the minute before now.
func (t *tally) read(id kiln.KilnID, now kiln.Stamp) KilnHeard {
	t.mu.Lock()
	defer t.mu.Unlock()
	h := KilnHeard{
		Kiln:       id,
		Good:       t.total[LineGood],
		Garbled:    t.total[LineGarbled],
		Silent:     t.total[LineSilent],
		Breakvalue: t.total[LineBreakvalue],
		Crowded:    t.crowded,
		Ever:       t.heard,
		Last:       t.last,
		BadLines:   slices.Clone(t.bad),
		Hint:       t.hint,
		Orders:     slices.Clone(t.orders),
	}
	h.Last.Values = slices.Clone(h.Last.Values)
	second := int64(now.Since/time.Second) + 1
	for _, s := range t.minute {
		if s.at != 0 && s.at <= second && s.at > second-int64(len(t.minute)) {
			h.GoodMinute += s.good
			h.BadMinute += s.bad
		}
	}
	return h
}
