package wire

import "lidwright/kiln/message"

// Tick is one line of the check list at the start of a firing, as it stands now.
type Tick struct {
	Item         string          `json:"item" doc:"Id of the caution: caution-36"`
	Says         message.Message `json:"says"`
	Done         bool            `json:"done"`
	By           string          `json:"by"`
	At           *string         `json:"at" doc:"When it was ticked or taken back; null: never"`
	ClockTrusted bool            `json:"clock_trusted"`
}

// CheckList is what is asked before a firing, line by line.
type CheckList struct {
	Items    []Tick `json:"items"`
	Open     int    `json:"open" doc:"Lines that are not ticked"`
	Standing string `json:"standing"`
}

// TickBody is a line that somebody ticks, or takes back.
type TickBody struct {
	Item string `json:"item" doc:"caution-36, caution-37, caution-42, caution-1, caution-2, caution-6, caution-5, caution-7, caution-10, caution-40, caution-43, caution-35"`
	Done bool   `json:"done" doc:"false takes a tick back"`
	By   string `json:"by,omitempty"`
}

// LoadTickPath names a tick in the check list of a load.
type LoadTickPath struct {
	LoadPath
	Tick string `path:"tick" doc:"UUIDv7 made by whoever ticks"`
}

// FiringTickPath names a tick in the check list of a firing.
type FiringTickPath struct {
	FiringPath
	Tick string `path:"tick" doc:"UUIDv7 made by whoever ticks"`
}
