package wire

import "lidwright/kiln/message"

// Board is the answer to the board question: sizes and counts, or, with measured lids, which
// lid goes with which pot.
type Board struct {
	Galleries      int              `json:"galleries"`
	Lids           int              `json:"lids"`
	Sizes          []BoardSize      `json:"sizes" doc:"Null when held back or when lids were measured"`
	AllPairChance  *float64         `json:"all_pair_chance" doc:"Chance that every pot gets a lid"`
	ExpectedPairs  *float64         `json:"expected_pairs"`
	OneToOneChance *float64         `json:"one_to_one_chance" doc:"For comparison: a lid thrown for each pot and kept with it, all fit"`
	Says           message.Message  `json:"says"`
	For            message.Message  `json:"for" doc:"The firing that it is for, in a sentence: its kiln, kind and cone; empty with rates of the asker's own"`
	Pairs          []BoardPair      `json:"pairs" doc:"In the order of the galleries; null until lids were measured"`
	Trust          string           `json:"trust" enum:"outside_tested_heat,no_bars,made_or_fired_differently,old,few_bars,well_tested"`
	TrustWhy       message.Message  `json:"trust_why"`
	HeldBack       *message.Message `json:"held_back"`
	Cautions       []string         `json:"cautions"`
	Unusual        []string         `json:"unusual" doc:"Fields outside what is believed"`
	AsOf           *string          `json:"as_of" doc:"Time of the newest fact in the fit"`
	Model          string           `json:"model"`
}

// BoardSize is how many lids of one size to throw.
type BoardSize struct {
	SizeMM *float64 `json:"size_mm"`
	Count  int      `json:"count"`
}

// BoardPair is one pot of the board and its lid.
type BoardPair struct {
	Gallery   int      `json:"gallery" doc:"From 0"`
	Pot       *string  `json:"pot"`
	Lid       *string  `json:"lid" doc:"Null: none is left for it"`
	FitChance *float64 `json:"fit_chance"`
	SetMM     *float64 `json:"set_mm" doc:"The width still to throw for a pot without lid"`
}

// BoardPieces are the pots of a board question and the lids as measured. What they share stands beside them
// in the body, by the parameters of the lid question.
type BoardPieces struct {
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
