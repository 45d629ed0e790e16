package wire

import "lidwright/kiln/message"

// KilnJSON is a kiln as the settings and the people have it.
type KilnJSON struct {
	Kiln           string            `json:"kiln"`
	Fuel           string            `json:"fuel" doc:"electric, gas, wood, other; empty: not said"`
	LimitC         *float64          `json:"limit_c"`
	KeepShutAboveC *float64          `json:"keep_shut_above_c"`
	Reason         string            `json:"keep_shut_reason"`
	Control        string            `json:"control"`
	Shelves        map[string]string `json:"shelves" doc:"Probe whose heat a bar of that shelf had; others: control"`
	Probes         []Probe           `json:"probes" doc:"Lives of thermocouples, a life and shelf each"`
	Usual          []Usual           `json:"usual"`
}

// Probe is one thermocouple from its fitting to its removal, and what the cones of one shelf tell of it.
type Probe struct {
	ID         *string         `json:"id" doc:"null for the one of the settings, and for one that nobody told of"`
	Channel    string          `json:"channel"`
	Shelf      string          `json:"shelf" doc:"Whose cones tell; empty: where most stood"`
	Type       string          `json:"type"`
	Class      int             `json:"class"`
	FittedOn   *string         `json:"fitted_on"`
	RemovedOn  *string         `json:"removed_on"`
	Firings    int             `json:"firings"`
	Bias       *Bias           `json:"bias_c" doc:"true minus indicated near the top; null before the first cone"`
	Says       message.Message `json:"says"`
	Notable    bool            `json:"notable" doc:"More than 8 °C and two sds off after each of the last two firings: look at the probe"`
	ToleranceC *float64        `json:"tolerance_c" doc:"Of its type and class at 1200 °C, when new"`
}

// Bias is what a probe lacks, °C, and how that drifts.
type Bias struct {
	Value     *float64   `json:"value"`
	Likely    []*float64 `json:"likely" doc:"90 % range"`
	PerFiring *float64   `json:"drift_per_firing"`
	Drift     []*float64 `json:"drift_likely"`
	Cones     int        `json:"cones"`
}

// Usual is a usual firing of a kiln.
type Usual struct {
	Name       string          `json:"name" doc:"Of a second one of its kind; empty: the first"`
	Pinned     bool            `json:"pinned" doc:"Said by hand"`
	Asks       bool            `json:"asks" doc:"The last firings lay beside it, near one another: a new usual, or a second one?"`
	Says       message.Message `json:"says" doc:"What else is to be known of it"`
	Kind       string          `json:"kind"`
	Atmosphere string          `json:"atmosphere"`
	HeatWorkC  *float64        `json:"heat_work_c"`
	Cone       string          `json:"cone"`
	TopC       *float64        `json:"top_c"`
	HoursToTop *float64        `json:"hours_to_top"`
	OfLast     int             `json:"of_last"`
}

// KilnPath names a kiln.
type KilnPath struct {
	Kiln string `path:"kiln"`
}

// Kilns are those of the settings and those that people added.
type Kilns struct {
	Items  []KilnJSON        `json:"items"`
	Next   *string           `json:"next" doc:"Always null: a studio has few kilns"`
	Strays []StrayKiln       `json:"not_in_settings" doc:"Kilns of the record that no kiln here has the name of"`
	Says   []message.Message `json:"says" doc:"What of the kilns that people added stands otherwise in the settings"`
}

// ProbePath names a life of a probe.
type ProbePath struct {
	KilnPath
	Probe string `path:"probe" doc:"UUIDv7 made by whoever tells of the probe"`
}

// ProbeBody is what is said of one thermocouple.
type ProbeBody struct {
	Channel   string `json:"channel,omitempty" doc:"The control probe if not said"`
	Type      string `json:"type" enum:"B,E,J,K,N,R,S,T"`
	Class     int    `json:"class,omitempty" enum:"0,1,2" doc:"Tolerance class; 2 if not said"`
	FittedOn  string `json:"fitted_on" doc:"Day" example:"2026-01-06"`
	RemovedOn string `json:"removed_on,omitempty"`
	Note      string `json:"note,omitempty"`
}
