package tiles

import (
	"math"
	"slices"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
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
	Forming    Forming    // how it was made; a ring is measured inside
	MarkLength Millimetre // distance of the marks as laid out, 100 unless said
	Marks      int        // pairs of marks, or directions of a ring: 1 unless said
	MadeOn     string     // date, or empty
	By         string     // maker's mark
	Practice   bool       // a learner's bar, out of the fit
	Flags      []Flag     // any keeps the whole bar out of the fit
	Note       string

	Readings []Reading // in the order of entry, struck ones too
	Firings  []Heat    // every firing it went through, in order of time
	Assumed  Assumed   // of its clay, where no firing is known; a fit fills it in
}

// Reading is one length of one bar at one stage, or its masses. It is never changed:
// striking, confirming and counting are facts beside it.
type Reading struct {
	ID         string        // UUID made by the client
	Bar        Code          // code of the bar it was read on
	Mark       int           // which pair of marks, from 1
	Stage      Stage         // of the bar when it was measured
	Length     Millimetre    // exact value of AsTyped; 0 for a reading of masses
	AsTyped    string        // as somebody wrote it; the record keeps it for ever
	Unit       string        // mm, cm, in, 32nds: what AsTyped was read as
	Instrument string        // rule, calliper, ...
	Step       Millimetre    // smallest step of the instrument; 0 if not said
	Mass       *Mass         // in place of a length; nil: it is a length
	By         string        // maker's mark, or empty
	At         time.Time     // when it was measured, by the studio's clock
	Trusted    bool          // the clock could be trusted
	Queued     time.Duration // time the entry waited in an open page

	Unusual bool // was outside belief when it came
	// outside 0.72 to 1.01 of the wet length when it came: only the owner counts it
	Outside    bool
	EntryError EntryError      // the mistake that it looks like; empty if Unusual is false
	Question   message.Message // what was asked about it; empty if Unusual is false
	Confirmed  *Act            // by a second reading (Why is ReadAgain), or in a word
	Counted    *Act            // the owner lets it into the fit although it lies outside; nil: nobody did
	Struck     *Act            // somebody crossed it out; nil: nobody did
	Supersedes string          // id of the struck reading that it takes the place of
	Confirms   string          // id of the reading that it confirms and is confirmed by; of a new one
}

// ReadAgain is why a reading was confirmed that a second one, entered afresh, agrees with.
const ReadAgain = "read again"

// Act is who did something to a fact, when and why.
type Act struct {
	// maker's mark, or empty
	By string
	// needed of a strike and a count
	Why string
	// by the studio's clock
	At time.Time
}

// Mass of a piece for absorption, porosity and density (ASTM C373), in grams.
type Mass struct {
	Dry       float64 // the fired piece, dried
	Saturated float64 // g, the pores full of water, in air
	Suspended float64 // in water; 0 if not weighed
	Step      float64 // smallest step of the balance; 0 if not said
}

// Heat is one firing as one bar saw it: through the probe of its shelf.
type Heat struct {
	Load    string        // id; of an assumed heat a name that no load has
	Shelf   string        // where the bar lay; "" not said
	Kind    kiln.Kind     // of the load
	Kiln    kiln.KilnID   // in which it was fired
	Work    kiln.Celsius  // heat_work_c; NaN if there is no record yet
	ExtraSD float64       // doubt of this firing's own record, °C (one sd)
	Probe   string        // kiln and probe life, or empty
	ProbeSD float64       // doubt of that probe after this firing, °C (one sd); 0: not known
	Began   time.Time     // when it began; zero: no firing, or not known
	At      time.Time     // when it ended, or the load was unpacked
	Peak    time.Time     // when its peak was passed; zero: not known, or not yet
	Status  kiln.Status   // of the firing; empty: the load has none
	Firing  kiln.FiringID // empty: the load has none
	Assumed bool          // nobody told of it: see Assumption
}

// Passed is the moment from which on a length tells of this firing: when its peak was passed, else when it
// ended. Zero: not yet.
func (h Heat) Passed() time.Time {
	if !h.Peak.IsZero() {
		return h.Peak
	}
	return h.At
}

// Unfired reports whether nothing says that the load was fired: no firing, and no heat work was stated.
func (h Heat) Unfired() bool { return h.Firing == "" && h.Status == "" && !h.Work.Known() }

// Told reports whether the heat work is what somebody said of a load that has no firing.
func (h Heat) Told() bool { return h.Firing == "" && h.Status == "" && h.Work.Known() }

// ProbeDoubts is how sure the witness cones are by now of each life of a probe that fired one of the bars,
// °C (one sd). Lives that nobody knows the doubt of are left out.
func ProbeDoubts(bars []Bar) map[string]float64 {
	doubts, told := map[string]float64{}, map[string]time.Time{}
	for _, b := range bars {
		for _, h := range b.Firings {
			if h.Probe != "" && h.ProbeSD > 0 && !h.At.Before(told[h.Probe]) {
				doubts[h.Probe], told[h.Probe] = h.ProbeSD, h.At
			}
		}
	}
	return doubts
}

// Stages in the order in which clay goes through them.
func Stages() []Stage { return []Stage{Wet, Soft, Leather, Dry, Biscuit, Fired} }

// Before reports whether s comes earlier than t in the life of a piece.
func (s Stage) Before(t Stage) bool {
	all := Stages()
	return slices.Index(all, s) < slices.Index(all, t)
}

// Formings are all ways of making a bar.
func Formings() []Forming {
	return []Forming{Rolled, Extruded, Pulled, ThrownRing, CutWall, Cast, Pressed}
}

// Flags are all flags of a bar.
func Flags() []Flag { return []Flag{Bent, Bloated, GlazedMark, Broken} }

const (
	// UsualMarkLength is how far apart marks are laid out where nobody says (common practice, no source).
	UsualMarkLength Millimetre = 100
)

// Validate puts the texts of b into their usual form, fills in what is usual (marks 100 mm
// apart, one pair of them) and tells every fault.
func (b *Bar) Validate() error {
	var f Faults
	if b.Code == "" {
		f.Add(Missing, "bar", "is needed: its code")
	}
	f.ID("id", &b.ID)
	f.BatchRef("batch", b.BatchRef)
	OneOf(&f, "forming", b.Forming, Formings()...)
	if b.MarkLength == 0 {
		b.MarkLength = UsualMarkLength
	}
	f.Within("mark_length_mm", float64(b.MarkLength))
	if b.Marks == 0 {
		b.Marks = 1
	}
	f.Within("marks", float64(b.Marks))
	f.Date("made_on", b.MadeOn)
	f.Maker("by", &b.By)
	f.Text("note", &b.Note)
	for i, flag := range b.Flags {
		OneOf(&f, "flags", flag, Flags()...)
		if slices.Contains(b.Flags[:i], flag) {
			f.Add(GivenTwice, "flags", "{1} stands twice", string(flag))
		}
	}
	return f.Err()
}

// Validate puts the texts of r into their usual form and tells every fault of a reading of
// bar. Whether a length is believed is another question: see shrinkage.Judge.
func (r *Reading) Validate(bar Bar) error {
	var f Faults
	f.ID("id", &r.ID)
	f.IDOrNone("supersedes", &r.Supersedes)
	if r.Supersedes != "" && r.Supersedes == r.ID {
		f.Add(OutOfRange, "supersedes", "a reading cannot take its own place")
	}
	OneOf(&f, "stage", r.Stage, Stages()...)
	f.Text("instrument", &r.Instrument)
	f.Maker("by", &r.By)
	f.Within("queued_s", r.Queued.Seconds())
	// masses have no mark, no length and no unit
	if r.Mass != nil {
		f.mass(r)
		return f.Err()
	}
	if r.Mark == 0 {
		r.Mark = 1
	}
	if pairs := max(bar.Marks, 1); pairs == 1 && r.Mark != 1 {
		f.Add(OutOfRange, "mark", "is {1}, but this bar has one pair of lines", r.Mark)
	} else {
		f.Number("mark", float64(r.Mark), 1, float64(pairs))
	}
	f.Within("step_mm", float64(r.Step))
	if r.Length == 0 {
		f.Add(Missing, "length", "is needed")
	} else if math.IsNaN(float64(r.Length)) || r.Length < ShortestPiece || r.Length > LongestPiece {
		f.Add(UnitUnclear, "length", "is not within 5 to 2000 mm: which unit was meant?")
	}
	OneOf(&f, "unit", LengthUnit(r.Unit), lengthUnits[:]...)
	f.Needed("length", &r.AsTyped)
	return f.Err()
}

// mass checks the masses of a reading: no length beside them, and each no heavier than physics lets it
// be.
func (f *Faults) mass(r *Reading) {
	m := r.Mass
	f.Within("step_g", m.Step)
	f.Within("dry_g", m.Dry)
	f.Within("saturated_g", m.Saturated)
	f.Within("suspended_g", m.Suspended)
	switch {
	case r.Length != 0 || r.AsTyped != "":
		f.Add(GivenTwice, "mass_g", "a reading has a length or masses, not both")
	case m.Dry == 0:
		f.Add(Missing, "dry_g", "is needed")
	case m.Saturated == 0:
		f.Add(Missing, "saturated_g", "is needed")
	case m.Saturated+m.Step < m.Dry:
		f.Add(OutOfRange, "saturated_g", "less than dry_g: were they swapped?")
	case m.Suspended != 0 && m.Suspended >= m.Dry:
		f.Add(OutOfRange, "suspended_g", "not less than dry_g: were they swapped?")
	}
}

// Counts reports whether r may enter a fit: not struck, a length, and answered for if it
// was asked about. Soft and leather-hard lengths count too; the fit has no use for them.
func (r Reading) Counts() bool {
	switch {
	case r.Struck != nil || r.Mass != nil:
		return false
	case r.Outside:
		return r.Counted != nil
	case r.Unusual:
		return r.Confirmed != nil || r.Counted != nil
	}
	return true
}

// EntryError is a way in which a length is mistaken.
type EntryError string

// Slips, as they are told in answers.
const (
	InchAsMM         EntryError = "inch_as_mm"
	MMAsInch         EntryError = "mm_as_inch"
	TenTimes         EntryError = "ten_times"
	Tenth            EntryError = "tenth"
	DigitsSwapped    EntryError = "digits_swapped"
	DigitWrong       EntryError = "digit_wrong" // of the tens or hundreds
	AnotherBar       EntryError = "another_bar" // the length of another bar of the load
	LongerThanBefore EntryError = "longer_than_before"
	NotFiredYet      EntryError = "not_fired_yet"  // a length of before the firing
	FarFromClay      EntryError = "far_from_clay"  // from what the bars of the clay say
	FarFromUsual     EntryError = "far_from_usual" // from what clay usually loses: there is no fit to ask
)

// Needs is the act that lets r into a fit: count (the owner's) or confirm (a second reading, or the
// owner's word); empty if r counts, is struck or is of masses.
func (r Reading) Needs() string {
	switch {
	case r.Counts() || r.Struck != nil || r.Mass != nil:
		return ""
	case r.Outside:
		return "count"
	}
	return "confirm"
}

// InFit reports whether the readings of b may enter a fit: no flag, not a learner's bar.
func (b Bar) InFit() bool { return !b.Practice && len(b.Flags) == 0 }

// Hottest is the hottest heat work that b has seen up to the reading r, which is what a
// bisque or fired length counts at. It is false where that is not known: no firing of the
// reading's own sort (bisque; glaze or once) passed its peak before it, or one of those has no heat
// work. A firing of another sort without heat work is taken as the cooler one, as a bisque
// that nobody recorded is, and so is one that broke off. A firing that still heats has a zero time. Heat that
// somebody told of a load without a firing counts for a length of before too, where no firing came before
// that: it was told afterwards.
func (b Bar) Hottest(r Reading) (Heat, bool) {
	if r.Stage != Biscuit && r.Stage != Fired {
		return Heat{}, false
	}
	// through its firings in order of time
	var hottest, later Heat
	own, known := false, true
	for _, h := range b.Firings {
		// told after the length was read, of a load without a firing
		sort := Measures(h.Kind)
		if h.Told() && sort == r.Stage && h.Passed().After(r.At) && later.Load == "" {
			later = h
		}
		if h.Status == kiln.Incomplete && !h.Work.Known() { // it broke off below the one that came after
			continue
		}
		// not fired, not yet past its peak by then, or the glaze firing that came after a bisque length
		if h.Unfired() || h.Passed().IsZero() || h.Passed().After(r.At) ||
			r.Stage == Biscuit && sort == Fired {
			continue
		}
		// a firing of its own sort must be among them, and each of those have a heat work
		if sort == r.Stage || h.Kind == kiln.Other {
			own = true
		}
		if sort == r.Stage && !h.Work.Known() {
			known = false
		}
		if h.Work.Known() && (hottest.Load == "" || h.Work > hottest.Work) {
			hottest = h
		}
	}
	// nothing of before fits: what was told afterwards does
	if !own && later.Load != "" {
		if hottest.Load == "" || later.Work > hottest.Work {
			hottest = later
		}
		own = true
	}
	return hottest, own && known && hottest.Load != ""
}

// WetLength is the bar's wet length between its first marks as last read; 0 if it was not.
func (b Bar) WetLength() Millimetre { return b.WetLengthOf(1) }

// WetLengthOf is the same between marks of that number, from 1.
func (b Bar) WetLengthOf(mark int) Millimetre {
	wet := Millimetre(0)
	for _, r := range b.Readings {
		if r.Stage == Wet && max(r.Mark, 1) == mark && r.Counts() {
			wet = r.Length
		}
	}
	return wet
}

// Render is the word for s in the reader's language.
func (s Stage) Render(r message.Reader) string { return r.Word(string(s)) }

// Render is the word for f in the reader's language.
func (f Forming) Render(r message.Reader) string { return r.Word(string(f)) }
