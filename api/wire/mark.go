package wire

// KeepShut is the temperature above which the site keeps a kiln shut. Below it nobody has leave to open.
type KeepShut struct {
	ID     *string  `json:"id" doc:"null: the one of the settings"`
	MarkC  *float64 `json:"keep_shut_above_c"`
	Reason string   `json:"keep_shut_reason"`
	By     string   `json:"by"`
	At     *string  `json:"at"`
}

// KeepShutBody sets it.
type KeepShutBody struct {
	ID     string  `json:"id" doc:"UUIDv7 made by the sender"`
	MarkC  float64 `json:"keep_shut_above_c" doc:"20 to 200; 50 unless there is a reason"`
	Reason string  `json:"keep_shut_reason,omitempty" doc:"Needed over 50 °C: who says so, and why"`
	By     string  `json:"by,omitempty"`
}
