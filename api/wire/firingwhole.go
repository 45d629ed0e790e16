package wire

import "lidwright/kiln/message"

// FiringWhole is a firing with all that its curve tells and all that people told beside it.
type FiringWhole struct {
	Firing
	Features  *Features         `json:"features" doc:"null without a curve"`
	Remarks   []Remark          `json:"remarks" doc:"The features in words, each with its limit where there is one"`
	Cones     []Cone            `json:"cones"`
	Notes     []Note            `json:"notes"`
	ProbeSays message.Message   `json:"probe_says" doc:"What the witness cones told of the control probe by the end of this firing"`
	VentOff   []VentOff         `json:"vent_off" doc:"Stretches of two minutes or more in which the contact on its vent said off"`
	VentSays  message.Message   `json:"vent_says" doc:"The same in words; empty where it was not off, or nothing was received from a contact"`
	HandSays  []message.Message `json:"hand_says" doc:"Of a firing by hand: what could not be used, and why"`
}

// VentOff is a stretch of a firing in which its vent was off.
type VentOff struct {
	AfterS int64 `json:"after_s" doc:"From the first rise"`
	ForS   int64 `json:"for_s"`
}

// Features is what the control channel's curve tells beside its heat work; null where it never went there
// or was not heard there. Rates of cooling are positive.
type Features struct {
	Within10S        int64    `json:"within_10_c_of_peak_s"`
	Within50S        int64    `json:"within_50_c_of_peak_s"`
	Within100S       int64    `json:"within_100_c_of_peak_s"`
	RateLast100      *float64 `json:"rate_last_100_c_per_h"`
	Holds            []Hold   `json:"holds"`
	WarmUp           *float64 `json:"warm_up_c_per_h" doc:"From 80 to 120 °C"`
	QuartzUp         *float64 `json:"quartz_up_c_per_h" doc:"Through 573 °C"`
	QuartzDown       *float64 `json:"quartz_down_c_per_h"`
	CristobaliteDown *float64 `json:"cristobalite_down_c_per_h" doc:"Through 226 °C"`
	CoolTop          *float64 `json:"cool_top_c_per_h" doc:"The first 100 °C down"`
	CoolMiddle       *float64 `json:"cool_1000_700_c_per_h"`
	CoolLower        *float64 `json:"cool_700_300_c_per_h"`
	DegreeHours      *float64 `json:"degree_hours" doc:"Above 20 °C: an index, no energy"`
	LongestGapS      int64    `json:"longest_gap_s"`
	GapNearTop       bool     `json:"gap_near_top" doc:"It lies where it matters: the heat work is an estimate"`
}

// Hold is a time at one temperature.
type Hold struct {
	AtC    *float64 `json:"at_c"`
	ForS   int64    `json:"for_s"`
	AfterS int64    `json:"after_s"`
}

// Remark is one figure of a firing in words.
type Remark struct {
	Figure   string          `json:"figure"`
	Says     message.Message `json:"says"`
	Limit    message.Message `json:"limit" doc:"What is advised; empty if nothing is"`
	Standing string          `json:"standing" doc:"How well the limit is founded: 'published', 'own choice', or 'common practice (no source)'; empty without a limit"`
	Source   message.Message `json:"source"`
	Caution  bool            `json:"caution" doc:"The figure lies outside the limit. It informs; the potter decides"`
}
