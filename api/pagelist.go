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

// kilnsPage lists the kilns of the settings: what each does, what is usual there, and its probes.
func (s loadRoutes) kilnsPage(w http.ResponseWriter, r *http.Request) error {
	type one struct {
		wire.KilnJSON
		Now *wire.KilnNow
	}
	data := struct {
		page
		Kilns []one
	}{page: s.page(r.Context(), "kiln")}
	live := map[string]*wire.KilnNow{}
	for _, k := range s.Kilns().KilnsNow(r.Context()) {
		live[k.Kiln] = &k
	}
	for _, name := range (barRoutes{s.Server}).kilnNames() {
		k, err := s.Kilns().KilnOf(r.Context(), kiln.KilnID(name))
		if err != nil {
			return err
		}
		data.Kilns = append(data.Kilns, one{k, live[name]})
	}
	return s.render(w, "kilns", data)
}
