package tiles

import "time"

// Change is one line of the record of all that happened.
type Change struct {
	Seq     int64     // never falls and never repeats
	Kind    string    // reading, bar, load, ...
	Op      string    // put, strike, restore, supersede, confirm, count, close, forget, begin, end, correct
	ID      string    // of what changed; for a put of something with a name, that name
	At      time.Time // by the studio's clock, put right later where it was not trusted
	Trusted bool      // the clock could be trusted
	Boot    string    // the running of the machine; a clock that was not trusted is put right for all of it
	Body    string    // what was said, as JSON
}

// StruckFact is a fact that somebody crossed out.
type StruckFact struct {
	Kind string    // reading, cone, note, lid_result, or load: one that was called off
	ID   string    // of the fact
	Of   string    // the bar of a reading, the firing of a cone or a note; else empty
	By   string    // maker's mark
	Why  string    // as given
	At   time.Time // when it was crossed out
}

// TakenBack is a crossing out of a reading that somebody restored.
type TakenBack struct {
	// id of the reading
	Reading string
	// who crossed it out, and who restored it
	Struck, Restored Act
}

// SaidSoFar counts what was said: readings by what came of them (counted, held, struck), lids by
// how they sat.
type SaidSoFar struct {
	// how many of each: counted, held, struck
	Readings map[string]int
	// how many sat in each way
	Lids map[string]int
}
