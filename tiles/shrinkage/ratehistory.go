package shrinkage

import (
	"cmp"
	"errors"
	"math"
	"slices"
	"time"

	"lidwright/tiles"
	"lidwright/tiles/mixedmodel"
)

const (
	minRateChange = 0.05 // log-percent; a smaller move is not told
	mostMoves     = 10
	mostBack      = 20000 // bars taken back times bars in the fit: how far the search goes back
	leastBack     = 8     // but so many bars in any case
	sitting       = 12 * time.Hour
)

// RateChange says that a rate moved, when, and because of what: of one bar, or of the bars of one
// load that were read one after another.
type RateChange struct {
	At       time.Time      // when the newest of its facts was said
	Batch    tiles.BatchRef // whose rate
	Was, Now tiles.Ratio    // before and after
	Bars     []tiles.Code   // whose readings came, were struck, confirmed or counted
	Load     string         // that all of these readings came out of; empty: readings before any firing
}

// fact is one thing said about a reading, and how to take it back.
type fact struct {
	at      time.Time
	bar     int // in the studio's list
	reading string
	load    string
	undo    func(*tiles.Reading) (gone bool)
}

// RateHistory tells what moved the rate that a asks about, from its stage to fired, the newest move
// first: at most ten, of 0.05 log-percent or more, and less far back the more bars there are. It takes the
// facts back one sitting after another and sees what the rate would be without them. Bars of other clays are
// among them where they shared a load. Sds are those of today throughout, so the same facts always give the
// same moves; what was answered at the time may have differed by what the sds were then.
func (f *Fit) RateHistory(a Ask) ([]RateChange, error) {
	l, err := f.leg(a, tiles.Fired)
	if err != nil {
		return nil, err
	}
	a.Batch = l.ref.Batch
	var out []RateChange
	g := f
	facts, left := f.factsAbout(a.Clay), max(mostBack/max(len(f.sheets), 1), leastBack)
	for len(facts) > 0 && left > 0 && len(out) < mostMoves {
		// one sitting: the facts that go together
		n := 1
		for n < len(facts) && facts[n].sameSitting(facts[n-1]) {
			n++
		}
		these := facts[:n]
		facts = facts[n:]
		// the fit without them, at the sds of today
		before, bars, err := takenBack(g, these)
		left -= bars
		if errors.Is(err, mixedmodel.ErrAnew) { // farther back it cannot be told without a new fit
			break
		}
		if err != nil {
			return nil, err
		}
		was, err := before.leg(a, tiles.Fired)
		if err != nil {
			return nil, err
		}
		if math.Abs(l.mean-was.mean) >= minRateChange {
			m := RateChange{At: these[0].at, Batch: l.ref, Was: tiles.LogPercent(was.mean).Ratio(),
				Now: tiles.LogPercent(l.mean).Ratio(), Load: these[0].load}
			for _, s := range these {
				m.Bars = include(m.Bars, f.studio.Bars[s.bar].Code)
			}
			slices.Sort(m.Bars)
			out = append(out, m)
		}
		g, l = before, was
	}
	return out, nil
}

// sameSitting: x, the next fact back, came within half a day of y and is about the same bar
// before it was fired, or out of the same load.
func (x fact) sameSitting(y fact) bool {
	return x.load == y.load && (x.load != "" || x.bar == y.bar) && y.at.Sub(x.at) <= sitting
}

// factsAbout lists, newest first, what was said about the bars of a clay and about bars that
// were in a load with them.
func (f *Fit) factsAbout(clay tiles.ClayID) []fact {
	loads := map[string]bool{}
	for _, s := range f.sheets {
		for _, l := range s.lines {
			if s.bar.Clay == clay && l.heat != nil {
				loads[loadName(l.heat)] = true
			}
		}
	}
	var out []fact
	for i := range f.studio.Bars {
		b := &f.studio.Bars[i]
		if !b.InFit() || b.Clay != clay && !slices.ContainsFunc(b.Firings,
			func(h tiles.Heat) bool { return loads[loadName(&h)] }) {
			continue
		}
		for _, r := range b.Readings {
			if r.Mass != nil || r.Stage == tiles.Soft || r.Stage == tiles.Leather {
				continue
			}
			load := ""
			if h, ok := b.Hottest(r); ok {
				load = loadName(&h)
			}
			// its entry, and each thing that was done to it since
			add := func(at time.Time, undo func(*tiles.Reading) bool) {
				out = append(out, fact{at, i, r.ID, load, undo})
			}
			add(r.At, func(*tiles.Reading) bool { return true })
			if r.Struck != nil {
				add(r.Struck.At, func(r *tiles.Reading) bool { r.Struck = nil; return false })
			}
			if r.Confirmed != nil {
				add(r.Confirmed.At, func(r *tiles.Reading) bool { r.Confirmed = nil; return false })
			}
			if r.Counted != nil {
				add(r.Counted.At, func(r *tiles.Reading) bool { r.Counted = nil; return false })
			}
		}
	}
	// of one moment: in the order of the bars, so that none is split
	slices.SortStableFunc(out, func(x, y fact) int {
		return cmp.Or(y.at.Compare(x.at), cmp.Compare(x.bar, y.bar))
	})
	return out
}

// takenBack is f with some facts taken back, about so many bars.
func takenBack(f *Fit, facts []fact) (*Fit, int, error) {
	changed := map[int][]fact{}
	var order []int
	for _, x := range facts {
		order = include(order, x.bar)
		changed[x.bar] = append(changed[x.bar], x)
	}
	g := f
	for _, i := range order {
		b := g.studio.Bars[i]
		b.Readings = slices.Clone(b.Readings)
		for _, x := range changed[i] {
			for j := range b.Readings {
				if b.Readings[j].ID == x.reading {
					if x.undo(&b.Readings[j]) {
						b.Readings = slices.Delete(b.Readings, j, j+1)
					}
					break
				}
			}
		}
		var err error
		if g, err = g.With(b); err != nil {
			return nil, 0, err
		}
	}
	return g, len(order), nil
}
