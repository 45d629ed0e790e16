package api

import (
	"context"

	"lidwright/api/wire"
	"lidwright/kiln"
)

func (s kilnRoutes) getKilns(ctx context.Context, _ *struct{}) (*body[wire.Kilns], error) {
	j := wire.Kilns{Items: []wire.KilnJSON{}}
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
