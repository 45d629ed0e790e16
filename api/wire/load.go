package wire

import "lidwright/kiln/message"

// LoadBody is what is said of one packing of a kiln.
type LoadBody struct {
	Kiln       string  `json:"kiln,omitempty"`
	Kind       string  `json:"kind,omitempty" enum:"bisque,glaze,once,other"`
	Atmosphere string  `json:"atmosphere,omitempty" enum:"oxidation,reduction,unknown"`
	Bars       []Slot  `json:"bars,omitempty"`
	Firing     string  `json:"firing,omitempty" doc:"Attaches itself to the next firing if not said"`
	HeatWorkC  float64 `json:"heat_work_c,omitempty" doc:"Heat work stated by hand, where no firing was recorded"`
	Cone       string  `json:"cone,omitempty" doc:"The cone that it reached, in place of heat_work_c, as which it is answered"`
	PackedBy   string  `json:"packed_by,omitempty"`
	Note       string  `json:"note,omitempty"`
	Like       string  `json:"like,omitempty" doc:"A load by its id, or last: kiln, kind and atmosphere are its where they are not said, and each bar without a shelf lies where the bar of that place lay in it"`
	Move       bool    `json:"move,omitempty" doc:"Bars of it that are packed in another load are taken out there; without it that is asked"`
}

// Slot is a bar on a shelf.
type Slot struct {
	Bar   string `json:"bar"`
	Shelf string `json:"shelf,omitempty"`
}

// Load is a load as it is kept.
type Load struct {
	ID   string          `json:"id"`
	Name message.Message `json:"name" example:"Load 14"`
	LoadBody
	State      string          `json:"state" doc:"packing; packed: a firing broke off or stayed below 550 °C, the next one takes it; firing; fired; unpacked; done: unpacked, and no bar waits to be measured; called_off"`
	StateWords message.Message `json:"state_words" example:"packed, not fired yet"`
	Firings    []string        `json:"firings" doc:"Every firing that it went through, oldest first; firing is the last of them"`
	Measured   int             `json:"bars_measured"`
	Waiting    int             `json:"bars_waiting"`
	OpenedAt   *string         `json:"opened_at"`
	Unpacked   *string         `json:"unpacked_at"`
	UndoUntil  *string         `json:"undo_until" doc:"Until when it can be taken back that it was unpacked; null where it cannot"`
	CalledOff  *string         `json:"called_off_at"`
}

// UnpackedBody says that a load is out of its kiln.
type UnpackedBody struct {
	UnpackedAt string `json:"unpacked_at,omitempty" format:"date-time" doc:"Now if not said"`
	By         string `json:"by,omitempty"`
	Sure       bool   `json:"sure,omitempty" doc:"It is out, though its kiln reads over 200 °C, its peak is not passed, or it was never fired"`
}

// ByBody says who did something.
type ByBody struct {
	By string `json:"by,omitempty"`
}

// MoveBody brings bars from one load into another.
type MoveBody struct {
	Bars  []string `json:"bars,omitempty" maxItems:"500" doc:"All of it if not said"`
	To    string   `json:"to,omitempty" doc:"Load that they go to, by id or number; a new one if not said"`
	Shelf string   `json:"shelf,omitempty" doc:"Of the kiln; as it was if not said"`
	By    string   `json:"by,omitempty"`
}

// LoadFiringPath is a firing of a load.
type LoadFiringPath struct {
	LoadPath
	Firing string `path:"firing" doc:"Its id, last, or a kiln and number: big-blue/8"`
}

// LoadPath names a load by its id, or as last.
type LoadPath struct {
	ID string `path:"id"`
}
