package wire

// boardJSON is the answer to the board question: sizes and counts, or, with measured lids, which
// lid goes with which pot.
type Board struct {
	Galleries      int         `json:"galleries"`
	Lids           int         `json:"lids"`
	Sizes          []BoardSize `json:"sizes" doc:"Null when held back or when lids were measured"`
	AllPairChance  *float64    `json:"all_pair_chance" doc:"Chance that every pot gets a lid"`
	ExpectedPairs  *float64    `json:"expected_pairs"`
	OneToOneChance *float64    `json:"one_to_one_chance" doc:"For comparison: a lid thrown for each pot and kept with it, all fit"`
	Says           string      `json:"says"`
	For            string      `json:"for" doc:"The firing that it is for, in a sentence: its kiln, kind and cone; empty with rates of the asker's own"`
	Pairs          []BoardPair `json:"pairs" doc:"In the order of the galleries; null until lids were measured"`
	Trust          string      `json:"trust" enum:"outside_tested_heat,no_bars,made_or_fired_differently,old,few_bars,well_tested"`
	TrustWhy       string      `json:"trust_why"`
	HeldBack       *string     `json:"held_back"`
	Cautions       []string    `json:"cautions"`
	Unusual        []string    `json:"unusual" doc:"Fields outside what is believed"`
	AsOf           *string     `json:"as_of" doc:"Time of the newest fact in the fit"`
	Model          string      `json:"model"`
}

type BoardSize struct {
	SizeMM *float64 `json:"size_mm"`
	Count  int      `json:"count"`
}

type BoardPair struct {
	Gallery   int      `json:"gallery" doc:"From 0"`
	Pot       *string  `json:"pot"`
	Lid       *string  `json:"lid" doc:"Null: none is left for it"`
	FitChance *float64 `json:"fit_chance"`
	SetMM     *float64 `json:"set_mm" doc:"The width still to throw for a pot without lid"`
}

// BoardBody is the board question as JSON: what the pots share, by the names of the lid question,
// and their sizes.
type BoardBody struct {
	Seat             string   `json:"seat,omitempty" enum:"inset,flange,cap,drop_in,over,stopper"`
	SeatGlazed       *bool    `json:"seat_glazed,omitempty" doc:"As the newest pot card of the form if not said"`
	CollarStage      string   `json:"collar_stage,omitempty"`
	LidStage         string   `json:"lid_stage,omitempty"`
	PlayMM           *float64 `json:"play_mm,omitempty"`
	LeastPlayMM      *float64 `json:"least_play_mm,omitempty"`
	MostPlayMM       *float64 `json:"most_play_mm,omitempty"`
	BearingMM        *float64 `json:"bearing_mm,omitempty"`
	GlazeMM          *float64 `json:"glaze_mm,omitempty"`
	Clay             string   `json:"clay,omitempty"`
	Batch            string   `json:"batch,omitempty"`
	LidClay          string   `json:"lid_clay,omitempty"`
	LidBatch         string   `json:"lid_batch,omitempty"`
	Kind             string   `json:"kind,omitempty"`
	Atmosphere       string   `json:"atmosphere,omitempty"`
	HeatWorkC        *float64 `json:"heat_work_c,omitempty"`
	Cone             string   `json:"cone,omitempty"`
	Kiln             string   `json:"kiln,omitempty"`
	Together         string   `json:"together,omitempty" doc:"As the newest pot card of the form if not said"`
	Form             string   `json:"form,omitempty"`
	Maker            string   `json:"maker,omitempty"`
	Companion        string   `json:"companion,omitempty"`
	MassWetG         *float64 `json:"mass_wet_g,omitempty"`
	MassNowG         *float64 `json:"mass_now_g,omitempty"`
	BodyDryingRatio  *float64 `json:"body_drying_ratio,omitempty"`
	BodyLeatherRatio *float64 `json:"body_leather_ratio,omitempty"`
	BodyBisqueRatio  *float64 `json:"body_bisque_ratio,omitempty"`
	BodyFiringRatio  *float64 `json:"body_firing_ratio,omitempty"`
	LidDryingRatio   *float64 `json:"lid_drying_ratio,omitempty"`
	LidLeatherRatio  *float64 `json:"lid_leather_ratio,omitempty"`
	LidBisqueRatio   *float64 `json:"lid_bisque_ratio,omitempty"`
	LidFiringRatio   *float64 `json:"lid_firing_ratio,omitempty"`
	DoubtRatio       *float64 `json:"doubt_ratio,omitempty"`
	MeasureSDMM      *float64 `json:"measure_sd_mm,omitempty"`
	ThrowSDMM        *float64 `json:"throw_sd_mm,omitempty"`
	StepMM           *float64 `json:"step_mm,omitempty"`
	Accept           string   `json:"accept,omitempty"`
	Unit             string   `json:"unit,omitempty" doc:"Of says and of text/plain"`

	Lids         *float64 `json:"lids,omitempty" doc:"To throw; the fewest that reach wanted_chance if not said"`
	WantedChance *float64 `json:"wanted_chance,omitempty" doc:"0.90 if not said"`
	SizesMost    *float64 `json:"sizes_most,omitempty" doc:"1 to 5; 3 if not said"`

	Galleries []BoardGalleryBody `json:"galleries,omitempty" doc:"8 to 30 pots"`
	Gauge     *BoardGaugeBody    `json:"gauge,omitempty" doc:"In place of galleries: all thrown to one gauge"`
	Measured  []BoardLidBody     `json:"measured_lids,omitempty" doc:"Which of these lids goes with which pot?"`
}

// BoardGalleryBody is one pot of a board.
type BoardGalleryBody struct {
	Pot       string    `json:"pot,omitempty" doc:"What the pot is called in the answer"`
	CollarMM  []float64 `json:"collar_mm" doc:"One width a direction, 1 to 3"`
	OpeningMM float64   `json:"opening_mm,omitempty"`
}

// BoardGaugeBody is a board whose pots were all thrown to one gauge.
type BoardGaugeBody struct {
	CollarMM   float64  `json:"collar_mm"`
	OpeningMM  float64  `json:"opening_mm,omitempty"`
	SpreadSDMM *float64 `json:"spread_sd_mm,omitempty" doc:"Of the pots, one sd; the throwing sd if not said"`
	Count      int      `json:"count"`
}

// BoardLidBody is one lid as thrown and measured.
type BoardLidBody struct {
	Lid      string  `json:"lid" doc:"What it is called on the board"`
	LidMM    float64 `json:"lid_mm"`
	LidStage string  `json:"lid_stage,omitempty"`
}
