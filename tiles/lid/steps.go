package lid

import (
	"math"

	"lidwright/tiles"
)

// steps is the grid of sizes that the maker can set, and the limits on it.
type steps struct {
	f           *Clearance
	step        float64 // 0: any size
	under, over float64 // limits before rounding
	first, last int     // multiples of step inside the limits
}

// onGrid allows for a limit that lies on a step but for its last bits.
const onGrid = 1e-7

// newSteps is the grid inside the limits of f.
func newSteps(f *Clearance, step float64) steps {
	s := steps{f: f, step: step}
	s.over, s.under = f.limits()
	if step > 0 {
		s.first, s.last = int(math.Ceil(s.under/step-onGrid)), int(math.Floor(s.over/step+onGrid))
	}
	return s
}

// any reports whether a size that can be set lies within the limits.
func (s steps) any() bool { return s.step > 0 && s.first <= s.last }

// at is the size of a multiple of the step.
func (s steps) at(i int) float64 { return float64(i) * s.step }

// unrounded is the size for the play asked, or the middle of the limits.
func (s steps) unrounded(play *tiles.Millimetre) float64 {
	if play != nil {
		return s.f.sizeFor(float64(*play))
	}
	return (s.under + s.over) / 2
}

// choose is the size to set. With a play: its size to the next step on the loose side, or
// the other way if that would leave the limits. Without: of the steps within the limits whose
// chance is within 0.005 of the best the loosest, since tight is worse. With no step within
// the limits: their middle.
func (s steps) choose(play *tiles.Millimetre) float64 {
	exact := s.unrounded(play)
	switch {
	case s.step == 0:
		return exact
	case !s.any():
		return (s.under + s.over) / 2
	case play != nil:
		safe, other := int(math.Floor(exact/s.step+onGrid)), int(math.Ceil(exact/s.step-onGrid))
		if !s.f.Inner {
			safe, other = other, safe
		}
		within := func(i int) bool { return i >= s.first && i <= s.last }
		if !within(safe) && within(other) {
			safe = other
		}
		return s.at(safe)
	}
	n := s.last - s.first + 1
	stride := 1 + n/400 // a step finer than any calliper is not searched one by one
	chance := make([]float64, 0, n/stride+1)
	best := 0.0
	for i := s.first; i <= s.last; i += stride {
		p := s.f.ChanceAt(s.at(i))
		chance, best = append(chance, p), max(best, p)
	}
	const near = 0.005
	for k := range chance {
		if !s.f.Inner {
			k = len(chance) - 1 - k
		}
		if chance[k] >= best-near {
			return s.at(s.first + k*stride)
		}
	}
	return s.at(s.first)
}

// spread finds the best sizes of up to most lids (or galleries) made for one another part. The
// first is the set size itself.
func (s steps) spread(set, chance float64, most int) []Spares {
	all := []Spares{{1, []tiles.Millimetre{tiles.Millimetre(set)}, chance}}
	if most < 2 {
		return all
	}
	sizes := s.candidates(set)
	m, own := make([]float64, len(sizes)), make([]variance, len(sizes))
	var shared variance
	for i, x := range sizes {
		c := s.f.causesAt(x * s.f.Left[s.f.made])
		m[i], own[i] = s.f.PlayAt(x), c.own
		if x == set {
			shared = c.shared()
		}
	}
	// the chances of every candidate at once, given what they share
	t := s.f.fit.share(m, own, shared)
	all = append(all, Spares{2, nil, 0})
	// every pair, then every three at equal distances
	pair := &all[1]
	for i := range sizes {
		for j := i; j < len(sizes); j++ {
			pair.better(t.any(i, j), sizes[i], sizes[j])
		}
	}
	if most == 2 {
		return all
	}
	all = append(all, Spares{3, nil, 0})
	triple := &all[2]
	for i := range sizes {
		for d := 0; i+2*d < len(sizes); d++ {
			triple.better(t.any(i, i+d, i+2*d), sizes[i], sizes[i+d], sizes[i+2*d])
		}
	}
	return all
}

// better takes the sizes if their chance is higher, or as good with sizes nearer together.
func (s *Spares) better(chance float64, sizes ...float64) {
	const alike = 2e-4
	span := func(v []float64) float64 { return v[len(v)-1] - v[0] }
	if len(s.Sizes) > 0 {
		was := float64(s.Sizes[len(s.Sizes)-1] - s.Sizes[0])
		if chance < s.FitChance-alike || chance < s.FitChance+alike && span(sizes) >= was-onGrid {
			return
		}
	}
	s.FitChance, s.Sizes = chance, nil
	for _, x := range sizes {
		s.Sizes = append(s.Sizes, tiles.Millimetre(x))
	}
}

// candidates are the sizes that spares may have: on the step grid (a coarser multiple of a
// very fine step) up to 2 mm beyond the limits, the set size among them.
func (s steps) candidates(set float64) []float64 {
	const beyond, most = 2.0, 56
	step := s.step
	if step == 0 {
		step = 0.1
	}
	low, high := min(s.under, set)-beyond, max(s.over, set)+beyond
	for (high-low)/step > most {
		step *= 2
	}
	var sizes []float64
	for i := int(math.Ceil((low - set) / step)); set+float64(i)*step <= high; i++ {
		sizes = append(sizes, set+float64(i)*step)
	}
	return sizes
}
