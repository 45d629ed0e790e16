package usecase

import (
	"context"
	"slices"
)

// Precondition is what an edit asks of what stands there. The zero value asks nothing.
type Precondition struct {
	Revision  int64   // must be this one; 0: any
	Revisions []int64 // or must be among these, of which there may be none; nil: any
	There     bool    // something must stand there
	New       bool    // nothing may stand there yet
}

// Names reports whether the asker named what he saw.
func (m Precondition) Names() bool { return m.Revision != 0 || m.Revisions != nil }

// Takes reports whether revision rev is as asked; 0 stands for nothing there yet.
func (m Precondition) Takes(rev int64) bool {
	switch {
	case m.New && rev != 0, m.There && rev == 0, m.Revision != 0 && m.Revision != rev:
		return false
	}
	return m.Revisions == nil || slices.Contains(m.Revisions, rev)
}

// PreconditionKey is the key under which a precondition comes along with a context.
type PreconditionKey struct{}

// PreconditionOf is what the asker of a change asks of what stands there; nothing, if he does not say.
func PreconditionOf(ctx context.Context) Precondition {
	m, _ := ctx.Value(PreconditionKey{}).(Precondition)
	return m
}
