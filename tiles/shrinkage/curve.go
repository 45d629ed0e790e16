package shrinkage

import (
	"math"

	"lidwright/kiln"
	"lidwright/tiles"
)

// CurvePoint is one place on a clay's curve of shrinkage over heat work.
type CurvePoint struct {
	Work   kiln.Celsius // heat work of the last firing, °C
	Total  tiles.Ratio  // from the stage asked about to fired
	Likely Range        // of the rate
	Tested bool         // drawn solid; dotted elsewhere
}

// CurveDot is one bar on the chart.
type CurveDot struct {
	Bar    tiles.Code    // its code
	Load   string        // id of the load of its hottest firing
	Work   kiln.Celsius  // hottest heat work it saw
	Total  tiles.Ratio   // from stage to stage, as measured
	Weight float64       // 1 in the fit, 0.01 or less distrusted
	Batch  tiles.BatchID // which bag it is of
	Wet    bool          // the first stage itself was read; otherwise the fit's drying part stands in
}

// Span is the heat works worth drawing for a clay: where its bars were and the heat asked
// about, with room at both sides, 200 °C at least.
func (f *Fit) Span(clay tiles.ClayID, asked kiln.Celsius) (low, high kiln.Celsius) {
	const room, least = 25, 200
	low, high = kiln.Celsius(math.Inf(1)), kiln.Celsius(math.Inf(-1))
	take := func(h kiln.Celsius) {
		if h.Known() {
			low, high = min(low, h-room), max(high, h+room)
		}
	}
	// the heat asked about, and the coolest and hottest that a bar of it saw
	take(asked)
	if t := f.tested[clay].tested; len(t) > 0 {
		take(kiln.Celsius(t[0]))
		take(kiln.Celsius(t[len(t)-1]))
	}
	// neither is known: where it matures
	if k := f.clay(clay); k != nil && low > high {
		take(kiln.Celsius(k.matures))
	}
	if high-low < least {
		low, high = (low+high-least)/2, (low+high+least)/2
	}
	return low, high
}

// Curve samples the shrink that a asks about, from its stage to bisque or fired, at n heats (2
// and more) from low to high, for drawing, with the bars of the clay that were read at both
// stages. To fired, a bisque counts as in the question.
func (f *Fit) Curve(a Ask, to tiles.Stage, low, high kiln.Celsius, n int) ([]CurvePoint, []CurveDot, error) {
	var points []CurvePoint
	seen := f.tested[a.Clay]
	for i := range max(n, 2) {
		h := low + (high-low)*kiln.Celsius(i)/kiln.Celsius(max(n, 2)-1)
		if a.Work = h; to == tiles.Biscuit {
			a.BisqueWork = h
		}
		l, err := f.leg(a, to)
		if err != nil {
			return nil, nil, err
		}
		_, _, likely := f.likely(l, false)
		points = append(points, CurvePoint{h, tiles.LogPercent(l.mean).Ratio(), likely,
			seen.covers(float64(h))})
	}
	return points, f.dots(a.Clay, a.Stage, to), nil
}

// dots are the bars of a clay that were read at both stages, by bar id.
func (f *Fit) dots(id tiles.ClayID, from, to tiles.Stage) []CurveDot {
	var out []CurveDot
	for _, s := range f.sheets {
		if s.bar.Clay != id {
			continue
		}
		for i, l := range s.lines {
			if l.stage != to || l.heat == nil || l.heat.Assumed {
				continue
			}
			first, itself := s.before(i, from)
			if first < 0 {
				continue
			}
			y := 100 * math.Log(s.lines[first].length/l.length)
			if !itself {
				k := f.clay(id)
				y += dryingMean + dryingSD*k.fitted[coefDrying]
			}
			weight := 1.0
			if s.weight != nil {
				weight = min(s.weight[i], s.weight[first])
			}
			out = append(out, CurveDot{s.bar.Code, loadName(l.heat), l.heat.Work, tiles.LogPercent(y).Ratio(),
				weight, s.bar.Batch, itself})
		}
	}
	return out
}

// before is the line that the shrink of line i counts from: one of the same marks at the stage
// from, for want of a wet one a dry one; -1 if there is neither.
func (s *sheet) before(i int, from tiles.Stage) (at int, itself bool) {
	at = -1
	for j, l := range s.lines {
		switch {
		case l.mark != s.lines[i].mark:
		case l.stage == from:
			return j, true
		case from == tiles.Wet && l.stage == tiles.Dry && at < 0:
			at = j
		}
	}
	return at, false
}
