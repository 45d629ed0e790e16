package record

import (
	"slices"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/faults"
)

// reread reads the firings that were left open again, each in a state of its own. A day of
// readings takes a while; nothing is held up meanwhile.
func (r *Recorder) reread(found []Unfinished) []*kilnState {
	var states []*kilnState
	for _, u := range found {
		if u.Stopped == nil {
			states = append(states, r.reader(&u))
			states[len(states)-1].reread(u)
		}
	}
	for _, u := range found {
		if u.Stopped == nil {
			continue
		}
		i := slices.IndexFunc(states, func(d *kilnState) bool { return d.kiln.ID == u.Firing.Kiln })
		if i < 0 {
			i = len(states)
			states = append(states, r.reader(&u))
		}
		states[i].stopped = u.Stopped
	}
	return states
}

// reader is the state in which u is to be read again: what is known of its kiln by now is known
// there. For a kiln that the settings no longer have it is made from the samples.
func (r *Recorder) reader(u *Unfinished) *kilnState {
	r.mu.Lock()
	defer r.mu.Unlock()
	d := r.stateOf(u.Firing.Kiln)
	if d == nil {
		return newKilnState(kilnOf(*u), r)
	}
	if d.growing != nil && d.growing.firing.ID == u.Firing.ID {
		u.Firing = d.growing.firing
	}
	reader := newKilnState(d.kiln, r)
	reader.past, reader.trusted = d.past, d.trusted
	reader.detector.Tell(detect.Fact{What: detect.PastKnown, Past: d.past})
	if reader.loads = d.loads; d.loads != nil {
		reader.detector.Tell(*d.loads)
	}
	return reader
}

// resume goes on with the firings that were left open, where read has read to.
func (r *Recorder) resume(read []*kilnState) {
	r.mu.Lock()
	defer r.mu.Unlock()
	left := make(map[kiln.KilnID]*kilnState)
	for _, d := range read {
		left[d.kiln.ID] = d
	}
	for _, d := range r.states {
		from, ok := left[d.kiln.ID]
		if !ok {
			from = newKilnState(d.kiln, r)
			from.detector.Know(d.past)
		}
		if d.taking {
			d.resume(from)
		}
		delete(left, d.kiln.ID)
	}
	for _, d := range left {
		// Nobody will hear of that kiln again.
		d.letBe()
		d.handle(d.detector.Tell(detect.Fact{What: detect.StopRecording}))
	}
	if r.writer.pending() { // what a button asked for meanwhile is written at once
		r.writer.send()
	}
}

// kilnOf makes up a kiln from what was heard of it.
func kilnOf(u Unfinished) kiln.Kiln {
	k := kiln.Kiln{ID: u.Firing.Kiln, Limit: kiln.NoTemperature(), KeepShut: kiln.NoTemperature()}
	for _, s := range u.Samples {
		for _, v := range s.Values {
			if !k.Has(v.Channel) {
				k.Channels = append(k.Channels, kiln.Channel{ID: v.Channel, Role: kiln.RoleProbe})
			}
		}
	}
	if len(k.Channels) > 0 {
		k.Control = k.Channels[0].ID
	}
	return k
}

// reread reads a firing that was left open again, in a state of its own: the real one goes on
// hearing meanwhile.
func (d *kilnState) reread(u Unfinished) {
	d.taking, d.replay = false, true
	d.growing = newOpenFiring(d.kiln, u.Firing, d.rec.Ladder, d.past.Probes)
	d.growing.rereadDone = true
	d.detector.Resume(u.Firing)
	samples := u.Samples
	if n := len(samples); n > 0 && d.trusted.Trusted {
		// The clock may have come to be trusted only after the last sample written.
		samples = append(samples[:n:n], kiln.Sample{At: d.trusted})
	}
	// wall times first: ages across restarts depend on them
	kiln.SettleClock(samples)
	for _, s := range samples[:len(u.Samples)] {
		d.judge.See(s)
		d.take(s, true)
	}
	if n := len(u.Samples); n > 0 {
		d.now = u.Samples[n-1].At
		d.remember(u.Samples[n-1])
	}
	d.replay = false
}

// resume goes on where another state has read to, and then with what was heard meanwhile.
func (d *kilnState) resume(from *kilnState) {
	from.detector.Tell(detect.Fact{What: detect.MarkSet, Mark: d.detector.KeptShutAbove()})
	for _, f := range from.over {
		d.past = d.past.With(f)
	}
	from.detector.Tell(detect.Fact{What: detect.PastKnown, Past: d.past})
	if d.loads != nil && d.loads != from.loads { // told meanwhile
		from.detector.Tell(*d.loads)
	}
	// from here on this state has read what the other has
	d.detector, d.growing, d.taking, d.reopened = from.detector, from.growing, false, nil
	if !d.zoned { // at the start
		d.stopped = from.stopped
	}
	if d.growing != nil {
		d.growing.firing.Began = d.settled(d.growing.firing.Began)
		d.growing.restarted = true
		d.growing.know(d.detector)
		if c, open := d.detector.Course(); open && c.Stalled && d.detector.AboveStall() {
			d.notices.stalledTold = true // told before the restart, to be cleared after
		}
	}
	first := !d.zoned
	d.zoned = true // what is read again later was heard here
	// what was last heard before the restart, until something newer comes
	for i, h := range from.last {
		if !d.last[i].t.Known() {
			d.last[i] = h // stands until something newer is heard
		}
	}
	if first {
		d.judgeAgain(from)
	}
	// what came while the firing was being read, in the order in which it came
	waiting, facts := d.waiting, d.facts
	d.waiting, d.facts = nil, nil
	kiln.SettleClock(waiting)
	for _, s := range waiting {
		d.take(s, false)
	}
	for _, t := range facts {
		d.tell(t)
	}
	d.recorrect()
}

// judgeAgain judges what was heard since the start once more, knowing what the kiln read before: a
// jump over a restart is one too. What was marked stays so.
func (d *kilnState) judgeAgain(from *kilnState) {
	j := faults.NewFaultDetector(d.kiln, d.rec.Zones[d.kiln.ID])
	for i, c := range d.kiln.Channels {
		j.Recall(c.ID, from.last[i].t, from.last[i].at)
	}
	waiting := d.waiting
	if held, ok := d.judge.HeldBack(); ok {
		waiting = append(waiting, held)
	}
	d.waiting = nil
	for _, s := range waiting {
		d.waiting = append(d.waiting, j.Assess(s)...)
	}
	if from.growing != nil {
		j.Join(from.judge)
	}
	d.judge = j
}

// remember keeps what was last heard before a restart.
func (d *kilnState) remember(s kiln.Sample) {
	for i, c := range d.kiln.Channels {
		if v, ok := s.Value(c.ID); ok && !d.last[i].t.Known() && v.Fault == kiln.Good && v.T.Known() {
			d.last[i].t, d.last[i].at = v.T, s.At
		}
	}
}
