package wire

import "lidwright/kiln/message"

// LidResultBody is how the lids of one board sat after the last firing.
type LidResultBody struct {
	Load       string    `json:"load,omitempty" doc:"Id of the load; without one the usual firing's heat is taken"`
	Pot        string    `json:"pot,omitempty" doc:"The pot card, where the board has one pot; in place of pots"`
	Pots       []string  `json:"pots,omitempty" maxItems:"500" doc:"Ids of the pot cards of this board; without any the board is kept and teaches nothing"`
	Lids       int       `json:"lids,omitempty" minimum:"0" maximum:"500" doc:"Lids on the board; those not told of count as not looked at. One a pot if not said"`
	Form       string    `json:"form,omitempty" doc:"As on the pot card if not said"`
	Maker      string    `json:"maker,omitempty" doc:"Mark of who threw the lids; as on the pot card if not said"`
	Seat       string    `json:"seat,omitempty" enum:"inset,flange,cap,drop_in,over,stopper"`
	SeatGlazed bool      `json:"seat_glazed,omitempty"`
	Body       string    `json:"body,omitempty" doc:"Clay and batch of the pots: tern/B"`
	Lid        string    `json:"lid,omitempty" doc:"Of the lids; as the pots if not said"`
	Counts     Sat       `json:"counts"`
	Losses     Losses    `json:"losses,omitempty"`
	Plays      []float64 `json:"plays_mm,omitempty" maxItems:"500" doc:"Plays measured on fired pairs, across, mm; each stands in place of one lid of counts. With one for every pot, in the order of pots, they tell how true the maker reads too"`
	Thrown     []float64 `json:"thrown_mm,omitempty" maxItems:"500" doc:"Widths as thrown, mm, one a pot or some; as on the cards if not said"`
	By         string    `json:"by,omitempty"`
}

// Sat counts lids by how they sat.
type Sat struct {
	TooBig      int `json:"too_big,omitempty" doc:"Set it on: it won't go in"`
	Tight       int `json:"tight,omitempty" doc:"Turn it full circle: it binds one way"`
	Good        int `json:"good,omitempty" doc:"It sits"`
	Loose       int `json:"loose,omitempty" doc:"Let go: it rattles"`
	DropsIn     int `json:"drops_in,omitempty" doc:"Push it to one side: it slips past the ledge"`
	NotLookedAt int `json:"not_looked_at,omitempty"`
}

// Losses counts lids of which nothing can be said how they sat.
type Losses struct {
	Glued   int `json:"glued,omitempty" doc:"Held by glaze"`
	Rocks   int `json:"rocks,omitempty" doc:"Warped"`
	Chipped int `json:"chipped,omitempty" doc:"Broken at the edge"`
	Dropped int `json:"dropped,omitempty" doc:"Fell"`
}

// LidResult is a board of lids as it is kept.
type LidResult struct {
	ID string `json:"id"`
	LidResultBody
	LeastPlayMM  *float64        `json:"least_play_mm" doc:"Limit in force when it was judged"`
	MostPlayMM   *float64        `json:"most_play_mm"`
	BearingMM    *float64        `json:"bearing_mm"`
	At           *string         `json:"at"`
	ClockTrusted bool            `json:"clock_trusted"`
	Struck       *Act            `json:"struck"`
	Teaches      bool            `json:"teaches" doc:"It is part of the learning"`
	TeachesWhy   message.Message `json:"teaches_why,omitzero" doc:"Why it teaches nothing, or what to know"`
	Counted      bool            `json:"counted" doc:"The same as teaches"`
	WhyNot       *WhyNot         `json:"why_not,omitempty" doc:"Why it does not count, and what makes it: crossed_out, no_sizes, too_few_looked_at"`
	ExpectedMM   *float64        `json:"expected_play_mm" doc:"Mean play that the rates alone let expect, without a lid difference"`
}

// LidResults are boards of lids with what they come to and taught.
type LidResults struct {
	Items   []LidResult `json:"items"`
	Tally   []Tally     `json:"tally"`
	Makers  []Accuracy  `json:"makers"`
	Held    int         `json:"answers_held" doc:"Measured plays that lay in the range that was likely before"`
	HeldOf  int         `json:"answers_held_of"`
	LeftOut int         `json:"left_out" doc:"Boards shown and not learned from, since most of their lids were not looked at"`
	Next    *string     `json:"next"`
}

// Tally is what the boards of one form, its clays and maker come to.
type Tally struct {
	Form          string        `json:"form"`
	Body          string        `json:"body"`
	Lid           string        `json:"lid"`
	Maker         string        `json:"maker"`
	Boards        int           `json:"boards"`
	Counts        Sat           `json:"counts"`
	Losses        Losses        `json:"losses"`
	LidDifference LidDifference `json:"lid_difference_ratio" doc:"Lid's total shrink minus the body's"`
}

// Accuracy is how true one maker throws and measures, one sd each.
type Accuracy struct {
	Maker     string   `json:"maker"`
	Lids      int      `json:"lids" doc:"Lids measured once after throwing"`
	ThrowSD   *float64 `json:"throw_sd_mm"`
	MeasureSD *float64 `json:"measure_sd_mm"`
	Readings  int      `json:"readings" doc:"Repeats of a length, and measured plays of named lids, that told of measuring alone"`
	BiasMM    *float64 `json:"bias_mm" doc:"Mean of measured less told; the lid difference takes it up"`
}

// LidResultPath names a board of lids.
type LidResultPath struct {
	ID string `path:"id"`
}

// LidResultKept is what a board of lids changed.
type LidResultKept struct {
	LidResult
	LidDifference LidDifference     `json:"lid_difference_ratio" doc:"As it is now for the form, its clays and the maker"`
	Says          []message.Message `json:"says" doc:"What to know about it, in words"`
	Cautions      []string          `json:"cautions"`
}
