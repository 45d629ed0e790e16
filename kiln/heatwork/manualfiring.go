package heatwork

import (
	"math"
	"slices"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// ManualFiring is a firing as a person wrote it down. Any part may be missing.
type ManualFiring struct {
	Cones        []ConeReading // on one shelf
	Sitter       string        // cone in the sitter that dropped and switched off; a small cone
	SitterSeries kiln.Series   // "" is small
	Intended     string        // cone that was meant to be reached
	Typed        kiln.Curve    // readings now and then, channel ByHandChannel
}

// Doubts of a firing by hand, °C (one sd; own choices).
const (
	sitterSD   = 12
	intendedSD = 15
)

// A typed curve is reckoned with if its readings near the top lie no further apart.
const typedOften = 30 * time.Minute

// HeatWork is what a firing by hand did, from the first of these that tells: a typed curve read
// every half hour or oftener near its top, the cones on the shelf, the sitter, a sparser curve,
// the cone intended. From says which. The heat work is unknown where none tells; says then has
// a sentence, as it has for every part that could not be used.
func (h ManualFiring) HeatWork(l *ConeScale, limit kiln.Celsius) (w kiln.HeatWork, says []message.Message) {
	// a curve that was read often is the best witness
	typed := h.typedWork(l, limit)
	if typed.Known() && h.readOften() {
		return typed, nil
	}
	w = kiln.NoHeatWork(kiln.FromCones)
	// then the cones on the shelf, beside the ware
	if len(h.Cones) > 0 {
		w, says = l.ConesHeatWork(h.Cones)
		if w.Known() {
			return w, says
		}
	}
	// then the sitter: a small cone that bent to 90° and switched off, away from the ware
	if h.Sitter != "" {
		series := h.SitterSeries
		if series == "" {
			series = SeriesSmall
		}
		s, err := l.ReadCone(ConeReading{Cone: h.Sitter, Series: series, Tilt: 90, Tilted: true})
		if err == nil {
			return heatWorkOf(s.C, sitterSD, kiln.FromSitter), says
		}
		says = append(says, coneSays(err))
	}
	// then a sparse curve, and at last the cone that was meant to be reached
	if typed.Known() {
		return typed, append(says, message.New("The readings near the top are more than half an hour apart, so this is an estimate."))
	}
	if h.Intended != "" {
		c, err := l.Parse(h.Intended)
		if err == nil {
			return heatWorkOf(c, intendedSD, kiln.FromIntended), says
		}
		says = append(says, coneSays(err))
	}
	if len(says) == 0 {
		says = append(says, message.New("Neither a curve nor a cone tells what this firing did."))
	}
	return w, says // no number, and what cones that all stood upright tell
}

// TypedCurve is a typed curve with the straight lines between its readings that whoever typed it meant,
// a point each 10 s.
func TypedCurve(c kiln.Curve) kiln.Curve {
	out := kiln.Curve{Channels: []kiln.ChannelID{kiln.ByHandChannel}, T: [][]kiln.Celsius{nil}}
	column := c.Column(kiln.ByHandChannel)
	for i, t := range column {
		if i > 0 {
			from, to := c.After[i-1], c.After[i]
			for at := from + heatBin; at < to; at += heatBin {
				share := kiln.Celsius(at-from) / kiln.Celsius(to-from)
				out.After, out.T[0] = append(out.After, at), append(out.T[0],
					column[i-1]+(t-column[i-1])*share)
			}
		}
		out.After, out.T[0] = append(out.After, c.After[i]), append(out.T[0], t)
	}
	return out
}

// typedWork is the heat work of the typed curve, always an estimate.
func (h ManualFiring) typedWork(l *ConeScale, limit kiln.Celsius) kiln.HeatWork {
	g := NewHeatGauge(l, limit)
	g.Every = 24 * time.Hour // whoever typed it meant a line between the readings
	g.Play(h.Typed, kiln.ByHandChannel)
	w := g.HeatWork()
	w.Estimate = true
	return w
}

// readOften says whether the typed readings within 100 °C of their peak, and the ones beside
// them, lie close together.
func (h ManualFiring) readOften() bool {
	column := h.Typed.Column(kiln.ByHandChannel)
	peak := math.Inf(-1)
	for _, t := range column {
		if t.Known() {
			peak = math.Max(peak, float64(t))
		}
	}
	last := -1
	for i, t := range column {
		if !t.Known() {
			continue
		}
		if last >= 0 && math.Max(float64(t), float64(column[last])) > peak-100 &&
			h.Typed.After[i]-h.Typed.After[last] > typedOften {
			return false
		}
		last = i
	}
	return last >= 0
}

// ConesHeatWork is the heat work that cones on one shelf show without any curve: the reading
// model's likelihoods multiplied over all heat works, none preferred. Cones that are all down
// say "at least"; cones that are all upright say what it was less than (High) and no number. Cones that
// contradict one another are told in words and give none.
func (l *ConeScale) ConesHeatWork(cones []ConeReading) (w kiln.HeatWork, says []message.Message) {
	w = kiln.NoHeatWork(kiln.FromCones)
	var all []ConeSays
	// hottest that is down, coolest that is upright
	lower, upper := kiln.NoTemperature(), kiln.NoTemperature()
	end := kiln.NoTemperature() // of the coolest upright one
	var overSD float64
	underWords, point := message.Message{}, false
	// sort the readings: values, the highest lower bound, the lowest upper bound
	for _, r := range cones {
		s, err := l.ReadCone(r)
		if err != nil {
			says = append(says, coneSays(err))
			continue
		}
		all = append(all, s)
		switch s.Side {
		case ConeAt:
			point = true
		case ConeOver:
			if !(s.C <= lower) {
				lower, overSD = s.C, s.SD
			}
		case ConeUnder:
			if !(s.C >= upper) {
				upper, end, underWords = s.C, s.End, s.Words
			}
		}
	}
	switch {
	case len(all) == 0:
		return w, says
	// one-sided readings alone give one end of a range
	case !point && !upper.Known():
		w = heatWorkAround(lower, kiln.Celsius(kiln.Z90*overSD), kiln.FromCones)
		w.High = kiln.NoTemperature()
		return w, append(says, message.New("All cones are down: the heat work is at least that of the last."))
	case !point && !lower.Known():
		w.High = end
		return w, append(says, message.New("Nothing bent ({1}): the heat work was less than {2}, and how much less no cone tells.",
			underWords, l.Text(l.Position(w.High))))
	}
	// values, or bounds to both sides: weigh them together
	mean, low, high, best := conesPosterior(all)
	if best < noChance {
		return w, append(says, message.New("These cones contradict one another: look at the entries of this pack."))
	}
	w = heatWorkAround(mean, 0, kiln.FromCones)
	if w.Known() {
		w.Low, w.High = low, high
	}
	return w, says
}

// conesPosterior is the mean and 90 % range of the heat work, each reading being normal about
// it, and the likelihood at its best relative to readings that all agree.
func conesPosterior(all []ConeSays) (mean, low, high kiln.Celsius, best float64) {
	// by summing over a grid: bounds make the posterior no normal
	const from, to, step = 450, 1500, 0.25
	var weight [(to - from) / step]float64
	var sum, first float64
	// a value weighs as a normal density, a bound as the chance to lie beyond it
	for i := range weight {
		c := from + step*float64(i)
		p := 1.0
		for _, s := range all {
			a := (float64(s.C) - c) / s.SD
			switch s.Side {
			case ConeAt:
				p *= math.Exp(-a * a / 2)
			case ConeOver:
				p *= 0.5 * math.Erfc(a/math.Sqrt2)
			case ConeUnder:
				p *= 0.5 * math.Erfc(-a/math.Sqrt2)
			}
		}
		weight[i] = p
		best = math.Max(best, p)
		sum += p
		first += p * c
	}
	if sum == 0 {
		return kiln.NoTemperature(), kiln.NoTemperature(), kiln.NoTemperature(), 0
	}
	mean, low, high = kiln.Celsius(first/sum), kiln.NoTemperature(), kiln.NoTemperature()
	// the 5 % and 95 % points of the sums
	seen := 0.0
	for i, p := range weight {
		seen += p / sum
		if !low.Known() && seen >= 0.05 {
			low = kiln.Celsius(from + step*float64(i))
		}
		if !high.Known() && seen >= 0.95 {
			high = kiln.Celsius(from + step*float64(i))
		}
	}
	return mean, low, high, best
}

// HandWork is the heat work of a firing by hand from what was told of it: its cones (of the shelf
// that has most), its sitter, its typed curve, the cone intended. says has a sentence for every
// part that could not be used.
func HandWork(f kiln.Firing, cones []ConeReading, typed kiln.Curve, limit kiln.Celsius) (w kiln.HeatWork,
	says []message.Message) {
	h := ManualFiring{Cones: cones, Sitter: f.Told.Sitter, SitterSeries: f.Told.SitterSeries,
		Intended: f.Told.Intended, Typed: typed}
	// the shelf with most cones; of several the first to have so many
	count := map[string]int{}
	shelf := ""
	for _, c := range cones {
		if count[c.Shelf]++; count[c.Shelf] > count[shelf] {
			shelf = c.Shelf
		}
	}
	if len(count) > 1 {
		h.Cones = slices.DeleteFunc(slices.Clone(cones), func(c ConeReading) bool { return c.Shelf != shelf })
		named := message.Plain(shelf)
		if shelf == "" {
			named = message.New("no named shelf")
		}
		says = append(says, message.New("Cones stood on several shelves; those of {1} count, where most were.", named))
	}
	w, said := h.HeatWork(MainConeScale(), limit)
	return w, append(says, said...)
}
