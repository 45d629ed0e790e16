package usecase

import (
	"context"
	"maps"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// Channels tells which channel of a kiln a bar of a shelf had its heat from.
type Channels = func(k kiln.KilnID, shelf string) kiln.ChannelID

// Storage is what was written down: firings with their curves, and the facts of the bench. Each part may come
// from elsewhere, as a use case that looks at many clays reads them once.
type Storage struct {
	FiringStore
	FactStore
	KilnStore
	ClayStore
	BarStore
	LoadStore
	PotStore
	ChangeStore
	SessionStore
}

// StorageOf is all parts of one record.
func StorageOf[S interface {
	FiringStore
	FactStore
	KilnStore
	ClayStore
	BarStore
	LoadStore
	PotStore
	ChangeStore
	SessionStore
}](s S) Storage {
	return Storage{s, s, s, s, s, s, s, s, s}
}

// FiringStore is the part of the record with firings with their curves.
type FiringStore interface {
	Firings(ctx context.Context, w kiln.FiringFilter) ([]kiln.Firing, error)
	Firing(ctx context.Context, id kiln.FiringID) (kiln.Firing, error)
	Curve(ctx context.Context, id kiln.FiringID, channels []kiln.ChannelID,
		gapAfter time.Duration) (kiln.Curve, error)
	Envelopes(ctx context.Context, id kiln.FiringID, channels []kiln.ChannelID, step time.Duration,
		points int) ([]kiln.Envelope, []kiln.Gap, error)
	SayFiring(ctx context.Context, id kiln.FiringID, said kiln.FiringAnnotation, at kiln.Stamp) error
	PutFiring(ctx context.Context, f kiln.Firing, samples []kiln.Sample, said any, m Precondition,
		at kiln.Stamp) (tiles.PutResult, error)
}

// FactStore is the part of the record with what people tell of firings, and the marks of makers.
type FactStore interface {
	Cones(ctx context.Context, firing kiln.FiringID) ([]tiles.ConeSeen, error)
	PutCone(ctx context.Context, c tiles.ConeSeen, at kiln.Stamp) (tiles.PutResult, error)
	StrikeCone(ctx context.Context, id, by, why string, at kiln.Stamp) error
	Notes(ctx context.Context, firing kiln.FiringID) ([]tiles.Note, error)
	PutNote(ctx context.Context, n tiles.Note, at kiln.Stamp) (tiles.PutResult, error)
	StrikeNote(ctx context.Context, id, by, why string, at kiln.Stamp) error
	PutTick(ctx context.Context, t tiles.Tick, at kiln.Stamp) (tiles.PutResult, error)
	Ticks(ctx context.Context, subject string) ([]tiles.Tick, error) // of a load, or of a firing and its load
	ForgetMaker(ctx context.Context, mark string, at kiln.Stamp) (rows int, err error)
	Makers(ctx context.Context) ([]tiles.MakerSeen, error) // whose marks the record has, by name
}

// KilnStore is the part of the record with kilns that people added, the names that kilns had, the lives of
// probes, and what a kiln is kept shut above.
type KilnStore interface {
	PutKiln(ctx context.Context, k tiles.AddedKiln, m Precondition, at kiln.Stamp) (tiles.PutResult, error)
	AddedKilns(ctx context.Context) ([]tiles.AddedKiln, error) // the first added first
	RecordedKilns(ctx context.Context) ([]tiles.RecordedKiln, error)
	// RenameKiln puts all that was said of a kiln under another name. Said again it does nothing.
	RenameKiln(ctx context.Context, was, now kiln.KilnID, at kiln.Stamp) (tiles.RecordedKiln, error)
	// names that kilns had, with those of now
	FormerKilns(ctx context.Context) (map[kiln.KilnID]kiln.KilnID, error)
	PutUsual(ctx context.Context, u tiles.UsualSaid, at kiln.Stamp) (tiles.PutResult, error)
	Usuals(ctx context.Context, k kiln.KilnID) ([]tiles.UsualSaid, error) // the oldest first
	PutProbe(ctx context.Context, p tiles.ProbeLife, m Precondition, at kiln.Stamp) (tiles.PutResult, error)
	Probes(ctx context.Context, k kiln.KilnID) ([]tiles.KeptProbe, error)
	PutKeepShut(ctx context.Context, m tiles.KeepShut, at kiln.Stamp) (tiles.PutResult, error)
	KeepShuts(ctx context.Context, k kiln.KilnID) ([]tiles.KeepShut, error) // the one in force first
}

// ClayStore is the part of the record with clays and their batches.
type ClayStore interface {
	Clays(ctx context.Context) ([]tiles.KeptClay, error)
	Clay(ctx context.Context, id tiles.ClayID) (tiles.KeptClay, error)
	PutClay(ctx context.Context, c tiles.Clay, m Precondition, at kiln.Stamp) (tiles.PutResult, error)
	Batches(ctx context.Context) ([]tiles.KeptBatch, error)
	PutBatch(ctx context.Context, b tiles.Batch, m Precondition, at kiln.Stamp) (tiles.PutResult, error)
}

// BarStore is the part of the record with bars and what was measured on them.
type BarStore interface {
	// the clay worked with last; empty: none was
	LastUsed(ctx context.Context) (tiles.ClayID, error)
	// where its last fired bars came from; empty: none did
	KilnOfClay(ctx context.Context, clay tiles.ClayID) (kiln.KilnID, error)
	Bars(ctx context.Context, w tiles.BarFilter, channel Channels) ([]tiles.KeptBar, error)
	Bar(ctx context.Context, code tiles.Code, channel Channels) (tiles.KeptBar, error)
	UsedCodes(ctx context.Context) (map[tiles.Code]bool, error)
	PutBar(ctx context.Context, b tiles.Bar, m Precondition, at kiln.Stamp) (tiles.PutResult, error)
	KeepSheet(ctx context.Context, sheet tiles.Taken, at kiln.Stamp, told func(done, of int)) error
	PutReading(ctx context.Context, r tiles.Reading, at kiln.Stamp) (tiles.PutResult, error)
	StrikeReading(ctx context.Context, bar tiles.Code, id, by, why string, at kiln.Stamp) error
	ConfirmReading(ctx context.Context, bar tiles.Code, id, by, why string, at kiln.Stamp) error
	CountReading(ctx context.Context, bar tiles.Code, id, by, why string, at kiln.Stamp) error
}

// LoadStore is the part of the record with what is packed into a kiln.
type LoadStore interface {
	Loads(ctx context.Context, w tiles.LoadFilter) ([]tiles.KeptLoad, error)
	Load(ctx context.Context, id string) (tiles.KeptLoad, error)
	PutLoad(ctx context.Context, l tiles.Load, m Precondition, at kiln.Stamp) (tiles.PutResult, error)
	CloseLoad(ctx context.Context, id string, unpacked time.Time, by string, at kiln.Stamp) error
	AttachLoad(ctx context.Context, id string, firing kiln.FiringID, at kiln.Stamp) error
	DetachLoad(ctx context.Context, id string, firing kiln.FiringID, at kiln.Stamp) error
	CallOffLoad(ctx context.Context, id, by string, at kiln.Stamp) error
	PutBackLoad(ctx context.Context, id, by string, at kiln.Stamp) error
	PlaceBars(ctx context.Context, moves []tiles.BarMove, at kiln.Stamp) error
}

// PotStore is the part of the record with pot cards, and how lids sat.
type PotStore interface {
	Pots(ctx context.Context, w lid.PotFilter) ([]lid.KeptPot, error)
	Pot(ctx context.Context, id string) (lid.KeptPot, error)
	PutPot(ctx context.Context, p lid.PotCard, m Precondition, at kiln.Stamp) (tiles.PutResult, error)
	LidResults(ctx context.Context, w lid.ResultFilter) ([]lid.Result, error)
	LidResult(ctx context.Context, id string) (lid.Result, error)
	Tallies(ctx context.Context) ([]lid.GroupCount, error)
	PutLidResult(ctx context.Context, v lid.Result, at kiln.Stamp) (tiles.PutResult, error)
	StrikeLidResult(ctx context.Context, id, by, why string, at kiln.Stamp) error
}

// ChangeStore is the part of the record with what was said, in order, and in which record.
type ChangeStore interface {
	Changes(ctx context.Context, after int64, limit int) ([]tiles.Change, error)
	LastChange(ctx context.Context) (int64, error)
	CrossedOut(ctx context.Context, since time.Time) ([]tiles.StruckFact, error)
	Restore(ctx context.Context, kind, id, by string, at kiln.Stamp) (of string, err error)
	TakenBack(ctx context.Context, bar tiles.Code) ([]tiles.TakenBack, error)
	Site(ctx context.Context) (id, life string, err error) // name and life of the record
	Tally(ctx context.Context) (tiles.SaidSoFar, error)
	News() <-chan struct{} // closed when something is written next
	// CopyDue tells since when something lies in the store that is in no copy; zero if nothing does.
	CopyDue(ctx context.Context) (time.Time, error)
}

// SessionStore is the part of the record with sessions of browsers.
type SessionStore interface {
	// Session gives what was kept of a phone's session under the hash of its cookie; an empty
	// mark if there is none.
	Session(ctx context.Context, key []byte) (mark string, until time.Time, err error)
	KeepSession(ctx context.Context, key []byte, mark string, until time.Time) error
	EndSession(ctx context.Context, key []byte) error
}

// StoreHealth is how the store is.
type StoreHealth struct {
	Bytes    int64             // that it takes, without its copies
	Free     int64             // left beside it
	Copies   int               // kept
	LastCopy time.Time         // when the newest was made, by the clock of then; zero if there is none
	Trouble  []message.Message // each in a sentence for the owner; empty if all is well
	Alarm    []message.Message // those of them that stand on the first page
	Gone     bool              // the file that is open is no longer in its place
	Back     bool              // at the start something was missing that had been kept
}

// Heat keeps the heat work of firings that are over: of this model, and corrected by the cones.
type Heat interface {
	// a cone, a probe or a firing of the kiln was told: look again, and wait a moment for it
	Again(ctx context.Context, k kiln.KilnID)
	Stories(ctx context.Context, k kiln.KilnID) ([]heatwork.ProbeStory, error)
	Life(ctx context.Context, k kiln.KilnID, c kiln.ChannelID, at time.Time) (heatwork.ProbeLife, error)
}

// Recorder is what the kilns do now.
type Recorder interface {
	Live() []record.Live
	LiveCurve(id kiln.KilnID) (record.LiveCurve, bool)
	Tell(ctx context.Context, f detect.Fact) (kiln.FiringID, error)
	Heeded() uint64 // grows with whatever the kilns' state was told, before the one who told it hears so
	Trouble() (record.StoreTrouble, bool)
	AddKiln(k kiln.Kiln)     // one without a line, that a person added
	DropKiln(id kiln.KilnID) // one that has another name now
}

// Shrink is the fit of shrink rates, kept up to date by the daemon.
type Shrink interface {
	Fit(ctx context.Context) (fit *shrinkage.Fit, asOf time.Time, err error) // with everything said so far
	Latest() (fit *shrinkage.Fit, asOf time.Time, err error)                 // the last one, without waiting
	Refits() Refits
	Touch(bars ...tiles.Code) // something it rests on was said: of these bars, or, none named, of anything
}

// Refits counts the fits that were made anew.
type Refits struct {
	Count   uint64
	Seconds float64
	Under   map[float64]uint64 // how many took at most so many seconds
}

// Add counts one.
func (r *Refits) Add(took time.Duration) {
	if r.Under == nil {
		r.Under = map[float64]uint64{}
	}
	r.Count++
	r.Seconds += took.Seconds()
	for _, limit := range []float64{0.1, 0.5, 1, 5, 10, 30, 60} {
		if r.Under[limit] += 0; took.Seconds() <= limit {
			r.Under[limit]++
		}
	}
}

// Clone is a copy of its own.
func (r Refits) Clone() Refits {
	r.Under = maps.Clone(r.Under)
	return r
}
