package tiles

import "math"

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

// LearnAccuracy pools a maker's lids with what is usual. repeats are readings of one width in one
// direction; residuals are fired plays less the expected ones of named lids, within their board
// and rid of the pieces' share, as wet millimetres.
func LearnAccuracy(lids []Told, repeats [][]Millimetre, residuals []Millimetre) Accuracy {
	a := Accuracy{Lids: len(lids)}
	var read float64
	for _, r := range repeats {
		if len(r) < 2 {
			continue
		}
		var mean, sum float64
		for _, x := range r {
			mean += float64(x) / float64(len(r))
		}
		for _, x := range r {
			sum += square(float64(x) - mean)
		}
		read += sum
		a.Readings += len(r) - 1
	}
	for _, r := range residuals {
		read += float64(r * r)
		a.Readings++
	}
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
