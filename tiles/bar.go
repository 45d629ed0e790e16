package tiles

import (
	"time"

	"lidwright/kiln"
)

// Stage of clay, from plastic to finished.
type Stage string

const (
	Wet     Stage = "wet"
	Soft    Stage = "soft" // stiffening, not yet leather-hard
	Leather Stage = "leather"
	Dry     Stage = "dry" // bone-dry
	Biscuit Stage = "bisque"
	Fired   Stage = "fired" // finished: after the glaze firing, or a single one
)

// Forming says how a piece was made.
type Forming string

const (
	Rolled     Forming = "rolled"
	Extruded   Forming = "extruded"
	Pulled     Forming = "pulled"
	ThrownRing Forming = "thrown_ring" // measured inside, in two directions
	CutWall    Forming = "cut_wall"
	Cast       Forming = "cast"
	Pressed    Forming = "pressed"
)

// Flag keeps a bar out of the fit, and on record.
type Flag string

const (
	Bent       Flag = "bent"
	Bloated    Flag = "bloated"
	GlazedMark Flag = "glazed_mark"
	Broken     Flag = "broken"
)

// Code is scratched into a bar: 2 or 3 characters that cannot be misread.
type Code string

// Bar is any test piece with two marks.
type Bar struct {
	Code Code
	ID   string // UUID
	BatchRef
	Forming    Forming
	MarkLength Millimetre // distance of the marks as laid out, 100 unless said
	Marks      int        // pairs of marks, or directions of a ring: 1 unless said
	MadeOn     string     // date, or empty
	By         string     // maker's mark
	Practice   bool       // a learner's bar, out of the fit
	Flags      []Flag
	Note       string

	Readings []Reading // in the order of entry, struck ones too
	Firings  []Heat    // every firing it went through, in order of time
}

// Reading is one length of one bar at one stage, or its masses. It is never changed:
// striking, confirming and counting are facts beside it.
type Reading struct {
	ID         string // UUID made by the client
	Bar        Code
	Mark       int // which pair of marks, from 1
	Stage      Stage
	Length     Millimetre // exact value of AsTyped; 0 for a reading of masses
	AsTyped    string
	Unit       string     // mm, cm, in, 32nds: what AsTyped was read as
	Instrument string     // rule, calliper, ...
	Step       Millimetre // smallest step of the instrument; 0 if not said
	Mass       *Mass
	By         string
	At         time.Time
	Trusted    bool          // the clock could be trusted
	Queued     time.Duration // time the entry waited in an open page

	Unusual    bool // was outside belief when it came
	Confirmed  *Act
	Counted    *Act
	Struck     *Act
	Supersedes string // id of the struck reading that it takes the place of
}

// Act is who did something to a fact, when and why.
type Act struct {
	By  string
	Why string
	At  time.Time
}

// Mass of a piece for absorption, porosity and density (ASTM C373), in grams.
type Mass struct {
	Dry       float64 // the fired piece, dried
	Saturated float64
	Suspended float64 // in water; 0 if not weighed
}

// Heat is one firing as one bar saw it: through the probe of its shelf.
type Heat struct {
	Load    string
	Shelf   string
	Kind    kiln.Kind
	Kiln    kiln.KilnID
	Work    kiln.Celsius // heat_work_c; NaN if there is no record yet
	ExtraSD float64      // doubt of this firing's own record, °C (one sd)
	Probe   string       // kiln and probe life, or empty
	At      time.Time    // when it ended, or the load was unpacked
}
