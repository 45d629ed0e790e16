package api

import (
	"cmp"
	"context"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// collector is the way to a collector; where no daemon runs there is none.
func (s studioRoutes) collector() (usecase.Collector, error) {
	if s.Collector == nil {
		return nil, web.NewProblem("not-ready",
			message.New("No daemon runs here; what concerns a collector is asked of one that does."))
	}
	return s.Collector, nil
}

// toldCollector answers with how the studio stands to its collector, after something was done about it.
func (s studioRoutes) toldCollector(ctx context.Context,
	do func(usecase.Collector) error) (*body[wire.CollectorStatus], error) {
	c, err := s.collector()
	if err == nil && do != nil {
		err = do(c)
	}
	if err != nil {
		return nil, err
	}
	st, err := c.Status(ctx)
	if err != nil {
		return nil, err
	}
	return &body[wire.CollectorStatus]{s.CollectorJSON(st)}, nil
}

func (s studioRoutes) getCollector(ctx context.Context, _ *struct{}) (*body[wire.CollectorStatus], error) {
	return s.toldCollector(ctx, nil)
}

type joinInput struct{ Body wire.CollectorJoin }

func (s studioRoutes) postCollector(ctx context.Context, in *joinInput) (*body[wire.CollectorStatus], error) {
	return s.toldCollector(ctx, func(c usecase.Collector) error {
		return c.Join(ctx, in.Body.URL, in.Body.Code, in.Body.CAFile)
	})
}

type purposesInput struct{ Body wire.CollectorPurposes }

func (s studioRoutes) postPurposes(ctx context.Context,
	in *purposesInput) (*body[wire.CollectorStatus], error) {
	return s.toldCollector(ctx, func(c usecase.Collector) error {
		return c.Set(ctx, in.Body.Keep, in.Body.Makers)
	})
}

type leaveInput struct {
	Body struct {
		Forget bool `json:"forget" doc:"Have the collector delete everything of this studio first"`
	}
}

func (s studioRoutes) leaveCollector(ctx context.Context,
	in *leaveInput) (*body[wire.CollectorStatus], error) {
	return s.toldCollector(ctx, func(c usecase.Collector) error { return c.Leave(ctx, in.Body.Forget) })
}

func (s studioRoutes) getBodies(ctx context.Context, _ *struct{}) (*body[wire.Catalogue], error) {
	c, err := s.collector()
	if err != nil {
		return nil, err
	}
	all, err := c.Bodies(ctx)
	if err != nil {
		return nil, err
	}
	if all == nil {
		all = []wire.CatalogueBody{}
	}
	return &body[wire.Catalogue]{wire.Catalogue{Items: all}}, nil
}

func (s studioRoutes) getCollectorClays(ctx context.Context,
	_ *struct{}) (*body[wire.List[wire.CollectorClay]], error) {
	c, err := s.collector()
	if err != nil {
		return nil, err
	}
	return answers(s.Clays().OfCollector(ctx, c))
}

type collectorClayInput struct {
	wire.ClayPath
	Body wire.ClayPoolPick
}

func (s studioRoutes) putCollectorClay(ctx context.Context,
	in *collectorClayInput) (*body[wire.CollectorClay], error) {
	c, err := s.collector()
	if err == nil {
		err = s.pickBody(ctx, c, tiles.ClayID(in.Clay), in.Body)
	}
	if err != nil {
		return nil, err
	}
	return answer(s.Clays().OneOfCollector(ctx, c, tiles.ClayID(in.Clay)))
}

// pickBody says which body of the collector a clay that is there is.
func (s studioRoutes) pickBody(ctx context.Context, c usecase.Collector, clay tiles.ClayID,
	pick wire.ClayPoolPick) error {
	if _, err := s.Clays().OneClay(ctx, clay); err != nil {
		return err
	}
	return c.SetClayBody(ctx, clay, pick.Body, pick.Send)
}

// collectorPage shows how the studio stands to a collector.
func (s studioRoutes) collectorPage(w http.ResponseWriter, r *http.Request) error {
	return s.showCollector(w, r, nil)
}

// showCollector shows the page of the collector: what is sent to it, and wrong, which a form just met; nil:
// none.
func (s studioRoutes) showCollector(w http.ResponseWriter, r *http.Request, wrong *web.Problem) error {
	c, err := s.collector()
	if err != nil {
		return err
	}
	st, err := c.Status(r.Context())
	if err != nil {
		return err
	}
	d := pages.CollectorPage{Frame: s.page(r.Context(), "more").Frame, Joined: st.Joined, URL: st.URL,
		Name: cmp.Or(st.Name, st.URL), Record: st.Site, Keep: st.Keep, Makers: st.Makers,
		Seen: markOf(st.Keep, st.Makers), Behind: strconv.FormatInt(st.Behind, 10),
		Trouble: st.Trouble, LastBody: st.LastBody}
	if !st.LastOK.IsZero() {
		d.LastOK = s.pages.At(d.Speak, st.LastOK)
	}
	if st.Joined {
		if err := s.tellBodies(r, c, &d); err != nil && wrong == nil {
			errors.As(s.troubles.Problem(r.Context(), err), &wrong)
		}
	}
	if wrong != nil {
		d.Problem = onPage(wrong)
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.WriteHeader(wrong.Status)
	}
	return s.show(w, d)
}

// tellBodies puts on d how each clay stands to the bodies of the collector; for the clay that the address
// names those to pick from are asked for.
func (s studioRoutes) tellBodies(r *http.Request, c usecase.Collector, d *pages.CollectorPage) error {
	clays, err := s.Clays().OfCollector(r.Context(), c)
	if err != nil {
		return err
	}
	for _, clay := range clays {
		one := pages.BodyOfClay{CollectorClay: clay, Seen: bodyMark(clay)}
		if one.Told != nil {
			one.ToldOn = one.Told.Made.Format(time.DateOnly)
		}
		d.Clays = append(d.Clays, one)
	}
	if d.Choose = r.URL.Query().Get("clay"); d.Choose != "" {
		d.Bodies, err = c.Bodies(r.Context())
	}
	return err
}

// soldAs is as which body other studios tell of a clay, or may; nil where none is picked or proposed.
func (s clayRoutes) soldAs(ctx context.Context, id tiles.ClayID) (*pages.BodyOfClay, error) {
	if s.Collector == nil {
		return nil, nil
	}
	clay, err := s.Clays().OneOfCollector(ctx, s.Collector, id)
	if err != nil || clay.Body == nil && len(clay.Proposed) == 0 {
		return nil, err
	}
	one := &pages.BodyOfClay{CollectorClay: clay}
	if clay.Told != nil {
		one.ToldOn = clay.Told.Made.Format(time.DateOnly)
	}
	return one, nil
}

// postCollectorPage joins, says what may be sent, or leaves.
func (s studioRoutes) postCollectorPage(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	c, err := s.collector()
	if err != nil {
		return err
	}
	if err := s.collectorUnchanged(r.Context(), c, form); err != nil {
		return err
	}
	switch form.Get("do") {
	case "join":
		err = c.Join(r.Context(), form.Get("url"), form.Get("join_code"), form.Get("ca_file"))
	case "set":
		err = c.Set(r.Context(), form.Get("keep") != "", form.Get("makers") != "")
	case "body":
		err = s.pickBody(r.Context(), c, tiles.ClayID(form.Get("clay")),
			wire.ClayPoolPick{Body: form.Get("body"), Send: form.Get("send") != ""})
	case "leave":
		err = c.Leave(r.Context(), form.Get("forget") != "")
	default:
		err = usecase.UnknownWord("do", form.Get("do"), "join", "set", "body", "leave")
	}
	if err != nil {
		var p *web.Problem
		if errors.As(s.troubles.Problem(r.Context(), err), &p) && p.Status < http.StatusInternalServerError {
			return s.showCollector(w, r, p)
		}
		return err
	}
	http.Redirect(w, r, "/settings/collector", http.StatusSeeOther)
	return nil
}

// collectorUnchanged refuses a form about what may be sent where somebody said otherwise since it was made.
func (s studioRoutes) collectorUnchanged(ctx context.Context, c usecase.Collector, form url.Values) error {
	return unchanged(s.Server, ctx, form, func() (stale, error) {
		now := stale{page: "/settings/collector"}
		if form.Get("do") == "body" {
			clay, err := s.Clays().OneOfCollector(ctx, c, tiles.ClayID(form.Get("clay")))
			now.mark, now.page = bodyMark(clay), now.page+"?"+url.Values{"clay": {clay.Clay}}.Encode()
			return now, err
		}
		st, err := c.Status(ctx)
		now.mark = markOf(st.Keep, st.Makers)
		return now, err
	})
}

// bodyMark is the mark of what is said of a clay to a collector.
func bodyMark(c wire.CollectorClay) string {
	body := ""
	if c.Body != nil {
		body = c.Body.ID
	}
	return markOf(body, c.Send)
}
