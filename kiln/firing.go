package kiln

import (
	"fmt"
	"time"

	"lidwright/kiln/message"
)

// FiringID is a UUIDv7 made where the firing is first known.
type FiringID string

// Kind of a firing and of a load.
type Kind string

const (
	Bisque Kind = "bisque"
	Glaze  Kind = "glaze"
	Once   Kind = "once" // single fired
	Other  Kind = "other"
)

// Atmosphere in the chamber; the usual firings are kept apart by it.
type Atmosphere string

const (
	Oxidation         Atmosphere = "oxidation"
	Reduction         Atmosphere = "reduction"
	UnknownAtmosphere Atmosphere = "unknown"
)

// State is what a kiln is doing now, one at a time.
type State string

const (
	Quiet   State = "no_reading" // no good reading for too long
	Cold    State = "cold"       // below 40 °C and not rising
	Soaking State = "soaking"    // flat near the top
	Falling State = "cooling"    // the top passed
	Rising  State = "heating"
	Holding State = "holding" // flat and not near the top
	Warm    State = "warm"    // 40 °C and more with no firing open
)

// Status of a firing.
type Status string

const (
	Running    Status = "running"
	Ended      Status = "ended"
	Incomplete Status = "incomplete" // ended short of a top: kept, shown, out of the fit
)

// Dip is a fall and rise again inside one firing.
type Dip struct {
	From, To time.Duration // ages
	Lowest   Celsius       // the coolest bin of it
}

// Hold is a time at one temperature.
type Hold struct {
	At    Celsius       // mean of its readings
	For   time.Duration // at least 10 min where a curve tells it
	After time.Duration // age at which it begins, where that is known
}

// Firing is one heating of a kiln and what is known of it without its curve.
type Firing struct {
	ID     FiringID
	Number int // counts up for a kiln, from 1; with the kiln it makes the name, "big-blue 143"
	// in which it was recorded or logged
	Kiln       KilnID
	Kind       Kind   // "" while neither told nor guessed
	KindFrom   string // fact, load, guessed
	Atmosphere Atmosphere
	Source     string // serial, hand, import
	Status     Status
	Load       string // id of the load attached, or empty
	Note       string // of the firing as a whole; notes of its course are kept apart

	Began Stamp // the first rise
	Over  Stamp // when it ended; zero while running

	Peak      Celsius       // of the control channel; NaN if it has no curve
	PeakAfter time.Duration // age of the peak
	ToTop     time.Duration // first rise to the first bin within 3 °C of the top; 0 while not known
	Length    time.Duration // first rise to the end, or so far
	Dips      []Dip         // in order; their ages count from Began
	Gaps      []Gap         // of the control channel or of its stand-in, in order
	Good      int           // samples that were good on the control channel
	// how many readings of all channels were marked with each fault; they are in no figure here
	Faulty    map[Fault]int
	AtLeast   bool                   // heat work is a lower bound: the end was not heard
	HeatWork  map[ChannelID]HeatWork // as indicated; of a firing by hand under ByHandChannel
	Corrected map[Place]HeatWork     // with what the witness cones say of the probe
	Told      HandTold               // of a firing by hand
	// a probe that spoke in the control probe's place at the end, or so far
	StandIn     StandIn
	Provisional bool // cooling or not unpacked yet: its heat work may still grow
}

// UndoFor is how long a person can take back that a record was stopped, that another one was begun in its
// place, or that a load was unpacked (own).
const UndoFor = 10 * time.Minute

// NoConeMoves is the peak below which no cone moves and no ware is fired, °C (own).
const NoConeMoves Celsius = 550

// Whole reports whether f fired what was in it: it ended whole, and was no candling and no tripped switch,
// which stay below 550 °C. One logged by hand is taken at its word.
func (f Firing) Whole() bool {
	return f.Status == Ended && (f.Source == "hand" || !(f.Peak < NoConeMoves))
}

// PeakPassed is the moment from which on its heat work stands, as far as anything after it changes it: when
// its peak was passed, else when it ended. Zero: not yet, or not known.
func (f Firing) PeakPassed() time.Time {
	switch {
	case f.PeakAfter > 0 && !f.Began.Wall.IsZero():
		return f.Began.Wall.Add(f.PeakAfter)
	case f.Status != Running:
		return f.Over.Wall
	}
	return time.Time{}
}

// ErrNoFiring means that no firing has that id.
var ErrNoFiring = message.NewError("no such firing")

// FiringFilter narrows a list of firings down; what is empty lets all pass.
type FiringFilter struct {
	Kiln       KilnID // "" lets all pass, as in the next three
	Kind       Kind
	Atmosphere Atmosphere
	Status     Status
	Before     time.Time // began before this
	Limit      int       // at most so many, before kind and atmosphere are looked at; 0: all
}

// Name is what people call the firing: its kiln and number, the kiln alone before it has one.
func (f Firing) Name() string {
	if f.Number == 0 {
		return string(f.Kiln)
	}
	return fmt.Sprintf("%s %d", f.Kiln, f.Number)
}

// Work is the heat work of a channel: corrected by the cones where that was worked out, else as
// indicated, else that of a firing by hand. ok is false if there is none.
func (f Firing) Work(channel ChannelID) (HeatWork, bool) { return f.WorkOn(channel, "") }

// WorkOn is Work as the cones of a shelf show it, if any stood there.
func (f Firing) WorkOn(channel ChannelID, shelf string) (HeatWork, bool) {
	if f.StandIn.Probe != "" && channel == f.StandIn.For {
		channel = f.StandIn.Probe
	}
	for _, p := range []Place{{channel, shelf}, {channel, ""}} {
		if w, ok := f.Corrected[p]; ok {
			return w, true
		}
	}
	if w, ok := f.HeatWork[channel]; ok {
		return w, true
	}
	w, ok := f.HeatWork[ByHandChannel]
	return w, ok
}

// Place is where a heat work was felt: what a channel says, as the cones of one shelf show it.
type Place struct {
	Channel ChannelID
	Shelf   string // "": wherever most cones of that channel stood
}

// HandTold is what was told of a firing by hand beside its times, its curve and its cones.
type HandTold struct {
	Sitter       string    // cone in the sitter
	SitterSeries Series    // "" is small
	Dropped      time.Time // when it dropped; zero: not told
	Intended     string    // cone that was meant to be reached
}

// ByHandChannel is the channel of a typed curve.
const ByHandChannel ChannelID = "hand"

// Series is a kind of pyrometric cone. Two series do not mix: cones of one name end up to
// 54 °C apart.
type Series string

// StandIn is a probe that spoke in the place of the control probe at the end of a firing.
type StandIn struct {
	Probe ChannelID     // "" where the control probe spoke
	For   ChannelID     // the control probe
	After time.Duration // age from which it spoke
}

// Render is the word for k in the reader's language.
func (k Kind) Render(r message.Reader) string { return r.Word(string(k)) }

// Render is the word for a in the reader's language.
func (a Atmosphere) Render(r message.Reader) string { return r.Word(string(a)) }
