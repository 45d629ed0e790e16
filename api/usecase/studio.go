package usecase

import (
	"context"
	"math"
	"math/rand/v2"
	"time"

	"github.com/google/uuid"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// Studio is what the use cases work with: the record, the kilns, the fit and the settings. The daemon fills
// it in, a command fills one in over a store that nobody has open. The zero value answers nothing.
type Studio struct {
	Site     Site
	Archive  Storage  // firings and facts: the store
	Recorder Recorder // what the kilns do now: the recorder and the lines
	Shrink   Shrink   // the fit, kept up by the daemon
	Heat     Heat     // heat works, kept up by the daemon
	Lines    func() []Line
	Store    func() (StoreHealth, error)
	Kiln     map[kiln.KilnID]kiln.Kiln // those that there were at the start; see KilnNamed
	Wired    []Wired                   // the same, for the page of the settings
	// Settings are those in force as text, without any secret.
	Settings string
	// Hot is how long each channel of a kiln was over kiln.ProbeHot in firings of a span; a zero end
	// means until now.
	Hot func(ctx context.Context, k kiln.KilnID, from,
		until time.Time) (map[kiln.ChannelID]time.Duration, error)
	LidDefaults lid.Defaults
	Codes       tiles.Alphabet
	Now         func() kiln.Stamp
	// NewID makes the id of a new fact, a UUID; nil: UUIDv7.
	NewID func() string
	// Settle is how long the answer to an entry waits for the fit to have it; nil or 0: 150 ms.
	Settle func() time.Duration
	// Dice is a new source of chance, for codes that nobody chose; nil: another each time.
	Dice   func() *rand.Rand
	Copies Copies // of the whole store
	// Collector is where the owner has the record sent too; nil where no daemon runs.
	Collector Collector
	// MQTT says whether the broker of the settings has us, and why not; nil where they name none.
	MQTT func() (connected bool, why string)
	// Notices is what tells people.
	Notices Notices
	Ready   func() error // nil when the store is open and takes what is written; several reasons are joined
	// Revision grows with whatever is written down and with every new fit, so that answers may be
	// kept under it. Nil: none are kept.
	Revision func() uint64
	// Noted is Revision without the readings of firings under way. Nil: nothing is kept under it.
	Noted func() uint64

	// FromRecord are kilns of Kiln that only the record knows, where a store is read with other settings.
	FromRecord map[kiln.KilnID]bool
	// Learn has what is known of a kiln read anew: its firings are others. Nil: nobody keeps any.
	Learn func(ctx context.Context, k kiln.KilnID)

	added     addedKilns
	learner   learner // what the lids taught
	newsboard newsboard
	loadsIn   Memo[[]tiles.KeptLoad]
	usuals    usualCurves
}

// The use cases by their noun, each over the whole studio.
type (
	// Firings log, annotate and compare firings, and read their curves, cones, notes and check lists.
	Firings struct{ *Studio }
	// Kilns tell what kilns do now, and keep their probes, shelves and lines.
	Kilns struct{ *Studio }
	// Bars enter readings, import and export tables, and tell a bar's history.
	Bars struct{ *Studio }
	// Clays keep clays and batches, their rates and what moved them.
	Clays struct{ *Studio }
	// Loads keep what is packed into a kiln.
	Loads struct{ *Studio }
	// Lids ask lids, boards and sizes, and keep pot cards, how lids sat and what that taught.
	Lids struct{ *Studio }
)

// Firings are the use cases of firings.
func (s *Studio) Firings() Firings { return Firings{s} }

// Kilns are the use cases of kilns.
func (s *Studio) Kilns() Kilns { return Kilns{s} }

// Bars are the use cases of bars.
func (s *Studio) Bars() Bars { return Bars{s} }

// Clays are the use cases of clays.
func (s *Studio) Clays() Clays { return Clays{s} }

// Loads are the use cases of loads.
func (s *Studio) Loads() Loads { return Loads{s} }

// Lids are the use cases of lids.
func (s *Studio) Lids() Lids { return Lids{s} }

// Site is what the settings say of the studio, as far as answers depend on it.
type Site struct {
	Name       string
	ID         string // UUIDv7 of the record, where the settings name it
	Zone       *time.Location
	Units      string   // mm, cm, in, 32nds: unit of bare lengths
	Fahrenheit bool     // temperatures are shown in °F to who has not said
	Language   string   // tag; of pages to who asks for none that we speak
	Clock      int      // 12 or 24 hours
	Hosts      []string // names that we go by, beside IP numbers and localhost
	PublicURL  string   // for links and QR codes
	Origins    []string // sites whose pages may read the API in a browser
	Version    string
	Practice   bool // it is made up, and every page says so

	ConeSeries string           // of the studio's usual witness cones
	Atmosphere kiln.Atmosphere  // of loads and firings that nothing is said of
	MainKiln   kiln.KilnID      // of questions that name no kiln; empty: the first of the settings
	MarkLength tiles.Millimetre // of bars that say none; 0: 100 mm
}

// atmosphere is that of what nothing is said of.
func (s Site) atmosphere() kiln.Atmosphere {
	if s.Atmosphere == "" {
		return kiln.UnknownAtmosphere
	}
	return s.Atmosphere
}

// MakeID makes a UUID for something that the asker gave no id.
func (s *Studio) MakeID() string {
	if s.NewID == nil {
		return uuid.Must(uuid.NewV7()).String()
	}
	return s.NewID()
}

// Chance are dice for codes and the like; a test hands its own in.
func (s *Studio) Chance() *rand.Rand {
	if s.Dice == nil {
		return rand.New(rand.NewPCG(rand.Uint64(), rand.Uint64()))
	}
	return s.Dice()
}

// Rounded is v to so many digits behind the point; nil where it is no number, which JSON has as null.
func Rounded(v float64, digits int) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	p := math.Pow(10, float64(digits))
	r := math.Round(v*p) / p
	if r == 0 {
		r = 0 // no negative zero
	}
	return &r
}

// Celsius is a temperature to 0.1 °C; nil where it is not known.
func Celsius(t kiln.Celsius) *float64 { return Rounded(float64(t), 1) }

// LengthMM is a length to 0.01 mm; nil where there is none.
func LengthMM(l tiles.Millimetre) *float64 { return Rounded(float64(l), 2) }

// Ratio4 is a share to 0.0001; nil where it is not known.
func Ratio4(r tiles.Ratio) *float64 { return Rounded(float64(r), 4) }

// Seconds is a time in whole seconds, rounded.
func Seconds(d time.Duration) int64 { return int64(d.Round(time.Second) / time.Second) }

// hours is a time in hours, to 0.01.
func hours(d time.Duration) *float64 { return Rounded(d.Hours(), 2) }

// Moment writes a time with the studio's offset; nil while there is none.
func (s *Studio) Moment(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	v := t.In(s.Site.Zone).Format(time.RFC3339)
	return &v
}

// Said is m; nil where it says nothing.
func Said(m message.Message) *message.Message {
	if m.IsZero() {
		return nil
	}
	return &m
}

// Text is null where v is empty.
func Text(v string) *string {
	if v == "" {
		return nil
	}
	return &v
}
