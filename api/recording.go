package api

import (
	"context"
	"net/http"
	"net/url"

	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/tiles"
)

// Two buttons of the kiln's page. They tell the recorder and no kiln: nothing is sent to a
// controller.

type beginInput struct {
	wire.FiringPath
	Body struct {
		Kiln       string `json:"kiln"`
		Kind       string `json:"kind,omitempty" enum:"bisque,glaze,once,other"`
		Atmosphere string `json:"atmosphere,omitempty" enum:"oxidation,reduction,unknown"`
		Sure       bool   `json:"sure,omitempty" doc:"End the record of a firing that goes on"`
	}
}

// beginFiring begins a firing at once, at any temperature, under an id that the asker made; one
// that is open is closed. Asked again it begins no other.
func (s firingRoutes) beginFiring(ctx context.Context, in *beginInput) (*body[wire.Firing], error) {
	f, err := s.Firings().Begin(ctx, kiln.FiringID(in.ID), kiln.KilnID(in.Body.Kiln), kiln.Kind(in.Body.Kind),
		kiln.Atmosphere(in.Body.Atmosphere), in.Body.Sure)
	if err != nil {
		return nil, err
	}
	return &body[wire.Firing]{s.Firings().Firing(f, detect.Expected{})}, nil
}

type stopInput struct {
	wire.FiringPath
	Body *struct {
		Sure bool `json:"sure,omitempty" doc:"Stop, whatever the kiln reads"`
	}
}

// stopFiring closes the firing that a kiln has open; it ends the recording and nothing else. Its
// end is written within seconds. One that is over already stays as it is.
func (s firingRoutes) stopFiring(ctx context.Context, in *stopInput) (*body[wire.Firing], error) {
	f, err := s.Firings().Stop(ctx, kiln.FiringID(in.ID), said(in.Body).Sure)
	if err != nil {
		return nil, err
	}
	return &body[wire.Firing]{s.Firings().Firing(f, detect.Expected{})}, nil
}

// goOn takes back that the record of a firing was stopped.
func (s firingRoutes) goOn(ctx context.Context, in *wire.FiringPath) (*body[wire.Firing], error) {
	f, err := s.Firings().GoOn(ctx, kiln.FiringID(in.ID))
	if err != nil {
		return nil, err
	}
	return &body[wire.Firing]{s.Firings().Firing(f, detect.Expected{})}, nil
}

func (s firingRoutes) postBegin(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	k := r.PathValue("kiln")
	if _, err := s.Firings().Begin(r.Context(), kiln.FiringID(form.Get("id")), kiln.KilnID(k), "", "",
		form.Get("sure") != ""); err != nil {
		return err
	}
	http.Redirect(w, r, "/kiln/"+url.PathEscape(k), http.StatusSeeOther)
	return nil
}

func (s firingRoutes) postStop(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	if form.Get("do") == "go_on" {
		_, err = s.Firings().GoOn(r.Context(), kiln.FiringID(form.Get("firing")))
	} else {
		_, err = s.Firings().Stop(r.Context(), kiln.FiringID(form.Get("firing")), form.Get("sure") != "")
	}
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/kiln/"+url.PathEscape(r.PathValue("kiln")), http.StatusSeeOther)
	return nil
}

type putFiringInput struct {
	wire.FiringPath
	Body wire.FiringBody
}

// putFiring keeps what a person says of a firing, over what was guessed, or a firing by hand.
func (s firingRoutes) putFiring(ctx context.Context, in *putFiringInput) (*kept[wire.FiringWhole], error) {
	id := kiln.FiringID(in.ID)
	var k tiles.PutResult
	var err error
	if in.Body.Source == "hand" {
		k, err = s.Firings().KeepByHand(ctx, id, in.Body, false)
	} else {
		err = s.Firings().SayFiring(ctx, id, in.Body)
	}
	var j wire.FiringWhole
	if err == nil {
		j, err = s.Firings().WholeFiring(ctx, id)
	}
	if err != nil {
		return nil, err
	}
	return &kept[wire.FiringWhole]{status(k), j}, nil
}
