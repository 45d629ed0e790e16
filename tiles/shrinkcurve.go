package tiles

import (
	"math"

	"lidwright/kiln"
)

// CurvePoint is one place on a clay's curve of shrinkage over heat work.
type CurvePoint struct {
	Work   kiln.Celsius
	Total  Ratio // from the stage asked about to fired
	Likely Range // of the rate
	Tested bool  // drawn solid; dotted elsewhere
}

// CurveDot is one bar on the chart.
type CurveDot struct {
	Bar    Code
	Load   string
	Work   kiln.Celsius // hottest heat work it saw
	Total  Ratio        // wet to fired, as measured
	Weight float64      // 1 in the fit, 0.01 or less distrusted
	Batch  BatchID
	Wet    bool // a wet length was read; otherwise the fit's drying part stands in
}

// Curve samples the shrink that a asks about at n heats (2 and more) from low to high, for
// drawing, with the bars of the clay that were fired. A bisque counts as in the question.
func (f *Fit) Curve(a Ask, low, high kiln.Celsius, n int) ([]CurvePoint, []CurveDot, error) {
	var points []CurvePoint
	seen := f.tested[a.Clay]
	for i := range max(n, 2) {
		h := low + (high-low)*kiln.Celsius(i)/kiln.Celsius(max(n, 2)-1)
		a.Work = h
		l, err := f.leg(a, Fired)
		if err != nil {
			return nil, nil, err
		}
		_, _, likely := f.likely(l, false)
		points = append(points, CurvePoint{h, LogPercent(l.mean).ratio(), likely, seen.covers(float64(h))})
	}
	return points, f.dots(a.Clay), nil
}

// dots are the fired bars of a clay, by bar id.
func (f *Fit) dots(id ClayID) []CurveDot {
	var out []CurveDot
	for _, s := range f.sheets {
		if s.bar.Clay != id {
			continue
		}
		for i, l := range s.lines {
			if l.stage != Fired {
				continue
			}
			from, wet := s.before(i)
			if from < 0 {
				continue
			}
			y := 100 * math.Log(float64(s.lines[from].reading.Length/l.reading.Length))
			if !wet {
				k := f.clay(id)
				y += dryingMean + dryingSD*k.fitted[coefDrying]
			}
			weight := 1.0
			if s.weight != nil {
				weight = min(s.weight[i], s.weight[from])
			}
			out = append(out, CurveDot{s.bar.Code, l.heat.loadName(), l.heat.Work, LogPercent(y).ratio(), weight, s.bar.Batch, wet})
		}
	}
	return out
}

// before is the line that the shrink of line i counts from: a wet length of the same marks,
// else a dry one; -1 if there is neither.
func (s *sheet) before(i int) (at int, wet bool) {
	at = -1
	for j, l := range s.lines {
		switch {
		case l.mark != s.lines[i].mark:
		case l.stage == Wet:
			return j, true
		case l.stage == Dry && at < 0:
			at = j
		}
	}
	return at, false
}
