package wire

// KilnBody is what a person says of a kiln without a line.
type KilnBody struct {
	Fuel string `json:"fuel,omitempty" enum:"electric,gas,wood,other" doc:"Not said if it is left out"`
}

// RenameBody is the name that a kiln has now.
type RenameBody struct {
	To string `json:"to" maxLength:"40" doc:"A kiln of the settings, or one that was added"`
}

// RenamedKiln is what went along with a new name.
type RenamedKiln struct {
	Was     string `json:"was"`
	Kiln    string `json:"kiln"`
	Firings int    `json:"firings"`
	Loads   int    `json:"loads"`
	Probes  int    `json:"probes"`
	Says    string `json:"says"`
}

// StrayKiln is a kiln of the record that is neither in the settings nor added.
type StrayKiln struct {
	Kiln    string `json:"kiln"`
	Firings int    `json:"firings"`
	Loads   int    `json:"loads"`
	Probes  int    `json:"probes"`
	Says    string `json:"says" doc:"What it is and what to do"`
}
