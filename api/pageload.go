package api

import (
	"cmp"
	"net/http"

	"lidwright/api/caution"
	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// loadBar is a bar of a load as its page shows it.
type loadBar struct {
	wire.BarJSON
	Shelf     string
	Stage     tiles.Stage  // that this load gives
	Measured  *float64     // mm at that stage, nil if it was not
	WhyNot    *wire.WhyNot // why that length does not count
	Wet, Dry  *float64     // mm
	Expected  *float64     // mm
	Low, High *float64     // mm; beyond these the reading is asked about, without the network too
	NewID     string
}

// loadPage shows a load after its fire: a field a bar. With script one bar at a time.
func (s loadRoutes) loadPage(w http.ResponseWriter, r *http.Request) error {
	l, err := s.Archive.Load(r.Context(), r.PathValue("load"))
	if err != nil {
		return err
	}
	bars, err := s.Archive.Bars(r.Context(), tiles.BarFilter{Load: l.ID}, s.Channel)
	if err != nil {
		return err
	}
	data := struct {
		page
		Load          wire.Load
		Waiting, Done []loadBar
		Aside         []loadBar // flagged before they were measured
		Saved         string    // code of the bar that was measured just now
		Unit          string
		Units         []tiles.LengthUnit
		Check         wire.CheckList
		Cautions      []string
	}{page: s.page(r.Context(), "bars"), Load: s.Loads().LoadJSON(l), Saved: r.URL.Query().Get("saved"), Unit: string(s.unitOf(r.Context())), Units: []tiles.LengthUnit{tiles.MM, tiles.CM, tiles.Inch, tiles.Inch32nd},
		Cautions: caution.Texts(caution.BeforeReachingIn...)}
	if data.Check, err = s.Firings().CheckList(r.Context(), cmp.Or(string(l.Firing), l.ID)); err != nil {
		return err
	}
	shelf := map[tiles.Code]string{}
	for _, slot := range l.Bars {
		shelf[slot.Bar] = slot.Shelf
	}
	for _, b := range bars {
		one := loadBar{BarJSON: s.Bars().Settled(r.Context(), b.Bar), Shelf: shelf[b.Code], Stage: tiles.Measures(l.Kind), NewID: s.MakeID()}
		for i, rd := range b.Readings {
			if rd.Struck != nil || rd.Mass != nil {
				continue
			}
			switch rd.Stage {
			case one.Stage:
				one.Measured, one.WhyNot = usecase.LengthMM(rd.Length), one.Readings[i].WhyNot
			case tiles.Wet:
				one.Wet = usecase.LengthMM(rd.Length)
			case tiles.Dry:
				one.Dry = usecase.LengthMM(rd.Length)
			}
		}
		if one.Measured != nil {
			data.Done = append(data.Done, one)
			continue
		}
		if len(one.Flags) > 0 {
			data.Aside = append(data.Aside, one)
			continue
		}
		if e, ok := shrinkage.Plausible(b.Bar, tiles.Reading{Bar: b.Code, Stage: one.Stage, Mark: 1, Instrument: "calliper", At: s.Now().Wall}, s.Bars().LastFit()); ok {
			one.Expected, one.Low, one.High = usecase.Rounded(float64(e.Length), 1), usecase.Rounded(float64(e.Low), 1), usecase.Rounded(float64(e.High), 1)
		}
		data.Waiting = append(data.Waiting, one)
	}
	return s.render(w, "load", data)
}
