package api

import (
	"context"
	"fmt"
	"net/http"
	"net/url"

	"lidwright/api/pages"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles"
)

func (s kilnRoutes) getKilns(ctx context.Context, _ *struct{}) (*body[wire.Kilns], error) {
	j := wire.Kilns{Items: []wire.KilnJSON{}}
	var err error
	if j.Strays, err = s.Kilns().Strays(ctx); err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	if j.Says, err = s.Kilns().Beside(ctx); err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	for _, name := range (barRoutes{s.Server}).kilnNames() {
		k, err := s.Kilns().KilnOf(ctx, kiln.KilnID(name))
		if err != nil {
			return nil, s.problemFrom(ctx, err)
		}
		j.Items = append(j.Items, k)
	}
	return &body[wire.Kilns]{j}, nil
}

func (s kilnRoutes) getKiln(ctx context.Context, in *wire.KilnPath) (*body[wire.KilnJSON], error) {
	j, err := s.Kilns().KilnOf(ctx, kiln.KilnID(in.Kiln))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.KilnJSON]{j}, nil
}

type putKilnInput struct {
	wire.KilnPath
	Body wire.KilnBody
}

// putKiln adds a kiln without a line.
func (s kilnRoutes) putKiln(ctx context.Context, in *putKilnInput) (*edited[wire.KilnJSON], error) {
	k, err := s.Kilns().Add(ctx, kiln.KilnID(in.Kiln), in.Body)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.Kilns().KilnOf(ctx, kiln.KilnID(in.Kiln))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &edited[wire.KilnJSON]{status(k), revision(k.Revision), j}, nil
}

type renameKilnInput struct {
	wire.KilnPath
	Body wire.RenameBody
}

// renameKiln puts all that was recorded of a kiln under the name that it has now.
func (s kilnRoutes) renameKiln(ctx context.Context, in *renameKilnInput) (*body[wire.RenamedKiln], error) {
	j, err := s.Kilns().Rename(ctx, kiln.KilnID(in.Kiln), kiln.KilnID(in.Body.To))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.RenamedKiln]{j}, nil
}

type putProbeInput struct {
	wire.ProbePath
	Body wire.ProbeBody
}

// putProbe keeps the life of a probe: a new one has nothing of what the cones told of the old one.
func (s kilnRoutes) putProbe(ctx context.Context, in *putProbeInput) (*edited[wire.KilnJSON], error) {
	k, err := s.Kilns().KeepProbe(ctx, in.ProbePath, in.Body)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.Kilns().KilnOf(ctx, kiln.KilnID(in.Kiln))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &edited[wire.KilnJSON]{status(k), revision(k.Revision), j}, nil
}

// kilnsPage lists the kilns that there are: what each does, what is usual there, and its probes.
func (s kilnRoutes) kilnsPage(w http.ResponseWriter, r *http.Request) error {
	return s.showKilns(w, r, url.Values{}, nil)
}

// showKilns is that page; typed and wrong are of a form that was sent just now and refused.
func (s kilnRoutes) showKilns(w http.ResponseWriter, r *http.Request, typed url.Values, wrong *web.Problem) error {
	ctx := r.Context()
	data := pages.KilnsPage{Frame: s.page(ctx, "kiln").Frame, Fuels: tiles.Fuels(), Name: typed.Get("kiln"), Fuel: typed.Get("fuel")}
	live := map[string]string{}
	for _, k := range s.Kilns().KilnsNow(ctx) {
		live[k.Kiln] = k.State
	}
	lineless := map[kiln.KilnID]bool{}
	for _, l := range s.Lines() {
		lineless[l.Kiln] = l.Port == ""
	}
	for _, name := range s.KilnNames() {
		k, err := s.Kilns().KilnOf(ctx, name)
		if err != nil {
			return err
		}
		data.Kilns = append(data.Kilns, kilnOnPage(k, live[k.Kiln], lineless[name]))
	}
	strays, err := s.Kilns().Strays(ctx)
	if err != nil {
		return err
	}
	for _, k := range strays {
		data.Strays = append(data.Strays, pages.StrayKiln{Name: k.Kiln, Firings: k.Firings, Loads: k.Loads, Probes: k.Probes})
	}
	if data.Beside, err = s.Kilns().Beside(ctx); err != nil {
		return err
	}
	if wrong != nil {
		data.Problem = onPage(wrong)
		w.WriteHeader(wrong.Status)
	}
	return s.show(w, data)
}

func kilnOnPage(k wire.KilnJSON, state string, noLine bool) pages.OneKiln {
	one := pages.OneKiln{Name: k.Kiln, State: state, Fuel: k.Fuel, NoLine: noLine}
	if noLine {
		one.State = ""
	}
	for _, u := range k.Usual {
		one.Usual = append(one.Usual, pages.UsualFiring{Kind: u.Kind, Atmosphere: u.Atmosphere, Cone: u.Cone, Top: dashed("%.0f", u.TopC), Hours: dashed("%.1f", u.HoursToTop)})
	}
	for _, p := range k.Probes {
		one.Probes = append(one.Probes, pages.KilnProbe{Channel: p.Channel, Type: p.Type, Says: p.Says})
	}
	return one
}

// dashed writes a figure; a dash where there is none.
func dashed(format string, v *float64) string {
	if v == nil {
		return "–"
	}
	return fmt.Sprintf(format, *v)
}

// postKiln adds a kiln without a line.
func (s kilnRoutes) postKiln(w http.ResponseWriter, r *http.Request) error {
	form, err := sent(r)
	if err != nil {
		return err
	}
	if _, err := s.Kilns().Add(r.Context(), kiln.KilnID(form.Get("kiln")), wire.KilnBody{Fuel: form.Get("fuel")}); err != nil {
		return s.showKilns(w, r, form, s.problemFrom(r.Context(), err))
	}
	http.Redirect(w, r, "/kilns", http.StatusSeeOther)
	return nil
}

// postRename says which kiln one of the record is now.
func (s kilnRoutes) postRename(w http.ResponseWriter, r *http.Request) error {
	form, err := sent(r)
	if err != nil {
		return err
	}
	if _, err := s.Kilns().Rename(r.Context(), kiln.KilnID(r.PathValue("kiln")), kiln.KilnID(form.Get("to"))); err != nil {
		return s.showKilns(w, r, url.Values{}, s.problemFrom(r.Context(), err))
	}
	http.Redirect(w, r, "/kilns", http.StatusSeeOther)
	return nil
}
