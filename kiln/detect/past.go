package detect

import (
	"math"
	"slices"
	"time"

	"lidwright/kiln"
)

// PastOf is what the firings of one kiln so far, in any order, lead to expect, per kind and atmosphere, with
// what people said of the usual ones, the oldest first.
func PastOf(firings []kiln.Firing, control kiln.ChannelID, said ...UsualSaid) Past {
	// whole firings alone, the newest first
	ended := slices.DeleteFunc(slices.Clone(firings), func(f kiln.Firing) bool {
		return f.Status != kiln.Ended
	})
	slices.SortStableFunc(ended, func(a, b kiln.Firing) int { return b.Began.Wall.Compare(a.Began.Wall) })
	var p Past
	if len(ended) > 0 {
		p.Kind, p.Atmosphere = ended[0].Kind, ended[0].Atmosphere
	}
	// by kind and atmosphere, in the order in which each was fired last
	by := map[sort][]kiln.Firing{}
	var order []sort
	for _, f := range ended {
		s := sort{f.Kind, f.Atmosphere}
		if len(by[s]) == 0 {
			order = append(order, s)
		}
		by[s] = append(by[s], f)
	}
	for _, s := range said {
		if of := (sort{s.Kind, s.Atmosphere}); !slices.Contains(order, of) {
			order = append(order, of)
		}
	}
	for _, s := range order {
		// the rules of the usual firing go forward in time
		slices.Reverse(by[s])
		for _, e := range s.usuals(by[s], control, said) {
			if e.Of > 0 || e.Pinned {
				p.Usual = append(p.Usual, e)
			}
		}
	}
	p.ended, p.control, p.said = ended, control, said
	return p
}

// With is what is expected once f is over too: nothing has to be read anew for the next firing. What the
// holds of the firings told stays.
func (p Past) With(f kiln.Firing) Past {
	if f.Status != kiln.Ended || slices.ContainsFunc(p.ended,
		func(e kiln.Firing) bool { return e.ID == f.ID }) {
		return p
	}
	next := PastOf(append(slices.Clone(p.ended), f), p.control, p.said...)
	for i, e := range next.Usual {
		if was, ok := p.Expect(e.Kind, e.Atmosphere); ok && e.Name == "" && was.Atmosphere == e.Atmosphere {
			next.Usual[i].Holds = was.Holds
		}
	}
	next.Probes, next.falls = p.Probes, p.falls
	return next
}

// Hold takes in the holds that one firing of the usual ones of its sort had, so that the same hold
// is no stall the next time.
func (p Past) Hold(f kiln.Firing, holds []kiln.Hold) {
	for i, e := range p.Usual {
		if e.Kind == f.Kind && e.Atmosphere == f.Atmosphere {
			p.Usual[i].Holds = append(e.Holds, holds...)
		}
	}
}

// UsualBefore is the usual firing that was known when the firing at place i of a list, newest
// first, was fired: of its kiln, kind and atmosphere. Of is 0 if there was none.
func UsualBefore(firings []kiln.Firing, i int, control kiln.ChannelID) Expected {
	var before []kiln.Firing
	f := firings[i]
	for _, b := range slices.Backward(firings[i+1:]) {
		if b.Kiln == f.Kiln && b.Kind == f.Kind && b.Atmosphere == f.Atmosphere && b.Status == kiln.Ended {
			before = append(before, b)
		}
	}
	if len(before) == 0 {
		return Expected{Kind: f.Kind, Atmosphere: f.Atmosphere, HeatWork: kiln.NoTemperature(),
			Top: kiln.NoTemperature()}
	}
	return usualOf(before, control, nil)
}

// expectedOf is what some firings of one sort lead to expect.
func expectedOf(firings []kiln.Firing, control kiln.ChannelID) Expected {
	e := Expected{Kind: firings[0].Kind, Atmosphere: firings[0].Atmosphere, HeatWork: kiln.NoTemperature(),
		Top: kiln.NoTemperature(), Of: len(firings)}
	var tops, works, hours []float64
	// a firing without a peak, a heat work or a top does not enter that median
	for _, f := range firings {
		e.IDs = append(e.IDs, f.ID)
		if f.Peak.Known() {
			tops = append(tops, float64(f.Peak))
		}
		if w, ok := f.Work(control); ok && w.C.Known() {
			works = append(works, float64(w.C))
		}
		e.Cooling = max(e.Cooling, f.Length-f.PeakAfter)
		if f.ToTop > 0 {
			hours = append(hours, float64(f.ToTop))
		}
	}
	if len(tops) > 0 {
		e.Top = kiln.Celsius(kiln.Median(tops))
	}
	if len(works) > 0 {
		e.HeatWork, e.Works = kiln.Celsius(kiln.Median(works)), works
	}
	if len(hours) > 0 {
		e.ToTop, e.Tops = time.Duration(kiln.Median(hours)), hours
	}
	return e
}

// A firing of which fewer than four are known is taken to miss its heat work by usualMiss; four
// that agree by chance are not believed to agree better than leastMiss. °C, both own choice.
const (
	usualMiss = 6.0
	leastMiss = 2.0
)

// Miss is how far a firing of this sort may miss its usual heat work, °C (one sd).
func (e Expected) Miss() float64 {
	if len(e.Works) < UsualOf {
		return usualMiss
	}
	mean, sum := 0.0, 0.0
	for _, w := range e.Works {
		mean += w / float64(len(e.Works))
	}
	for _, w := range e.Works {
		sum += (w - mean) * (w - mean)
	}
	return math.Max(math.Sqrt(sum/float64(len(e.Works)-1)), leastMiss)
}
