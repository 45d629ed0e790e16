package wire

import "lidwright/kiln/message"

// Shrinkage is what a batch loses from one stage to a later one, and how far that can be trusted.
type Shrinkage struct {
	Clay            string          `json:"clay"`
	Batch           string          `json:"batch"`
	From            string          `json:"from"`
	To              string          `json:"to"`
	At              HeatAt          `json:"at"`
	TotalRatio      *float64        `json:"total_ratio" doc:"Share of the length at from"`
	LikelyLow       *float64        `json:"likely_low_ratio"`
	LikelyHigh      *float64        `json:"likely_high_ratio"`
	LikelyLevel     float64         `json:"likely_level"`
	NextLow         *float64        `json:"next_piece_low_ratio"`
	NextHigh        *float64        `json:"next_piece_high_ratio"`
	Parts           Parts           `json:"parts"`
	MultiplyFiredBy *float64        `json:"multiply_fired_by"`
	Forming         string          `json:"forming"`
	Source          string          `json:"source" enum:"other_studios,stated,handbook" doc:"What it goes by as far as its own bars leave it in doubt"`
	OtherStudios    *BodyTold       `json:"other_studios" doc:"What others tell of this clay, used or left out; null: nothing"`
	Trust           string          `json:"trust" enum:"outside_tested_heat,no_bars,made_or_fired_differently,old,few_bars,well_tested"`
	TrustWhy        message.Message `json:"trust_why"`
	Untested        bool            `json:"untested"`
	NearestTestedC  *float64        `json:"nearest_tested_c"`
	HeatWorkSeen    *HeatSeen       `json:"heat_work_seen_c"`
	Basis           Basis           `json:"basis"`
	Cautions        []string        `json:"cautions"`
	AsOf            *string         `json:"as_of"`
	Model           string          `json:"model"`
}

// HeatAt is the firing that a rate is told for.
type HeatAt struct {
	From       string           `json:"from" doc:"usual, bag or asked"`
	Kind       string           `json:"kind"`
	Atmosphere *string          `json:"atmosphere"`
	Kiln       *string          `json:"kiln"`
	HeatWorkC  *float64         `json:"heat_work_c"`
	Cone       *string          `json:"cone"`
	ConeWords  *message.Message `json:"cone_words"`
	UsualOf    int              `json:"usual_of_last"`
	For        message.Message  `json:"for" doc:"The firing in a sentence: its kiln, kind and cone, and whether the last ones were others"`
}

// Parts are the parts of a shrink from wet to fired; null where there is no heat for one.
type Parts struct {
	Drying      *float64 `json:"drying_ratio"`
	FiringOnDry *float64 `json:"firing_on_dry_ratio"`
	FiringOnWet *float64 `json:"firing_on_wet_ratio"`
	Leather     *float64 `json:"leather_ratio"`
	LeatherFrom string   `json:"leather_from"`
	BisqueOnDry *float64 `json:"bisque_on_dry_ratio"`
}

// HeatSeen are the heat works of the clay's fired bars, °C.
type HeatSeen struct {
	Low  *float64 `json:"low"`
	High *float64 `json:"high"`
}

// Basis is what a rate rests on.
type Basis struct {
	Bars          int     `json:"bars" doc:"Bars of known heat"`
	Assumed       int     `json:"bars_of_assumed_heat" doc:"Beside these"`
	Loads         int     `json:"loads"`
	Struck        int     `json:"struck"`
	LastReadingAt *string `json:"last_reading_at"`
}
