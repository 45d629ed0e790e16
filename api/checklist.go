package api

import (
	"context"
	"net/http"
	"net/url"

	"github.com/google/uuid"

	"lidwright/api/wire"
	"lidwright/kiln"
)

type putLoadTickInput struct {
	wire.LoadTickPath
	Body wire.TickBody
}

func (s firingRoutes) getLoadTicks(ctx context.Context, in *wire.LoadPath) (*body[wire.CheckList], error) {
	l, err := s.Archive.Load(ctx, in.ID)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.Firings().CheckList(ctx, l.ID)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.CheckList]{j}, nil
}

func (s firingRoutes) putLoadTick(ctx context.Context, in *putLoadTickInput) (*kept[wire.CheckList], error) {
	l, err := s.Archive.Load(ctx, in.ID)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return s.ticked(ctx, l.ID, in.Tick, in.Body)
}

type putFiringTickInput struct {
	wire.FiringTickPath
	Body wire.TickBody
}

func (s firingRoutes) getFiringTicks(ctx context.Context, in *wire.FiringPath) (*body[wire.CheckList], error) {
	f, err := s.Firings().FindFiring(ctx, kiln.FiringID(in.ID))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.Firings().CheckList(ctx, string(f.ID))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.CheckList]{j}, nil
}

func (s firingRoutes) putFiringTick(ctx context.Context, in *putFiringTickInput) (*kept[wire.CheckList], error) {
	f, err := s.Firings().FindFiring(ctx, kiln.FiringID(in.ID))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return s.ticked(ctx, string(f.ID), in.Tick, in.Body)
}

func (s firingRoutes) ticked(ctx context.Context, subject, id string, b wire.TickBody) (*kept[wire.CheckList], error) {
	k, err := s.Firings().KeepTick(ctx, subject, id, b)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.Firings().CheckList(ctx, subject)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &kept[wire.CheckList]{status(k), j}, nil
}

// postTicks keeps what changed on the check list of a load. A form sent twice keeps it once.
func (s firingRoutes) postTicks(w http.ResponseWriter, r *http.Request) error {
	form, err := sent(r)
	if err != nil {
		return err
	}
	l, err := s.Archive.Load(r.Context(), r.PathValue("load"))
	if err != nil {
		return err
	}
	now, err := s.Firings().CheckList(r.Context(), l.ID)
	if err != nil {
		return err
	}
	base, err := uuid.Parse(form.Get("id"))
	if err != nil {
		return problem("missing", "The form has lost its id; open the load again.", wire.Field{Name: "id", Says: "no UUID"})
	}
	for _, t := range now.Items {
		if done := form.Get(t.Item) == "yes"; done != t.Done {
			id := uuid.NewSHA1(base, []byte(t.Item)).String()
			if _, err := s.Firings().KeepTick(r.Context(), l.ID, id, wire.TickBody{Item: t.Item, Done: done, By: form.Get("by")}); err != nil {
				return err
			}
		}
	}
	http.Redirect(w, r, "/unpack/"+url.PathEscape(l.ID)+"#start", http.StatusSeeOther)
	return nil
}
