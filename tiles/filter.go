package tiles

import "lidwright/kiln"

// BarFilter narrows a list of bars down; what is empty lets all pass.
type BarFilter struct {
	Clay     ClayID  // empty: of any
	Batch    BatchID // of Clay
	Load     string  // id; bars that lie in it
	Waiting  bool    // a load that was fired waits for their measure
	Practice *bool   // learners' bars alone, or none of them; nil: both
	Code     Code    // one bar
	Codes    []Code  // these bars alone; empty: no such limit
	After    Code    // codes after this one, for lists in parts
	Limit    int     // 0: all
}

// LoadFilter narrows a list of loads down.
type LoadFilter struct {
	ID      string    // one load
	Number  int       // of the site; 0: any
	Kiln    string    // in which it was packed
	Waiting bool      // fired, with bars still to measure
	Open    bool      // not fired yet: the next firing of its kiln may take it
	In      bool      // packed or fired, and neither unpacked nor called off
	Kind    kiln.Kind // empty: any
	After   string    // older than the load of this id, for lists in parts
	Limit   int       // at most so many; 0: all
}
