package wire

import "lidwright/kiln/message"

// Lid is the answer to the lid question. Sizes are in mm whatever the unit asked in.
type Lid struct {
	Asked         LidAsked         `json:"asked"`
	SetMM         *float64         `json:"set_mm" doc:"Set the callipers to this; null when held back or when a gap was asked"`
	UnroundedMM   *float64         `json:"unrounded_mm"`
	NotOverMM     *float64         `json:"not_over_mm"`
	NotUnderMM    *float64         `json:"not_under_mm"`
	FitChance     *float64         `json:"fit_chance" doc:"Chance that it fits, 0 to 1"`
	Outcomes      *LidOutcomes     `json:"outcomes" doc:"How it may sit, as chances that add to 1; null when held back or when it is trimmed"`
	WhatIf        *LidWhatIf       `json:"what_if" doc:"What comes of the width that was tried; null when none was"`
	Says          message.Message  `json:"says"`
	For           message.Message  `json:"for" doc:"The firing that it is for, in a sentence: its kiln, kind and cone, and whether the last ones were others; empty with rates of the asker's own"`
	Fired         LidFired         `json:"fired"`
	Spread        []LidSpread      `json:"spread"`
	Cheapest      *LidWay          `json:"cheapest" doc:"The way to a chance of 0.95 that takes the least work, or the best that is known; null when a gap was asked"`
	Trim          *LidTrim         `json:"trim" doc:"For a lid that is trimmed at leather-hard"`
	Bowl          *LidBowl         `json:"bowl" doc:"For a lid whose rim is turned out, once pairs were told on pot cards"`
	Also          []LidAlso        `json:"also"`
	OutOfRoundMM  *float64         `json:"out_of_round_mm"`
	AtCheck       *LidCheck        `json:"at_check"`
	LidDifference LidDifference    `json:"lid_difference_ratio"`
	LimitsFrom    LidLimits        `json:"limits_from"`
	DoubtMM       LidDoubt         `json:"doubt_mm" doc:"Standard deviation of the fired play by cause"`
	Sharpest      string           `json:"sharpest" doc:"The cause that doubt comes from most"`
	Sharpen       []LidSharper     `json:"sharpen" doc:"What would help most, the best first, and the chance then"`
	LikelyLevel   float64          `json:"likely_level"`
	AnswersHeld   *float64         `json:"answers_held_ratio" doc:"How often our own ranges of play held"`
	AnswersHeldOf int              `json:"answers_held_of" doc:"Measured plays that this rests on"`
	Trust         string           `json:"trust" enum:"outside_tested_heat,no_bars,made_or_fired_differently,old,few_bars,well_tested"`
	TrustWhy      message.Message  `json:"trust_why"`
	HeldBack      *message.Message `json:"held_back"`
	Cautions      []string         `json:"cautions"`
	LeftOut       []Left           `json:"left_out,omitempty" doc:"Readings of the clay that are far from the others and have no say"`
	Unusual       []string         `json:"unusual" doc:"Fields outside what is believed"`
	Shrinkage     *string          `json:"shrinkage" doc:"Where the rate stands"`
	AsOf          *string          `json:"as_of" doc:"Time of the newest fact in the fit"`
	Model         string           `json:"model"`
}

// LidAsked is the question as it was understood, every default filled in.
type LidAsked struct {
	Question     string     `json:"question" enum:"width,gap,gallery"`
	Seat         string     `json:"seat"`
	SeatGlazed   bool       `json:"seat_glazed"`
	CollarMM     []*float64 `json:"collar_mm"`
	OpeningMM    *float64   `json:"opening_mm"`
	CollarStage  string     `json:"collar_stage"`
	LidStage     string     `json:"lid_stage"`
	LidMM        *float64   `json:"lid_mm"`
	Rates        string     `json:"rates" enum:"clay,stated,mixed,none"`
	Body         *string    `json:"body"`
	Lid          *string    `json:"lid"`
	Kind         string     `json:"kind"`
	Kiln         *string    `json:"kiln"`
	Atmosphere   *string    `json:"atmosphere"`
	HeatWorkC    *float64   `json:"heat_work_c"`
	Cone         *string    `json:"cone"`
	Form         *string    `json:"form"`
	Together     string     `json:"together"`
	PlayMM       *float64   `json:"play_mm"`
	LeastPlayMM  *float64   `json:"least_play_mm"`
	MostPlayMM   *float64   `json:"most_play_mm"`
	BearingMM    *float64   `json:"bearing_mm"`
	GlazeMM      *float64   `json:"glaze_mm"`
	MeasureSDMM  *float64   `json:"measure_sd_mm"`
	ThrowSDMM    *float64   `json:"throw_sd_mm"`
	AccuracyFrom string     `json:"accuracy_from"`
	StepMM       *float64   `json:"step_mm"`
}

// LidOutcomes are the chances of how a lid may sit.
type LidOutcomes struct {
	TooTight *float64 `json:"too_tight_chance"`
	Fits     *float64 `json:"fits_chance"`
	Rattles  *float64 `json:"rattles_chance"`
}

// LidWhatIf is what comes of another width than the one to set.
type LidWhatIf struct {
	WidthMM  *float64     `json:"width_mm"`
	Outcomes *LidOutcomes `json:"outcomes"`
	PlayMM   *float64     `json:"play_mm"`
}

// LidFired is the pair as it comes out of the last firing.
type LidFired struct {
	CollarMM        *float64   `json:"collar_mm"`
	LidMM           *float64   `json:"lid_mm"`
	PlayMM          *float64   `json:"play_mm"`
	PlayUnroundedMM *float64   `json:"play_unrounded_mm"`
	PlayLikelyMM    []*float64 `json:"play_likely_mm"`
	LeastBearingMM  *float64   `json:"least_bearing_mm"`
}

// LidSpread is a number of lids thrown for one pot.
type LidSpread struct {
	Lids      int        `json:"lids"`
	SizesMM   []*float64 `json:"sizes_mm"`
	FitChance *float64   `json:"fit_chance"`
}

// LidSharper is something that would make the answer surer.
type LidSharper struct {
	Cause     string          `json:"cause"`
	Does      message.Message `json:"does"`
	FitChance *float64        `json:"fit_chance"`
}

// LidWay is what to do for one pot, beside throwing one lid.
type LidWay struct {
	Does      []message.Message `json:"does"`
	SizesMM   []*float64        `json:"sizes_mm"`
	Trimmed   bool              `json:"trimmed" doc:"The sizes are those to trim to at leather-hard"`
	Minutes   int               `json:"minutes" doc:"Of work more than one lid takes"`
	FitChance *float64          `json:"fit_chance"`
	Reaches   bool              `json:"reaches" doc:"0.95, with a point to spare"`
	Says      message.Message   `json:"says"`
}

// LidTrim is how a lid comes to its width in two steps.
type LidTrim struct {
	ThrowMM        *float64        `json:"throw_mm" doc:"Null with a lid at hand"`
	NotOverMM      *float64        `json:"not_over_mm" doc:"Wet: of what is larger too much would have to come off"`
	ToMM           *float64        `json:"to_mm" doc:"Width at leather-hard"`
	OffMM          *float64        `json:"off_mm"`
	FitChance      *float64        `json:"fit_chance"`
	TooSmallChance *float64        `json:"too_small_chance" doc:"That it comes out smaller than what it is trimmed to"`
	Says           message.Message `json:"says"`
}

// LidBowl is what to throw before the rim is turned out.
type LidBowl struct {
	BeforeMM *float64        `json:"before_mm"`
	ComesMM  *float64        `json:"comes_mm"`
	LikelyMM []*float64      `json:"likely_mm"`
	Pairs    int             `json:"pairs" doc:"That this was learned from"`
	Says     message.Message `json:"says"`
}

// LidAlso is another size that follows from the set one; a limit that it has not is left out.
type LidAlso struct {
	Part       string   `json:"part"`
	NotOverMM  *float64 `json:"not_over_mm,omitempty"`
	NotUnderMM *float64 `json:"not_under_mm,omitempty"`
}

// LidCheck is the gap to expect on the way, at a stage before the last.
type LidCheck struct {
	Stage  string     `json:"stage"`
	PlayMM *float64   `json:"play_mm"`
	Likely []*float64 `json:"likely"`
	// TellsLittle is what the page says in words.
	TellsLittle bool `json:"tells_little" doc:"The range is wider than the play that fits"`
}

// LidDifference is how much more of its length a lid of this form loses than its pot, learned from how
// lids sat.
type LidDifference struct {
	Value  *float64   `json:"value"`
	Likely []*float64 `json:"likely"`
	Fits   int        `json:"fits"`
}

// LidLimits say what the two limits come from.
type LidLimits struct {
	Over  message.Message `json:"over"`
	Under message.Message `json:"under"`
}

// LidDoubt is the sd of the fired play by cause, mm; their squares add.
type LidDoubt struct {
	Piece         *float64 `json:"piece"`
	Position      *float64 `json:"position"`
	Reading       *float64 `json:"reading"`
	Throwing      *float64 `json:"throwing"`
	LidDifference *float64 `json:"lid_difference"`
	Rate          *float64 `json:"rate"`
	Gone          *float64 `json:"gone"`
}
