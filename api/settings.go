package api

import (
	"fmt"
	"net/http"
	"slices"
	"strings"

	"lidwright/api/caution"
	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
)

type settingsPageKiln struct {
	usecase.Wired
	Line   usecase.Line
	Lives  []usecase.ProbeLifeRow
	MarkID string // for the form of a new mark
	Probes []kiln.ChannelID
	Limit  kiln.Celsius
	Mark   wire.KeepShut
	NewID  string // for the form of a new probe
}

// settingsPage shows the settings in force and what every line heard in the last minute.
func (s studioRoutes) settingsPage(w http.ResponseWriter, r *http.Request) error {
	lines := map[kiln.KilnID]usecase.Line{}
	for _, l := range s.Lines() {
		lines[l.Kiln] = l
	}
	var kilns []settingsPageKiln
	for _, wired := range s.Wired {
		one := settingsPageKiln{Wired: wired, Line: lines[wired.Kiln], Limit: s.Known(wired.Kiln).Limit, NewID: s.MakeID(), MarkID: s.MakeID()}
		m, err := s.Kilns().KeepShut(r.Context(), wired.Kiln)
		if err != nil {
			return err
		}
		one.Mark = s.Kilns().KeepShutJSON(m)
		for _, c := range s.Known(wired.Kiln).Channels {
			if c.Role == kiln.RoleProbe {
				one.Probes = append(one.Probes, c.ID)
			}
		}
		if one.Lives, err = s.Kilns().ProbeLives(r.Context(), wired); err != nil {
			return err
		}
		kilns = append(kilns, one)
	}
	told, err := s.Notices.Last(r.Context(), lastNotices)
	if err != nil {
		return err
	}
	var joined usecase.CollectorStatus
	if s.Collector != nil {
		if joined, err = s.Collector.Status(r.Context()); err != nil {
			return err
		}
	}
	return s.render(w, "settings", struct {
		page
		Kilns     []settingsPageKiln
		Settings  string
		Hot       kiln.Celsius
		Receivers []string
		Told      []usecase.NoticeTold
		Electric  string
		MarkWords string
		Cautions  []string
		Collector usecase.CollectorStatus
	}{s.page(r.Context(), "more"), kilns, s.Settings, kiln.ProbeHot, s.Notices.Receivers(), told, caution.ElectricKilns, caution.Text(caution.KeepShut), caution.Texts(caution.Wiring...), joined})
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
