package tiles

import (
	"time"

	"lidwright/kiln"
)

// Load is one packing of a kiln.
type Load struct {
	ID         string // UUID
	Number     int    // counts up for the site: "Load 14"
	Kiln       kiln.KilnID
	Kind       kiln.Kind
	Atmosphere kiln.Atmosphere
	Firing     kiln.FiringID // the firing attached, or empty
	PackedBy   string
	Opened     time.Time
	Unpacked   time.Time // zero until unpacked
	Note       string
	Bars       []Placed
}

// Placed is a bar on a shelf.
type Placed struct {
	Bar   Code
	Shelf string
}
