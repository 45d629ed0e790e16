package lid

import (
	"cmp"
	"math"
	"slices"

	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Goal is the chance of a fit that the cheapest way is sought for. One that says a point more is sought
// first, since in studios unlike the handbook one to two points too many were said.
const (
	Goal   = 0.95
	margin = 0.01
)

// Way is what to do for one pot so that a lid fits it: widths to throw, and what else.
type Way struct {
	Does      []message.Message  // beside throwing; none: as it stands
	Sizes     []tiles.Millimetre // one a lid
	Trimmed   bool               // the sizes are those to trim to at leather-hard
	Minutes   int                // of work more than one lid takes (own)
	FitChance float64            // that one of the lids fits
	Reaches   bool               // Goal
}

// Says is the way in sentences; none where one lid as it stands reaches Goal.
func (w Way) Says(unit tiles.LengthUnit) []message.Message {
	if len(w.Sizes) == 0 || w.Minutes == 0 && len(w.Does) == 0 && w.Reaches {
		return nil
	}
	var widths []message.Message
	for _, s := range slices.Compact(slices.Sorted(slices.Values(w.Sizes))) {
		widths = append(widths, message.New("{1}", tiles.Measured{Length: s, Unit: unit, Bare: true}))
	}
	lids := message.New("one lid of {1}", widths[0])
	if n := len(w.Sizes); n > 1 {
		lids = message.New("{1} lids of {2}", n, message.Join(", ", widths...))
	}
	if w.Trimmed {
		lids = message.New("{1}, trimmed to that at leather-hard", lids)
	}
	chance := message.Percent(w.FitChance, 0)
	says := []message.Message{message.New("The cheapest way to 95 %: {1}: {2} %, about {3} minutes more.",
		lids, chance,
		w.Minutes)}
	if !w.Reaches {
		says[0] = message.New("Nothing known here reaches 95 %; the best way: {1}: {2} %, about {3} minutes more.",
			lids, chance, w.Minutes)
	}
	for _, does := range w.Does {
		says = append(says, message.New("With it: {1}.", does))
	}
	return says
}

// deed is one thing that may be done for this lid, before or after it is thrown.
type deed struct {
	does    message.Message
	minutes int // own
	change  func(*causes)
}

const (
	spareMinutes = 12 // to throw, trim and carry one more lid (own)
	readMinutes  = 2
	barsMinutes  = 45
)

// deeds are those that this question leaves open.
func (f *Clearance) deeds(q Question) []deed {
	all := []deed{{message.New("read each width three times and take the mean"), readMinutes,
		func(c *causes) {
			c.reading *= meanOfThree
		}}}
	if q.Together != shrinkage.InPlace && q.CollarStage != tiles.Fired &&
		q.LidStage != tiles.Fired && !q.SeatGlazed {
		all = append(all, deed{message.New("fire the lid in place on its pot"), 0, func(c *causes) {
			c.own.fitted, c.position = max(c.own.fitted-c.position, 0), 0
		}})
	}
	if (q.Body.Clay != "" || q.LidClay.Clay != "") && (q.CollarStage == tiles.Fired ||
		q.Asks() == AskGallery && q.LidStage == tiles.Fired) {
		all = append(all, deed{message.New("fire three bars of this bag in another load first"),
			barsMinutes, func(c *causes) { c.rate *= halfRate }})
	}
	return all
}

// cheapest is the way with the fewest minutes that reaches Goal, else the one with the best chance. One lid
// of the set size, two and three are tried with each choice of deeds.
func (s steps) cheapest(q Question, set, chance float64) Way {
	one := Way{Sizes: []tiles.Millimetre{tiles.Millimetre(set)}, FitChance: chance, Reaches: chance >= Goal}
	if chance >= Goal+margin || math.IsNaN(set) {
		return one
	}
	deeds := s.f.deeds(q)
	// every choice of deeds with one, two and three lids, the quickest first
	type plan struct{ which, lids, minutes int }
	var plans []plan
	for which := range 1 << len(deeds) {
		minutes := 0
		for i, d := range deeds {
			if which>>i&1 == 1 {
				minutes += d.minutes
			}
		}
		for lids := 1; lids <= 3; lids++ {
			plans = append(plans, plan{which, lids, minutes + (lids-1)*spareMinutes})
		}
	}
	slices.SortStableFunc(plans, func(a, b plan) int {
		return cmp.Or(cmp.Compare(a.minutes, b.minutes), cmp.Compare(a.which, b.which))
	})
	best := one
	tables := map[int]few{}
	for _, p := range plans {
		// those deeds make less of their causes
		change := func(c *causes) {
			for i, d := range deeds {
				if p.which>>i&1 == 1 {
					d.change(c)
				}
			}
		}
		var sp Spares
		if p.lids == 1 { // of the set size: no table is needed
			c := s.f.causesAt(set * s.f.Left[s.f.made])
			change(&c)
			sp = Spares{1, one.Sizes, s.f.fit.one(s.f.PlayAt(set), c.total())}
		} else {
			t, made := tables[p.which]
			if !made {
				t = s.few(set, change)
				tables[p.which] = t
			}
			sp = t.of(p.lids)
		}
		if sp.FitChance <= best.FitChance {
			continue
		}
		best = Way{Sizes: sp.Sizes, Minutes: p.minutes, FitChance: sp.FitChance,
			Reaches: sp.FitChance >= Goal}
		for i, d := range deeds {
			if p.which>>i&1 == 1 {
				best.Does = append(best.Does, d.does)
			}
		}
		if best.FitChance >= Goal+margin {
			break
		}
	}
	return best
}

// few is the chances of a few sizes about the set one.
type few struct {
	sizes []float64
	t     misses
}

// few sizes about set, under changed causes.
func (s steps) few(set float64, change func(*causes)) few {
	const side = 3
	step := s.step
	if step == 0 {
		step = 0.1
	}
	sd := math.Sqrt(s.f.causesAt(set*s.f.Left[s.f.made]).total().at(1)) / s.f.Left[s.f.made]
	step *= max(1, math.Round(0.35*sd/step))
	var t few
	m, own := make([]float64, 2*side+1), make([]variance, 2*side+1)
	var shared variance
	for i := range m {
		x := set + float64(i-side)*step
		c := s.f.causesAt(x * s.f.Left[s.f.made])
		change(&c)
		m[i], own[i] = s.f.PlayAt(x), c.own
		if i == side {
			shared = c.shared()
		}
		t.sizes = append(t.sizes, x)
	}
	fit := s.f.fit
	if len(fit.scales) > 1 { // half as fine: good to 0.002, and a question is not to wait for this
		fit.scales = fitScalesBy(s.f.Nu, 1.2)
	}
	t.t = fit.share(m, own, shared)
	return t
}

// of is the best of two or three lids.
func (t few) of(lids int) Spares {
	best := Spares{Lids: lids}
	for i := range t.sizes {
		switch lids {
		case 2:
			for j := i; j < len(t.sizes); j++ {
				best.better(t.t.any(i, j), t.sizes[i], t.sizes[j])
			}
		default:
			for d := 0; i+2*d < len(t.sizes); d++ {
				best.better(t.t.any(i, i+d, i+2*d), t.sizes[i], t.sizes[i+d], t.sizes[i+2*d])
			}
		}
	}
	return best
}

// trimmedTo turns wet widths into what they are trimmed to.
func (w *Way) trimmedTo(left float64) {
	w.Trimmed = true
	for i, s := range w.Sizes {
		w.Sizes[i] = tiles.Millimetre(math.Round(float64(s)*left/trimStep) * trimStep)
	}
}
