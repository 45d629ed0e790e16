package tiles

import "time"

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
