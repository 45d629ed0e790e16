package api

import (
	"context"
	"math"
	"net/http"
	"net/url"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles"
)

type putKeepShutInput struct {
	wire.KilnPath
	Body wire.KeepShutBody
}

// putKeepShut has a kiln kept shut above a temperature, from now on.
func (s kilnRoutes) putKeepShut(ctx context.Context, in *putKeepShutInput) (*kept[wire.KeepShut], error) {
	k, err := s.Kilns().KeepKeepShut(ctx, kiln.KilnID(in.Kiln), in.Body)
	var m tiles.KeepShut
	if err == nil {
		m, err = s.Kilns().KeepShut(ctx, kiln.KilnID(in.Kiln))
	}
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &kept[wire.KeepShut]{status(k), s.Kilns().KeepShutJSON(m)}, nil
}

// postKeepShut keeps it from the form on the page of the settings.
func (s kilnRoutes) postKeepShut(w http.ResponseWriter, r *http.Request) error {
	form, err := sent(r)
	if err != nil {
		return err
	}
	rd := newReader(form, s.Unit())
	c, ok := rd.number("keep_shut_above_c", -math.MaxFloat64, math.MaxFloat64) // Validate knows the bounds
	if !ok {
		return problem("out-of-range", "The temperature above which the kiln is kept shut cannot be set so.", wire.Field{Name: "keep_shut_above_c", Says: tiles.KeepShutRange})
	}
	id := r.PathValue("kiln")
	if _, err := s.Kilns().KeepKeepShut(r.Context(), kiln.KilnID(id), wire.KeepShutBody{ID: form.Get("id"), MarkC: c, Reason: form.Get("keep_shut_reason"), By: form.Get("by")}); err != nil {
		return err
	}
	http.Redirect(w, r, "/settings#kiln-"+url.PathEscape(id), http.StatusSeeOther)
	return nil
}

// postProbe keeps the life of a thermocouple from the form on the page of the settings.
func (s kilnRoutes) postProbe(w http.ResponseWriter, r *http.Request) error {
	form, err := sent(r)
	if err != nil {
		return err
	}
	rd := newReader(form, s.Unit())
	class, _ := rd.number("class", 1, 2)
	if len(rd.wrong) > 0 {
		return rd.wrong
	}
	id := r.PathValue("kiln")
	b := wire.ProbeBody{Channel: form.Get("channel"), Type: form.Get("type"), Class: int(class), FittedOn: form.Get("fitted_on"), RemovedOn: form.Get("removed_on"), Note: form.Get("note")}
	if _, err := s.Kilns().KeepProbe(r.Context(), wire.ProbePath{KilnPath: wire.KilnPath{Kiln: id}, Probe: form.Get("id")}, b); err != nil {
		return err
	}
	http.Redirect(w, r, "/settings#kiln-"+url.PathEscape(id), http.StatusSeeOther)
	return nil
}
