package wire

// Note is a note of a firing.
type Note struct {
	ID           string  `json:"id"`
	Firing       string  `json:"firing"`
	Text         string  `json:"text"`
	At           *string `json:"at" doc:"The moment it speaks of, or when it was written"`
	Incident     bool    `json:"incident" doc:"Something that should not happen again"`
	By           string  `json:"by"`
	ClockTrusted bool    `json:"clock_trusted"`
	Struck       *Act    `json:"struck"`
}

// NotePath names a note of a firing.
type NotePath struct {
	FiringPath
	Note string `path:"note" doc:"UUIDv7 made by whoever writes it"`
}

// NoteBody is what somebody notes of a firing.
type NoteBody struct {
	Text     string `json:"text"`
	At       string `json:"at,omitempty" format:"date-time" doc:"The moment it speaks of; now if not said"`
	Incident bool   `json:"incident,omitempty"`
	By       string `json:"by,omitempty"`
}
