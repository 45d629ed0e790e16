package heatwork

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"lidwright/kiln"
)

// ProbeLife is the span between the fitting of a thermocouple and its replacement.
type ProbeLife struct {
	ID        string         // UUID; empty for the one of the settings
	Channel   kiln.ChannelID // that the probe speaks on
	Type      string         // letter, for the reader
	Class     int            // tolerance class
	Fitted    time.Time      // start of the day; zero: since ever
	Removed   time.Time      // start of the day; zero: still there, or until the next one
	Tolerance kiln.Celsius   // of its type and class at 1200 °C; NaN or 0: not known
}

// Since is the day on which a life began, which tells it from the others of its channel: "2026-01-06";
// empty: since ever.
func (l ProbeLife) Since() string {
	if l.Fitted.IsZero() {
		return ""
	}
	return l.Fitted.Format(time.DateOnly)
}

// ProbeName names a life of a probe as bars and rates know it: "big-blue/1", and after another was
// fitted "big-blue/1 of 2026-01-06".
func ProbeName(k kiln.KilnID, c kiln.ChannelID, since string) string {
	name := string(k) + "/" + string(c)
	if since != "" {
		name += " of " + since
	}
	return name
}

// LifeAt is the life that the probe of a channel had at a moment.
func LifeAt(c kiln.ChannelID, lives []ProbeLife, at time.Time) ProbeLife {
	spans := spansOf(c, lives)
	return spans[lifeAt(spans, at)]
}

// ProbeStory is what the cones of one shelf tell of one life of a probe.
type ProbeStory struct {
	kiln.Place
	Of    string      // the shelf whose cones these are; that of Place unless Place has none
	Life  ProbeLife   // whose firings these are
	After []ProbeBias // after each firing of that life, in order of time
}

// Last is what is known of the probe now.
func (s ProbeStory) Last() ProbeBias {
	if n := len(s.After); n > 0 {
		return s.After[n-1]
	}
	return NewProbeBias(s.Life.Tolerance)
}

// at is what was known after that firing; ok is false if it is not of this life.
func (s ProbeStory) at(id kiln.FiringID) (ProbeBias, bool) {
	for _, b := range s.After {
		if b.Firing == id {
			return b, true
		}
	}
	return ProbeBias{}, false
}

// StoriesOf works out, from all firings of a kiln in any order and the cones that were seen in
// them (struck ones left out), what the cones tell of every life of every probe. lives may be in
// any order and hold none; firings before the first life are one of a probe that nobody knows.
func StoriesOf(l *ConeScale, k kiln.Kiln, lives []ProbeLife, firings []kiln.Firing,
	cones map[kiln.FiringID][]ConeReading) []ProbeStory {
	// drift goes by the order of the firings
	ordered := slices.Clone(firings)
	slices.SortStableFunc(ordered, func(a, b kiln.Firing) int { return a.Began.Wall.Compare(b.Began.Wall) })
	var stories []ProbeStory
	for _, c := range k.Channels {
		if c.Role != kiln.RoleProbe {
			continue
		}
		// each firing with a curve of this channel belongs to the life that its probe then had
		spans := spansOf(c.ID, lives)
		byLife := make([][]kiln.Firing, len(spans))
		for _, f := range ordered {
			if w, ok := f.HeatWork[c.ID]; !ok || w.From != kiln.FromCurve || f.Status == kiln.Running {
				continue
			}
			n := lifeAt(spans, f.Began.Wall)
			byLife[n] = append(byLife[n], f)
		}
		// a life without firings has a story only where it goes on
		for n, life := range spans {
			if len(byLife[n]) > 0 || life.Removed.IsZero() && n == len(spans)-1 {
				stories = append(stories, storiesOfLife(l, k, life, byLife[n], cones)...)
			}
		}
	}
	return stories
}

// spansOf are the lives of one channel in order, each removed at the latest where the next begins.
// The first begins at the beginning of time, and one that nobody knows follows a removal.
func spansOf(channel kiln.ChannelID, lives []ProbeLife) []ProbeLife {
	var own []ProbeLife
	for _, l := range lives {
		if l.Channel == channel {
			own = append(own, l)
		}
	}
	// of two fitted on one day the one of the settings, which has no ID, comes first and is passed over
	slices.SortStableFunc(own, func(a, b ProbeLife) int {
		return cmp.Or(a.Fitted.Compare(b.Fitted), cmp.Compare(a.ID, b.ID))
	})
	unknown := func(from time.Time) ProbeLife {
		return ProbeLife{Channel: channel, Fitted: from, Tolerance: kiln.NoTemperature()}
	}
	var spans []ProbeLife
	for i, l := range own {
		if i+1 < len(own) && own[i+1].Fitted.Equal(l.Fitted) {
			continue // told twice: the one that somebody entered counts, not that of the settings
		}
		// before the first known one there was a probe that nobody told of
		if len(spans) == 0 && !l.Fitted.IsZero() {
			spans = append(spans, unknown(time.Time{}))
		}
		spans = append(spans, l)
		// removed, and no other fitted by the day after: again one that nobody told of
		if next := l.Removed.AddDate(0, 0, 1); !l.Removed.IsZero() && (i+1 == len(own) ||
			own[i+1].Fitted.After(next)) {
			spans = append(spans, unknown(next))
		}
	}
	if len(spans) == 0 {
		spans = append(spans, unknown(time.Time{}))
	}
	return spans
}

// lifeAt is the number of the span that a moment lies in.
func lifeAt(spans []ProbeLife, at time.Time) int {
	n := 0
	for i, s := range spans {
		if !at.Before(s.Fitted) {
			n = i
		}
	}
	return n
}

// storiesOfLife is one story a shelf on which cones of this channel stood, and before them that of
// the channel itself: the shelf with most cones, or nothing read at all.
func storiesOfLife(l *ConeScale, k kiln.Kiln, life ProbeLife, firings []kiln.Firing,
	cones map[kiln.FiringID][]ConeReading) []ProbeStory {
	// the shelves on which cones stood that this channel stands for
	var shelves []string
	for _, f := range firings {
		for _, c := range cones[f.ID] {
			if k.Probe(c.Shelf) == life.Channel && !slices.Contains(shelves, c.Shelf) {
				shelves = append(shelves, c.Shelf)
			}
		}
	}
	slices.Sort(shelves)
	// the filter over all firings of the life, each with the cones of one shelf
	tell := func(shelf string) ProbeStory {
		fired := make([]FiredCones, 0, len(firings))
		for _, f := range firings {
			w := f.HeatWork[life.Channel]
			one := FiredCones{Firing: f.ID, AsIndicated: w.C, OwnSD: w.OwnSD}
			if f.AtLeast {
				one.AsIndicated = kiln.NoTemperature()
			}
			for _, c := range cones[f.ID] {
				if c.Shelf == shelf && k.Probe(shelf) == life.Channel {
					one.Readings = append(one.Readings, c)
				}
			}
			fired = append(fired, one)
		}
		return ProbeStory{Place: kiln.Place{Channel: life.Channel, Shelf: shelf}, Of: shelf, Life: life,
			After: Refilter(l, life.Tolerance, fired)}
	}
	if len(shelves) == 0 {
		return []ProbeStory{tell("")}
	}
	var all []ProbeStory
	most := 0
	for i, shelf := range shelves {
		all = append(all, tell(shelf))
		if all[i].Last().Cones > all[most].Last().Cones {
			most = i
		}
	}
	// that shelf's story is told as the channel's own too, and stands first
	main := all[most]
	main.Shelf = ""
	if all[most].Of == "" { // cones of no named shelf are the channel's own story
		all = slices.Delete(all, most, most+1)
	} else {
		all = slices.DeleteFunc(all, func(s ProbeStory) bool { return s.Of == "" })
	}
	return append([]ProbeStory{main}, all...)
}

// Corrections is what is to be added to the readings of a firing, and its doubt: for every channel,
// and for the shelves whose cones told by then.
func Corrections(stories []ProbeStory, f kiln.Firing) map[kiln.Place]Correction {
	out := map[kiln.Place]Correction{}
	for _, s := range stories {
		w, ok := f.HeatWork[s.Channel]
		b, of := s.at(f.ID)
		if !ok || !of || w.From != kiln.FromCurve || s.Shelf != "" && b.Cones == 0 {
			continue
		}
		c := Correction{Since: s.Life.Since()}
		c.Bias, c.SD = b.For(w.C)
		out[s.Place] = c
	}
	return out
}

// Correction is what the cones say is to be added to each reading of a channel.
type Correction struct {
	Bias  kiln.Celsius // °C to be added
	SD    kiln.Celsius // one sd
	Since string       // of the life of the probe
}

// Differs says whether a heat work was worked out with another correction, or by another model.
func (c Correction) Differs(w kiln.HeatWork) bool {
	const enough = 0.005
	apart := func(a, b kiln.Celsius) bool { return max(a-b, b-a) > enough }
	return w.Model != kiln.HeatWorkModel || c.Since != w.Since ||
		apart(c.Bias, w.Bias) || apart(c.SD, w.BiasSD)
}

// Witnessed is what the cones tell by now of the probe of each channel, of those that they told of.
type Witnessed map[kiln.ChannelID]ProbeStory

// WitnessedOf are the stories of the channels themselves, of the lives that go on.
func WitnessedOf(stories []ProbeStory) Witnessed {
	w := Witnessed{}
	for _, s := range stories { // a later life stands after the one before it
		if s.Shelf != "" {
			continue
		}
		if delete(w, s.Channel); s.Last().Cones > 0 && s.Life.Removed.IsZero() {
			w[s.Channel] = s
		}
	}
	return w
}

// Correction is what is to be added to each reading of a firing that goes on; ok is false where no
// cone has told of the probe.
func (w Witnessed) Correction(channel kiln.ChannelID) (c Correction, ok bool) {
	s, ok := w[channel]
	if !ok {
		return Correction{}, false
	}
	last := s.Last()
	return Correction{Bias: last.Bias, SD: kiln.Celsius(last.BiasSD), Since: s.Life.Since()}, true
}

// Same reports whether another one corrects alike.
func (w Witnessed) Same(other Witnessed) bool {
	return maps.EqualFunc(w, other, func(a, b ProbeStory) bool {
		x, y := a.Last(), b.Last()
		return x.Bias == y.Bias && x.BiasSD == y.BiasSD && x.Low == y.Low && x.High == y.High &&
			a.Life.Since() == b.Life.Since()
	})
}

// CorrectedHeatWork works out the heat work of one channel of a whole firing with a correction: what the
// cones say of the probe is added to every reading and integrated again, since added to the result it would
// be up to 2 °C off for 10 °C. Its range takes in the doubt of the probe.
func CorrectedHeatWork(c kiln.Curve, channel kiln.ChannelID, limit kiln.Celsius,
	by Correction) kiln.HeatWork {
	g := NewHeatGauge(MainConeScale(), limit)
	g.Bias, g.BiasSD = by.Bias, by.SD
	g.Play(c, channel)
	w := g.HeatWork()
	w.Since = by.Since
	return w
}
