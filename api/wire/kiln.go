package wire

import "lidwright/kiln/message"

// KilnBody is what a person says of a kiln without a line.
type KilnBody struct {
	Fuel string `json:"fuel,omitempty" enum:"electric,gas,wood,other" doc:"Not said if it is left out"`
}

// UsualBody is what a person says of a usual firing.
type UsualBody struct {
	Kind       string  `json:"kind" enum:"bisque,glaze,once,other"`
	Atmosphere string  `json:"atmosphere,omitempty" enum:"oxidation,reduction,unknown" doc:"That of most firings of the kind if not said"`
	What       string  `json:"what" enum:"pin,release,new,second" doc:"pin: its heat work is this, whatever is fired. release: it goes by the firings again. new: the last firings, which lay beside it, are the usual one now. second: firings near this heat are a second usual one, with a name"`
	Name       string  `json:"name,omitempty" doc:"Of a second one" example:"cone 10"`
	Cone       string  `json:"cone,omitempty" doc:"Of pin and second"`
	HeatWorkC  float64 `json:"heat_work_c,omitempty" doc:"In place of cone"`
	By         string  `json:"by,omitempty"`
}

// UsualPath is what is said of a usual firing.
type UsualPath struct {
	KilnPath
	ID string `path:"usual" doc:"UUIDv7 made by whoever says it"`
}

// RenameBody is the name that a kiln has now.
type RenameBody struct {
	To string `json:"to" maxLength:"32" doc:"A kiln of the settings, or one that was added"`
}

// RenamedKiln is what went along with a new name.
type RenamedKiln struct {
	Was     string          `json:"was"`
	Kiln    string          `json:"kiln"`
	Firings int             `json:"firings"`
	Loads   int             `json:"loads"`
	Probes  int             `json:"probes"`
	Says    message.Message `json:"says"`
}

// StrayKiln is a kiln of the record that is neither in the settings nor added.
type StrayKiln struct {
	Kiln    string          `json:"kiln"`
	Firings int             `json:"firings"`
	Loads   int             `json:"loads"`
	Probes  int             `json:"probes"`
	Says    message.Message `json:"says" doc:"What it is and what to do"`
}
