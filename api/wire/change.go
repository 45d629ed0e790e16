package wire

// Change is one thing that was said or found. Whoever follows a site stores (site, life, seq).
type Change struct {
	Seq          int64          `json:"seq" doc:"Never falls and never repeats within a life of the record"`
	Kind         string         `json:"kind" doc:"kiln, probe, mark, firing, cone, note, tick, load, bar, reading, clay, batch, pot, lid_result, move, boot"`
	Op           string         `json:"op" enum:"put,strike,restore,supersede,confirm,count,close,forget,begin,end,correct" doc:"What people said: put to close. forget: a maker's mark was taken out, of the changes and members that blanked names. begin, end: of a firing that a line hears. correct: times or heat work of a firing, or the clock of a boot: at of all its changes that were not trusted moved by by_ms"`
	ID           string         `json:"id" doc:"UUID of the fact; the name of a clay, tern/B of a batch, the code of a bar; a running of the machine of kind boot"`
	At           *string        `json:"at"`
	ClockTrusted bool           `json:"clock_trusted"`
	Boot         string         `json:"boot" doc:"The running of the machine; while its clock is not trusted, at may be put right later"`
	Body         map[string]any `json:"body" doc:"What was said or found"`
}

// Changes is a part of the record of all that happened, in order.
type Changes struct {
	Site  string   `json:"site" doc:"UUID of the record"`
	Life  string   `json:"life" doc:"UUIDv7; when it is another one than before, begin at 0: the record went back to an earlier moment"`
	Items []Change `json:"items"`
	Next  int64    `json:"next" doc:"Ask after this number next time"`
	More  bool     `json:"more" doc:"There is more already"`
}
