package tiles

import (
	"time"

	"lidwright/kiln"
)

// PutResult says what became of a fact that was put.
type PutResult struct {
	Revision int64 // of the clay, batch, bar, load or pot card; of a fact the number of its change
	New      bool  // it was kept now; false: the very same was said before, and nothing was written
}

// KeptClay is a clay with its revision.
type KeptClay struct {
	Clay
	// counts its changes; a change names the one that it saw
	Revision int64
}

// KeptBatch is a batch with its revision.
type KeptBatch struct {
	Batch
	// counts its changes
	Revision int64
}

// KeptBar is a bar with its readings, firings and revision.
type KeptBar struct {
	Bar
	// counts its changes
	Revision int64
}

// KeptLoad is a load with its revision and how many of its bars wait to be measured.
type KeptLoad struct {
	Load
	Revision int64 // counts its changes
	Waiting  int   // bars still to be measured after its firing
	// when somebody said that it was unpacked, which may have been before; zero: nobody did
	Said time.Time
}

// UndoUntil is until when it can be taken back that l was unpacked; zero where it was not.
func (l KeptLoad) UndoUntil() time.Time {
	if l.Unpacked.IsZero() || l.Said.IsZero() {
		return time.Time{}
	}
	return l.Said.Add(kiln.UndoFor)
}

// KeptProbe is the life of a probe with its revision.
type KeptProbe struct {
	ProbeLife
	// counts its changes
	Revision int64
}

// MakerSeen is a maker's mark with how many entries stand under it and when the newest was made.
type MakerSeen struct {
	// as entered
	Mark string
	// all sorts together
	Entries int
	// by the studio's clock
	Last time.Time
}
