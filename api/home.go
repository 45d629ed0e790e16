package api

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"slices"
	"time"

	"lidwright/api/caution"
	"lidwright/api/chart"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// homePage is the first page: a card a kiln with its firing, what waits for hands, the last lids.
func (s homeRoutes) homePage(w http.ResponseWriter, r *http.Request) error {
	base := s.page(r.Context(), "home")
	data := pages.HomePage{Frame: base.Frame, ClockUnset: base.ClockUnset, Alarm: s.StoreAlarm()}
	noted, err := s.home.Of(s.Noted, func() (onHome, error) { return s.noted(r.Context()) })
	if err != nil {
		return err
	}
	l := s.pages.Locale(base.Frame.Speak)
	l.Now = base.Frame.Now
	for _, k := range s.Kilns().KilnsNow(r.Context()) {
		card := pages.KilnCard{KilnNow: k, Cautions: homeCautions(k)}
		if card.Phone, card.Desk, err = s.drawToday(r.Context(), l, k); err != nil {
			return err
		}
		data.Kilns = append(data.Kilns, card)
	}
	slices.SortStableFunc(data.Kilns, hottestFirst)
	for _, one := range noted.waiting {
		if at := slices.IndexFunc(data.Kilns,
			func(k pages.KilnCard) bool { return k.Kiln == one.kiln }); at >= 0 {
			data.Kilns[at].Waiting = append(data.Kilns[at].Waiting, one.LoadToMeasure)
		} else {
			data.Waiting = append(data.Waiting, one.LoadToMeasure)
		}
	}
	asks, err := s.Loads().Asks(r.Context())
	if err != nil {
		return err
	}
	for _, a := range asks {
		one := loadAsk(a)
		if at := slices.IndexFunc(data.Kilns,
			func(k pages.KilnCard) bool { return k.Kiln == string(a.Load.Kiln) }); at >= 0 {
			data.Kilns[at].Asks = append(data.Kilns[at].Asks, one)
		} else {
			data.Asks = append(data.Asks, one)
		}
	}
	for _, k := range s.Kilns().StraysOf(noted.kilns) {
		data.Strays = append(data.Strays, k.Kiln)
	}
	markFirst(&data)
	for _, n := range s.Clays().NewsOnBoard(r.Context()) {
		data.News = append(data.News, pages.HomeNews{Says: n.Says, Link: n.Link})
	}
	data.Boards, data.Bag, data.Lids = noted.boards, noted.bag, s.lidsSized(l, noted.sized)
	if noted.first != nil {
		first := *noted.first
		first.Kiln = len(data.Kilns) > 0
		data.First = &first
	}
	return s.show(w, data)
}

// onHome is what the first page shows of what people noted: the same until something else is noted.
type onHome struct {
	waiting []loadOnHome
	kilns   []tiles.RecordedKiln
	first   *pages.FirstVisit // of a studio without a bar
	boards  []pages.WaitingBoard
	sized   []lid.KeptPot // whose lids were sized last, newest first
	bag     *pages.BagInUse
}

type loadOnHome struct {
	kiln string
	pages.LoadToMeasure
}

// noted reads what people noted, as the first page shows it.
func (s homeRoutes) noted(ctx context.Context) (n onHome, err error) {
	waiting, err := s.Archive.Loads(ctx, tiles.LoadFilter{Waiting: true, Limit: 20})
	if err != nil {
		return n, err
	}
	for _, load := range waiting {
		one, err := s.toMeasure(ctx, load)
		if err != nil {
			return n, err
		}
		n.waiting = append(n.waiting, loadOnHome{string(load.Kiln), one})
	}
	if n.kilns, err = s.Archive.RecordedKilns(ctx); err != nil {
		return n, err
	}
	pots, err := s.Archive.Pots(ctx, lid.PotFilter{Limit: shownCards})
	if err != nil {
		return n, err
	}
	if n.boards, _, err = resultRoutes(s).waitingBoards(ctx, pots); err != nil {
		return n, err
	}
	n.boards = slices.Clone(n.boards[:min(len(n.boards), boardsOnHome)])
	n.sized = lastSized(pots)
	clays, err := s.Clays().List(ctx)
	if err != nil {
		return n, err
	}
	if len(clays) > 0 {
		used := clays[0] // the one that was used last
		n.bag = &pages.BagInUse{Clay: used.Clay, Name: used.Name, Batch: bagsInUse(used)}
	}
	bars, err := s.Archive.Bars(ctx, tiles.BarFilter{Limit: 1}, s.Channel)
	if err == nil && len(bars) == 0 {
		n.first = &pages.FirstVisit{}
		if n.bag != nil {
			n.first.Clay, n.first.ClayName = n.bag.Clay, n.bag.Name
		}
	}
	return n, err
}

func loadAsk(a usecase.LoadAsk) pages.LoadAsk {
	return pages.LoadAsk{ID: a.Load.ID, Number: a.Load.Number, Kind: string(a.Load.Kind), Ask: a.Ask,
		Firing: string(a.Firing), Seen: loadMark(a.Load.Load)}
}

// hottestFirst puts the kiln first that wants eyes first (heatOf).
func hottestFirst(a, b pages.KilnCard) int { return cmp.Compare(heatOf(b.KilnNow), heatOf(a.KilnNow)) }

// markFirst marks the load whose button is the one to press.
func markFirst(d *pages.HomePage) {
	for i := range d.Kilns {
		if len(d.Kilns[i].Waiting) > 0 {
			d.Kilns[i].Waiting[0].First = true
			return
		}
	}
	if len(d.Waiting) > 0 {
		d.Waiting[0].First = true
	}
}

// toMeasure is a load with the codes of its bars that wait.
func (s homeRoutes) toMeasure(ctx context.Context, l tiles.KeptLoad) (pages.LoadToMeasure, error) {
	w := pages.LoadToMeasure{ID: l.ID, Number: l.Number, Kind: string(l.Kind)}
	bars, err := s.Archive.Bars(ctx, tiles.BarFilter{Load: l.ID}, s.Channel)
	for _, b := range bars {
		measured := slices.ContainsFunc(b.Readings, func(r tiles.Reading) bool {
			return r.Struck == nil && r.Mass == nil && r.Stage == tiles.Measures(l.Kind)
		})
		if !measured && len(b.Flags) == 0 {
			w.Codes = append(w.Codes, string(b.Code))
		}
	}
	return w, err
}

// Rows on the first page at most.
const (
	lidsOnHome   = 3
	boardsOnHome = 2
)

// lastSized are the cards of the lids that were sized last, newest first.
func lastSized(pots []lid.KeptPot) (all []lid.KeptPot) {
	for _, p := range pots {
		if p.Set != 0 && len(p.Collar) > 0 && len(all) < lidsOnHome {
			all = append(all, p)
		}
	}
	return all
}

// lidsSized are lids that were sized for one of these pots, as they are shown.
func (s homeRoutes) lidsSized(l pages.Locale, pots []lid.KeptPot) (all []pages.LidSized) {
	for _, p := range pots {
		clay := p.Lid
		if clay.Clay == "" {
			clay = p.Body
		}
		one := pages.LidSized{Pot: p.ID, Form: p.Form, Seat: string(p.Seat), Clay: clay.String(),
			GalleryMM: float64(p.Collar[0]), LidMM: float64(p.Set)}
		if made, err := time.ParseInLocation(time.DateOnly, p.MadeOn, s.Site.Zone); err == nil {
			one.Made = l.Day(made)
		}
		all = append(all, one)
	}
	return all
}

// drawToday draws the firing under way on its usual ones for each width; nothing where none goes on.
func (s homeRoutes) drawToday(ctx context.Context, l pages.Locale, k wire.KilnNow) (phone, desk pages.Drawn,
	err error) {
	live, ok := s.Recorder.LiveCurve(kiln.KilnID(k.Kiln))
	if !ok || k.Firing == nil {
		return "", "", nil
	}
	lines, _, err := s.Firings().Envelopes(ctx, live.Firing,
		[]kiln.ChannelID{s.Firings().ProbeOf(live.Firing)},
		120, 0)
	if errors.Is(err, kiln.ErrNoFiring) { // it began a moment ago
		return "", "", nil
	}
	if err != nil || len(lines) == 0 || len(lines[0].After) == 0 {
		return "", "", err
	}
	usual, err := s.Firings().Usual(ctx, live.Firing)
	if err != nil {
		return "", "", err
	}
	d := chart.Today{Width: 326, Height: 140, Now: lines[0],
		Peak: kiln.NoTemperature(), ConeSays: l.T("cone")}
	d.Title = l.T("Curve so far: {1} after {2} h", l.Heat(k.LastTemperatureC), fmt.Sprintf("%.1f",
		hoursOr0(k.Hours)))
	if usual.Of > 0 {
		d.Usual, d.UsualSays = usual.Band, l.T("usual of {1}", usual.Of)
	}
	if k.PeakAt != nil && usual.Top.Known() {
		at, err := time.Parse(time.RFC3339, *k.PeakAt)
		if err == nil {
			d.Peak, d.PeakAfter = usual.Top, time.Duration(hoursOr0(k.Hours)*float64(time.Hour))+
				at.Sub(s.Now().Wall)
			d.PeakSays = [2]string{l.Heat(float64(usual.Top)), l.T("about {1}", l.Soon(k.PeakAt))}
			d.Title += ". " + l.T("Usual peak: {1} about {2}", d.PeakSays[0], l.Soon(k.PeakAt))
		}
	}
	d.Cones, d.Reached, d.Passed = coneShelves(k, usual.HeatWork)
	if d.Reached > 0 {
		d.Title += ". " + l.T("Cone {1} passed", d.Passed)
	}
	phone = pages.Drawn(d.SVG())
	d.Width, d.Height = 510, 220
	return phone, pages.Drawn(d.SVG()), nil
}

const conesShown = 9 // of the scale beside a firing

// coneShelves are cones at equal steps from the lowest of the scale up to that of the usual firing, how many
// of them are behind this one, and the last cone of the whole scale that is.
func coneShelves(k wire.KilnNow, usual kiln.Celsius) (cones []string, reached int, passed string) {
	scale := heatwork.MainConeScale()
	last := int(scale.Position(usual))
	if !usual.Known() || last < conesShown {
		return nil, 0, ""
	}
	whole := scale.Cones()
	whole = slices.DeleteFunc(whole, func(c heatwork.Cone) bool {
		return c.Position != math.Trunc(c.Position)
	})
	behind := func(c heatwork.Cone) bool {
		return k.ConePosition != nil && k.HeatWorkC != nil && *k.ConePosition >= c.Position
	}
	for _, c := range whole {
		if behind(c) {
			passed = c.Label
		}
	}
	for i := range conesShown {
		c := whole[min(last, len(whole)-1)*i/(conesShown-1)]
		cones = append(cones, c.Label)
		if behind(c) {
			reached++
		}
	}
	return cones, reached, passed
}

// hoursOr0 are hours, none where nobody knows them.
func hoursOr0(h *float64) float64 {
	if h == nil {
		return 0
	}
	return *h
}

// homeCautions are those of one kiln on the first page. They go by what the kiln does, never by the day.
func homeCautions(k wire.KilnNow) []pages.Cautioned {
	monoxide := pages.Cautioned{Text: caution.Text(caution.COAlarm), More: caution.Texts(caution.GetOut)}
	switch {
	case k.OverLimit:
		return []pages.Cautioned{{Text: caution.Text(caution.StuckRelay), Open: true},
			{Text: caution.Text(caution.OverLimit), More: append(caution.Texts(caution.OwnProtection),
				caution.Texts(caution.CarbonMonoxide...)...), Open: true}}
	case k.StillHot:
		return []pages.Cautioned{{Text: caution.Text(caution.StuckRelay), Open: true},
			{Text: caution.Text(caution.OverLimit), More: caution.Texts(caution.CarbonMonoxide...),
				Open: true}}
	case !k.Hot:
		return nil
	}
	return []pages.Cautioned{{Text: caution.Text(stateCaution(k))}, monoxide}
}

// stateCaution is the one that what a hot kiln does asks for.
func stateCaution(k wire.KilnNow) caution.Number {
	switch kiln.State(k.State) {
	case kiln.Quiet:
		return caution.Quiet
	case kiln.Soaking:
		return caution.StayNear
	case kiln.Rising, kiln.Holding:
		if k.TemperatureC != nil && *k.TemperatureC > nearTopAbove {
			return caution.StayNear
		}
		return caution.VentOn
	}
	return caution.KeepShut
}
