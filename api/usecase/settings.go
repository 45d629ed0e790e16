package usecase

import (
	"context"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
)

// Wired is how one kiln of the settings is wired: what the settings page shows of it.
type Wired struct {
	Kiln     kiln.KilnID
	Speaks   string // "columns at 9600 baud 8N1, a line each 1s"
	Channels []WiredChannel
	Shelves  []string // "top: probe 2"
}

// WiredChannel is one number of a kiln's reply.
type WiredChannel struct {
	Channel kiln.ChannelID
	Role    kiln.Role
	From    string // column, key or register, in words
	Unit    string
	Couple  *Couple // nil: no thermocouple
}

// Couple is the thermocouple of a channel as the settings have it.
type Couple struct {
	Type       string
	Class      int
	Fitted     string // date; empty: not said
	Linearised bool
	Tolerance  string // in words
}

type ProbeLifeRow struct {
	Channel, Type, Fitted, Removed string
	Class                          int
	Hours                          float64 // over kiln.ProbeHot
}

// ProbeLives are the lives of the thermocouples of a kiln: those that were told, and where none was
// told of a channel that of the settings.
func (s Kilns) ProbeLives(ctx context.Context, k Wired) ([]ProbeLifeRow, error) {
	told, err := s.Archive.Probes(ctx, k.Kiln)
	if err != nil {
		return nil, err
	}
	var lives []tiles.ProbeLife
	for _, c := range k.Channels {
		n := len(lives)
		for _, t := range told {
			if t.Channel == c.Channel {
				lives = append(lives, t.ProbeLife)
			}
		}
		if n == len(lives) && c.Couple != nil {
			lives = append(lives, tiles.ProbeLife{Kiln: k.Kiln, Channel: c.Channel, Type: c.Couple.Type, Class: c.Couple.Class, Fitted: c.Couple.Fitted})
		}
	}
	var rows []ProbeLifeRow
	for _, l := range lives {
		hot, err := s.Hot(ctx, k.Kiln, s.startOf(l.Fitted), s.startOf(l.Removed))
		if err != nil {
			return nil, err
		}
		rows = append(rows, ProbeLifeRow{string(l.Channel), l.Type, l.Fitted, l.Removed, l.Class, hot[l.Channel].Hours()})
	}
	return rows, nil
}

// startOf is the beginning of a day in the studio's zone; zero for no day.
func (s Kilns) startOf(day string) time.Time {
	t, err := time.ParseInLocation(time.DateOnly, day, s.Site.Zone)
	if err != nil {
		return time.Time{}
	}
	return t
}
