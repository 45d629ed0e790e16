package tiles

import (
	"time"

	"lidwright/kiln"
)

// ClayID names a clay on this site: [a-z0-9-]{1,32}.
type ClayID string

// BatchID names a batch within its clay: "A", "B".
type BatchID string

// Clay is one clay body, with what its bag says.
type Clay struct {
	ID          ClayID
	Name        string       // as typed
	MakerCode   string       // the supplier's own number for it
	MaturesCone string       // cone on the bag, "6", or empty
	Matures     kiln.Celsius // the same as heat work; NaN if the bag says nothing
	Stated      Ratio        // supplier's total shrinkage on the wet length; 0 if not stated
	StatedCone  string       // cone that the supplier stated it for; empty: MaturesCone
	Grog        string
	Note        string
}

// BatchKind says where a batch came from.
type BatchKind string

const (
	Bought   BatchKind = "bought"
	Reclaim  BatchKind = "reclaim"
	Blend    BatchKind = "blend"
	Repugged BatchKind = "repugged"
)

// BatchRef names a batch and its clay: written tern/B.
type BatchRef struct {
	Clay  ClayID
	Batch BatchID
}

func (r BatchRef) String() string { return string(r.Clay) + "/" + string(r.Batch) }

// Batch is one delivery, mixing or reclaim of a clay.
type Batch struct {
	BatchRef
	Kind    BatchKind
	Stamp   string // as printed on the bag
	Arrived string // date, 2026-01-08, or empty
	Parents []BatchRef
	Open    bool
	Note    string
	Made    time.Time // when the batch was entered; newest open batch = latest of these
}
