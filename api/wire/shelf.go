package wire

import "lidwright/kiln/message"

// Shelves is how much the shelves of a kiln differ, by the bars that lay on them.
type Shelves struct {
	Kiln    string          `json:"kiln"`
	Shelves []Shelf         `json:"shelves" doc:"Hottest first; none where no load had bars on two shelves"`
	Apart   *float64        `json:"apart_c" doc:"Heat work from the coolest to the hottest, °C"`
	Likely  []*float64      `json:"apart_likely_c" doc:"90 % range; below 0 it cannot be told which is hotter"`
	OnLidMM *float64        `json:"on_lid_mm" doc:"What that does to a lid of 100 mm whose pot stands on the other shelf"`
	Loads   int             `json:"loads" doc:"That had bars on two shelves or more"`
	Says    message.Message `json:"says" doc:"Where to pack a pot and its lid"`
}

// Shelf is how much hotter one shelf fires than the mean of them.
type Shelf struct {
	Shelf string   `json:"shelf"`
	MoreC *float64 `json:"more_c" doc:"Heat work above the mean of the shelves, °C"`
	SDC   *float64 `json:"sd_c"`
	Bars  int      `json:"bars"`
}

// ShelvesPath names the kiln.
type ShelvesPath struct {
	Kiln string `path:"kiln"`
}
