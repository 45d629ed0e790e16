package api

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"
	"time"

	"lidwright/api/caution"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/record"
)

const (
	glareAbove = 600.0 // °C from which a chamber glows, so that a look into it needs a filter (practice)
	// °C from which a firing on its way up may be near its top, where its kind does not tell (own).
	nearTopAbove = 900.0
	steamBelow   = 100.0 // °C below which ware still dries
)

// kilnPage is one kiln: the one that is named, else the hottest.
func (s homeRoutes) kilnPage(w http.ResponseWriter, r *http.Request) error {
	kilns := s.Kilns().KilnsNow(r.Context())
	k, others, err := kilnOf(kilns, r.PathValue("kiln"))
	if err != nil {
		if len(kilns) == 0 && r.PathValue("kiln") == "" {
			return s.homePage(w, r)
		}
		return err
	}
	base := s.page(r.Context(), "kiln")
	data := pages.KilnPage{Frame: base.Frame, ClockUnset: base.ClockUnset, ID: base.ID,
		Kiln: pages.KilnCard{KilnNow: k}, Others: others, Model: r.URL.Query().Get("model"),
		Silent: k.State == string(kiln.Quiet)}
	asks, err := s.Loads().Asks(r.Context())
	if err != nil {
		return err
	}
	for _, a := range asks {
		if string(a.Load.Kiln) == k.Kiln {
			data.Asks = append(data.Asks, loadAsk(a))
		}
	}
	past, err := s.Archive.Firings(r.Context(), kiln.FiringFilter{Kiln: kiln.KilnID(k.Kiln),
		Limit: 20 + usecase.UsualLook})
	if err != nil {
		return err
	}
	shown := kiln.Firing{}
	if live, ok := s.Recorder.LiveCurve(kiln.KilnID(k.Kiln)); ok {
		shown = live.Firing
		data.Open = string(shown.ID)
	} else if len(past) > 0 {
		shown = past[0]
	}
	data.VentCaution = caution.Text(caution.VentOn)
	if shown.ID != "" {
		if data.Open != "" {
			if data.VentSays, err = s.Firings().VentSays(r.Context(), shown); err != nil {
				return err
			}
		}
		j := s.Firings().Firing(shown, detect.Expected{})
		data.Firing, data.Gaps = &j, gapWords(shown.Gaps)
		under, err := firingRoutes(s).beneath(r.Context(), shown, past, kiln.FiringID(data.Model))
		if err != nil {
			return err
		}
		data.Beneath = under.Says
		if data.Curve, err = s.drawFiring(r.Context(), shown, under, r.URL.Query()); err != nil {
			return err
		}
	}
	if data.Past, err = s.pastFirings(r.Context(), past); err != nil {
		return err
	}
	data.Cautions = s.kilnCautions(k, shown.Atmosphere)
	if k.State == string(kiln.Falling) || k.State == string(kiln.Warm) {
		m, err := s.Kilns().KeepShut(r.Context(), kiln.KilnID(k.Kiln))
		// one that is heard, and no longer in the settings
		if err != nil && !errors.Is(err, record.ErrNoKiln) {
			return err
		}
		data.Why = m.Reason
	}
	return s.show(w, data)
}

// wallPage is a screen on the wall: the kiln that is named, else all, the hottest first.
func (s homeRoutes) wallPage(w http.ResponseWriter, r *http.Request) error {
	d := pages.WallPage{Frame: s.page(r.Context(), "kiln").Frame}
	kilns := s.Kilns().KilnsNow(r.Context())
	if name := r.PathValue("kiln"); name != "" {
		k, _, err := kilnOf(kilns, name)
		if err != nil {
			return err
		}
		kilns = []wire.KilnNow{k}
	}
	for _, k := range kilns {
		d.Kilns = append(d.Kilns, pages.KilnCard{KilnNow: k, Cautions: homeCautions(k)})
	}
	slices.SortStableFunc(d.Kilns, hottestFirst)
	return s.show(w, d)
}

// kilnOf finds a kiln by its name, the hottest where none is named, and the others.
func kilnOf(kilns []wire.KilnNow, name string) (k wire.KilnNow, others []wire.KilnNow, err error) {
	at := -1
	for i, one := range kilns {
		if one.Kiln == name || name == "" && (at < 0 || one.Hot && heatOf(one) > heatOf(kilns[at])) {
			at = i
		}
	}
	if at < 0 {
		return k, nil, fmt.Errorf("%s: %w", name, record.ErrNoKiln)
	}
	return kilns[at], slices.Delete(slices.Clone(kilns), at, at+1), nil
}

// heatOf is by what kilns are put in order: one over its limit before one that is hot and says nothing any
// more, this before those that are hot, the hotter first.
func heatOf(k wire.KilnNow) float64 {
	switch {
	case k.OverLimit:
		return 1e5
	case k.LastTemperatureC != nil && k.Hot && !k.Fresh:
		return 1e4 + *k.LastTemperatureC
	case k.LastTemperatureC != nil && k.Hot:
		return *k.LastTemperatureC
	}
	return 0
}

const pastShown = 20

// pastFirings are the earlier firings with their curves in small.
func (s homeRoutes) pastFirings(ctx context.Context, past []kiln.Firing) (all []pages.PastFiring, err error) {
	for i, f := range past {
		if f.Status == kiln.Running || len(all) == pastShown {
			continue
		}
		one := pages.PastFiring{Firing: s.Firings().Firing(f,
			detect.UsualBefore(past, i, s.Known(f.Kiln).Control))}
		lines, _, err := s.Archive.Envelopes(ctx, f.ID, []kiln.ChannelID{s.Firings().ProbeOf(f)}, 0, 60)
		if err != nil && !errors.Is(err, kiln.ErrNoFiring) {
			return nil, err
		}
		if len(lines) > 0 {
			one.Spark = spark(lines[0])
		}
		all = append(all, one)
	}
	return all, nil
}

// spark is a curve within 72 by 30 px as the points of a path; gaps are drawn over.
func spark(e kiln.Envelope) string {
	top, end := 100.0, time.Hour
	for i, a := range e.After {
		if e.High[i].Known() {
			top, end = math.Max(top, float64(e.High[i])), max(end, a)
		}
	}
	var b strings.Builder
	op := "M"
	for i, a := range e.After {
		if e.High[i].Known() {
			fmt.Fprintf(&b, "%s%.1f %.1f", op, 1+70*float64(a)/float64(end), 28.5-24*float64(e.High[i])/top)
			op = "L"
		}
	}
	return b.String()
}

// kilnCautions are the two that a kiln's state asks for, one line each, with all others behind the second.
// They go by what the kiln does, never by the day.
func (s homeRoutes) kilnCautions(k wire.KilnNow, atmosphere kiln.Atmosphere) []pages.Cautioned {
	reads := math.NaN()
	if k.TemperatureC != nil {
		reads = *k.TemperatureC
	}
	night := false
	if h := s.Now().Wall.In(s.Site.Zone).Hour(); h >= 22 || h < 6 {
		night = true
	}
	var seen, more []caution.Number // in the order in which they are read
	switch kiln.State(k.State) {
	case kiln.Rising, kiln.Holding, kiln.Soaking:
		second := caution.StayNear
		switch {
		case kiln.State(k.State) == kiln.Soaking:
			seen, second = append(seen, caution.StuckRelay), caution.COAlarm
		case reads < steamBelow:
			second = caution.BoneDry
		case night:
			second = caution.NobodyThere
		}
		if second != caution.COAlarm {
			seen = append(seen, caution.COAlarm)
		}
		seen = append(seen, second)
		more = append(more, caution.GetOut, caution.StayNear, caution.VentOn)
		if reads < steamBelow {
			more = append(more, caution.BoneDry)
		}
		if night {
			more = append(more, caution.NobodyThere)
		}
	case kiln.Falling, kiln.Warm:
		seen, more = []caution.Number{caution.ReachIn,
			caution.KeepShut}, append([]caution.Number{caution.OneSpot},
			caution.CarbonMonoxide...)
	case kiln.Quiet:
		seen, more = []caution.Number{caution.Quiet, caution.OverLimit}, []caution.Number{caution.PowerCut}
	}
	wrong := k.OverLimit || k.StillHot
	if wrong {
		more = append(append([]caution.Number{caution.OwnProtection}, seen...), more...)
		seen = []caution.Number{caution.StuckRelay, caution.OverLimit}
	}
	if reads > glareAbove {
		more = append(more, caution.Glare)
	}
	if atmosphere == kiln.Reduction {
		more = append(more, reductionCautions...)
		if len(seen) == 0 {
			seen = []caution.Number{caution.FuelKilns}
		}
	}
	return folded(seen, more, wrong)
}

// folded makes a line of each of some cautions; the others stand behind the last of them, each once.
func folded(seen, more []caution.Number, open bool) (all []pages.Cautioned) {
	for _, n := range seen {
		all = append(all, pages.Cautioned{Text: caution.Text(n), Open: open})
	}
	more = slices.DeleteFunc(more, func(n caution.Number) bool { return slices.Contains(seen, n) })
	if len(all) > 0 {
		all[len(all)-1].More = caution.Texts(more...)
	}
	return all
}

// tableOf is a curve in figures, a row each 15 minutes.
func tableOf(lines []kiln.Envelope) []pages.CurveRow {
	if len(lines) == 0 {
		return nil
	}
	e := lines[0]
	if e.Step > 0 {
		e = e.Merge(int(15 * time.Minute / e.Step))
	}
	var rows []pages.CurveRow
	for i, a := range e.After {
		rows = append(rows, pages.CurveRow{Hours: a.Hours(), Low: float64(e.Low[i]),
			High: float64(e.High[i])})
	}
	return rows
}
