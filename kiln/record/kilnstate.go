package record

import (
	"maps"
	"slices"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/faults"
)

// kilnState is where a recorder keeps one kiln: what was last heard of it, and its open firing.
type kilnState struct {
	kiln     kiln.Kiln
	rec      *Recorder
	past     detect.Past
	judge    *faults.FaultDetector
	whole    wholeSecond
	detector *detect.Detector
	growing  *openFiring // nil while no firing is open
	notices  Notices
	after    detect.StillHot

	now      kiln.Stamp // newest stamp heard of this kiln or tick
	trusted  kiln.Stamp // newest trusted one of this boot
	last     []lastHeard
	good     int
	faulty   map[kiln.Fault]int
	unheard  time.Duration
	loads    *detect.Fact  // packed for the kiln or in it, as told last; nil: not told
	over     []kiln.Firing // that ended here, for whoever takes up from here
	replay   bool          // what is found was found before the restart: nothing to tell
	resettle kiln.BootID
	zoned    bool // the zones know what was read before the restart
	off      []faults.Disagreement
	stopped  *Stopped     // whose record a person ended, while that can be undone; nil: none
	byHand   *detect.Fact // what is being handled; nil: something heard
	reopened *Stopped     // goes on again, and is being read again
	brokeOff bool         // the firing that ends now was begun by mistake

	taking  bool          // what was left open is not yet known, or is asked for again
	waiting []kiln.Sample // heard meanwhile, judged
	facts   []told        // told meanwhile
}

// lastHeard is what one channel last said.
type lastHeard struct {
	t     kiln.Celsius // the last good one
	at    kiln.Stamp   // of it
	fault kiln.Fault   // of the newest
}

// newKilnState is a kiln of which nothing was heard; it takes nothing up before what was left open is
// known.
func newKilnState(k kiln.Kiln, r *Recorder) *kilnState {
	d := &kilnState{kiln: k, rec: r, past: r.Past[k.ID], judge: faults.NewFaultDetector(k, r.Zones[k.ID]),
		faulty: make(map[kiln.Fault]int), taking: true}
	d.whole.every = k.Every
	d.detector = detect.NewDetector(k, r.Rules, d.past)
	if loads := r.Loads[k.ID]; len(loads) > 0 {
		d.loads = &detect.Fact{What: detect.LoadsKnown, Loads: loads}
		d.detector.Tell(*d.loads)
	}
	for range k.Channels {
		d.last = append(d.last, lastHeard{t: kiln.NoTemperature()})
	}
	return d
}

// hear takes a sample off the line: one a second goes on.
func (d *kilnState) hear(s kiln.Sample) {
	for _, whole := range d.whole.add(s) {
		d.assess(whole)
	}
}

// flush lets go of the samples of the second under way.
func (d *kilnState) flush() {
	for _, whole := range d.whole.flush() {
		d.assess(whole)
	}
}

// assess has a sample judged, and takes in what is judged by now.
func (d *kilnState) assess(s kiln.Sample) {
	s.At.Wall = s.At.Wall.UTC()
	d.learnClock(s.At)
	s.At = d.settled(s.At) // the kernel loses faith hours after the last correction
	d.hearJudged(d.judge.Assess(s))
}

// settle lets go of a sample that the judge held back for the next one, when none will come.
func (d *kilnState) settle() { d.hearJudged(d.judge.Flush()) }

// learnClock takes in a stamp of a clock that may be trusted. The first trusted one of a boot puts
// the beginning of the open firing right.
func (d *kilnState) learnClock(at kiln.Stamp) {
	if !at.Trusted {
		return
	}
	d.trusted = at
	if d.growing != nil {
		d.growing.firing.Began = d.settled(d.growing.firing.Began)
	}
}

// settled is at with its wall time put right, if its boot's clock has come to be trusted.
func (d *kilnState) settled(at kiln.Stamp) kiln.Stamp {
	if at.Trusted || d.trusted.Boot != at.Boot || !d.trusted.Trusted {
		return at
	}
	return at.Settled(d.trusted)
}

// hearJudged takes in what was judged.
func (d *kilnState) hearJudged(samples []kiln.Sample) {
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
			d.readAgain()
		}
	}
}

// wait keeps a sample until what was left open is known.
func (d *kilnState) wait(s kiln.Sample) {
	d.waiting = append(d.waiting, s)
	if len(d.waiting) > waitingBytes/200 {
		d.waiting = thinSamples(d.waiting, detect.BinLength)
	}
	if len(d.waiting) > waitingBytes/400 {
		d.waiting = thinSamples(d.waiting, time.Minute)
	}
}

// keepLast keeps what each channel last said, and counts.
func (d *kilnState) keepLast(s kiln.Sample) {
	d.now = s.At
	before := d.off
	d.off = d.judge.Disagreements()
	for _, off := range d.off {
		if !slices.ContainsFunc(before, func(b faults.Disagreement) bool {
			return b.Channel == off.Channel
		}) {
			d.faulty[kiln.Disagrees]++ // once each time that it begins: no reading is left out
		}
	}
	for i, c := range d.kiln.Channels {
		v, ok := s.Value(c.ID)
		if !ok {
			continue
		}
		d.last[i].fault = v.Fault
		switch {
		case v.Fault != kiln.Good:
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
func (d *kilnState) take(s kiln.Sample, stored bool) {
	d.handle(d.detector.Add(s))
	d.watch()
	// a record that a person ended is kept going beside, while that can be undone
	if d.stopped != nil && !stored {
		d.rec.writer.add(entry{firing: kiln.Firing{ID: d.stopped.Firing.ID}, samples: []kiln.Sample{s}})
	}
	if d.growing == nil {
		return
	}
	d.growing.speak(d.detector.Speaking())
	unheard, taken := d.growing.add(s)
	d.unheard += unheard
	if !taken {
		return // a program started anew within the same second
	}
	if !stored || !d.growing.rereadDone {
		d.rec.writer.add(entry{firing: kiln.Firing{ID: d.growing.firing.ID}, samples: []kiln.Sample{s}})
	}
}

// tick lets time go by.
func (d *kilnState) tick(now kiln.Stamp) {
	if d.whole.before(now) {
		d.flush()
	}
	// the next sample that it waits for is not coming
	if since, known := now.Sub(d.judge.Held()); known && since >= d.kiln.StaleAfter() {
		d.settle()
	}
	d.learnClock(now)
	d.now = now
	if d.taking {
		return
	}
	// too late to be undone
	if d.stopped != nil && d.stopped.over(now) {
		d.letBe()
	}
	d.handle(d.detector.Tick(now))
	usual, _ := d.past.Expect(d.kindNow())
	d.rec.tellAll(d.notices.Look(d.live(now), usual, now))
}

// watch looks at what was heard last, with a firing open or not.
func (d *kilnState) watch() {
	kind, atmosphere := d.kindNow()
	if kind == "" && d.growing != nil {
		kind = d.growing.firing.Kind // guessed from its heat
	}
	usual, _ := d.past.Expect(kind, atmosphere)
	d.after.Look(d.detector, usual)
}

// handle does what the events of the detector ask for.
func (d *kilnState) handle(events []detect.Event) {
	for _, e := range events {
		e.At = d.settled(e.At)
		switch e.What {
		case detect.Began:
			d.begin(e)
		case detect.Over:
			d.end(e)
			continue
		case detect.TopPassed, detect.TopTakenBack:
			d.peak(e.What == detect.TopPassed)
		}
		if !d.replay {
			d.rec.tellAll(d.notices.Hear(e, d.live(d.now)))
		}
	}
}

// begin opens a firing with its pre-roll.
func (d *kilnState) begin(e detect.Event) {
	id := e.Firing
	if id == "" {
		id = d.rec.NewID()
	}
	f := kiln.Firing{ID: id, Kiln: d.kiln.ID, Source: "serial", Status: kiln.Running, Began: e.At,
		Provisional: true,
		Atmosphere:  d.detector.Atmosphere(), Load: d.detector.Load(), Peak: kiln.NoTemperature()}
	f.Kind, f.KindFrom = d.detector.Kind()
	d.growing = newOpenFiring(d.kiln, f, d.rec.Ladder, d.past.Probes)
	d.growing.speak(d.detector.Speaking())
	for i, s := range e.Preroll {
		e.Preroll[i].At = d.settled(s.At)
		d.growing.add(e.Preroll[i])
	}
	d.rec.writer.add(entry{begin: true, firing: f, samples: e.Preroll})
}

// peak writes down what the firing has reached, once its peak is passed: bars can be measured before the
// record ends. Where the peak is taken back it is not known again.
func (d *kilnState) peak(passed bool) {
	if d.growing == nil {
		return
	}
	f := d.growing.firing
	f.Peak, f.PeakAfter, f.HeatWork, f.Corrected = kiln.NoTemperature(), 0, nil, nil
	if passed {
		d.growing.guess(d.past)
		c, _ := d.detector.Course()
		f = d.growing.summary(c)
	}
	d.rec.writer.add(entry{peak: true, firing: f})
}

// end closes the growing firing with what was worked out.
func (d *kilnState) end(e detect.Event) {
	if d.growing == nil {
		return
	}
	l := d.live(d.now)
	e.Course.Over = d.settled(e.Course.Over)
	was := d.growing.firing
	// what it came to; one that broke off is incomplete whatever it reached
	f := d.growing.finish(e.Course, d.past)
	if d.brokeOff {
		f.Status = kiln.Incomplete
	}
	over := entry{end: true, firing: f}
	// a person ended it: it goes on beside, as it was, until that stands
	if d.byHand != nil && d.byHand.What.ByHand() {
		over.stopped = d.keepOn(was, *d.byHand)
	}
	d.rec.writer.add(over)
	d.growing = nil
	d.expect(f)
	if !d.replay {
		d.rec.tellAll(d.notices.Hear(e, l))
	}
}

// expect has the next firing be judged by those that are over, however long the store takes to tell of them.
func (d *kilnState) expect(f kiln.Firing) {
	d.over = append(d.over, f)
	d.past = d.past.With(f)
	d.detector.Know(d.past)
}

// tell hands a fact to the detector.
func (d *kilnState) tell(t told) {
	f := t.fact
	if f.At == (kiln.Stamp{}) {
		f.At = d.rec.Now()
	}
	switch f.What {
	case detect.LoadsKnown:
		d.loads = &f
	case detect.PastKnown:
		d.past = f.Past
		d.recorrect()
	}
	// until it is known which firing is open a fact would go to the wrong one
	if d.taking && f.What != detect.PastKnown && f.What != detect.LoadsKnown && f.What != detect.MarkSet {
		d.facts = append(d.facts, t)
		return
	}
	// a button ends or begins a record with everything heard before it
	d.flushed(f)
	if f.What == detect.Undone {
		d.detector.Tell(f)
		t.reply <- d.undo(f)
		return
	}
	if f.What == detect.NewFiring && f.Firing == "" {
		f.Firing = d.rec.NewID()
	}
	d.byHand = &f
	d.handle(d.detector.Tell(f))
	d.byHand = nil
	if f.What == detect.NewFiring || f.What == detect.Unpacked &&
		d.detector.Hottest() < detect.UnpackedBelow {
		d.after.Attended()
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
func (d *kilnState) recorrect() {
	if d.growing != nil && !d.taking && !d.growing.cones.Same(d.past.Probes) {
		d.readAgain()
	}
}

// flushed takes in what is still held back before a button is heard.
func (d *kilnState) flushed(f detect.Fact) {
	if f.What.ByHand() {
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

// kindNow is what is told of the open or next firing, for what is usual.
func (d *kilnState) kindNow() (kiln.Kind, kiln.Atmosphere) {
	kind, _ := d.detector.Kind()
	return kind, d.detector.Atmosphere()
}

// counts is a copy of how many readings were not good.
func (d *kilnState) counts() map[kiln.Fault]int { return maps.Clone(d.faulty) }
