package tiles

import (
	"errors"
	"slices"
	"time"

	"lidwright/kiln"
)

// Errors of facts that cannot be kept as they were said, and of things that are not there.
var (
	ErrIDUsed    = errors.New("this id already stands for something else")
	ErrCodeTaken = errors.New("this code already stands on another bar")
	ErrChanged   = errors.New("it was changed meanwhile")

	// ErrBusy means that the store cannot take anything now: locked, or the card is full. What
	// was to be kept is not kept.
	ErrBusy = errors.New("the store cannot take it now")

	ErrNoClay    = errors.New("no such clay")
	ErrNoBatch   = errors.New("no such batch")
	ErrNoBar     = errors.New("no such bar")
	ErrNoReading = errors.New("no such reading")
	ErrNoLoad    = errors.New("no such load")
	ErrNoPot     = errors.New("no such pot card")
	ErrNoVerdict = errors.New("no such verdict")
	ErrNoCone    = errors.New("no such cone")
	ErrNoNote    = errors.New("no such note")
)

// Kept says what became of a fact that was put.
type Kept struct {
	Revision int64 // of the clay, batch, bar, load or pot card; of a fact the number of its change
	New      bool  // it was kept now; false: the very same was said before, and nothing was written
}

// Match is what an edit asks of what stands there. The zero value asks nothing.
type Match struct {
	Revision  int64   // must be this one; 0: any
	Revisions []int64 // or must be among these, of which there may be none; nil: any
	There     bool    // something must stand there
	New       bool    // nothing may stand there yet
}

// Names reports whether the asker named what he saw.
func (m Match) Names() bool { return m.Revision != 0 || m.Revisions != nil }

// Takes reports whether revision rev is as asked; 0 stands for nothing there yet.
func (m Match) Takes(rev int64) bool {
	switch {
	case m.New && rev != 0, m.There && rev == 0, m.Revision != 0 && m.Revision != rev:
		return false
	}
	return m.Revisions == nil || slices.Contains(m.Revisions, rev)
}

// KeptClay is a clay with its revision.
type KeptClay struct {
	Clay
	Revision int64
}

// KeptBatch is a batch with its revision.
type KeptBatch struct {
	Batch
	Revision int64
}

// KeptBar is a bar with its readings, firings and revision.
type KeptBar struct {
	Bar
	Revision int64
}

// KeptLoad is a load with its revision and how many of its bars wait to be measured.
type KeptLoad struct {
	Load
	Revision int64
	Waiting  int
}

// BarFilter narrows a list of bars down; what is empty lets all pass.
type BarFilter struct {
	Clay     ClayID
	Batch    BatchID
	Load     string
	Waiting  bool  // a load that was fired waits for their measure
	Practice *bool // learners' bars alone, or none of them; nil: both
	Code     Code  // one bar
	Codes    []Code
	After    Code // codes after this one, for lists in parts
	Limit    int  // 0: all
}

// LoadFilter narrows a list of loads down.
type LoadFilter struct {
	ID      string
	Kiln    string
	Waiting bool      // fired, with bars still to measure
	Open    bool      // no firing and not unpacked
	Kind    kiln.Kind // empty: any
	After   string    // older than the load of this id, for lists in parts
	Limit   int
}

// KeptPot is a pot card with its revision.
type KeptPot struct {
	PotCard
	Revision int64
}

// KeptProbe is the life of a probe with its revision.
type KeptProbe struct {
	ProbeLife
	Revision int64
}

// PotFilter narrows a list of pot cards down.
type PotFilter struct {
	ID    string
	Form  string
	Find  string // words, each of which stands in the mark, number, form or date
	After string // said before the card of this id, for lists in parts
	Limit int    // 0: all
}

// VerdictFilter narrows a list of boards of lids down.
type VerdictFilter struct {
	ID    string
	Form  string
	Clay  ClayID // of body or lid
	Load  string
	After string // said before the board of this id, for lists in parts
	Limit int    // 0: all
}

// Tally is what the boards of one form, its two clays and maker come to, struck ones left out.
type Tally struct {
	PartGroup
	Boards int
	Sat    Sat
	Losses Losses
}

// Change is one line of the record of all that happened.
type Change struct {
	Seq     int64  // never falls and never repeats
	Kind    string // reading, bar, load, ...
	Op      string // put, strike, supersede, confirm, count, close, forget, begin, end, correct
	ID      string
	At      time.Time
	Trusted bool   // the clock could be trusted
	Boot    string // the running of the machine; a clock that was not trusted is put right for all of it
	Body    string // what was said, as JSON
}

// SaidSoFar counts what was said: readings by what came of them (counted, held, struck), lids by
// verdict.
type SaidSoFar struct {
	Readings map[string]int
	Verdicts map[string]int
}
