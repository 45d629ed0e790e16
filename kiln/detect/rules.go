package detect

import (
	"slices"
	"time"

	"lidwright/kiln"
)

// The numbers of the rules. Rates in °C/h.
const (
	ColdBelow     = 40 // °C
	nearTop       = 50 // °C below the usual top
	topUnknown    = 900
	unheardCloses = 24 * time.Hour
	dipWithin     = 2 * time.Hour
	silentWithin  = 2 * time.Hour
	steepest      = 300.0 // °C/h, more than a kiln climbs unheard
	lasting       = 10 * time.Minute
)

// look asks every rule of the newest bin.
func (d *Detector) look(b bin) []Event {
	events := d.afterSilence(b)
	d.ring.keep(b)
	if d.resumed != nil {
		d.takeUp(b)
	}
	d.slope, d.slopeKnown = d.ring.slope()
	rising := d.risingFor.hold(d.slopeKnown && d.slope > kiln.FlatRate, b)
	d.base.add(b.age, d.ring.mean(d.from))
	if !d.fire.open {
		events = append(events, d.begin(b, rising)...)
	}
	if d.fire.open {
		events = append(events, d.follow(b)...)
	}
	if d.fire.open {
		events = append(events, d.riseAgain(b, rising)...)
	}
	// the state goes by whether a firing is open now
	d.state = d.stateNow(b)
	d.fire.seen(d.state, b)
	if d.fire.open {
		events = append(events, d.stall(b)...)
		events = append(events, d.end(b)...)
	}
	return append(events, d.cooledDown(b)...)
}

// begin opens a firing where the kiln rises long and far enough above its lowest of late, nobody having
// pressed the button.
func (d *Detector) begin(b bin, rising time.Duration) []Event {
	base, ok := d.base.value()
	warm := d.warmFor.hold(b.t >= d.rules.StartAbove, b)
	// stopped by hand: it waits until the kiln is cold enough or has stopped rising
	if d.held {
		d.held = b.t >= d.rules.StartAbove || !d.slopeKnown || d.slope > kiln.FlatRate
		return nil
	}
	// warm for 3 min and 25 °C up; armed by a person: any rise of 10 °C that lasts
	up := float64(b.t) - base
	if !ok || !(warm >= 3*time.Minute && up >= 25 || d.armed && rising >= lasting && up >= 10) {
		return nil
	}
	return []Event{d.open(d.firstRise(kiln.Celsius(base)), "", false)}
}

// firstRise is the last bin at or below base + 2, or within 2 °C of the lowest bin, where a
// fall turned at once into a rise and no 10 min were as low.
func (d *Detector) firstRise(base kiln.Celsius) bin {
	bins := d.ring.since(d.from)
	for _, b := range bins {
		base = min(base, b.t)
	}
	for _, b := range slices.Backward(bins) {
		if b.t <= base+2 {
			return b
		}
	}
	if len(bins) == 0 {
		return d.ring.bins[len(d.ring.bins)-1]
	}
	return bins[0]
}

// open begins a firing with the bin first; those after it are its first points. again says that it is a
// reheat: what is in the kiln goes along. Any other takes the only load that is packed and not fired.
func (d *Detector) open(first bin, id kiln.FiringID, again bool) Event {
	if in := d.load.ID; !again || !slices.ContainsFunc(d.loads, func(l Load) bool { return l.ID == in }) {
		d.load = d.now()
	}
	bins := d.ring.since(first.age)
	// what it rose from, for how far it must climb to have a top
	base, ok := d.base.value()
	if !ok {
		base = float64(first.t)
	}
	d.fire = newProgress(first, min(base, float64(first.t)))
	d.armed, d.held, d.cooling, d.markSaid, d.markPossible = false, false, false, false, false
	d.warmFor, d.coldFor, d.belowFor, d.stuckFor, d.markFor = timer{}, timer{}, timer{}, timer{}, timer{}
	d.fell = fallen{}
	e := Event{What: Began, At: first.at, Firing: id, Preroll: make([]kiln.Sample, 0, len(bins))}
	for _, b := range bins {
		d.fire.climb(b, b.t)
		e.Preroll = append(e.Preroll, d.sampleOf(b))
	}
	return e
}

// sampleOf makes a sample of a bin.
func (d *Detector) sampleOf(b bin) kiln.Sample {
	s := kiln.Sample{Kiln: d.kiln.ID, At: b.at}
	for i, c := range d.kiln.Channels {
		if b.all[i].Known() {
			s.Values = append(s.Values, kiln.Value{Channel: c.ID, T: b.all[i]})
		}
	}
	return s
}

// near reports whether t is near the top of the firing, as far as its kind is known.
func (d *openFiring) near(t kiln.Celsius) bool {
	kind, _ := d.Kind()
	if kind != "" {
		e, ok := d.Past.Expect(kind, d.Atmosphere())
		if !ok {
			return t > topUnknown
		}
		return t >= e.Top-nearTop
	}
	if len(d.Past.Usual) == 0 {
		return t > topUnknown
	}
	// of a kind that nobody told: near any usual top, or above all of them
	highest := d.Past.Usual[0].Top
	for _, e := range d.Past.Usual {
		if t >= e.Top-nearTop && t <= e.Top+nearTop {
			return true
		}
		highest = max(highest, e.Top)
	}
	return t > highest
}

// stateNow is the table of states, first that applies.
func (d *Detector) stateNow(b bin) kiln.State {
	if !d.slopeKnown {
		return d.state
	}
	f := &d.fire
	flat := d.slope <= kiln.FlatRate && d.slope >= -kiln.FlatRate
	if b.t < ColdBelow {
		d.cooling = false
	}
	switch {
	case b.t < ColdBelow && d.slope <= kiln.FlatRate:
		return kiln.Cold
	case f.open && flat && !f.top && d.near(b.t), f.open && flat && f.top && b.t >= f.peak-nearTop:
		return kiln.Soaking
	case f.open && f.top, d.slope < -kiln.FlatRate, !f.open && d.cooling && d.slope <= kiln.FlatRate:
		return kiln.Falling
	case d.slope > kiln.FlatRate:
		return kiln.Rising
	case f.open:
		return kiln.Holding
	}
	return kiln.Warm
}

// status is that of a firing whose end was heard: ended if no cone could move in it, if it got near its usual
// peak, or if its kind is told and has none yet; else incomplete.
func (d *Detector) status() kiln.Status {
	kind, _ := d.Kind()
	_, usual := d.Past.Expect(kind, d.Atmosphere())
	if d.fire.peak < kiln.NoConeMoves || d.near(d.fire.peak) || kind != "" && !usual {
		return kiln.Ended
	}
	return kiln.Incomplete
}

// shut closes the open firing at a moment.
func (d *Detector) shut(at moment, status kiln.Status) Event {
	c := d.report(at)
	c.Over, c.Status = at.at, status
	d.cooling, d.markPossible = d.fire.top, d.fire.top
	d.fire = progress{}
	// a load that a whole firing had is fired; one that came to nothing is not
	for i := range d.loads {
		if d.loads[i].ID == d.load.ID {
			d.loads[i].Fired = status == kiln.Ended && c.Peak >= kiln.NoConeMoves
		}
	}
	d.from = at.age
	d.base = lowest{}
	d.warmFor, d.stuckFor = timer{}, timer{}
	d.kindFact, d.atmoFact = "", ""
	return Event{What: Over, At: at.at, Course: c}
}

// end closes a firing that has cooled down.
func (d *Detector) end(b bin) []Event {
	cold := d.coldFor.hold(b.t < d.rules.EndBelow, b)
	if cold < lasting || d.slopeKnown && d.slope > kiln.FlatRate || d.fire.peak < 60 {
		return nil
	}
	return d.finish(d.coldFor.since, d.status(), false)
}

// finish closes the open firing, and its stall with it.
func (d *Detector) finish(at moment, status kiln.Status, atLeast bool) []Event {
	var events []Event
	if d.fire.stalled {
		events = append(events, Event{What: StoppedStalling, At: at.at})
	}
	e := d.shut(at, status)
	e.Course.AtLeast = atLeast
	return append(events, e)
}

// closeUnheard is the end of a firing whose end nobody heard.
func (d *Detector) closeUnheard(at moment) []Event {
	status := kiln.Incomplete
	if d.fire.top {
		status = d.status()
	}
	atLeast := !d.fire.top
	events := d.finish(at, status, atLeast)
	d.cooling = false
	return events
}

// afterSilence says whether a firing goes on after a gap, or was over in it. It is asked before b joins the
// ring.
func (d *Detector) afterSilence(b bin) []Event {
	unknown, another := d.unknown, d.another
	d.unknown, d.another = false, false
	if len(d.ring.bins) == 0 {
		return nil
	}
	last := d.ring.bins[len(d.ring.bins)-1]
	gap := b.age - last.age
	d.fell.lost = d.fell.lost || unknown
	if unknown || another {
		// A line through points on both sides of it would be no slope.
		d.ring.whole = b.age
		d.risingFor, d.warmFor, d.coldFor, d.belowFor, d.stuckFor =
			timer{}, timer{}, timer{}, timer{}, timer{}
	}
	if !d.fire.open || !unknown && gap <= silentWithin {
		return nil
	}
	// still warm and not unpacked; after a gap of known length it also must not be hotter than a kiln can
	// climb
	same := b.t >= 50 && !d.fire.unpacked
	switch {
	case unknown && b.t > last.t+100:
		same = same && !d.fire.top // it went on climbing unheard, or it is another firing
	case !unknown:
		same = same && gap < unheardCloses && float64(b.t-last.t) <= steepest*gap.Hours()
	}
	if same {
		return nil
	}
	// it was over in the silence: it ends with the last bin before it
	events := d.closeUnheard(moment{last.at, last.age})
	d.from = b.age
	return events
}
