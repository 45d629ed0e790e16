package wire

import "lidwright/kiln/message"

// Why is everything that explains a rate.
type Why struct {
	Clay         string    `json:"clay"`
	Batch        string    `json:"batch"`
	Items        []Move    `json:"items" doc:"What moved the rate by 0.05 points or more, newest first, at most ten"`
	Next         *string   `json:"next"`
	RestsOn      Basis     `json:"rests_on"`
	Source       string    `json:"source" enum:"other_studios,stated,handbook" doc:"What the rate goes by as far as its own bars leave it in doubt"`
	OtherStudios *BodyTold `json:"other_studios" doc:"What others tell of this clay, used or left out; null: nothing"`
	LeftOut      []Left    `json:"left_out" doc:"Readings of this clay without a say"`
	NextBars     []Gain    `json:"next_bars" doc:"What more bars of this batch would bring: those at hand on their best shelves first, then bars still to be made, one bar first, the best first"`
	Batches      []Against `json:"batches" doc:"This batch against the clay's other fired ones"`
	Probes       []Witness `json:"probes" doc:"What the bars of all clays say about the probes"`
	Scatter      Scatter   `json:"scatter" doc:"One sd of each source of scatter, as the bars of this site tell it"`
	Sharpens     bool      `json:"sharpens" doc:"One of next_bars is worth 0.05 mm or more"`
	WorthMM      float64   `json:"-"`
	OnLidMM      float64   `json:"on_lid_mm" doc:"The lid that gains and differences are told on"`
	AsOf         *string   `json:"as_of"`
	Model        string    `json:"model"`
}

// Move is one time that a rate moved, and why.
type Move struct {
	At      *string           `json:"at"`
	Batch   string            `json:"batch"`
	Kind    string            `json:"kind"`
	Was     *float64          `json:"was_ratio"`
	Now     *float64          `json:"now_ratio"`
	Because []message.Message `json:"because"`
	Bars    []string          `json:"bars"`
	Load    *string           `json:"load"`
}

// Left is a reading that has no say in the fit.
type Left struct {
	Bar        string          `json:"bar"`
	Stage      string          `json:"stage"`
	Reading    string          `json:"reading"`
	Why        message.Message `json:"why"`
	Distrusted bool            `json:"distrusted" doc:"By the fit itself: the reading is far from what the others say"`
	OffMM      *float64        `json:"off_mm" doc:"Of a distrusted one: how much longer than the others say"`
}

// Gain is what more bars would bring.
type Gain struct {
	Bar    string          `json:"bar" doc:"One at hand, measured wet and not fired yet; empty: bars still to be made"`
	Shelf  string          `json:"shelf" doc:"Shelf on which that one tells most; empty where none is known"`
	Bars   int             `json:"bars"`
	Loads  int             `json:"loads"`
	Stages []string        `json:"stages"`
	GainMM *float64        `json:"gain_mm" doc:"How much nearer a lid of 150 mm comes, one sd"`
	Says   message.Message `json:"says"`
}

// Against is the batch asked about beside another one of its clay.
type Against struct {
	Batch   string           `json:"batch"`
	MoreMM  *float64         `json:"more_mm" doc:"How much more the batch asked about loses on 150 mm"`
	LowMM   *float64         `json:"likely_low_mm"`
	HighMM  *float64         `json:"likely_high_mm"`
	Differs bool             `json:"differs" doc:"The 90 % range does not hold zero"`
	Shared  int              `json:"shared_loads" doc:"Loads in which bars of both were fired"`
	Advice  *message.Message `json:"advice" doc:"Which bars to fire together, where one shared load would tell; else null"`
}

// Witness is what the bars say of one life of a probe.
type Witness struct {
	Probe    string   `json:"probe"`
	Loads    int      `json:"loads" doc:"The last ones, four at most"`
	DriftC   *float64 `json:"drift_c" doc:"How much hotter they were than recorded, against the loads before"`
	DriftSDC *float64 `json:"drift_sd_c"`
	ShiftC   *float64 `json:"shift_c" doc:"The whole probe life against the others"`
	ShiftSDC *float64 `json:"shift_sd_c"`
	Disagree bool     `json:"disagree" doc:"Over 8 °C and over 2 sd"`
}

// Scatter is one sd of each source of scatter.
type Scatter struct {
	ReadingMM   *float64 `json:"reading_mm"`
	Piece       *float64 `json:"piece_ratio"`
	PositionC   *float64 `json:"position_c"`
	BatchDrying *float64 `json:"batch_drying_ratio"`
	BatchFiring *float64 `json:"batch_firing_ratio"`
	LoadC       *float64 `json:"load_c"`
}
