package wire

import "lidwright/kiln/message"

// Firing is a firing as the API tells it.
type Firing struct {
	ID           string          `json:"id"`
	Name         string          `json:"name" doc:"Kiln and number" example:"big-blue 143"`
	Kiln         string          `json:"kiln"`
	Kind         string          `json:"kind" enum:",bisque,glaze,once,other" doc:"Empty while nobody knows"`
	KindFrom     string          `json:"kind_from" doc:"fact, load or guessed"`
	Atmosphere   string          `json:"atmosphere" enum:"oxidation,reduction,unknown"`
	Source       string          `json:"source" doc:"serial, hand or import"`
	Load         *string         `json:"load"`
	Status       string          `json:"status" enum:"running,ended,incomplete"`
	Provisional  bool            `json:"provisional" doc:"Heat work may still grow"`
	StartedAt    *string         `json:"started_at"`
	EndedAt      *string         `json:"ended_at"`
	ClockTrusted bool            `json:"clock_trusted"`
	Hours        *float64        `json:"hours"`
	HoursToTop   *float64        `json:"hours_to_top"`
	CoolingHours *float64        `json:"cooling_hours"`
	PeakC        *float64        `json:"peak_c"`
	PeakAfterS   *int64          `json:"peak_after_s"`
	HeatWorkC    *float64        `json:"heat_work_c" doc:"End point in °C of a 60 °C/h firing that did the same work"`
	HeatWorkFrom string          `json:"heat_work_from" doc:"curve, cones, sitter or intended; empty while there is none"`
	HeatLikely   []*float64      `json:"heat_work_likely_c" doc:"90 % range; an upper end of null means at least, a lower end of null that only that is known: less than the upper"`
	AsIndicated  *Work           `json:"as_indicated" doc:"What the probe alone says, before its cones correct it"`
	CorrectionC  *float64        `json:"correction_c" doc:"Added to every reading: what the witness cones say the probe lacks"`
	CorrectionSD *float64        `json:"correction_sd_c" doc:"One sd of it; without cones the tolerance of the probe's class"`
	Cone         *string         `json:"cone" example:"6+0.1" doc:"null: not known"`
	ConePosition *float64        `json:"cone_position"`
	ConeWords    message.Message `json:"cone_words" doc:"not known, where nothing tells it, with what cones that all stood upright do tell"`
	HeatModel    string          `json:"heat_work_model"`
	Estimate     bool            `json:"heat_work_estimate" doc:"A gap or a fault lies where it matters"`
	Sitter       *Sitter         `json:"sitter" doc:"Of a firing by hand"`
	IntendedCone string          `json:"intended_cone"`
	Dips         []Dip           `json:"dips"`
	Gaps         []Gap           `json:"gaps"`
	Readings     Readings        `json:"readings"`
	StandIn      *StandIn        `json:"stand_in" doc:"A probe that spoke in the place of the control probe, which was broken; null where that spoke itself"`
	Note         string          `json:"note"`
	Usual        *bool           `json:"usual" doc:"Heat work and hours to the top as in the last firings of its kiln, kind and atmosphere; null while there is none to compare with"`
	Says         message.Message `json:"says" doc:"One sentence"`
}

// StandIn is a probe that spoke in the place of the control probe.
type StandIn struct {
	Probe  string `json:"probe" doc:"Peak and heat work are of it"`
	For    string `json:"for" doc:"The control probe"`
	AfterS int64  `json:"after_s" doc:"How long after the first rise it began to speak"`
}

// Work is a heat work beside another one.
type Work struct {
	HeatWorkC *float64        `json:"heat_work_c"`
	Likely    []*float64      `json:"heat_work_likely_c"`
	Cone      *string         `json:"cone"`
	ConeWords message.Message `json:"cone_words"`
}

// Sitter is the cone in the sitter of a firing by hand.
type Sitter struct {
	Cone      string  `json:"cone"`
	Series    string  `json:"series"`
	DroppedAt *string `json:"dropped_at"`
}

// Dip is a fall and rise again inside one firing; ages are from its first rise.
type Dip struct {
	FromS   int64    `json:"from_s"`
	ToS     int64    `json:"to_s"`
	LowestC *float64 `json:"lowest_c"`
}

// Gap is a time in which nothing good was heard.
type Gap struct {
	AfterS int64  `json:"after_s"`
	ForS   *int64 `json:"for_s" doc:"null: of unknown length"`
	Why    string `json:"why"`
}

// Readings counts what was heard of a firing.
type Readings struct {
	Good   int            `json:"good"`
	Faulty map[string]int `json:"faulty"`
}
