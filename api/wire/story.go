package wire

import "lidwright/kiln/message"

// Story is all that happened to one bar.
type Story struct {
	Bar   string    `json:"bar"`
	Clay  string    `json:"clay"`
	Batch string    `json:"batch"`
	Items []Chapter `json:"items" doc:"In order of time; what has no time yet stands last"`
}

// Chapter is one thing that happened to a bar.
type Chapter struct {
	At      *string         `json:"at"`
	What    string          `json:"what" doc:"read, weighed, confirmed, counted, struck, restored, packed, fired, moved"`
	Says    message.Message `json:"says"`
	By      string          `json:"by"`
	Why     string          `json:"why"`
	Reading string          `json:"reading,omitempty"`
	Load    string          `json:"load,omitempty"`
	Move    *Move           `json:"move,omitempty" doc:"What it did to the rate of its clay"`
}
