package lid

import (
	"math"

	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Told is one lid, the width that was told for it and the width measured once after throwing.
// what was told; Measured once after throwing
type Told struct{ Told, Measured tiles.Millimetre }

// Accuracy is how true one maker throws and measures, learned from that maker's own lids.
type Accuracy struct {
	ThrowSD   tiles.Millimetre // how far a thrown lid misses the width that was told, one sd
	MeasureSD tiles.Millimetre // of one reading, one sd
	Bias      tiles.Millimetre // mean of measured less told: shown, and taken up by the lid difference
	Lids      int              // measured after throwing
	Readings  int              // differences that told of measuring alone
}

const (
	handbookMeasureSD = 0.3 // mm, of one reading on soft clay (own)
	handbookThrowSD   = 0.5 // mm (own)
	handbookWeight    = 8   // lids' worth of belief in the two (own)
	handbookBiasSD    = 0.3 // mm (own)
	// leastSD is the least sd of throwing that is believed, mm (own)
	leastSD = 0.05
)

// Misread is what the measured plays of the board tell of how true its pots and lids were read:
// how far each is from the expected one beside the rest of the board, less what the pieces and the
// play's own reading account for. It tells nothing unless there is a play for every pot, in the
// order of the pots, and the lids were measured.
func (v Result) Misread(pots []ComparedPot) shrinkage.Misread {
	n := len(pots)
	if n < 2 || len(v.Plays) != n || len(v.Pots) != n {
		return shrinkage.Misread{}
	}
	// each play beside the expected one; the board's common error goes out with the mean
	off := make([]float64, n)
	var mean, pieces, share float64
	for i, pot := range pots {
		q := pot.Question
		if pot.AsTold {
			return shrinkage.Misread{}
		}
		pot.Known.Part = nil
		f := NewClearance(q, pot.Known)
		w := float64(q.Lid) * f.Left[1]
		// what the pieces and the play's own reading account for is taken off
		c := f.causesAt(w)
		off[i] = float64(v.Plays[i]) - f.playOf(w)
		mean += off[i] / float64(n)
		pieces += (c.piece + c.position + square(outcomeSD)) / float64(n)
		share += (square(f.Left[0]) + square(f.Left[1])) / float64(n) // a gallery and a lid were read
	}
	var sum float64
	for _, x := range off {
		sum += square(x - mean)
	}
	return shrinkage.Misread{Squares: (sum - float64(n-1)*pieces) / share, Number: n - 1}
}

// LearnAccuracy pools a maker's lids with what is usual. misread is what repeats and fired plays
// told of the reading alone.
func LearnAccuracy(lids []Told, misread shrinkage.Misread) Accuracy {
	a := Accuracy{Lids: len(lids), Readings: misread.Number}
	read := max(misread.Squares, 0)
	measure := (handbookWeight*square(handbookMeasureSD) + read) / (handbookWeight + float64(a.Readings))
	// eight lids' worth of the handbook, beside what these tell
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
	a.Bias, a.MeasureSD = tiles.Millimetre(bias), tiles.Millimetre(math.Sqrt(measure))
	a.ThrowSD = tiles.Millimetre(math.Sqrt(max(both-measure, square(leastSD))))
	return a
}

// Learned puts a maker's own accuracy in place of the defaults; with nothing learned d stays.
func (d Defaults) Learned(a Accuracy) Defaults {
	if a.Lids+a.Readings > 0 {
		d.MeasureSD, d.ThrowSD, d.Accuracy = a.MeasureSD, a.ThrowSD, "learned"
	}
	return d
}
