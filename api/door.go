package api

import (
	"net/http"
	"net/url"
	"strings"

	"lidwright/api/caution"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles"
)

// ownAddress is the address that others reach the site by.
func (s kilnRoutes) ownAddress(r *http.Request) string {
	if s.Site.PublicURL != "" {
		return strings.TrimSuffix(s.Site.PublicURL, "/")
	}
	return "http://" + r.Host
}

// doorPage is the sheet for the door of the kiln room: all cautions, the mark at which it may be
// opened, and what a phone opens there. It is for print, so what is foreseen of the kiln stands on the screen alone.
func (s kilnRoutes) doorPage(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("kiln")
	m, err := s.Kilns().KeepShut(r.Context(), kiln.KilnID(id))
	if err != nil {
		return err
	}
	loads, err := s.Archive.Loads(r.Context(), tiles.LoadFilter{Kiln: id, Limit: 1})
	if err != nil {
		return err
	}
	data := struct {
		page
		Kiln          string
		Mark          wire.KeepShut
		Load          *wire.Load    // in it now; nil: the newest was unpacked
		Now           *wire.KilnNow // what is foreseen of it, for the screen alone; nil: the kiln is not heard
		Electric      string
		Cautions      []caution.Caution
		LookAt, OutAt string
		Look, Out     string // the same, drawn as squares
	}{page: s.page(r.Context(), "kiln"), Kiln: id, Mark: s.Kilns().KeepShutJSON(m), Electric: caution.ElectricKilns, Cautions: caution.All, LookAt: s.ownAddress(r) + "/spyhole/" + url.PathEscape(id), OutAt: s.ownAddress(r) + "/unpack?kiln=" + url.QueryEscape(id)}
	if k, err := kilnNamed(s.Kilns().KilnsNow(r.Context()), id); err == nil {
		data.Now = &k
	}
	for _, l := range loads {
		if l.Unpacked.IsZero() {
			j := s.Loads().LoadJSON(l)
			data.Load = &j
		}
	}
	if data.Look, err = qrSVG(data.LookAt, "opens the Spyhole of this kiln"); err != nil {
		return err
	}
	if data.Out, err = qrSVG(data.OutAt, "opens the bars to measure of this kiln"); err != nil {
		return err
	}
	return s.render(w, "door", data)
}
