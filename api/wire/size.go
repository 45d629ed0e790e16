package wire

import "lidwright/kiln/message"

// Size is the other side of a size: fired for unfired, or unfired for fired.
type Size struct {
	Asked       SizeAsked       `json:"asked"`
	FiredMM     *float64        `json:"fired_mm,omitempty" doc:"The fired length, where the unfired one was given"`
	WetMM       *float64        `json:"wet_mm,omitempty" doc:"The length at the asked stage, to the step"`
	UnroundedMM *float64        `json:"unrounded_mm,omitempty"`
	LikelyMM    []*float64      `json:"likely_mm,omitempty" doc:"90 % range"`
	FiredML     *float64        `json:"fired_ml,omitempty"`
	WetML       *float64        `json:"wet_ml,omitempty"`
	LikelyML    []*float64      `json:"likely_ml,omitempty"`
	Ratio       *float64        `json:"ratio" doc:"Fired length over that at the asked stage"`
	VolumeRatio *float64        `json:"volume_ratio" doc:"Its cube"`
	Stages      []SizeStage     `json:"stages" doc:"The same piece at every stage whose shrink is known, to the step"`
	Trust       string          `json:"trust"`
	TrustWhy    message.Message `json:"trust_why"`
	Cautions    []string        `json:"cautions"`
	AsOf        *string         `json:"as_of"`
	Model       string          `json:"model"`
}

// SizeAsked is the question as it was understood, every default filled in.
type SizeAsked struct {
	FiredMM *float64 `json:"fired_mm,omitempty"`
	WetMM   *float64 `json:"wet_mm,omitempty"`
	FiredML *float64 `json:"fired_ml,omitempty"`
	WetML   *float64 `json:"wet_ml,omitempty"`
	Part    string   `json:"part"`
	PlayMM  *float64 `json:"play_mm,omitempty"`
	Stage   string   `json:"stage"`
	Clay    *string  `json:"clay"`
	Rates   string   `json:"rates" enum:"clay,stated"`
	StepMM  *float64 `json:"step_mm"`
}

// SizeStage is the same piece at one stage.
type SizeStage struct {
	Stage string   `json:"stage"`
	MM    *float64 `json:"mm,omitempty"`
	ML    *float64 `json:"ml,omitempty"`
}

// ShrinkParams say of which clay and in which firing something shrinks, or by which rates.
type ShrinkParams struct {
	Clay         string `query:"clay"`
	Batch        string `query:"batch" doc:"Newest open batch if not named"`
	Kind         string `query:"kind" doc:"bisque, glaze, once, other; glaze if not said"`
	Atmosphere   string `query:"atmosphere" doc:"oxidation, reduction, unknown"`
	HeatWorkC    string `query:"heat_work_c" doc:"°C, 550 to 1400; the usual firing if not said"`
	Cone         string `query:"cone" doc:"022 to 14, tenths allowed: 6+0.1"`
	Kiln         string `query:"kiln" doc:"Whose usual firing"`
	DryingRatio  string `query:"drying_ratio" doc:"Stated in place of a clay: share of the wet length, 0.06 or 6%"`
	LeatherRatio string `query:"leather_ratio" doc:"Shrink gone at leather-hard, share of the wet length"`
	BisqueRatio  string `query:"bisque_ratio" doc:"Share of the dry length"`
	FiringRatio  string `query:"firing_ratio" doc:"Share of the dry length"`
	DoubtRatio   string `query:"doubt_ratio" doc:"Doubt of each stated rate; 0.006 if not said"`
}

// SizeParams names every parameter of the size question for the API document and the command.
type SizeParams struct {
	Fired   string `query:"fired" doc:"Fired length wanted: 62, 62mm, 2 1/2 in"`
	FiredMm string `query:"fired_mm" doc:"The same in mm, a number with a point alone"`
	FiredMl string `query:"fired_ml" doc:"Fired capacity wanted, to the fill line, ml"`
	Wet     string `query:"wet" doc:"Unfired length, at stage"`
	WetMm   string `query:"wet_mm" doc:"The same in mm, a number with a point alone"`
	WetMl   string `query:"wet_ml" doc:"Unfired capacity, ml"`
	Part    string `query:"part" doc:"plain; hole: a bought part of the fired size given goes into it; plug: it goes into a bought part"`
	Play    string `query:"play" doc:"Between ours and the bought part, fired, across"`
	PlayMm  string `query:"play_mm"`
	Stage   string `query:"stage" doc:"Of the unfired side: wet (if not said), soft, leather, dry, bisque"`
	ShrinkParams
	Step   string `query:"step" doc:"What the maker can set; 0: do not round"`
	StepMm string `query:"step_mm"`
	Unit   string `query:"unit" doc:"mm, cm, in, 32nds: of bare lengths"`
}
