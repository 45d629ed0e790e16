package wire

// PotBody is one pot's remembered sizes, made at the wheel while its gallery is wet.
type PotBody struct {
	Mark       string    `json:"mark,omitempty" doc:"Maker's mark"`
	Number     string    `json:"number,omitempty" doc:"As scratched into the pot"`
	Form       string    `json:"form"`
	Seat       string    `json:"seat,omitempty" enum:"inset,flange,cap,drop_in,over,stopper" doc:"inset if not said"`
	SeatGlazed bool      `json:"seat_glazed,omitempty"`
	Together   string    `json:"together,omitempty" enum:"in_place,same_load,apart"`
	Collar     []float64 `json:"collar_mm" minItems:"1" maxItems:"3" doc:"One a direction"`
	Opening    *float64  `json:"opening_mm,omitempty" doc:"Of the ledge"`
	Stage      string    `json:"collar_stage,omitempty" enum:"wet,soft,leather,dry,bisque,fired" doc:"wet if not said"`
	Body       string    `json:"body" doc:"Clay and batch: tern/B"`
	Lid        string    `json:"lid,omitempty" doc:"Of the lid; as the body if not said"`
	Set        *float64  `json:"set_mm,omitempty" doc:"Width that was told for the lid"`
	Measured   *float64  `json:"lid_mm,omitempty" doc:"The lid as measured once after throwing"`
	Bowl       *float64  `json:"bowl_mm,omitempty" doc:"The lid as a small bowl, before its rim was turned out"`
	TrimMost   *float64  `json:"trim_most_mm,omitempty" doc:"What may come off its rim at leather-hard, across; none: it is not trimmed"`
	Fired      []float64 `json:"fired_mm,omitempty" maxItems:"3" doc:"The pot's gallery once fired, one a direction"`
	MadeOn     string    `json:"made_on,omitempty" doc:"Date, 2026-01-15"`
	Note       string    `json:"note,omitempty"`
}

// Pot is a pot card as it is kept.
type Pot struct {
	ID string `json:"id"`
	PotBody
	LidQuestion string `json:"lid_question" doc:"The lid question that starts from this card: /v1/lid?..."`
}

// PotPath names a pot card.
type PotPath struct {
	ID string `path:"id"`
}
