package usecase

import (
	"context"
	"fmt"
	"time"
)

// StoreTrouble is all that is wrong with the store, each in a sentence.
func (s *Studio) StoreTrouble(h StoreHealth, err error) []string {
	trouble := h.Trouble
	if err != nil {
		trouble = append(trouble, Sentence(err.Error()))
	}
	if t, ok := s.Recorder.Trouble(); ok {
		says := fmt.Sprintf("The store cannot write: %s Recording goes on in memory, %d samples so far; entries are refused.", Sentence(t.Why), t.Waiting)
		if t.Thinned > 0 {
			says += fmt.Sprintf(" To make room, %d of them were given up.", t.Thinned)
		}
		trouble = append(trouble, says)
	}
	return trouble
}

// StoreAlarm is what everybody must know of the store, each in a sentence.
func (s *Studio) StoreAlarm() []string {
	if s.Store == nil { // nobody looks after it
		return nil
	}
	h, err := s.Store()
	if err != nil {
		return []string{Sentence(err.Error())}
	}
	for i := range h.Alarm {
		h.Alarm[i] = Sentence(h.Alarm[i])
	}
	return h.Alarm
}

// StoreWords are lines about the store for the page More, and what is wrong with it.
func (s *Studio) StoreWords() (words, trouble []string) {
	h, err := s.Store()
	trouble = s.StoreTrouble(h, err)
	if err == nil {
		words = append(words, fmt.Sprintf("%.1f MB kept, %.1f GB free", float64(h.Bytes)/1e6, float64(h.Free)/1e9))
	}
	switch {
	case h.Copies == 0:
		words = append(words, "no copy yet: the first is made at the end of a firing, or after a day")
	default:
		words = append(words, fmt.Sprintf("%d %s, the newest of %s", h.Copies, oneOf(h.Copies == 1, "copy", "copies"), h.LastCopy.In(s.Site.Zone).Format("2 Jan 2006 15:04")))
	}
	return words, trouble
}

func oneOf(first bool, a, b string) string {
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
