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
	_, err := s.Firings().Note(ctx, in.NotePath)
	a := tiles.Act{By: in.Body.By, Why: in.Body.Why}
	if err == nil {
		err = a.Validate(true)
	}
	if err == nil {
		err = s.Archive.StrikeNote(ctx, in.Note, a.By, a.Why, s.Now())
	}
	var j wire.Note
	if err == nil {
		j, err = s.Firings().Note(ctx, in.NotePath)
	}
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	return &body[wire.Note]{j}, nil
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
