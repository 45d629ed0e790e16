package wire

import "lidwright/kiln/message"

// Nest is how the pots of a set stand in one another after firing.
type Nest struct {
	Gaps     []NestGap       `json:"gaps"`
	Says     message.Message `json:"says"`
	Trust    string          `json:"trust"`
	Cautions []string        `json:"cautions"`
}

// NestGap is the room between two neighbours of a set.
type NestGap struct {
	Inner     int      `json:"inner" doc:"Place in the set, from 1"`
	Outer     int      `json:"outer"`
	PlayMM    *float64 `json:"play_mm" doc:"Room between the two, fired, across"`
	WorstMM   *float64 `json:"worst_mm" doc:"The lower end of its 90 % range"`
	FitChance *float64 `json:"fit_chance"`
}

// Shared is one lid on several pots.
type Shared struct {
	LeastPlayMM  *float64        `json:"least_play_mm" doc:"On the tightest pot, fired"`
	MostPlayMM   *float64        `json:"most_play_mm" doc:"On the loosest"`
	WindowLeast  *float64        `json:"window_least_mm" doc:"What a good lid needs"`
	WindowMost   *float64        `json:"window_most_mm"`
	Fits         bool            `json:"fits" doc:"On every pot of the set"`
	SpreadMostMM *float64        `json:"spread_most_mm" doc:"How far the galleries may differ, at the stage measured, for one lid to fit all"`
	Says         message.Message `json:"says"`
	Trust        string          `json:"trust"`
	Cautions     []string        `json:"cautions"`
}

// Scale is a whole form made larger or smaller.
type Scale struct {
	Times   *float64        `json:"times" doc:"Every length by this: the cube root of the ratio of capacities"`
	Lengths []ScaledOne     `json:"lengths"`
	Says    message.Message `json:"says"`
}

// ScaledOne is one length of the form, before and after.
type ScaledOne struct {
	Name  string   `json:"name"`
	WasMM *float64 `json:"was_mm"`
	MM    *float64 `json:"mm"`
}
