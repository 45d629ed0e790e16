package usecase

import (
	"context"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// Channels tells which channel of a kiln a bar of a shelf had its heat from.
type Channels = func(k kiln.KilnID, shelf string) kiln.ChannelID

// Archive is what was written down: firings with their curves, and the facts of the bench.
type Archive interface {
	Firings(ctx context.Context, w kiln.FiringFilter) ([]kiln.Firing, error)
	Firing(ctx context.Context, id kiln.FiringID) (kiln.Firing, error)
	Curve(ctx context.Context, id kiln.FiringID, channels []kiln.ChannelID, gapAfter time.Duration) (kiln.Curve, error)
	Envelopes(ctx context.Context, id kiln.FiringID, channels []kiln.ChannelID, step time.Duration, points int) ([]kiln.Envelope, []kiln.Gap, error)
	SayFiring(ctx context.Context, id kiln.FiringID, said kiln.FiringAnnotation, at kiln.Stamp) error
	PutFiring(ctx context.Context, f kiln.Firing, samples []kiln.Sample, said any, m Precondition, at kiln.Stamp) (tiles.PutResult, error)

	Cones(ctx context.Context, firing kiln.FiringID) ([]tiles.ConeSeen, error)
	PutCone(ctx context.Context, c tiles.ConeSeen, at kiln.Stamp) (tiles.PutResult, error)
	StrikeCone(ctx context.Context, id, by, why string, at kiln.Stamp) error
	Notes(ctx context.Context, firing kiln.FiringID) ([]tiles.Note, error)
	PutNote(ctx context.Context, n tiles.Note, at kiln.Stamp) (tiles.PutResult, error)
	StrikeNote(ctx context.Context, id, by, why string, at kiln.Stamp) error
	PutTick(ctx context.Context, t tiles.Tick, at kiln.Stamp) (tiles.PutResult, error)
	Ticks(ctx context.Context, subject string) ([]tiles.Tick, error) // of a load, or of a firing and its load
	ForgetMaker(ctx context.Context, mark string, at kiln.Stamp) (rows int, err error)
	PutProbe(ctx context.Context, p tiles.ProbeLife, m Precondition, at kiln.Stamp) (tiles.PutResult, error)
	PutKeepShut(ctx context.Context, m tiles.KeepShut, at kiln.Stamp) (tiles.PutResult, error)
	KeepShuts(ctx context.Context, k kiln.KilnID) ([]tiles.KeepShut, error) // the one in force first

	Clays(ctx context.Context) ([]tiles.KeptClay, error)
	Clay(ctx context.Context, id tiles.ClayID) (tiles.KeptClay, error)
	PutClay(ctx context.Context, c tiles.Clay, m Precondition, at kiln.Stamp) (tiles.PutResult, error)
	Batches(ctx context.Context) ([]tiles.KeptBatch, error)
	PutBatch(ctx context.Context, b tiles.Batch, m Precondition, at kiln.Stamp) (tiles.PutResult, error)

	Bars(ctx context.Context, w tiles.BarFilter, channel Channels) ([]tiles.KeptBar, error)
	Bar(ctx context.Context, code tiles.Code, channel Channels) (tiles.KeptBar, error)
	UsedCodes(ctx context.Context) (map[tiles.Code]bool, error)
	PutBar(ctx context.Context, b tiles.Bar, m Precondition, at kiln.Stamp) (tiles.PutResult, error)
	KeepSheet(ctx context.Context, sheet tiles.Taken, at kiln.Stamp, told func(done, of int)) error
	PutReading(ctx context.Context, r tiles.Reading, at kiln.Stamp) (tiles.PutResult, error)
	StrikeReading(ctx context.Context, bar tiles.Code, id, by, why string, at kiln.Stamp) error
	ConfirmReading(ctx context.Context, bar tiles.Code, id, by, why string, at kiln.Stamp) error
	CountReading(ctx context.Context, bar tiles.Code, id, by, why string, at kiln.Stamp) error

	Loads(ctx context.Context, w tiles.LoadFilter) ([]tiles.KeptLoad, error)
	Load(ctx context.Context, id string) (tiles.KeptLoad, error)
	PutLoad(ctx context.Context, l tiles.Load, m Precondition, at kiln.Stamp) (tiles.PutResult, error)
	CloseLoad(ctx context.Context, id string, unpacked time.Time, by string, at kiln.Stamp) error
	Probes(ctx context.Context, k kiln.KilnID) ([]tiles.KeptProbe, error)
	AttachLoad(ctx context.Context, id string, firing kiln.FiringID, at kiln.Stamp) error

	Changes(ctx context.Context, after int64, limit int) ([]tiles.Change, error)
	LastChange(ctx context.Context) (int64, error)
	Site(ctx context.Context) (id, life string, err error) // name and life of the record
	Tally(ctx context.Context) (tiles.SaidSoFar, error)
	News() <-chan struct{} // closed when something is written next

	// Session gives what was kept of a phone's session under the hash of its cookie; an empty
	// mark if there is none.
	Session(ctx context.Context, key []byte) (mark string, until time.Time, err error)
	KeepSession(ctx context.Context, key []byte, mark string, until time.Time) error
	EndSession(ctx context.Context, key []byte) error

	Pots(ctx context.Context, w lid.PotFilter) ([]lid.KeptPot, error)
	Pot(ctx context.Context, id string) (lid.KeptPot, error)
	PutPot(ctx context.Context, p lid.PotCard, m Precondition, at kiln.Stamp) (tiles.PutResult, error)
	Verdicts(ctx context.Context, w lid.ResultFilter) ([]lid.Result, error)
	Verdict(ctx context.Context, id string) (lid.Result, error)
	Tallies(ctx context.Context) ([]lid.GroupCount, error)
	PutVerdict(ctx context.Context, v lid.Result, at kiln.Stamp) (tiles.PutResult, error)
	StrikeVerdict(ctx context.Context, id, by, why string, at kiln.Stamp) error

	// CopyDue tells since when something lies in the store that is in no copy; zero if nothing does.
	CopyDue(ctx context.Context) (time.Time, error)
}

// StoreHealth is how the store is.
type StoreHealth struct {
	Bytes    int64     // that it takes, without its copies
	Free     int64     // left beside it
	Copies   int       // kept
	LastCopy time.Time // when the newest was made, by the clock of then; zero if there is none
	Trouble  []string  // each in a sentence for the owner; empty if all is well
	Alarm    []string  // those of them that stand on the first page
	Gone     bool      // the file that is open is no longer in its place
	Back     bool      // at the start something was missing that had been kept
}

// Heat keeps the heat work of firings that are over: of this model, and corrected by the cones.
type Heat interface {
	Again(ctx context.Context, k kiln.KilnID) // a cone, a probe or a firing of the kiln was told: look again, and wait a moment for it
	Stories(ctx context.Context, k kiln.KilnID) ([]heatwork.ProbeStory, error)
	Life(ctx context.Context, k kiln.KilnID, c kiln.ChannelID, at time.Time) (heatwork.ProbeLife, error)
}
