package usecase

import (
	"context"
	"math/rand/v2"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// Studio is what the use cases work with: the record, the kilns, the fit and the settings. The daemon fills
// it in, a command fills one in over a store that nobody has open. The zero value answers nothing.
type Studio struct {
	Site     Site
	Archive  Archive  // firings and facts: the store
	Recorder Recorder // what the kilns do now: the recorder and the lines
	Shrink   Shrink   // the fit, kept up by the daemon
	Heat     Heat     // heat works, kept up by the daemon
	Lines    func() []Line
	Store    func() (StoreHealth, error)
	Kiln     map[kiln.KilnID]kiln.Kiln // as in the settings
	Wired    []Wired                   // the same, for the page of the settings
	// Settings are those in force as text, without any secret.
	Settings string
	// Hot is how long each channel of a kiln was over kiln.ProbeHot in firings of a span; a zero end
	// means until now.
	Hot         func(ctx context.Context, k kiln.KilnID, from, until time.Time) (map[kiln.ChannelID]time.Duration, error)
	LidDefaults lid.Defaults
	Codes       tiles.Alphabet
	Now         func() kiln.Stamp
	// NewID makes the id of a new fact, a UUID; nil: UUIDv7.
	NewID func() string
	// Dice is a new source of chance, for codes that nobody chose; nil: another each time.
	Dice   func() *rand.Rand
	Copies Copies // of the whole store
	// Notices is what tells people.
	Notices Notices
	Ready   func() error // nil when the store is open and takes what is written; several reasons are joined
	// Revision grows with whatever is written down and with every new fit, so that answers may be
	// kept under it. Nil: none are kept.
	Revision func() uint64

	learner   learner // what the lids taught
	newsboard newsboard
}
