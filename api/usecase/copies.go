package usecase

import (
	"context"
	"time"
)

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
