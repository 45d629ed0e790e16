package kiln

import (
	"maps"
	"slices"
	"time"
)

// desk is where a recorder keeps one kiln: what was last heard of it, and its growing firing.
type desk struct {
	kiln     Kiln
	rec      *Recorder
	past     Past
	judge    *Judge
	whole    wholeSecond
	detector *Detector
	growing  *growing // nil while no firing is open
	notices  Notices
	after    stillHot

	now      Stamp // newest stamp heard of this kiln or tick
	trusted  Stamp // newest trusted one of this boot
	last     []lastHeard
	good     int
	faulty   map[Fault]int
	unheard  time.Duration
	opened   Fact // the open load, as told
	replay   bool // what is found was found before the restart: nothing to tell
	resettle BootID
	zoned    bool // the zones know what was read before the restart
	off      []Disagreement

	taking  bool     // what was left open is not yet known, or is asked for again
	waiting []Sample // heard meanwhile, judged
	facts   []told   // told meanwhile
}

// lastHeard is what one channel last said.
type lastHeard struct {
	t     Celsius // the last good one
	at    Stamp   // of it
	fault Fault   // of the newest
}

func newDesk(k Kiln, r *Recorder) *desk {
	d := &desk{kiln: k, rec: r, past: r.Past[k.ID], judge: NewJudge(k, r.Zones[k.ID]), faulty: make(map[Fault]int), taking: true}
	d.detector = NewDetector(k, r.Rules, d.past)
	for range k.Channels {
		d.last = append(d.last, lastHeard{t: NoTemperature()})
	}
	return d
}

// hear takes a sample off the line: one a second goes on.
func (d *desk) hear(s Sample) {
	for _, whole := range d.whole.add(s) {
		d.assess(whole)
	}
}

func (d *desk) flush() {
	for _, whole := range d.whole.flush() {
		d.assess(whole)
	}
}

// assess has a sample judged, and takes in what is judged by now.
func (d *desk) assess(s Sample) {
	s.At.Wall = s.At.Wall.UTC()
	d.learnClock(s.At)
	s.At = d.settled(s.At) // the kernel loses faith hours after the last correction
	d.hearJudged(d.judge.Assess(s))
}

// settle lets go of a sample that the judge held back for the next one, when none will come.
func (d *desk) settle() { d.hearJudged(d.judge.Flush()) }

// learnClock takes in a stamp of a clock that may be trusted. The first trusted one of a boot puts
// the beginning of the open firing right.
func (d *desk) learnClock(at Stamp) {
	if !at.Trusted {
		return
	}
	d.trusted = at
	if d.growing != nil {
		d.growing.firing.Began = d.settled(d.growing.firing.Began)
	}
}

// settled is at with its wall time put right, if its boot's clock has come to be trusted.
func (d *desk) settled(at Stamp) Stamp {
	if at.Trusted || d.trusted.Boot != at.Boot || !d.trusted.Trusted {
		return at
	}
	return at.settled(d.trusted)
}

// hearJudged takes in what was judged.
func (d *desk) hearJudged(samples []Sample) {
	for _, judged := range samples {
		d.keepLast(judged)
		if d.taking {
			d.wait(judged)
			continue
		}
		d.take(judged, false)
		if d.growing != nil && d.growing.unsettled && judged.At.Trusted && d.resettle != judged.At.Boot {
			// The length of the last gap can be known now: the firing is read again with it.
			d.resettle = judged.At.Boot
			d.taking = true
			d.rec.writer.askAgain()
		}
	}
}

// wait keeps a sample until what was left open is known.
func (d *desk) wait(s Sample) {
	d.waiting = append(d.waiting, s)
	if len(d.waiting) > waitingBytes/200 {
		d.waiting = thinSamples(d.waiting, binLength)
	}
	if len(d.waiting) > waitingBytes/400 {
		d.waiting = thinSamples(d.waiting, time.Minute)
	}
}

// keepLast keeps what each channel last said, and counts.
func (d *desk) keepLast(s Sample) {
	d.now = s.At
	before := d.off
	d.off = d.judge.Disagreements()
	for _, off := range d.off {
		if !slices.ContainsFunc(before, func(b Disagreement) bool { return b.Channel == off.Channel }) {
			d.faulty[Disagrees]++ // once each time that it begins: no reading is left out
		}
	}
	for i, c := range d.kiln.Channels {
		v, ok := s.Value(c.ID)
		if !ok {
			continue
		}
		d.last[i].fault = v.Fault
		switch {
		case v.Fault != Good:
			d.faulty[v.Fault]++
		case v.T.Known():
			d.last[i].t, d.last[i].at = v.T, s.At
			if c.ID == d.detector.Speaking() {
				d.good++
			}
		}
	}
}

// take gives a judged sample to the detector and to the growing firing. stored says that
// the log has it already, under the firing that was taken up.
func (d *desk) take(s Sample, stored bool) {
	d.handle(d.detector.Add(s))
	d.watch()
	if d.growing == nil {
		return
	}
	d.growing.speak(d.detector.Speaking())
	unheard, taken := d.growing.add(s)
	d.unheard += unheard
	if !taken {
		return // a program started anew within the same second
	}
	if !stored || !d.growing.resumed {
		d.rec.writer.add(entry{firing: Firing{ID: d.growing.firing.ID}, samples: []Sample{s}})
	}
}

// tick lets time go by.
func (d *desk) tick(now Stamp) {
	if d.whole.before(now) {
		d.flush()
	}
	if since, known := now.Sub(d.judge.Held()); known && since >= d.kiln.StaleAfter() {
		d.settle()
	}
	d.learnClock(now)
	d.now = now
	if d.taking {
		return
	}
	d.handle(d.detector.Tick(now))
	usual, _ := d.past.Expect(d.kindNow())
	d.rec.tellAll(d.notices.Look(d.live(now), usual, now))
}

// watch looks at what was heard last, with a firing open or not.
func (d *desk) watch() {
	kind, atmosphere := d.kindNow()
	if kind == "" && d.growing != nil {
		kind = d.growing.firing.Kind // guessed from its heat
	}
	usual, _ := d.past.Expect(kind, atmosphere)
	d.after.look(d.detector, usual)
}

// handle does what the events of the detector ask for.
func (d *desk) handle(events []Event) {
	for _, e := range events {
		e.At = d.settled(e.At)
		switch e.What {
		case Began:
			d.begin(e)
		case Over:
			d.end(e)
			continue
		case TopPassed:
			if d.growing != nil {
				d.growing.guess(d.past)
			}
		}
		if !d.replay {
			d.rec.tellAll(d.notices.Hear(e, d.live(d.now)))
		}
	}
}

// begin opens a firing with its pre-roll.
func (d *desk) begin(e Event) {
	id := e.Firing
	if id == "" {
		id = d.rec.NewID()
	}
	f := Firing{ID: id, Kiln: d.kiln.ID, Source: "serial", Status: Running, Began: e.At, Provisional: true,
		Atmosphere: d.detector.Atmosphere(), Load: d.detector.Load(), Peak: NoTemperature()}
	f.Kind, f.KindFrom = d.detector.Kind()
	d.growing = newGrowing(d.kiln, f, d.rec.Ladder, d.past.Probes)
	d.growing.speak(d.detector.Speaking())
	for i, s := range e.Preroll {
		e.Preroll[i].At = d.settled(s.At)
		d.growing.add(e.Preroll[i])
	}
	d.rec.writer.add(entry{begin: true, firing: f, samples: e.Preroll})
}

// end closes the growing firing with what was worked out.
func (d *desk) end(e Event) {
	if d.growing == nil {
		return
	}
	l := d.live(d.now)
	e.Course.Over = d.settled(e.Course.Over)
	f := d.growing.finish(e.Course, d.past)
	d.rec.writer.add(entry{end: true, firing: f})
	d.growing = nil
	if !d.replay {
		d.rec.tellAll(d.notices.Hear(e, l))
	}
}

// tell hands a fact to the detector.
func (d *desk) tell(t told) {
	f := t.fact
	if f.At == (Stamp{}) {
		f.At = d.rec.Now()
	}
	switch f.What {
	case LoadOpened:
		d.opened = f
	case Unpacked:
		d.opened = Fact{}
	case PastKnown:
		d.past = f.Past
		d.recorrect()
	}
	if d.taking && f.What != PastKnown && f.What != LoadOpened && f.What != MarkSet {
		d.facts = append(d.facts, t)
		return
	}
	d.flushed(f)
	d.handle(d.detector.Tell(f))
	if f.What == Unpacked || f.What == NewFiring {
		d.after.attended()
	}
	if d.growing != nil {
		d.growing.know(d.detector)
		t.reply <- d.growing.firing.ID
		return
	}
	t.reply <- ""
}

// recorrect has the open firing read again where the cones tell something else of its probes than
// when it began.
func (d *desk) recorrect() {
	if d.growing != nil && !d.taking && !d.growing.cones.same(d.past.Probes) {
		d.taking = true
		d.rec.writer.askAgain()
	}
}

// flushed takes in what is still held back before a button is heard.
func (d *desk) flushed(f Fact) {
	if f.What == NewFiring || f.What == StopRecording || f.What == Unpacked {
		d.flush()
		d.settle()
	}
}

// tellAll hands notices on; if hundreds wait to be told, the newest are left out.
func (r *Recorder) tellAll(notices []Notice) {
	for _, n := range notices {
		select {
		case r.notes <- n:
		default:
		}
	}
}

func (d *desk) kindNow() (Kind, Atmosphere) {
	kind, _ := d.detector.Kind()
	return kind, d.detector.Atmosphere()
}

// counts is a copy of how many readings were not good.
func (d *desk) counts() map[Fault]int { return maps.Clone(d.faulty) }
