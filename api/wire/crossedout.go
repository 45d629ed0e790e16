package wire

import "lidwright/kiln/message"

// CrossedOut is a thing that somebody crossed out and that one tap restores.
type CrossedOut struct {
	Kind string          `json:"kind" enum:"reading,cone,note,lid_result,load" doc:"load: one that was called off"`
	ID   string          `json:"id"`
	What message.Message `json:"what" doc:"What it was, in words"`
	By   string          `json:"by"`
	Why  string          `json:"why"`
	At   *string         `json:"at"`
	Link string          `json:"link" doc:"Page on which it stands"`
}

// CrossedOutPath names one of them.
type CrossedOutPath struct {
	Kind string `path:"kind" enum:"reading,cone,note,lid_result,load"`
	ID   string `path:"id"`
}

// RestoreBody says who restores it.
type RestoreBody struct {
	By string `json:"by,omitempty" doc:"Maker's mark"`
}
