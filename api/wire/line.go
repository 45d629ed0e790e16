package wire

import "lidwright/kiln/message"

// Lines are the lines of all kilns.
type Lines struct {
	Items []Line `json:"items"`
}

// Line is how the line of one kiln is: its port, what is sent, and what was received in the last minute.
type Line struct {
	Kiln    string            `json:"kiln"`
	Port    string            `json:"port" doc:"Device of the settings; empty for a kiln kept by hand"`
	Open    bool              `json:"open"`
	Waits   message.Message   `json:"waits" doc:"What is waited for, in words; empty while the port is open"`
	Words   []message.Message `json:"words" doc:"What was received in the last minute, in words"`
	Look    []message.Message `json:"look" doc:"Those of the words that ask to be looked at"`
	Sends   []message.Message `json:"sends" doc:"All that is ever sent to the controller"`
	ForS    *float64          `json:"for_s" doc:"How long the counts below look back"`
	Good    int               `json:"good"`
	Bad     int               `json:"bad"`
	ReadAt  *string           `json:"read_at"`
	Last    []Last            `json:"last"`
	Orders  []Order           `json:"orders" doc:"Numbers of 32 bits off a Modbus line in every order of bytes"`
	Outcome OutcomesTotal     `json:"lines_total"`
}

// Last is what a channel said on the last line.
type Last struct {
	Channel      string   `json:"channel"`
	TemperatureC *float64 `json:"temperature_c"`
	Fault        string   `json:"fault"`
}

// Order is one number of 32 bits in every order of its bytes.
type Order struct {
	Channel string              `json:"channel"`
	Set     string              `json:"set"`
	Values  map[string]*float64 `json:"values"`
}

// OutcomesTotal counts lines by how they turned out, since the program began.
type OutcomesTotal struct {
	Good       uint64 `json:"good"`
	Garbled    uint64 `json:"garbled"`
	Silent     uint64 `json:"silent"`
	Breakvalue uint64 `json:"breakvalue"`
}
