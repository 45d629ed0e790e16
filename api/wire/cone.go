package wire

import "lidwright/kiln/message"

// Cone is a witness cone as it stood, and what it says.
type Cone struct {
	ID           string          `json:"id"`
	Firing       string          `json:"firing"`
	Cone         string          `json:"cone"`
	Series       string          `json:"series"`
	Shelf        string          `json:"shelf"`
	Seen         string          `json:"seen"`
	TiltDeg      *float64        `json:"tilt_deg"`
	Words        message.Message `json:"words" example:"cone 6 at 45°"`
	HeatWorkC    *float64        `json:"heat_work_c" doc:"What it shows, or the bound of it"`
	HeatWorkSD   *float64        `json:"heat_work_sd_c"`
	Side         string          `json:"side" enum:"at,under,over" doc:"under: upright, so the heat work was less; over: down, so it was more"`
	Says         message.Message `json:"says" doc:"What the reading asks, or why it does not count; empty if nothing is odd about it"`
	ProbeSays    message.Message `json:"probe_says" doc:"What the cones of this shelf told of the probe by the end of this firing"`
	By           string          `json:"by"`
	At           *string         `json:"at"`
	ClockTrusted bool            `json:"clock_trusted"`
	Struck       *Act            `json:"struck"`
	Counted      bool            `json:"counted" doc:"It tells something of the probe, or of the heat work of a firing without a curve; with pending: as it will"`
	Pending      bool            `json:"pending,omitempty" doc:"Its firing goes on, or has no heat work yet"`
	WhyNot       *WhyNot         `json:"why_not,omitempty" doc:"Why it does not count: crossed_out, looks_wrong, check_only"`
}

// ConePath names a cone of a firing.
type ConePath struct {
	FiringPath
	Cone string `path:"cone" doc:"UUIDv7 made by whoever tells of the cone"`
}

// ConeBody is a witness cone as somebody saw it after the firing; seen or tilt_deg is needed.
type ConeBody struct {
	Cone    string   `json:"cone" doc:"As pressed into it: 06 is not 6" example:"6"`
	Series  string   `json:"series,omitempty" doc:"The studio's usual series if not said"`
	Shelf   string   `json:"shelf,omitempty"`
	Seen    string   `json:"seen,omitempty" enum:"upright,leaning,down"`
	TiltDeg *float64 `json:"tilt_deg,omitempty" doc:"From upright: level is 90"`
	By      string   `json:"by,omitempty"`
}

// StrikeBody is who crosses something out, and why, which is needed.
type StrikeBody struct {
	Why string `json:"why"`
	By  string `json:"by,omitempty"`
}
