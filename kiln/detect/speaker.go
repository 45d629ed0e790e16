package detect

import (
	"time"

	"lidwright/kiln"
)

// mended is how long the control probe must read well before it speaks again. Own choice.
const mended = 10 * time.Minute

// speaker says which probe speaks for a kiln: the control probe, and where that has said nothing good
// for as long as a reading is fresh, the healthiest other one, until the control probe is mended or
// that one breaks too. Every reading is the probe's own; none is bent to look like another's.
type speaker struct {
	kiln   kiln.Kiln
	now    kiln.ChannelID
	since  kiln.Stamp   // when it began to speak in the control probe's place; zero for that itself
	began  kiln.Stamp   // of the first sample
	heard  []kiln.Stamp // the last good reading of each channel
	health []float64    // share of good readings lately
	well   kiln.Stamp   // since when the control probe reads well again; zero while it does not
}

// newSpeaker begins with the control probe, whatever the others read.
func newSpeaker(k kiln.Kiln) speaker {
	n := len(k.Channels)
	return speaker{kiln: k, now: k.Control, heard: make([]kiln.Stamp, n), health: make([]float64, n)}
}

// hear takes a judged sample and reports whether another probe speaks from it on.
func (s *speaker) hear(smp kiln.Sample) (changed bool) {
	if s.began == (kiln.Stamp{}) {
		s.began = smp.At
	}
	// the healthiest fresh probe; one must be better by 2 % to be preferred to an earlier channel
	best, speaks := -1, -1
	for i, c := range s.kiln.Channels {
		if c.Role != kiln.RoleProbe {
			continue
		}
		v, there := smp.Value(c.ID)
		good := there && v.Fault == kiln.Good && v.T.Known()
		switch {
		// health is a moving share over about 300 readings
		case good:
			s.heard[i] = smp.At
			s.health[i] += (1 - s.health[i]) / 300
		case there:
			s.health[i] -= s.health[i] / 300
		}
		if c.ID == s.kiln.Control && there {
			s.mend(good, smp.At)
		}
		if c.ID == s.now {
			speaks = i
		}
		if s.fresh(i, smp.At) && (best < 0 || s.health[i] > s.health[best]+0.02) {
			best = i
		}
	}
	// back to the control probe once it is mended; else to the best where the one that speaks went silent
	next := s.now
	switch {
	case s.now != s.kiln.Control && s.well != (kiln.Stamp{}) && lasted(s.well, smp.At, mended):
		next = s.kiln.Control
	case best < 0 || speaks < 0 || s.fresh(speaks, smp.At):
	case s.heard[speaks] != (kiln.Stamp{}) || lasted(s.began, smp.At, s.kiln.StaleAfter()):
		next = s.kiln.Channels[best].ID
	}
	if next == s.now {
		return false
	}
	// since when the control probe does not speak, whichever stands in
	if s.now == s.kiln.Control || s.since == (kiln.Stamp{}) {
		s.since = smp.At
	}
	if s.now = next; next == s.kiln.Control {
		s.since = kiln.Stamp{}
	}
	return true
}

// lasted reports whether it is so long from one moment to another.
func lasted(from, to kiln.Stamp, d time.Duration) bool {
	since, known := to.Sub(from)
	return known && since >= d
}

// mend follows how long the control probe has read well.
func (s *speaker) mend(good bool, at kiln.Stamp) {
	switch {
	case !good:
		s.well = kiln.Stamp{}
	case s.well == (kiln.Stamp{}) || s.well.Boot != at.Boot:
		s.well = at
	}
}

// fresh reports whether a channel has said something good lately.
func (s *speaker) fresh(i int, at kiln.Stamp) bool {
	if s.heard[i] == (kiln.Stamp{}) {
		return false
	}
	ago, known := at.Sub(s.heard[i])
	return known && ago < s.kiln.StaleAfter()
}
