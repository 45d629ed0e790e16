// Package usecase is what people do with the studio, without HTTP: ask a lid, enter a reading, log a firing,
// take in a table, hear what changed. Handlers, pages, commands with a store of their own and the daemon call
// it: a question or a fact comes in as a type of api/wire or of the trade, an answer goes out as one. It asks
// for what it needs by small interfaces (storage.go), of which the daemon's store, recorder and fit are one
// kind. What cannot be done is a Refusal, a form at fault a tiles.Invalid, the rest trouble with the machine.
//
// It knows no status code, no page and no SQL; time, ids and chance are handed in.
package usecase

import (
	"context"
	"slices"
	"strings"

	"lidwright/api/wire"
	"lidwright/kiln/message"
)

// Refusal is what a use case answers where it cannot do what was asked: its kind by name, in words what is
// wrong and what to do, and the fields at fault. Over HTTP it becomes a problem of that kind.
type Refusal struct {
	Kind   string // as "unknown-batch"; the table of problems has a title and a help for each
	Says   message.Message
	Fields []wire.Field
}

func (r *Refusal) Error() string { return r.Says.String() }

func refuse(kind string, says message.Message, fields ...wire.Field) *Refusal {
	return &Refusal{Kind: kind, Says: says, Fields: fields}
}

// refuseField is a Refusal for what one field holds.
func refuseField(kind, field string, why message.Message) *Refusal {
	return refuse(kind, message.New("{1}: {2}", field, message.Stopped(why)),
		wire.Field{Name: field, Says: why})
}

// ErrBusy means that the store cannot take anything now: locked, or the card is full. What
// was to be kept is not kept.
var ErrBusy = message.NewError("the store cannot take it now")

// UnknownWord refuses a word that is none of those known in a field.
func UnknownWord(field, got string, known ...string) *Refusal {
	return refuseField("unknown-value", field, message.New("not one of {1}", strings.Join(known, ", ")))
}

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
