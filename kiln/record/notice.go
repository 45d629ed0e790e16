package record

import (
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/faults"
)

// NoticeState says whether what a notice tells lasts.
type NoticeState string

const (
	NoticeBegan   NoticeState = "began"
	NoticeCleared NoticeState = "cleared"
	NoticeOnce    NoticeState = "once"
)

// The events of the kiln that are worth a notice.
const (
	FiringStartedNotice   = "firing.started"
	FiringEndedNotice     = "firing.ended"
	FiringLongNotice      = "firing.long"
	QuietNotice           = "kiln.quiet"
	OverLimitNotice       = "kiln.over_limit"
	StoppedClimbingNotice = "kiln.stopped_climbing"
	FellEarlyNotice       = "kiln.fell_early"
	StandsLowNotice       = "kiln.stands_low" // half a day below 200 °C: not urgent
	VentOffNotice         = "kiln.vent_off"   // while it fires
	StillHotNotice        = "kiln.still_hot"  // or climbing again, long after the end
	CooledNotice          = "kiln.cooled"
	// a reading over the limit that no kiln can have jumped to
	MayBeOverLimitNotice = "kiln.may_be_over_limit"
	ProbeLostNotice      = "kiln.probe_lost"     // the control probe; another one speaks
	StillFiringNotice    = "firing.still_firing" // unpacked, it was said, before the top was passed
)

// Notice is something to tell a person. It is a message and no safety device.
type Notice struct {
	Event  string         // one of the constants
	State  NoticeState    // began, cleared or once
	Kiln   kiln.KilnID    // which kiln it is of
	Firing kiln.FiringID  // "" if none is open
	At     kiln.Stamp     // the moment it is about, at or before the one at which it is told
	T      kiln.Celsius   // the last good reading; NaN if there was none
	Age    time.Duration  // of that reading
	Aside  faults.Aside   // what is read and not believed; the zero one where nothing is held aside
	Probe  kiln.ChannelID // that speaks
	Soon   bool           // it came down sooner than it ever cooled: the probe may be wrong
}

// ventOffAfter is how long the vent of a kiln that fires may be off before it is told: somebody may be at it
// (own).
const ventOffAfter = 5 * time.Minute

// lastingNotices are what a kiln's notices look at once a second, each true for as long as
// given before it is told; all clear at once.
var lastingNotices = [...]struct {
	event string
	after time.Duration
	so    func(l Live, usual detect.Expected) bool
}{
	// A kiln that is cold and says nothing is switched off.
	{QuietNotice, 0, func(l Live, _ detect.Expected) bool {
		return l.State == kiln.Quiet && (l.Hot || l.Firing != "") && l.LastT.Known()
	}},
	{OverLimitNotice, time.Minute, func(l Live, _ detect.Expected) bool { return l.OverLimit }},
	{MayBeOverLimitNotice, 0, func(l Live, _ detect.Expected) bool {
		return l.Aside.Held() && l.Aside.T > l.Limit
	}},
	{ProbeLostNotice, 0, func(l Live, _ detect.Expected) bool {
		return l.ProbeSince != (kiln.Stamp{}) && l.Firing != ""
	}},
	{VentOffNotice, ventOffAfter, func(l Live, _ detect.Expected) bool {
		return l.Vent == VentOff && l.Firing != "" && l.Hot
	}},
	{StillHotNotice, 0, func(l Live, _ detect.Expected) bool { return l.StillHot }},
	{FiringLongNotice, 10 * time.Minute, func(l Live, e detect.Expected) bool {
		return l.Firing != "" && !l.TopPassed && e.ToTop > 0 && float64(l.Elapsed) > 1.5*float64(e.ToTop)
	}},
}

// Notices decides which notices of one kiln begin and clear. The zero one is ready for use.
type Notices struct {
	lasting [len(lastingNotices)]struct {
		on, told bool
		since    kiln.Stamp
	}
	stalledTold bool
}

// Look gives the notices that begin or clear with l, as it was at now. usual is the usual
// firing of the kind that burns, the zero one if there is none.
func (n *Notices) Look(l Live, usual detect.Expected, now kiln.Stamp) []Notice {
	var out []Notice
	for i, lasting := range lastingNotices {
		s := &n.lasting[i]
		// over: cleared only where it was told, and the time runs anew
		if !lasting.so(l, usual) {
			if s.told {
				out = append(out, noticeOf(l, lasting.event, NoticeCleared, now))
			}
			s.on, s.told = false, false
			continue
		}
		if !s.on {
			s.on, s.since = true, now
		}
		if lasted, _ := now.Sub(s.since); !s.told && lasted >= lasting.after {
			s.told = true
			out = append(out, noticeOf(l, lasting.event, NoticeBegan, now))
		}
	}
	return out
}

// Hear gives the notices that an event of the detector is worth.
func (n *Notices) Hear(e detect.Event, l Live) []Notice {
	one := func(event string, state NoticeState) []Notice {
		return []Notice{noticeOf(l, event, state, e.At)}
	}
	switch e.What {
	case detect.Began:
		return one(FiringStartedNotice, NoticeOnce)
	case detect.Over:
		return one(FiringEndedNotice, NoticeOnce)
	case detect.StillFiring:
		return one(StillFiringNotice, NoticeOnce)
	case detect.CooledDown:
		n := noticeOf(l, CooledNotice, NoticeOnce, e.At)
		n.Soon = e.TooSoon
		return []Notice{n}
	case detect.FellEarly:
		if e.Known {
			return one(FellEarlyNotice, NoticeOnce)
		}
	case detect.StandsLow:
		return one(StandsLowNotice, NoticeOnce)
	case detect.StartedStalling:
		if e.Known && !n.stalledTold {
			n.stalledTold = true
			return one(StoppedClimbingNotice, NoticeBegan)
		}
	case detect.StoppedStalling:
		if n.stalledTold {
			n.stalledTold = false
			return one(StoppedClimbingNotice, NoticeCleared)
		}
	}
	return nil
}

// noticeOf is a notice of an event with what the kiln reads now.
func noticeOf(l Live, event string, state NoticeState, at kiln.Stamp) Notice {
	return Notice{Event: event, State: state, Kiln: l.Kiln, Firing: l.Firing, At: at, T: l.LastT, Age: l.Age,
		Aside: l.Aside, Probe: l.Probe}
}
