package api

import (
	"context"
	"net/http"
	"time"

	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/tiles"
)

type putNoteInput struct {
	wire.NotePath
	Body wire.NoteBody
}

func (s firingRoutes) putNote(ctx context.Context, in *putNoteInput) (*kept[wire.Note], error) {
	k, err := s.Firings().KeepNote(ctx, in.NotePath, in.Body)
	if err != nil {
		return nil, err
	}
	j, err := s.Firings().Note(ctx, in.NotePath)
	if err != nil {
		return nil, err
	}
	return &kept[wire.Note]{status(k), j}, nil
}

type strikeNoteInput struct {
	wire.NotePath
	Body wire.StrikeBody
}

func (s firingRoutes) strikeNote(ctx context.Context, in *strikeNoteInput) (*body[wire.Note], error) {
	err := s.crossOut(ctx, in.NotePath, in.Body)
	var j wire.Note
	if err == nil {
		j, err = s.Firings().Note(ctx, in.NotePath)
	}
	if err != nil {
		return nil, err
	}
	return &body[wire.Note]{j}, nil
}

// crossOut crosses a note out; it stays to be seen.
func (s firingRoutes) crossOut(ctx context.Context, p wire.NotePath, b wire.StrikeBody) error {
	if _, err := s.Firings().Note(ctx, p); err != nil {
		return err
	}
	a := tiles.Act{By: b.By, Why: b.Why}
	if err := a.Validate(true); err != nil {
		return err
	}
	return s.Archive.StrikeNote(ctx, p.Note, a.By, a.Why, s.Now())
}

type putConeInput struct {
	wire.ConePath
	Body wire.ConeBody
}

func (s firingRoutes) putCone(ctx context.Context, in *putConeInput) (*kept[wire.Cone], error) {
	k, err := s.Firings().KeepCone(ctx, in.ConePath, in.Body)
	if err != nil {
		return nil, err
	}
	j, err := s.Firings().Cone(ctx, in.ConePath)
	if err != nil {
		return nil, err
	}
	return &kept[wire.Cone]{status(k), j}, nil
}

type strikeConeInput struct {
	wire.ConePath
	Body wire.StrikeBody
}

func (s firingRoutes) strikeCone(ctx context.Context, in *strikeConeInput) (*body[wire.Cone], error) {
	err := s.Firings().StrikeConeOf(ctx, in.ConePath, in.Body)
	var j wire.Cone
	if err == nil {
		j, err = s.Firings().Cone(ctx, in.ConePath)
	}
	if err != nil {
		return nil, err
	}
	return &body[wire.Cone]{j}, nil
}

type crossedOutInput struct {
	Hours float64 `query:"hours" default:"12" minimum:"0" maximum:"8784" doc:"Since how long ago; 12 covers an evening and the day before it"`
}

func (s studioRoutes) getCrossedOut(ctx context.Context,
	in *crossedOutInput) (*body[wire.List[wire.CrossedOut]], error) {
	return answers(s.CrossedOut(ctx, s.Now().Wall.Add(-time.Duration(in.Hours*float64(time.Hour)))))
}

type restoreInput struct {
	wire.CrossedOutPath
	Body *wire.RestoreBody
}

// postRestore restores one thing and answers with what is crossed out still.
func (s studioRoutes) postRestore(ctx context.Context, in *restoreInput) (*body[wire.List[wire.CrossedOut]],
	error) {
	if err := s.Restore(ctx, in.Kind, in.ID, said(in.Body).By); err != nil {
		return nil, err
	}
	return s.getCrossedOut(ctx, &crossedOutInput{Hours: usecase.ThisEvening.Hours()})
}

// postClassRestore restores the thing that was tapped on the page of the class.
func (s clayRoutes) postClassRestore(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	if err := s.Restore(r.Context(), form.Get("kind"), form.Get("id"), form.Get("by")); err != nil {
		return err
	}
	http.Redirect(w, r, "/class#crossed-out", http.StatusSeeOther)
	return nil
}
