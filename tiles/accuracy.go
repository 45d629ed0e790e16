package tiles

import (
	"math"
	"slices"
)

// Told is one lid, the width that was told for it and the width measured once after throwing.
type Told struct{ Told, Measured Millimetre }

// Accuracy is how true one maker throws and measures, learned from that maker's own lids.
type Accuracy struct {
	ThrowSD   Millimetre
	MeasureSD Millimetre
	Bias      Millimetre // mean of measured less told: shown, and taken up by the part difference
	Lids      int        // measured after throwing
	Readings  int        // differences that told of measuring alone
}

const (
	handbookMeasureSD = 0.3 // mm, of one reading on soft clay (own)
	handbookThrowSD   = 0.5 // mm (own)
	handbookWeight    = 8   // lids' worth of belief in the two (own)
	handbookBiasSD    = 0.3 // mm (own)
	leastSD           = 0.05
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
func Repeated(readings []Millimetre) Misread {
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
		stage Stage
		mark  int
	}
	out := map[string]Misread{}
	for _, s := range f.sheets {
		var same map[place][]Millimetre
		for i, r := range s.bar.Readings {
			if r.By == "" || r.Stage == Biscuit || r.Stage == Fired || !r.Counts() || readingSD(r.Instrument, r.Step) > 0.2 {
				continue
			}
			if !slices.ContainsFunc(s.bar.Readings[i+1:], func(o Reading) bool { return o.By == r.By && o.Stage == r.Stage }) && same == nil {
				continue // alone: most are
			}
			if same == nil {
				same = map[place][]Millimetre{}
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

// Misread is what the measured plays of the board tell of how true its pots and lids were read:
// how far each is from the expected one beside the rest of the board, less what the pieces and the
// play's own reading account for. It tells nothing unless there is a play for every pot, in the
// order of the pots, and the lids were measured.
func (v LidBoard) Misread(pots []SatPot, d LidDefaults) Misread {
	n := len(pots)
	if n < 2 || len(v.Plays) != n || len(v.Pots) != n {
		return Misread{}
	}
	off := make([]float64, n)
	var mean, pieces, share float64
	for i, pot := range pots {
		q := pot.Question
		if pot.AsTold || q.Validate(d) != nil {
			return Misread{}
		}
		pot.Known.Part = nil
		f := newFitting(q, d, pot.Known)
		w := float64(q.Lid) * f.left[1]
		c := f.causesAt(w)
		off[i] = float64(v.Plays[i]) - f.playOf(w)
		mean += off[i] / float64(n)
		pieces += (c.piece + c.position + square(verdictSD)) / float64(n)
		share += (square(f.left[0]) + square(f.left[1])) / float64(n) // a gallery and a lid were read
	}
	var sum float64
	for _, x := range off {
		sum += square(x - mean)
	}
	return Misread{(sum - float64(n-1)*pieces) / share, n - 1}
}

// LearnAccuracy pools a maker's lids with what is usual. misread is what repeats and fired plays
// told of the reading alone.
func LearnAccuracy(lids []Told, misread Misread) Accuracy {
	a := Accuracy{Lids: len(lids), Readings: misread.Number}
	read := max(misread.Squares, 0)
	measure := (handbookWeight*square(handbookMeasureSD) + read) / (handbookWeight + float64(a.Readings))
	usual := square(handbookMeasureSD) + square(handbookThrowSD)
	var sum float64
	for _, l := range lids {
		sum += float64(l.Measured - l.Told)
	}
	n := float64(len(lids))
	bias := sum / (n + usual/square(handbookBiasSD))
	both := handbookWeight * usual
	for _, l := range lids {
		both += square(float64(l.Measured-l.Told) - bias)
	}
	both /= handbookWeight + n
	a.Bias, a.MeasureSD = Millimetre(bias), Millimetre(math.Sqrt(measure))
	a.ThrowSD = Millimetre(math.Sqrt(max(both-measure, square(leastSD))))
	return a
}

// Learned puts a maker's own accuracy in place of the defaults; with nothing learned d stays.
func (d LidDefaults) Learned(a Accuracy) LidDefaults {
	if a.Lids+a.Readings > 0 {
		d.MeasureSD, d.ThrowSD, d.Accuracy = a.MeasureSD, a.ThrowSD, "learned"
	}
	return d
}
