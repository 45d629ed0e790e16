package wire

type LoadBody struct {
	Kiln       string  `json:"kiln,omitempty"`
	Kind       string  `json:"kind" enum:"bisque,glaze,once,other"`
	Atmosphere string  `json:"atmosphere,omitempty" enum:"oxidation,reduction,unknown"`
	Bars       []Slot  `json:"bars,omitempty"`
	Firing     string  `json:"firing,omitempty" doc:"Attaches itself to the next firing if not said"`
	HeatWorkC  float64 `json:"heat_work_c,omitempty" minimum:"0" maximum:"1400" doc:"Heat work stated by hand, where no firing was recorded"`
	Cone       string  `json:"cone,omitempty" maxLength:"20" doc:"The cone that it reached, in place of heat_work_c, as which it is answered"`
	PackedBy   string  `json:"packed_by,omitempty"`
	Note       string  `json:"note,omitempty" maxLength:"500"`
}

type Slot struct {
	Bar   string `json:"bar"`
	Shelf string `json:"shelf,omitempty"`
}

type Load struct {
	ID   string `json:"id"`
	Name string `json:"name" example:"Load 14"`
	LoadBody
	State    string  `json:"state" doc:"waiting for heat, fired, unpacked"`
	Measured int     `json:"bars_measured"`
	Waiting  int     `json:"bars_waiting"`
	OpenedAt *string `json:"opened_at"`
	Unpacked *string `json:"unpacked_at"`
}

type LoadPath struct {
	ID string `path:"id"`
}
