package wire

import "lidwright/kiln/message"

// Compare is up to four firings laid over one another.
type Compare struct {
	AlignedAtC *float64   `json:"aligned_at_c" doc:"null: at the first rise"`
	Items      []Compared `json:"items"`
}

// Compared is one firing of a comparison, with its curve.
type Compared struct {
	Firing  Firing          `json:"firing"`
	ShiftS  int64           `json:"shift_s" doc:"Take this from the ages to lay the firing over the first"`
	Says    message.Message `json:"says" doc:"How it differs from the first, in one sentence"`
	Columns []string        `json:"columns"`
	Rows    [][3]float64    `json:"rows"`
}
