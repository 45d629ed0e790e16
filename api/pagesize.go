package api

import (
	"cmp"
	"net/http"
	"net/url"

	"lidwright/api/caution"
	"lidwright/api/wire"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// sizesPage asks the questions of /v1/size and of sets, with their own parameters; what says
// which.
func (s lidRoutes) sizesPage(w http.ResponseWriter, r *http.Request) error {
	clays, err := s.Clays().List(r.Context())
	if err != nil {
		return err
	}
	q := r.URL.Query()
	what := cmp.Or(q.Get("what"), "size")
	q.Del("what")
	data := struct {
		page
		What     string
		Unit     tiles.LengthUnit // of the fields
		Q        url.Values
		Clays    []wire.ClayJSON
		Stages   []string
		Seats    []lid.Seat
		Size     *wire.Size
		Nest     *wire.Nest
		Shared   *wire.Shared
		Scale    *wire.Scale
		Cautions []string
		Asked    string
	}{page: s.page(r.Context(), "more"), What: what, Unit: s.fieldUnit(r.Context(), q), Q: q, Clays: clays, Stages: []string{"wet", "soft", "leather", "dry", "bisque"}, Seats: lid.Seats(),
		Cautions: caution.Texts(caution.ShrinkVaries, caution.NotFoodSafe), Asked: q.Encode()}
	if len(q) > 0 {
		switch what {
		case "nest":
			j, askErr := s.askNest(r.Context(), q)
			data.Nest, err = &j, askErr
		case "shared":
			j, askErr := s.askShared(r.Context(), q)
			data.Shared, err = &j, askErr
		case "scale":
			j, askErr := s.askScale(r.Context(), q)
			data.Scale, err = &j, askErr
		default:
			_, j, askErr := s.askSize(r.Context(), q)
			data.Size, err = &j, askErr
		}
		if err != nil {
			data.Size, data.Nest, data.Shared, data.Scale = nil, nil, nil, nil
			data.Error = s.problemFrom(r.Context(), err)
			w.WriteHeader(data.Error.Status)
		}
	}
	return s.render(w, "sizes", data)
}
