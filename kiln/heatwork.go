package kiln

// HeatWork is what a firing did to clay, as a cone shows it: time and temperature together.
type HeatWork struct {
	C        Celsius // heat_work_c: end point of a 60 °C/h firing that did the same work; NaN below cone 022
	Low      Celsius // 90 % range; NaN where C is
	High     Celsius // NaN means "at least C": no upper end is known
	Position float64 // place on the ladder of cones, 022 = 0 ... 14 = 35; below 0 means below 022
	Estimate bool    // a gap or a fault lies where it matters
	GapSD    float64 // the firing's own extra doubt from gaps, °C (one sd): (high - low)/4
	From     string  // curve, cones, sitter, intended
	Model    string  // number of the model that worked it out
}
