package shrinkage

import (
	"math"

	"lidwright/tiles"
)

// partDried is how much of the drying shrink has gone at soft or leather-hard, as this studio takes the word.
type partDried struct {
	share  float64 // of the drying
	common float64 // sd of share: what two pieces of one question have in common
	own    float64 // sd from piece to piece about it
	bars   int     // own bars that told; 0: the handbook's figure
}

// The handbook's figures: assumed, no source. The sds together are 0.15.
const (
	leatherShare, softShare = 0.6, 0.3
	partCommonSD            = 0.112
	partOwnSD               = 0.10
	partOwnBook             = 4 // bars' worth of belief in partOwnSD
)

// driedBy is that of a stage: the handbook's share, moved by the studio's own bars that were read wet and at
// that stage, of any clay, each against what its clay loses in drying.
func driedBy(f *Fit, stage tiles.Stage) partDried {
	out := partDried{share: leatherShare, common: partCommonSD, own: partOwnSD}
	if stage == tiles.Soft {
		out.share = softShare
	}
	var sum, squares float64
	for i := range f.studio.Bars {
		b := &f.studio.Bars[i]
		k := f.clay(b.Clay)
		if !b.InFit() || k == nil {
			continue
		}
		full := dryingMean + dryingSD*k.fitted[coefDrying]
		wet, now := lengthAt(b, tiles.Wet), lengthAt(b, stage)
		if !(full > 1) || wet == 0 || now == 0 || now > wet {
			continue
		}
		// the share of the drying that this bar had lost by then
		x := min(100*math.Log(wet/now)/full, 1)
		out.bars++
		sum, squares = sum+x, squares+x*x
	}
	if out.bars == 0 {
		return out
	}
	n := float64(out.bars)
	// how pieces differ: four bars' worth of the handbook, and what these tell
	scatter := max(squares-sum*sum/n, 0)
	out.own = math.Sqrt((partOwnBook*partOwnSD*partOwnSD + scatter) / (partOwnBook + n - 1))
	book, told := 1/(partCommonSD*partCommonSD), n/(out.own*out.own)
	out.share = (out.share*book + sum/n*told) / (book + told)
	out.common = math.Sqrt(1 / (book + told))
	return out
}

// lengthAt is the mean length between the first marks of a bar at a stage, mm; 0 if none counts.
func lengthAt(b *tiles.Bar, stage tiles.Stage) float64 {
	var sum, n float64
	for _, r := range b.Readings {
		if r.Stage == stage && r.Mark <= 1 && r.Mass == nil && r.Counts() && r.Length > 0 {
			sum, n = sum+float64(r.Length), n+1
		}
	}
	return sum / max(n, 1)
}
