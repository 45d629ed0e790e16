package wire

// ClayBody is what is said of a clay body, with what its bag says.
type ClayBody struct {
	Name        string  `json:"name"`
	MakerCode   string  `json:"maker_code,omitempty"`
	MaturesCone string  `json:"matures_cone,omitempty" doc:"Cone on the bag: 022 to 14"`
	Stated      float64 `json:"stated_total_ratio,omitempty" doc:"Supplier's total shrinkage, share of the wet length; 0: not stated"`
	StatedCone  string  `json:"stated_cone,omitempty"`
	Grog        string  `json:"grog,omitempty"`
	Note        string  `json:"note,omitempty"`
}

// ClayJSON is a clay with its batches.
type ClayJSON struct {
	Revision int64  `json:"-"` // of the clay itself; the answer has it as its ETag
	Clay     string `json:"clay"`
	ClayBody
	Batches []Batch `json:"batches"`
}

// BatchBody is what is said of one delivery, mixing or reclaim of a clay.
type BatchBody struct {
	Kind    string   `json:"kind" enum:"bought,reclaim,blend,repugged"`
	Stamp   string   `json:"stamp,omitempty"`
	Arrived string   `json:"arrived_on,omitempty" doc:"Date, 2026-01-08"`
	Parents []string `json:"parents,omitempty" doc:"tern/A, or with its parts of the mix tern/A=2; told of all parents or of none, which is equal shares"`
	Open    bool     `json:"open"`
	Note    string   `json:"note,omitempty"`
}

// Batch is a batch as it is kept.
type Batch struct {
	Batch string `json:"batch"`
	BatchBody
	Made     *string `json:"made_at"`
	Revision int64   `json:"revision" doc:"For If-Match on the next change of the batch, in quotes"`
}

// ClayPath names a clay.
type ClayPath struct {
	Clay string `path:"clay" pattern:"^[a-z0-9-]{1,32}$"`
}
