package record

import (
	"slices"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/faults"
	"lidwright/kiln/message"
)

// Live is what one kiln is doing now: a copy, for a page, a metric or a notice.
type Live struct {
	Kiln kiln.KilnID // as in the settings, or as a person called it
	// one of the constants; Quiet where nothing good was heard for QuietAfter
	State kiln.State
	Hot   bool // the last good reading was over 60 °C, or one held aside is; stays so when the kiln is quiet

	T            kiln.Celsius        // of the control channel; NaN unless Fresh
	LastT        kiln.Celsius        // the last good one, however old; NaN if there was none
	Rate         kiln.CelsiusPerHour // over the last 10 min; NaN unless Fresh and known
	ReadAt       kiln.Stamp          // of LastT; zero if there was none
	Age          time.Duration       // of LastT at the moment of asking
	Fresh        bool                // read within three periods, at least 30 s
	ClockTrusted bool                // of ReadAt's wall time
	Channels     []LiveChannel       // in the order of the settings

	Hottest   kiln.Celsius   // of the probes that read well now; NaN where none does
	HottestOf kiln.ChannelID // which one that is

	Probe kiln.ChannelID // that speaks: T, Rate, Peak and HeatWork's own are of it
	// when it began to speak in the place of the control probe; zero where it is that
	ProbeSince kiln.Stamp
	Aside      faults.Aside // the hottest reading that is held aside; the zero one if there is none

	Firing     kiln.FiringID                    // "" when none is open
	Number     int                              // 0 until the store has given it one
	Kind       kiln.Kind                        // of the open firing, or of the next load; "" not known
	KindFrom   string                           // fact, load, guessed, ""
	Atmosphere kiln.Atmosphere                  // of the open firing, or that the next is taken for
	Load       string                           // id of the load of the open firing or of the next; "" none
	Began      kiln.Stamp                       // first rise of the open firing; zero when none is open
	Elapsed    time.Duration                    // first rise to the last reading
	ToTop      time.Duration                    // stands still once the top is passed; before it, Elapsed
	UsualToTop time.Duration                    // of the usual firing of its kind; 0 where there is none
	TopPassed  bool                             // of the open firing; may be taken back
	Peak       kiln.Celsius                     // of the open firing; NaN when none is open
	HeatWork   map[kiln.ChannelID]kiln.HeatWork // of each probe as indicated; nil when none is open
	// by what the cones told of the probes; none where they told nothing of this heat
	Corrected   map[kiln.Place]kiln.HeatWork
	Provisional bool     // the heat work may still grow
	Stalled     bool     // stopped climbing well short of the usual top
	FellEarly   bool     // its fall began well short of the usual top
	Undoable    *Stopped // whose record a person ended, while that can be undone; nil: none

	Vent      Vent         // what the contact on its vent says, while fresh
	Limit     kiln.Celsius // NaN where none was set
	OverLimit bool         // the last reading, while fresh
	StillHot  bool         // still hot, or climbing again, long after the end
	// the kiln is kept shut above this, °C, as last told
	KeepShut  kiln.Celsius
	BelowMark bool // the last reading of every probe is at or below KeepShut
	TooSoon   bool // it came down to that sooner than it ever cooled: the probe may be wrong

	Disagree []faults.Disagreement // probes that read otherwise than they used to beside the control probe
	Good     int                   // good readings of the control channel since the program started
	Faulty   map[kiln.Fault]int    // readings of all channels that were not good, since then
	Gaps     time.Duration         // unheard in firings since then, known lengths only
}

// Vent is what the contact on the vent of a kiln says. It is told and never switched.
type Vent string

const (
	VentUnknown Vent = "" // there is no contact, or it is not heard
	VentOn      Vent = "on"
	VentOff     Vent = "off"
)

// LiveChannel is one channel of a Live.
type LiveChannel struct {
	Channel kiln.ChannelID // as in the settings
	Role    kiln.Role      // what it is good for
	T       kiln.Celsius   // NaN unless Fresh
	LastT   kiln.Celsius   // the last good one, however old; NaN if there was none
	Age     time.Duration  // of LastT
	Fresh   bool           // good, of this boot, and no older than Kiln.StaleAfter
	Fault   kiln.Fault     // of the newest reading
	Aside   faults.Aside   // what it reads and is not believed; the zero one where nothing is held aside
	Still   kiln.Stamp     // since when it reads the same, though it moved before; zero else
}

// LiveCurve is the curve of an open firing so far: a copy.
type LiveCurve struct {
	Firing  kiln.Firing     // as far as it has gone
	Minutes []kiln.Envelope // one a channel, in steps of a minute
	Gaps    []kiln.Gap      // of the firing so far; Tail has those of its own minutes
	Tail    kiln.Curve      // every reading of the last minutes, ages from the firing's first point
}

// StoreTrouble says that what is heard cannot be written down just now.
type StoreTrouble struct {
	Since   kiln.Stamp      // of the first call that failed, or of the one that does not answer
	Why     message.Message // in words for people
	Err     error           // of the last call, nil while one is under way for too long
	Waiting int             // samples in memory, to be written when it can be
	Thinned int             // samples given up to make room: one of 10 s, then one of a minute is kept
}

// Live is what every kiln is doing now, in the order of the settings.
func (r *Recorder) Live() []Live {
	r.prepare()
	now := r.Now()
	r.mu.Lock()
	defer r.mu.Unlock()
	out := make([]Live, 0, len(r.states))
	for _, d := range r.states {
		out = append(out, d.live(now))
	}
	return out
}

// Firing is the open firing of a kiln as far as it has gone, and whether there is one.
func (r *Recorder) Firing(id kiln.KilnID) (kiln.Firing, bool) {
	r.prepare()
	r.mu.Lock()
	defer r.mu.Unlock()
	d := r.stateOf(id)
	if d == nil || d.growing == nil {
		return kiln.Firing{}, false
	}
	c, _ := d.detector.Course()
	return d.growing.summary(c), true
}

// LiveCurve is the curve of a kiln's open firing so far, and whether there is one.
func (r *Recorder) LiveCurve(id kiln.KilnID) (LiveCurve, bool) {
	r.prepare()
	r.mu.Lock()
	defer r.mu.Unlock()
	d := r.stateOf(id)
	if d == nil || d.growing == nil {
		return LiveCurve{}, false
	}
	c, _ := d.detector.Course()
	g := d.growing
	// copies: the recorder goes on writing into its own
	out := LiveCurve{Firing: g.summary(c), Gaps: slices.Clone(g.gaps), Tail: kiln.Curve{
		Channels: slices.Clone(g.tail.Channels), After: slices.Clone(g.tail.After)}}
	for _, m := range g.minutes {
		out.Minutes = append(out.Minutes, m.Clone())
	}
	for _, t := range g.tail.T {
		out.Tail.T = append(out.Tail.T, slices.Clone(t))
	}
	if n := len(out.Tail.After); n > 0 {
		for _, gap := range g.gaps {
			if gap.After >= out.Tail.After[0] {
				out.Tail.Gaps = append(out.Tail.Gaps, gap)
			}
		}
	}
	return out, true
}

// ageAt is how old a reading of at is at now: at least that, if the machine was started anew
// since and no clock can tell.
func ageAt(at, now kiln.Stamp) time.Duration {
	age, known := now.Sub(at)
	if !known || age < 0 {
		return max(now.Since, 0)
	}
	return age
}

// live is what the kiln is doing at now.
func (d *kilnState) live(now kiln.Stamp) Live {
	l := Live{Kiln: d.kiln.ID, State: d.detector.State(), T: kiln.NoTemperature(),
		LastT: kiln.NoTemperature(),
		Rate:  kiln.CelsiusPerHour(kiln.NoTemperature()), Peak: kiln.NoTemperature(),
		Hottest:  kiln.NoTemperature(),
		Limit:    d.kiln.Limit,
		KeepShut: d.detector.KeptShutAbove(), Good: d.good, Faulty: d.counts(), Disagree: slices.Clone(d.off),
		Gaps: d.unheard,
		Load: d.detector.Load(), Atmosphere: d.detector.Atmosphere(), Undoable: d.undoable(now)}
	l.Kind, l.KindFrom = d.detector.Kind()
	l.Probe, l.ProbeSince = d.detector.Speaks()
	l.ProbeSince = d.settled(l.ProbeSince)
	// channel by channel: what is believed, what is held aside, and how old it is
	for i, c := range d.kiln.Channels {
		h := d.last[i]
		lc := LiveChannel{Channel: c.ID, Role: c.Role, T: kiln.NoTemperature(), LastT: h.t, Fault: h.fault}
		aside, held := d.judge.Aside(c.ID)
		if held {
			aside.Since = d.settled(aside.Since)
			if lc.Aside = aside; c.Role == kiln.RoleProbe && (!l.Aside.Held() || aside.T > l.Aside.T) {
				l.Aside = aside
			}
		}
		if still, ok := d.judge.Still(c.ID); ok {
			lc.Still = d.settled(still)
		}
		if h.t.Known() {
			lc.Age = ageAt(h.at, now)
			if lc.Fresh = !held && h.at.Boot == now.Boot && lc.Age < d.kiln.StaleAfter(); lc.Fresh {
				lc.T = h.t
			}
		}
		l.Channels = append(l.Channels, lc)
		// the kiln reads what the probe that speaks for it reads
		if c.ID == l.Probe {
			l.ReadAt = d.settled(h.at)
			l.T, l.LastT, l.Age, l.Fresh, l.ClockTrusted = lc.T, lc.LastT, lc.Age, lc.Fresh, l.ReadAt.Trusted
		}
	}
	l.Hot = l.LastT > 60 || l.Aside.Held() && l.Aside.T > 60 // what may be true is told on the safe side
	l.OverLimit = l.T > l.Limit
	for _, c := range l.Channels { // one of several probes that slipped out reads cold
		if c.Role == kiln.RoleVent && c.Fresh && c.T.Known() {
			if l.Vent = VentOn; c.T < 0.5 {
				l.Vent = VentOff
			}
		}
		if c.Role == kiln.RoleProbe && c.Fresh && c.T > 60 {
			l.Hot = true
		}
		if c.Role == kiln.RoleProbe && c.Fresh && !(c.T <= l.Hottest) {
			l.Hottest, l.HottestOf = c.T, c.Channel
		}
	}
	// every probe that is heard must be below: one that slipped out reads cold
	l.BelowMark = l.LastT <= l.KeepShut && !(l.Hottest > l.KeepShut)
	l.TooSoon = l.BelowMark && d.detector.TooSoon()
	l.StillHot = d.after.So()
	if rate, ok := d.detector.Rate(); ok && l.Fresh {
		l.Rate = rate
	}
	// a kiln that says nothing is quiet, whatever the detector still holds
	if !l.LastT.Known() || l.Age >= d.rec.Rules.QuietAfter {
		l.State = kiln.Quiet
	} else if d.taking && d.growing == nil {
		if l.State = kiln.Warm; l.LastT < detect.ColdBelow {
			l.State = kiln.Cold
		}
	}
	d.liveFiring(&l)
	return l
}

// liveFiring puts the open firing into l.
func (d *kilnState) liveFiring(l *Live) {
	g := d.growing
	if g == nil && d.reopened != nil {
		f := d.reopened.Firing
		l.Firing, l.Number, l.Kind, l.KindFrom, l.Atmosphere, l.Load, l.Began =
			f.ID, f.Number, f.Kind, f.KindFrom,
			f.Atmosphere, f.Load, f.Began
	}
	if g == nil {
		return
	}
	c, _ := d.detector.Course()
	f := g.summary(c)
	l.Firing, l.Number, l.Kind, l.KindFrom, l.Atmosphere, l.Load = f.ID, f.Number, f.Kind, f.KindFrom,
		f.Atmosphere, f.Load
	l.Began, l.Elapsed, l.TopPassed, l.Peak, l.HeatWork = f.Began, c.Length, c.Top, f.Peak, f.HeatWork
	l.Corrected = f.Corrected
	if usual, ok := d.past.UsualOf(d.kindNow()); ok {
		l.UsualToTop = usual.ToTop
	}
	l.Provisional, l.Stalled, l.FellEarly = true, c.Stalled, c.FellEarly
	if l.ToTop = c.ToTop; !c.Top {
		l.ToTop = c.Length
	}
}
