// Package detect says from the judged readings of one kiln when a firing begins, goes on and is over: rises,
// tops, dips, stalls, early falls, which probe speaks, and a kiln that is still hot long after its end. In
// flow samples and facts that people tell; out flow events, and a Course on request. What past firings lead
// to expect is handed in as Past.
//
// It marks no reading bad (kiln/faults does) and keeps no curve (kiln/record does).
package detect

import (
	"time"

	"lidwright/kiln"
)

// Rules are the thresholds by which a Detector tells firings apart. None was tuned on a kiln.
type Rules struct {
	StartAbove kiln.Celsius    // a firing begins when the chamber passes this
	EndBelow   kiln.Celsius    // and is over when it falls below this; the lower of the two
	QuietAfter time.Duration   // without a good reading the kiln is Quiet
	Atmosphere kiln.Atmosphere // where neither a fact nor a load nor a past firing tells; empty: unknown
}

// DefaultRules are those of the settings file when nothing is set there.
func DefaultRules() Rules {
	return Rules{StartAbove: 60, EndBelow: 50, QuietAfter: 120 * time.Second}
}

// Detector finds the firings of one kiln in the good readings of its control channel: when one
// begins, what the kiln is doing, when it is over. It reckons with time since boot alone.
// Ware drawn hot, with the kiln opened at the top, is out of its scope: such a firing is begun
// and ended by the button.
//
// It is not safe for use by several goroutines.
type Detector struct {
	openFiring
	kiln kiln.Kiln

	axis    kiln.Ages
	ring    ring
	speaker speaker
	another bool   // another probe speaks from the open bin on
	good    moment // last good reading
	goodT   kiln.Celsius
	heard   bool // any good reading yet
	quiet   bool
	unknown bool // a restart of unknown length lies before the next bin

	slope      float64 // °C/h over the last 10 min
	slopeKnown bool
	state      kiln.State

	base  lowest        // lowest 10 min mean since the last firing or unpacking
	from  time.Duration // of the ring, nothing before this belongs to a new firing
	armed bool          // unpacked or asked: begins at any temperature
	held  bool          // recording was stopped by hand: waits until the kiln is no longer rising

	mark         kiln.Celsius
	markSaid     bool
	markPossible bool // a top was passed and nobody has unpacked since
	cooling      bool // an ended firing that nobody unpacked, above 40 °C

	warmFor, risingFor, coldFor, belowFor, stuckFor, markFor timer
}

// openFiring is the firing that goes on, if one does, and what is known of it or of the next one otherwise
// than by
// listening: settings, earlier firings, and what people said.
type openFiring struct {
	rules    Rules
	Past     Past
	kindFact kiln.Kind
	atmoFact kiln.Atmosphere
	loads    []Load // packed for this kiln or in it
	load     Load   // of the open firing, or of the last one

	fire    progress
	fell    fallen       // since it was hottest
	resumed *kiln.Firing // one to be taken up with the next bin
}

// moment is a stamp and its place on the detector's axis.
type moment struct {
	at  kiln.Stamp
	age time.Duration
}

// EventKind says what a Detector has found.
type EventKind string

const (
	Began        EventKind = "began"          // a firing, from Preroll on
	Over         EventKind = "over"           // the open firing, with its Course
	TopPassed    EventKind = "top-passed"     // may be taken back
	TopTakenBack EventKind = "top-taken-back" // a dip, or a cut that was mended
	Dipped       EventKind = "dipped"         // it fell and rises again: one firing with a dip
	StillFiring  EventKind = "still-firing"   // unpacked, it is said, with the top not passed: ask once
	FellEarly    EventKind = "fell-early"     // a fall that began well short of the usual top
	// to the temperature above which it is kept shut, for 10 min
	CooledDown      EventKind = "cooled-down"
	StartedStalling EventKind = "stopped-climbing" // well short of the usual top
	StoppedStalling EventKind = "climbing-again"   // or over
	StandsLow       EventKind = "stands-low"       // for half a day below 200 °C: candling, or forgotten
)

// Event is one thing that a Detector has found.
type Event struct {
	What    EventKind     // what was found
	At      kiln.Stamp    // the moment it is about, at or before the sample that showed it
	Preroll []kiln.Sample // Began: the ring's bins from the first rise, 10 s apart
	Reheat  bool          // Began, Over: risen again without unpacking, the load goes along
	Firing  kiln.FiringID // Began: the id asked for by the button, else ""
	Course  Course        // Over: the whole firing
	TooSoon bool          // CooledDown: sooner than it ever cooled, so that the probe may be wrong
	Known   bool          // FellEarly, StartedStalling: the kind was told, so that a message is worth sending
}

// Course is what a Detector knows of one firing. Ages count from Began; a gap of unknown
// length counts as a second.
type Course struct {
	Began     kiln.Stamp    // first rise, on the clock that is the firing's
	Over      kiln.Stamp    // zero while running
	Status    kiln.Status   // Running until the end is seen
	AtLeast   bool          // its end was not heard
	Top       bool          // the top is passed
	Peak      kiln.Celsius  // highest running median of five bins, °C
	PeakAfter time.Duration // age of the peak
	ToTop     time.Duration // first rise to the first bin within 3 °C of the peak
	Length    time.Duration // first rise to the last good reading, or to the end
	Dips      []kiln.Dip    // in order; ages from Began
	Stalled   bool          // it stands still short of its usual top, now
	FellEarly bool          // its fall began well short of its usual top

	Kind       kiln.Kind       // as told, "" if nobody did
	KindFrom   string          // FromFact, FromLoad or ""
	Atmosphere kiln.Atmosphere // as told, else that of the last firing or the settings
	Load       string          // id of the load, "" if none
}

// NewDetector watches k.
func NewDetector(k kiln.Kiln, rules Rules, past Past) *Detector {
	return &Detector{kiln: k, openFiring: openFiring{rules: rules, Past: past}, mark: k.KeepShut,
		ring: ring{width: len(k.Channels)}, speaker: newSpeaker(k)}
}

// Add takes the next sample, already judged. A sample that is not later than the one before
// it is passed over.
func (d *Detector) Add(s kiln.Sample) []Event {
	j, ok := d.axis.Next(s.At)
	if !ok {
		return nil
	}
	var events []Event
	// which probe speaks is settled before the reading counts
	changed := d.speaker.hear(s)
	v, ok := s.Value(d.speaker.now)
	good := ok && v.Fault == kiln.Good && v.T.Known()
	if d.ring.closes(s.At) || changed && d.ring.open {
		events = d.close()
	}
	d.another = d.another || changed
	d.unknown = d.unknown || !j.Known // before the bin that begins now
	// bad readings make no bin, but the gaps that they leave are seen
	d.ring.add(s, d.kiln, d.speaker.now, j.Age)
	if good {
		d.good, d.goodT, d.heard, d.quiet = moment{s.At, j.Age}, v.T, true, false
	}
	return append(events, d.hush(j.Age)...)
}

// Tick tells that time has gone by without a sample.
func (d *Detector) Tick(now kiln.Stamp) []Event {
	j, ok := d.axis.Peek(now)
	if !ok || !d.axis.Begun || !j.Known {
		return nil
	}
	var events []Event
	if d.ring.closes(now) {
		events = d.close()
	}
	return append(events, d.hush(j.Age)...)
}

// hush looks at how long nothing good was heard.
func (d *Detector) hush(age time.Duration) []Event {
	if !d.heard {
		return nil
	}
	silent := age - d.good.age
	d.quiet = silent >= d.rules.QuietAfter
	if d.fire.open && silent >= unheardCloses {
		return d.closeUnheard(d.good)
	}
	return nil
}

// close makes the open bin the newest of the ring and asks every rule.
func (d *Detector) close() []Event {
	b, ok := d.ring.close()
	if !ok {
		return nil
	}
	return d.look(b)
}

// State is what the kiln is doing.
func (d *Detector) State() kiln.State {
	switch {
	case d.quiet || !d.heard:
		return kiln.Quiet
	case d.state != "":
		return d.state
	case d.goodT < ColdBelow:
		return kiln.Cold
	}
	return kiln.Warm
}

// Speaks is the probe that speaks for the kiln, and since when it does so in the place of the control
// probe; the zero Stamp where it is that itself.
func (d *Detector) Speaks() (kiln.ChannelID, kiln.Stamp) { return d.speaker.now, d.speaker.since }

// Rate is the slope of the last 10 min, in °C/h; ok is false while it is not known.
func (d *Detector) Rate() (rate kiln.CelsiusPerHour, ok bool) {
	return kiln.CelsiusPerHour(d.slope), d.slopeKnown
}

// Course is that of the open firing, and whether there is one.
func (d *Detector) Course() (Course, bool) {
	if !d.fire.open {
		return Course{}, false
	}
	return d.report(d.good), true
}

// report is the progress of the open firing, as it was at now.
func (d *Detector) report(now moment) Course {
	c := d.fire.report(now)
	c.Kind, c.KindFrom = d.Kind()
	c.Atmosphere, c.Load = d.Atmosphere(), d.Load()
	return c
}

// Kind is what the load or a fact says of the open or the next firing, "" if nobody said.
func (d *openFiring) Kind() (kind kiln.Kind, from string) {
	switch {
	case d.kindFact != "":
		return d.kindFact, FromFact
	case d.now().Kind != "":
		return d.now().Kind, FromLoad
	}
	return "", ""
}

// Where the kind of a firing comes from.
const (
	FromFact    = "fact"
	FromLoad    = "load"
	FromGuessed = "guessed"
)

// Atmosphere comes from a fact or the load, else it is that of the kiln's last firing, else that of
// the settings.
func (d *openFiring) Atmosphere() kiln.Atmosphere {
	for _, a := range []kiln.Atmosphere{d.atmoFact, d.now().Atmosphere,
		d.Past.Atmosphere, d.rules.Atmosphere} {
		if a != "" && a != kiln.UnknownAtmosphere {
			return a
		}
	}
	return kiln.UnknownAtmosphere
}

// Load is the load of the open firing, or the one that the next will take; "" if none.
func (d *openFiring) Load() string { return d.now().ID }

// now is the load of the open firing, or the one that the next will take: the only one that is packed and not
// fired. Where there are two nobody knows which.
func (d *openFiring) now() (only Load) {
	if d.fire.open || d.resumed != nil {
		return d.load
	}
	for _, l := range d.loads {
		switch {
		case l.Fired:
		case only.ID != "":
			return Load{}
		default:
			only = l
		}
	}
	return only
}
