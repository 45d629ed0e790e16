package wire

import "lidwright/kiln/message"

// Trend is how the firings of one kiln, kind and atmosphere changed with time.
type Trend struct {
	Kiln       string      `json:"kiln"`
	Kind       string      `json:"kind"`
	Atmosphere string      `json:"atmosphere"`
	Years      int         `json:"years"`
	Items      []TrendItem `json:"items"`
	Columns    []string    `json:"columns"`
	Rows       []TrendRow  `json:"rows" doc:"Newest first"`
}

// TrendItem is the trend of one quantity, each a year.
type TrendItem struct {
	Quantity string          `json:"quantity" enum:"heat_work_c,peak_c,hours_to_top,cooling_hours"`
	PerYear  *float64        `json:"per_year" doc:"null: fewer than four firings"`
	Clear    bool            `json:"clear" doc:"Such an order would come about by chance once in 20 times at most"`
	Firings  int             `json:"firings"`
	Says     message.Message `json:"says"`
}

// TrendRow is one firing of the trend.
type TrendRow struct {
	Firing       string   `json:"firing"`
	Name         string   `json:"name"`
	StartedAt    *string  `json:"started_at"`
	HeatWorkC    *float64 `json:"heat_work_c"`
	PeakC        *float64 `json:"peak_c"`
	HoursToTop   *float64 `json:"hours_to_top"`
	CoolingHours *float64 `json:"cooling_hours"`
	CorrectionC  *float64 `json:"correction_c" doc:"What witness cones say the probe lacks; null without cones"`
}
