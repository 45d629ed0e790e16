package detect

import (
	"cmp"
	"slices"
	"time"

	"lidwright/kiln"
)

// Tell takes a fact. f.At is where on the axis it falls; a fact older than the last sample
// holds from now on.
func (d *Detector) Tell(f Fact) []Event {
	switch f.What {
	case LoadsKnown:
		d.loads = slices.Clone(f.Loads)
	case LoadJoined:
		if d.fire.open {
			d.load = Load{ID: f.Load, Kind: f.Kind, Atmosphere: f.Atmosphere, Fired: true}
		}
	case KindTold:
		if d.fire.open {
			d.tellKind(f)
		}
	case MarkSet:
		d.mark, d.markSaid, d.markFor = f.Mark, false, timer{}
	case PastKnown:
		d.Past = f.Past
	case Unpacked:
		return d.unpack(f.Load)
	case NewFiring:
		return d.button(f)
	case Undone:
		d.armed, d.held = false, false
	case StopRecording:
		if d.fire.open {
			events := d.finish(d.good, d.status(), !d.fire.top)
			d.held = true
			return events
		}
	}
	return nil
}

// tellKind takes what a person said of kind and atmosphere; what is empty was not said.
func (d *openFiring) tellKind(f Fact) {
	if f.Kind != "" {
		d.kindFact = f.Kind
	}
	if f.Atmosphere != "" {
		d.atmoFact = f.Atmosphere
	}
}

// UnpackedBelow is the temperature of the hottest probe below which a load that is out of the kiln ends the
// record of its firing, °C (own). Above it the record goes on to its own end.
const UnpackedBelow kiln.Celsius = 200

// unpack ends a firing that has passed its top and is no longer hot, and lets the next begin at any
// temperature.
func (d *Detector) unpack(load string) []Event {
	events := d.close()
	d.loads = slices.DeleteFunc(d.loads, func(l Load) bool { return l.ID == cmp.Or(load, d.load.ID) })
	if d.fire.open && load != "" && load != d.load.ID {
		return events // another load than the one that is being fired: left from before
	}
	// still climbing: it is asked once whether that is so, and nothing ends
	if d.fire.open && !d.fire.top {
		if d.fire.unpacked {
			return events
		}
		d.fire.unpacked = true
		return append(events, Event{What: StillFiring, At: d.good.at})
	}
	// too hot to be believed: the record goes on to its own end
	if d.Hottest() >= UnpackedBelow {
		d.fire.unpacked = true
		return events
	}
	if d.fire.open {
		events = append(events, d.finish(d.good, d.status(), false)...)
	}
	// the next firing may begin at any temperature, and nothing of this one belongs to it
	d.armed, d.held, d.cooling, d.markPossible = true, false, false, false
	d.fell = fallen{}
	d.restart()
	return events
}

// restart lets nothing heard so far belong to the next firing.
func (d *Detector) restart() {
	d.from, d.base = d.axis.Age, lowest{}
	d.warmFor, d.risingFor = timer{}, timer{}
}

// button begins a firing at once and closes an open one.
func (d *Detector) button(f Fact) []Event {
	events := d.close()
	if d.fire.open {
		events = append(events, d.finish(d.good, d.status(), false)...)
	}
	d.armed, d.held, d.cooling, d.markPossible = true, false, false, false
	if len(d.ring.bins) == 0 {
		d.tellKind(f) // begins with the first rise
		return events
	}
	// it begins with the first rise before the button, if the kiln rises already
	newest := d.ring.bins[len(d.ring.bins)-1]
	first := newest
	if base, ok := d.base.value(); ok {
		first = d.firstRise(kiln.Celsius(base))
	}
	events = append(events, d.open(first, f.Firing, false))
	d.tellKind(f)
	return events
}

// Resume takes up a firing that was left open: its samples are to be added next, the oldest
// first. What is known of kind and load comes from f; peak, base and marks come back with the
// samples.
func (d *Detector) Resume(f kiln.Firing) {
	d.resumed = &f
	d.load = Load{ID: f.Load, Fired: true}
	for _, l := range d.loads {
		if l.ID == f.Load {
			d.load = l
		}
	}
	switch f.KindFrom {
	case FromFact:
		d.kindFact, d.atmoFact = f.Kind, f.Atmosphere
	case FromLoad:
		d.load.Kind, d.load.Atmosphere = f.Kind, f.Atmosphere
	}
}

// takeUp opens the firing to be resumed with its first bin.
func (d *Detector) takeUp(b bin) {
	d.fire = newProgress(b, float64(b.t))
	d.fire.began.at = d.resumed.Began
	d.resumed = nil
}

// fellEarly is the single notice of a fall that began well short of the usual top.
func (d *Detector) fellEarly(b bin) []Event {
	f := &d.fire
	kind, _ := d.Kind()
	e, usual := d.Past.Expect(kind, d.Atmosphere())
	if !f.top || f.fell || f.fellSaid || b.age-f.topAt < 20*time.Minute || b.t > f.peak-nearTop {
		return nil
	}
	if kind == "" && !d.near(f.peak) && len(d.Past.Usual) > 0 ||
		kind != "" && usual && f.peak < e.Top-nearTop {
		f.fell, f.fellSaid = true, true
		return []Event{{What: FellEarly, At: b.at, Known: kind != ""}}
	}
	return nil
}

// A kiln that stands below lowBelow dries its ware or is candled overnight: that is told once, calmly, after
// lowLasts. Own choices.
const (
	lowBelow = 200 // °C
	lowLasts = 12 * time.Hour
)

// stall is a firing that stopped climbing well short of its usual top.
func (d *Detector) stall(b bin) []Event {
	f := &d.fire
	kind, _ := d.Kind()
	// so long it has stood, short of the top
	stuck := d.stuckFor.hold(!f.top && b.t > 60 && d.slopeKnown && d.slope < 10 && !d.near(b.t), b)
	e, usual := d.Past.Expect(kind, d.Atmosphere())
	// without a usual firing to compare with it takes two hours
	stalled := stuck >= 30*time.Minute
	if !usual {
		stalled = stuck >= 2*time.Hour
	}
	// below 200 °C it is drying or candling, and told apart
	low := stuck >= lowLasts && b.t < lowBelow
	if b.t < lowBelow {
		stalled = false
	}
	for _, h := range e.Holds {
		// A hold is never measured to the minute: a tenth and 10 min more are still the same.
		if b.t > h.At-20 && b.t < h.At+20 && stuck <= h.For+h.For/10+10*time.Minute {
			stalled, low = false, false
		}
	}
	switch {
	case low && !f.lowSaid:
		f.lowSaid = true
		return []Event{{What: StandsLow, At: b.at}}
	case stalled && !f.stalled:
		f.stalled, f.above = true, kind != ""
		return []Event{{What: StartedStalling, At: b.at, Known: kind != ""}}
	case !stalled && f.stalled:
		f.stalled = false
		return []Event{{What: StoppedStalling, At: b.at, Known: f.above}}
	}
	return nil
}

// cooledDown tells once that the kiln has come down to the temperature above which it is kept shut.
func (d *Detector) cooledDown(b bin) []Event {
	// while it cools after a top, with the record open or over
	down := d.fire.open && d.fire.top || !d.fire.open && d.markPossible
	at := d.markFor.hold(down && d.hottest(b) <= d.mark, b)
	d.fall(b, at == 0)
	if at < lasting || d.markSaid {
		return nil
	}
	d.markSaid = true
	return []Event{{What: CooledDown, At: b.at, TooSoon: d.fell.soon}}
}

// Hottest is what the hottest probe read last, °C; of no probe that was heard lately the last good reading.
func (d *Detector) Hottest() kiln.Celsius {
	if n := len(d.ring.bins); n > 0 {
		return d.hottest(d.ring.bins[n-1])
	}
	return d.goodT
}

// Know has the detector expect what past firings lead to, from now on.
func (d *openFiring) Know(past Past) { d.Past = past }

// KeptShutAbove is the temperature above which the kiln is kept shut, as last told.
func (d *Detector) KeptShutAbove() kiln.Celsius { return d.mark }

// AboveStall reports whether an open firing has climbed past where it stalled.
func (d *openFiring) AboveStall() bool { return d.fire.above }

// Speaking is the channel by which the detector goes now: the control probe, or its stand-in.
func (d *Detector) Speaking() kiln.ChannelID { return d.speaker.now }
