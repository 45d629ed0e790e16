package tiles

import (
	"time"

	"lidwright/kiln"
)

// Load is one packing of a kiln.
type Load struct {
	ID         string          // UUID
	Number     int             // counts up for the site: "Load 14"
	Kiln       kiln.KilnID     // in which it is packed
	Kind       kiln.Kind       // what it is fired as
	Atmosphere kiln.Atmosphere // likewise
	Firing     kiln.FiringID   // the firing attached last, or empty
	Firings    []kiln.Firing   // all it went through, oldest first; of one not known here the id alone
	PackedBy   string          // maker's mark, or empty
	Opened     time.Time       // when it was begun
	Unpacked   time.Time       // zero until unpacked
	CalledOff  time.Time       // nobody fired it, and nobody will; zero: it was not called off
	Stated     kiln.Celsius    // heat work stated by hand where no firing can be attached; 0 or NaN: none
	Note       string          // free text
	Bars       []Placed        // at most 500, each once
}

// Placed is a bar on a shelf.
type Placed struct {
	// its code
	Bar Code
	// "" not said: it had the heat of the control probe
	Shelf string
}

// BarMove is a bar that goes from one load into another.
type BarMove struct {
	Bar   Code   // its code
	From  string // id of a load; empty: from none
	To    string // empty: into none
	Shelf string // in the load that it goes into
}

// Kinds and Atmospheres of loads and firings.
var (
	kinds       = []kiln.Kind{kiln.Bisque, kiln.Glaze, kiln.Once, kiln.Other}
	atmospheres = []kiln.Atmosphere{kiln.Oxidation, kiln.Reduction, kiln.UnknownAtmosphere}
)

const (
	mostBars = 500 // bars in one load
)

// Validate puts the texts of l into their usual form and tells every fault.
func (l *Load) Validate() error {
	var f Faults
	f.ID("id", &l.ID)
	f.name("kiln", string(l.Kiln))
	OneOf(&f, "kind", l.Kind, kinds...)
	OneOf(&f, "atmosphere", l.Atmosphere, atmospheres...)
	f.IDOrNone("firing", (*string)(&l.Firing))
	f.Maker("packed_by", &l.PackedBy)
	f.Text("note", &l.Note)
	if l.Stated.Known() && l.Stated != 0 {
		f.Within("heat_work_c", float64(l.Stated))
	}
	if len(l.Bars) > mostBars {
		f.Add(OutOfRange, "bars", "has more than 500")
	}
	seen := map[Code]bool{}
	for i := range l.Bars {
		p := &l.Bars[i]
		f.Needed("bars.bar", (*string)(&p.Bar))
		f.Text("bars.shelf", &p.Shelf)
		if seen[p.Bar] {
			f.Add(GivenTwice, "bars", "{1} lies in this load twice", string(p.Bar))
		}
		seen[p.Bar] = true
	}
	return f.Err()
}

// Kinds are all kinds of load, in the order in which they are counted.
func Kinds() []kiln.Kind { return kinds }

// Measures is the stage that bars have after a firing of this kind, or empty for a kind
// that says nothing about it.
func Measures(k kiln.Kind) Stage {
	switch k {
	case kiln.Bisque:
		return Biscuit
	case kiln.Glaze, kiln.Once:
		return Fired
	}
	return ""
}
