package usecase

import (
	"math/rand/v2"
	"time"

	"github.com/google/uuid"

	"lidwright/kiln"
	"lidwright/tiles"
)

// Site is what the settings say of the studio, as far as answers depend on it.
type Site struct {
	Name      string
	ID        string // UUIDv7 of the record, where the settings name it
	Zone      *time.Location
	Units     string   // mm, cm, in, 32nds: unit of bare lengths
	Language  string   // tag; of pages to who asks for none that we speak
	Clock     int      // 12 or 24 hours
	Hosts     []string // names that we go by, beside IP numbers and localhost
	PublicURL string   // for links and QR codes
	Version   string

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

func (s *Studio) MakeID() string {
	if s.NewID == nil {
		return uuid.Must(uuid.NewV7()).String()
	}
	return s.NewID()
}

func (s *Studio) Chance() *rand.Rand {
	if s.Dice == nil {
		return rand.New(rand.NewPCG(rand.Uint64(), rand.Uint64()))
	}
	return s.Dice()
}
