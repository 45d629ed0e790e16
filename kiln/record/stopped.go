package record

import (
	"lidwright/kiln"
	"lidwright/kiln/detect"
)

// Stopped is a firing whose record a person ended, as it was when it still went on. While that can be undone
// its samples go on being kept, so that undo leaves no gap.
type Stopped struct {
	Firing  kiln.Firing   // as it was when it went on, with its number
	At      kiln.Stamp    // when the person ended it; UndoFor counts from here
	Instead kiln.FiringID // the firing that was begun in its place; "" none
	Load    string        // the load whose unpacking ended it; "" none
}

// over reports whether it is too late to undo it. Where no clock tells, it is.
func (s Stopped) over(now kiln.Stamp) bool {
	since, known := now.Sub(s.At)
	return !known || since >= kiln.UndoFor
}

// undoable is the firing whose record a person ended, while that can be undone; nil else.
func (d *kilnState) undoable(now kiln.Stamp) *Stopped {
	if d.stopped == nil || d.stopped.over(now) {
		return nil
	}
	kept := *d.stopped
	return &kept
}

// keepOn goes on keeping what is heard for a firing whose record a person ended just now. Of a kiln only the
// last one can be undone.
func (d *kilnState) keepOn(f kiln.Firing, said detect.Fact) *Stopped {
	d.letBe()
	d.stopped = &Stopped{Firing: f, At: said.At}
	if said.What == detect.NewFiring {
		d.stopped.Instead = said.Firing
	}
	if said.What == detect.Unpacked {
		d.stopped.Load = said.Load
	}
	return d.undoable(said.At)
}

// letBe lets a record be over for good.
func (d *kilnState) letBe() {
	if d.stopped != nil {
		d.rec.writer.add(entry{settle: true, firing: kiln.Firing{ID: d.stopped.Firing.ID}})
		d.stopped = nil
	}
}

// undo sets a record going again as if it had never been stopped, and gives the firing that is open then:
// f's, or whatever else is where that cannot be. It is read again from what was kept. A firing that was begun
// in its place is left as one that broke off.
func (d *kilnState) undo(f detect.Fact) kiln.FiringID {
	var open kiln.FiringID
	if d.growing != nil {
		open = d.growing.firing.ID
	}
	s := d.stopped
	// it goes on still; or there is nothing that this could undo
	switch {
	case open != "" && open == f.Firing:
		d.readAgain() // it never stopped; what it was told of an unpacking is forgotten
		return open
	case s == nil || s.Firing.ID != f.Firing || s.over(f.At) || open != s.Instead:
		return open
	}
	// what was begun in its place broke off
	if open != "" {
		d.brokeOff = true
		d.handle(d.detector.Tell(detect.Fact{What: detect.StopRecording}))
		d.brokeOff = false
	}
	d.stopped, d.reopened = nil, s
	d.rec.writer.add(entry{reopen: true, firing: s.Firing})
	d.readAgain()
	return s.Firing.ID
}

// readAgain has the open firing read again from the log.
func (d *kilnState) readAgain() {
	d.taking = true
	d.rec.writer.askAgain()
}
