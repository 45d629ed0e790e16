package tiles

import "time"

// Change is one line of the record of all that happened.
type Change struct {
	Seq     int64  // never falls and never repeats
	Kind    string // reading, bar, load, ...
	Op      string // put, strike, restore, supersede, confirm, count, close, forget, begin, end, correct
	ID      string
	At      time.Time
	Trusted bool   // the clock could be trusted
	Boot    string // the running of the machine; a clock that was not trusted is put right for all of it
	Body    string // what was said, as JSON
}

// StruckFact is a fact that somebody crossed out.
type StruckFact struct {
	Kind string // reading, cone, note, lid_result, or load: one that was called off
	ID   string
	Of   string // the bar of a reading, the firing of a cone or a note; else empty
	By   string
	Why  string
	At   time.Time
}

// TakenBack is a crossing out of a reading that somebody restored.
type TakenBack struct {
	Reading          string
	Struck, Restored Act
}

// SaidSoFar counts what was said: readings by what came of them (counted, held, struck), lids by
// how they sat.
type SaidSoFar struct {
	Readings map[string]int
	Lids     map[string]int
}
