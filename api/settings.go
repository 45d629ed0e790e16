package api

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"lidwright/api/caution"
	"lidwright/api/wire"
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

type settingsPageKiln struct {
	Wired
	Line   Line
	Lives  []probeLifeRow
	MarkID string // for the form of a new mark
	Probes []kiln.ChannelID
	Limit  kiln.Celsius
	Mark   wire.KeepShut
	NewID  string // for the form of a new probe
}

type probeLifeRow struct {
	Channel, Type, Fitted, Removed string
	Class                          int
	Hours                          float64 // over kiln.ProbeHot
}

// settingsPage shows the settings in force and what every line heard in the last minute.
func (s *Server) settingsPage(w http.ResponseWriter, r *http.Request) error {
	lines := map[kiln.KilnID]Line{}
	for _, l := range s.Lines() {
		lines[l.Kiln] = l
	}
	var kilns []settingsPageKiln
	for _, wired := range s.Wired {
		one := settingsPageKiln{Wired: wired, Line: lines[wired.Kiln], Limit: s.Kiln[wired.Kiln].Limit, NewID: s.newID(), MarkID: s.newID()}
		m, err := s.keepShut(r.Context(), wired.Kiln)
		if err != nil {
			return err
		}
		one.Mark = s.keepShutJSON(m)
		for _, c := range s.Kiln[wired.Kiln].Channels {
			if c.Role == kiln.RoleProbe {
				one.Probes = append(one.Probes, c.ID)
			}
		}
		if one.Lives, err = s.probeLives(r.Context(), wired); err != nil {
			return err
		}
		kilns = append(kilns, one)
	}
	told, err := s.Notices.Last(r.Context(), lastNotices)
	if err != nil {
		return err
	}
	return s.render(w, "settings", struct {
		page
		Kilns     []settingsPageKiln
		Settings  string
		Hot       kiln.Celsius
		Receivers []string
		Told      []NoticeTold
		Electric  string
		MarkWords string
		Cautions  []string
	}{s.page(r.Context(), "more"), kilns, s.Settings, kiln.ProbeHot, s.Notices.Receivers(), told, caution.ElectricKilns, caution.Text(caution.KeepShut), caution.Texts(caution.Wiring...)})
}

// probeLives are the lives of the thermocouples of a kiln: those that were told, and where none was
// told of a channel that of the settings.
func (s *Server) probeLives(ctx context.Context, k Wired) ([]probeLifeRow, error) {
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
	var rows []probeLifeRow
	for _, l := range lives {
		hot, err := s.Hot(ctx, k.Kiln, s.startOf(l.Fitted), s.startOf(l.Removed))
		if err != nil {
			return nil, err
		}
		rows = append(rows, probeLifeRow{string(l.Channel), l.Type, l.Fitted, l.Removed, l.Class, hot[l.Channel].Hours()})
	}
	return rows, nil
}

// startOf is the beginning of a day in the studio's zone; zero for no day.
func (s *Server) startOf(day string) time.Time {
	t, err := time.ParseInLocation(time.DateOnly, day, s.Site.Zone)
	if err != nil {
		return time.Time{}
	}
	return t
}

// ShelvesInWords are the shelves of a kiln with the probe whose heat their bars had.
func ShelvesInWords(k kiln.Kiln) []string {
	var out []string
	for shelf, probe := range k.Shelves {
		out = append(out, fmt.Sprintf("%s: %s", shelf, probe))
	}
	slices.SortFunc(out, strings.Compare)
	rest := "any other"
	if len(out) == 0 {
		rest = "every shelf"
	}
	return append(out, fmt.Sprintf("%s: %s", rest, k.Control))
}
