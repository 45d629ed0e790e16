package wire

// FiringBody is what is said of a firing: kind, atmosphere, status and note of any, and the whole
// of one that no line heard.
type FiringBody struct {
	Kind         string      `json:"kind,omitempty" enum:"bisque,glaze,once,other"`
	Atmosphere   string      `json:"atmosphere,omitempty" enum:"oxidation,reduction,unknown"`
	Status       string      `json:"status,omitempty" enum:"ended,incomplete" doc:"Calls an incomplete firing complete, or the other way round"`
	Note         string      `json:"note,omitempty"`
	By           string      `json:"by,omitempty"`
	Source       string      `json:"source,omitempty" enum:"hand" doc:"hand: a firing that was not recorded, told in the members below; any of them alone will do"`
	Kiln         string      `json:"kiln,omitempty"`
	BeganAt      string      `json:"began_at,omitempty" format:"date-time"`
	EndedAt      string      `json:"ended_at,omitempty" format:"date-time"`
	Load         string      `json:"load,omitempty"`
	Overlaps     bool        `json:"overlaps,omitempty" doc:"It is another firing, though one of that kiln went on at the same time"`
	Typed        *TypedBody  `json:"typed,omitempty" doc:"Readings now and then"`
	Sitter       *SitterBody `json:"sitter,omitempty"`
	IntendedCone string      `json:"intended_cone,omitempty" doc:"Cone that was meant to be reached, tenths allowed"`
}

// TypedBody is a curve as somebody wrote it down; both lists are of one length.
type TypedBody struct {
	Hours        []float64 `json:"hours" maxItems:"2000" doc:"Since it began, in rising order"`
	TemperatureC []float64 `json:"temperature_c" maxItems:"2000"`
}

// SitterBody is the cone in the sitter of a kiln that switches itself off.
type SitterBody struct {
	Cone      string `json:"cone" doc:"The cone in the sitter, a small one if no series is said"`
	Series    string `json:"series,omitempty"`
	DroppedAt string `json:"dropped_at,omitempty" format:"date-time"`
}
