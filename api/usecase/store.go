package usecase

import (
	"context"
	"time"

	"lidwright/kiln/message"
)

// StoreTrouble is all that is wrong with the store, each in a sentence.
func (s *Studio) StoreTrouble(h StoreHealth, err error) []message.Message {
	trouble := h.Trouble
	if err != nil {
		trouble = append(trouble, message.Stopped(message.Of(err)))
	}
	if t, ok := s.Recorder.Trouble(); ok {
		says := message.New("The store cannot write: {1} Recording goes on in memory, {2} samples so far; entries are refused.", message.Stopped(t.Why), t.Waiting)
		if t.Thinned > 0 {
			says = message.Join(" ", says, message.New("To make room, {1} of them were given up.", t.Thinned))
		}
		trouble = append(trouble, says)
	}
	return trouble
}

// StoreAlarm is what everybody must know of the store, each in a sentence.
func (s *Studio) StoreAlarm() []message.Message {
	if s.Store == nil { // nobody looks after it
		return nil
	}
	h, err := s.Store()
	if err != nil {
		return []message.Message{message.Stopped(message.Of(err))}
	}
	for i := range h.Alarm {
		h.Alarm[i] = message.Stopped(h.Alarm[i])
	}
	return h.Alarm
}

// StoreWords are lines about the store for the page More, and what is wrong with it.
func (s *Studio) StoreWords() (words, trouble []message.Message) {
	h, err := s.Store()
	trouble = s.StoreTrouble(h, err)
	if err == nil {
		words = append(words, message.New("{1} MB kept, {2} GB free",
			message.Number{Value: float64(h.Bytes) / 1e6, Places: 1},
			message.Number{Value: float64(h.Free) / 1e9, Places: 1}))
	}
	switch {
	case h.Copies == 0:
		words = append(words, message.New("no copy yet: the first is made at the end of a firing, or after a day"))
	default:
		words = append(words, message.Count(h.Copies, "1 copy, the newest of {2}",
			"{1} copies, the newest of {2}", message.At(h.LastCopy.In(s.Site.Zone), "2 Jan 2006")))
	}
	return words, trouble
}

func oneOf(first bool, a, b message.Key) message.Key {
	if first {
		return a
	}
	return b
}

// CopyKept is one copy of the store.
type CopyKept struct {
	Name   string
	Folder string
	At     time.Time // when it was made, by the clock of then
	Bytes  int64
	Second bool // it lies in the second place
}

// Copies makes and lists copies of the whole store.
type Copies interface {
	// Make makes one and checks it; made is false where the newest has everything.
	Make(ctx context.Context) (made bool, err error)
	List() ([]CopyKept, error) // newest first
	// WithForgotten lists those that still have the mark of a maker who was forgotten, and the names of
	// files that were moved aside, which nothing takes a mark out of.
	WithForgotten(ctx context.Context) (copies []CopyKept, aside []string, err error)
	// Renew takes such marks out of them, and gives of how many.
	Renew(ctx context.Context) (int, error)
}
