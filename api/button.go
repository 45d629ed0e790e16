package api

import (
	"context"
	"errors"
	"net/http"
	"net/url"

	"github.com/google/uuid"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
)

// Two buttons of the kiln's page. They tell the recorder and no kiln: nothing is sent to a
// controller.

type beginInput struct {
	wire.FiringPath
	Body struct {
		Kiln       string `json:"kiln"`
		Kind       string `json:"kind,omitempty" enum:"bisque,glaze,once,other"`
		Atmosphere string `json:"atmosphere,omitempty" enum:"oxidation,reduction,unknown"`
	}
}

// beginFiring begins a firing at once, at any temperature, under an id that the asker made; one
// that is open is closed. Asked again it begins no other.
func (s *Server) beginFiring(ctx context.Context, in *beginInput) (*body[wire.Firing], error) {
	f, err := s.begin(ctx, kiln.FiringID(in.ID), kiln.KilnID(in.Body.Kiln), kiln.Kind(in.Body.Kind), kiln.Atmosphere(in.Body.Atmosphere))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.Firing]{s.firing(f, detect.Expected{})}, nil
}

func (s *Server) begin(ctx context.Context, id kiln.FiringID, k kiln.KilnID, kind kiln.Kind, atmosphere kiln.Atmosphere) (kiln.Firing, error) {
	if _, err := uuid.Parse(string(id)); err != nil {
		return kiln.Firing{}, problem("out-of-range", "The id of a new firing must be a UUID.", wire.Field{Name: "id", Says: "is no UUID"})
	}
	f, err := s.findFiring(ctx, id)
	switch {
	case err == nil && f.Kiln == k:
		return f, nil // asked again
	case err == nil:
		return f, problem("id-already-used", "That firing is one of "+string(f.Kiln)+".", wire.Field{Name: "id", Says: "is used"})
	case !errors.Is(err, kiln.ErrNoFiring):
		return f, err
	}
	open, err := s.Kilns.Tell(ctx, detect.Fact{Kiln: k, What: detect.NewFiring, At: s.Now(), Firing: id, Kind: kind, Atmosphere: atmosphere})
	if err != nil {
		return f, err
	}
	if open != id {
		return f, problem("kiln-not-heard", "Nothing good was heard of "+string(k)+" yet, so no firing can begin.", wire.Field{Name: "kiln", Says: "is not heard"})
	}
	return s.findFiring(ctx, id)
}

type stopInput struct {
	wire.FiringPath
	Body struct{} `required:"false"`
}

// stopFiring closes the firing that a kiln has open; it ends the recording and nothing else. Its
// end is written within seconds. One that is over already stays as it is.
func (s *Server) stopFiring(ctx context.Context, in *stopInput) (*body[wire.Firing], error) {
	f, err := s.stop(ctx, kiln.FiringID(in.ID))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.Firing]{s.firing(f, detect.Expected{})}, nil
}

func (s *Server) stop(ctx context.Context, id kiln.FiringID) (kiln.Firing, error) {
	f, err := s.findFiring(ctx, id)
	if err != nil || f.Status != kiln.Running {
		return f, err
	}
	if live, ok := s.Kilns.LiveCurve(f.Kiln); !ok || live.Firing.ID != id {
		return f, nil // its end is on its way to the store
	}
	if _, err := s.Kilns.Tell(ctx, detect.Fact{Kiln: f.Kiln, What: detect.StopRecording, At: s.Now()}); err != nil {
		return f, err
	}
	stopped, err := s.findFiring(ctx, id)
	if errors.Is(err, kiln.ErrNoFiring) {
		return f, nil // stopped so soon that the store has not heard of it yet
	}
	return stopped, err
}

func (s *Server) postBegin(w http.ResponseWriter, r *http.Request) error {
	form, err := sent(r)
	if err != nil {
		return err
	}
	k := r.PathValue("kiln")
	if _, err := s.begin(r.Context(), kiln.FiringID(form.Get("id")), kiln.KilnID(k), "", ""); err != nil {
		return err
	}
	http.Redirect(w, r, "/spyhole/"+url.PathEscape(k), http.StatusSeeOther)
	return nil
}

func (s *Server) postStop(w http.ResponseWriter, r *http.Request) error {
	form, err := sent(r)
	if err != nil {
		return err
	}
	f, err := s.stop(r.Context(), kiln.FiringID(form.Get("firing")))
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/firing/"+url.PathEscape(string(f.ID)), http.StatusSeeOther)
	return nil
}
