package kiln

import "math"

// HeatWork is what a firing did to clay, as a cone shows it: time and temperature together.
type HeatWork struct {
	// heat_work_c: end point of a 60 °C/h firing that did the same work; NaN below cone 022 and where not
	// known
	C   Celsius
	Low Celsius // 90 % range; NaN where C is
	// NaN means "at least C": no upper end is known. Where Position is NaN, what it was less than (95 %)
	High Celsius
	// place on the ladder of cones, 022 = 0 ... 14 = 35; below 0 means below 022, NaN not known
	Position float64
	Estimate bool // a gap or a fault lies where it matters
	// doubt of this firing beside the model's, °C (one sd): gaps, holds, a rate beyond the tables
	OwnSD  float64
	From   string  // curve, cones, sitter, intended
	Model  string  // number of the model that worked it out
	Bias   Celsius // what was added to every reading; 0: as indicated
	BiasSD Celsius // one sd of it, in the range
	Since  string  // day the life of the probe began that read it; empty: since ever, or not worked out
}

// HeatWorkModel is the number of the model kept with a closed firing's heat work. Another
// number comes with another table, other constants or another rule for samples and gaps,
// and has every firing worked out again.
const HeatWorkModel = "5"

// Where a heat work comes from.
const (
	FromCurve    = "curve"
	FromCones    = "cones"
	FromSitter   = "sitter"
	FromIntended = "intended"
)

// Z90 is half of a 90 % range of a normal distribution, in sds.
const Z90 = 1.645

// NoHeatWork is a firing of which nothing is known.
func NoHeatWork(from string) HeatWork {
	return HeatWork{C: NoTemperature(), Low: NoTemperature(), High: NoTemperature(), Position: math.NaN(),
		From: from, Model: HeatWorkModel}
}

// Known says whether there is a heat work in °C: that the firing reached cone 022, and something tells so.
func (w HeatWork) Known() bool { return w.C.Known() }

// AtLeast says that no upper end is known.
func (w HeatWork) AtLeast() bool { return w.C.Known() && !w.High.Known() }

// SD is the one sd that the range stands for, for those who weigh several; NaN where there
// is no range.
func (w HeatWork) SD() float64 { return float64(w.High-w.Low) / (2 * Z90) }
