package shrinkage

import (
	"slices"

	"lidwright/tiles"
)

// Misread is what a number of differences told of one maker's reading alone: repeats of one width,
// or fired plays beside the expected ones.
type Misread struct {
	Squares float64 // mm^2 of wet clay, rid of what else moves them
	Number  int     // how many free differences
}

// With is both together.
func (m Misread) With(o Misread) Misread { return Misread{m.Squares + o.Squares, m.Number + o.Number} }

// Repeated is what readings of one width in one direction, all by one maker, tell.
func Repeated(readings []tiles.Millimetre) Misread {
	if len(readings) < 2 {
		return Misread{}
	}
	var mean, sum float64
	for _, x := range readings {
		mean += float64(x) / float64(len(readings))
	}
	for _, x := range readings {
		sum += square(float64(x) - mean)
	}
	return Misread{sum, len(readings) - 1}
}

// Misreads is what the bars of the fit tell of each maker: two lengths or more between the same
// marks of a bar at the same stage, of clay that is still raw, by one maker with a calliper.
func (f *Fit) Misreads() map[string]Misread {
	type place struct {
		by    string
		stage tiles.Stage
		mark  int
	}
	out := map[string]Misread{}
	for _, s := range f.sheets {
		var same map[place][]tiles.Millimetre
		for i, r := range s.bar.Readings {
			if r.By == "" || r.Stage == tiles.Biscuit || r.Stage == tiles.Fired || !r.Counts() ||
				readingSD(r.Instrument, r.Step) > 0.2 {
				continue
			}
			if !slices.ContainsFunc(s.bar.Readings[i+1:],
				func(o tiles.Reading) bool { return o.By == r.By && o.Stage == r.Stage }) && same == nil {
				continue // alone: most are
			}
			if same == nil {
				same = map[place][]tiles.Millimetre{}
			}
			at := place{r.By, r.Stage, max(r.Mark, 1)}
			same[at] = append(same[at], r.Length)
		}
		for at, lengths := range same {
			out[at.by] = out[at.by].With(Repeated(lengths))
		}
	}
	return out
}
