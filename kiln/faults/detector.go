// Package faults marks readings that cannot be true before anything is reckoned with them: broken couples,
// spikes, impossible jumps and changes of unit, frozen, reversed and shorted probes, and zones that disagree
// more than they used to. In flow raw samples in order; out flow the same samples, each value with its mark,
// some of them held back until the next ones explain them.
//
// It never changes a value, and it knows no firing.
package faults

import (
	"math"
	"time"

	"lidwright/kiln"
)

// FaultDetector looks at the samples of one kiln as they come and marks the values that are no
// temperature to reckon with. It knows what a kiln can do and what broken couples, loose plugs
// and damaged lines look like, and it only ever looks back: nothing that it let pass is taken
// back later. A value that came with a fault keeps it.
//
// Probes are judged by every rule; the room by those of a single reading; a vent contact and
// other channels only by being a number at all, since a set point may jump as it likes.
//
// A step up that no kiln can make, and one that another unit explains, is held aside until it
// explains itself: every reading of it is marked, and none is let pass. A fall is believed after a
// few readings, since a lid or a door may be open, unless other probes that do not fall speak
// against it.
//
// Where the next sample is needed to tell a spike from a jump, one sample is held back until it
// comes. The work for a sample is bounded, and so is the memory: 31 minutes of means a channel,
// and a band of zone differences for each 100 K.
type FaultDetector struct {
	kiln     kiln.Kiln
	confirm  int // readings in a row that make a fall believed
	channels []channelJudge
	held     kiln.Sample
	holds    bool
	spoke    []int // samples in a row that had the channel; below 0: that had not
	Zones    zones // how the probes differ from the control probe, learned firing by firing
	out      [2]kiln.Sample
}

// NewFaultDetector judges the samples of k, beginning with nothing known. Past is what an earlier detector
// of the kiln learned of its zones; the zero one knows nothing.
func NewFaultDetector(k kiln.Kiln, past ZonePast) *FaultDetector {
	j := &FaultDetector{kiln: k, confirm: 6, spoke: make([]int, len(k.Channels)), Zones: newZones(k, past)}
	if j.every() >= 10*time.Second {
		j.confirm = 3
	}
	for _, c := range k.Channels {
		j.channels = append(j.channels, channelJudge{role: c.Role, every: j.every().Seconds()})
	}
	return j
}

// every is the time between samples; 1 s where the settings do not say.
func (j *FaultDetector) every() time.Duration {
	if j.kiln.Every <= 0 {
		return time.Second
	}
	return j.kiln.Every
}

// Assess takes the next sample and gives those that are judged by now, in order: none while it is
// held back, one, or two when it settles the one before. They are valid until the next call.
func (j *FaultDetector) Assess(s kiln.Sample) []kiln.Sample {
	out := j.out[:0]
	// the one held back is judged first, by this one
	if j.holds {
		out = append(out, j.settle(&s))
	}
	s = j.fillMissing(s)
	for i := range s.Values {
		c := j.channel(s.Values[i].Channel)
		if c == nil {
			continue
		}
		v := s.Values[i]
		c.doubt = false
		fault := c.mark(reading{v.T, s.At, v.Fault}, j)
		if fault != v.Fault {
			s = s.WithFault(i, fault)
		}
		j.holds = j.holds || c.doubt
	}
	if j.holds {
		j.held = s
		return out
	}
	j.Zones.See(s)
	return append(out, s)
}

// Recall tells the judge what a channel last read before the program began anew, where it has heard
// nothing of that channel yet.
func (j *FaultDetector) Recall(id kiln.ChannelID, t kiln.Celsius, at kiln.Stamp) {
	if c := j.channel(id); c != nil && !c.ref.known() && t.Known() {
		c.ref = reading{t: t, at: at}
	}
}

// Flush gives the sample that is held back, if there is one, for when no other will come: at the
// end, and when the line has been silent for a while. Without a neighbour after it, a reading
// that a kiln cannot have is marked and any other is good.
func (j *FaultDetector) Flush() []kiln.Sample {
	if !j.holds {
		return nil
	}
	return append(j.out[:0], j.settle(nil))
}

// Held is the stamp of the sample that is held back; zero if there is none.
func (j *FaultDetector) Held() kiln.Stamp {
	if !j.holds {
		return kiln.Stamp{}
	}
	return j.held.At
}

// settle judges the held sample by the next one.
func (j *FaultDetector) settle(next *kiln.Sample) kiln.Sample {
	s := j.held
	j.held, j.holds = kiln.Sample{}, false
	for i := range s.Values {
		c := j.channel(s.Values[i].Channel)
		if c == nil || !c.doubt {
			continue
		}
		c.doubt = false
		var after reading
		// only a believable good reading is a witness
		if next != nil {
			if v, ok := next.Value(s.Values[i].Channel); ok && v.Fault == kiln.Good && believable(v.T) {
				after = reading{v.T, next.At, kiln.Good}
			}
		}
		if fault := c.settle(reading{s.Values[i].T, s.At, kiln.Good}, after, j); fault != kiln.Good {
			s = s.WithFault(i, fault)
		}
	}
	j.Zones.See(s)
	return s
}

// fillMissing puts in a broken value for a channel that used to be in every sample and has been
// missing from three in a row. Channels that take turns are never together, and never missed.
func (j *FaultDetector) fillMissing(s kiln.Sample) kiln.Sample {
	for i, c := range j.kiln.Channels {
		if c.Role != kiln.RoleProbe {
			continue
		}
		_, there := s.Value(c.ID)
		switch {
		// ten in a row make a channel one that is always there; below 0 it counts how often it is missing
		// since
		case there:
			j.spoke[i] = min(max(j.spoke[i], 0)+1, 10)
		case j.spoke[i] >= 10 || j.spoke[i] < 0:
			j.spoke[i] = max(min(j.spoke[i], 0)-1, -3)
		default:
			j.spoke[i] = 0
		}
		if !there && j.spoke[i] == -3 {
			s = s.With(j.kiln, kiln.Value{Channel: c.ID, T: kiln.NoTemperature(), Fault: kiln.Break})
		}
	}
	return s
}

// channel is the judge of one channel, nil if the kiln has none of that id.
func (j *FaultDetector) channel(id kiln.ChannelID) *channelJudge {
	for i := range j.kiln.Channels {
		if j.kiln.Channels[i].ID == id {
			return &j.channels[i]
		}
	}
	return nil
}

// room is the temperature of the room, and whether a channel tells it.
func (j *FaultDetector) room() (kiln.Celsius, bool) {
	for i := range j.channels {
		if c := &j.channels[i]; c.role == kiln.RoleRoom && c.ref.known() {
			return c.ref.t, true
		}
	}
	return 0, false
}

// others is what the other probes did that are believed at a moment: their mean change over the last
// minutes, the mean of what they read now, and whether there are any.
func (j *FaultDetector) others(than *channelJudge, at kiln.Stamp, minutes int) (change,
	now kiln.Celsius, ok bool) {
	n := 0
	for i := range j.channels {
		c := &j.channels[i]
		if c == than || !c.speaks(at) {
			continue
		}
		if d, t, known := c.minutes.change(minutes); known {
			change, now, n = change+d, now+t, n+1
		}
	}
	if n == 0 {
		return 0, 0, false
	}
	return change / kiln.Celsius(n), now / kiln.Celsius(n), true
}

// reading is one value with its time.
type reading struct {
	t     kiln.Celsius
	at    kiln.Stamp
	fault kiln.Fault
}

// known tells a reading from the zero one.
func (r reading) known() bool { return r.at != kiln.Stamp{} }

// since is the time from r to at in seconds, and whether it is known.
func (r reading) since(at kiln.Stamp) (float64, bool) {
	if !r.known() {
		return 0, false
	}
	d, known := at.Sub(r.at)
	return d.Seconds(), known && d >= 0
}

// believable reports whether a kiln in a room can have that temperature at all.
func believable(t kiln.Celsius) bool { return t >= -50 && t <= 1850 }

// agree reports whether two readings so many seconds apart can follow each other at a probe: 10 K,
// or 2 K/s for a minute, whichever is larger. Own choice; 10 K, so that two damaged lines, each a
// step further, stay within 20 K of the truth.
func agree(a, b kiln.Celsius, seconds float64) bool {
	return math.Abs(float64(a-b)) <= max(10, 2*min(seconds, 60))
}

// possible reports whether a probe can go from a to b in that time: up by what a kiln can do, 1,800
// K/h; down by what agree allows for the first minute too, which an opened door does. Own choice.
func possible(a, b kiln.Celsius, seconds float64) bool {
	up := float64(b - a)
	return up <= 10+0.5*seconds && -up <= max(10, 2*min(seconds, 60)+0.5*max(0, seconds-60))
}
