package api

import (
	"net/http"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles"
)

// loadsPage lists loads, newest first: of a kiln, of a kind, or those with bars to measure.
func (s loadRoutes) loadsPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	data := struct {
		page
		Kilns      []string
		Kiln, Kind string
		Waiting    bool
		Loads      []wire.Load
		More       string // the load after which the list goes on; empty: it ends here
	}{page: s.page(r.Context(), "bars"), Kilns: barRoutes{s.Server}.kilnNames(), Kiln: q.Get("kiln"), Kind: q.Get("kind"), Waiting: q.Get("waiting") == "yes"}
	loads, err := s.Archive.Loads(r.Context(), tiles.LoadFilter{Kiln: data.Kiln, Kind: kiln.Kind(data.Kind), Waiting: data.Waiting, After: q.Get("after"), Limit: listed + 1})
	if err != nil {
		return err
	}
	for i, l := range loads {
		if i == listed {
			data.More = data.Loads[i-1].ID
			break
		}
		data.Loads = append(data.Loads, s.Loads().LoadJSON(l))
	}
	return s.render(w, "loads", data)
}
