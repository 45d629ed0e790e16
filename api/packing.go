package api

import (
	"net/http"

	"lidwright/api/caution"
	"lidwright/api/wire"
	"lidwright/tiles"
)

type packedShelf struct {
	Shelf string // "" where none was said
	Bars  []wire.BarJSON
}

// packingPage is for print: what lies on which shelf of a load, in the order of packing, with what
// must be seen before the kiln is closed.
func (s loadRoutes) packingPage(w http.ResponseWriter, r *http.Request) error {
	l, err := s.Archive.Load(r.Context(), r.PathValue("load"))
	if err != nil {
		return err
	}
	bars, err := s.Archive.Bars(r.Context(), tiles.BarFilter{Load: l.ID}, s.Channel)
	if err != nil {
		return err
	}
	by := map[tiles.Code]wire.BarJSON{}
	for _, b := range bars {
		by[b.Code] = s.Bars().BarJSON(b.Bar)
	}
	data := struct {
		page
		Load     wire.Load
		Shelves  []packedShelf
		Spread   wire.Shelves
		Cautions []string
	}{page: s.page(r.Context(), "bars"), Load: s.Loads().LoadJSON(l), Cautions: caution.Texts(caution.BoneDry, caution.Pinhole, caution.HeavyShelves)}
	at := map[string]int{}
	for _, p := range l.Bars {
		i, ok := at[p.Shelf]
		if !ok {
			i = len(data.Shelves)
			at[p.Shelf] = i
			data.Shelves = append(data.Shelves, packedShelf{Shelf: p.Shelf})
		}
		data.Shelves[i].Bars = append(data.Shelves[i].Bars, by[p.Bar])
	}
	if data.Spread, err = s.Kilns().Shelves(r.Context(), l.Kiln); err != nil {
		data.Spread = wire.Shelves{} // the list serves without it
	}
	if l.Kind != "bisque" {
		data.Cautions = append([]string{caution.Text(caution.WillFuse)}, data.Cautions...)
	}
	if l.Atmosphere == "reduction" {
		data.Cautions = append(data.Cautions, caution.Text(caution.FuelKilns))
	}
	return s.render(w, "packing", data)
}
