package wire

import "lidwright/kiln/message"

// OldLog is what came of the curve of a firing out of another logger's file.
type OldLog struct {
	DryRun   bool            `json:"dry_run"`
	Kept     bool            `json:"kept"`
	New      bool            `json:"new"`
	Firing   string          `json:"firing"`
	BeganAt  string          `json:"began_at"`
	Hours    float64         `json:"hours"`
	Rows     int             `json:"rows"`
	Readings int             `json:"readings"`
	Columns  []string        `json:"columns"`
	PeakC    *float64        `json:"peak_c"`
	Cone     message.Message `json:"cone_words"`
	Bad      []BadRow        `json:"bad_rows"`
}
