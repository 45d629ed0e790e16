package api

import (
	"context"

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
		return nil, s.troubles.Problem(ctx, err)
	}
	j, err := s.Firings().Note(ctx, in.NotePath)
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
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
		return nil, s.troubles.Problem(ctx, err)
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
		return nil, s.troubles.Problem(ctx, err)
	}
	j, err := s.Firings().Cone(ctx, in.ConePath)
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
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
		return nil, s.troubles.Problem(ctx, err)
	}
	return &body[wire.Cone]{j}, nil
}
