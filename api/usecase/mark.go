package usecase

import (
	"context"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/record"
	"lidwright/tiles"
)

// KeepShut is the one in force: the last that was told, else that of the settings.
func (s Kilns) KeepShut(ctx context.Context, id kiln.KilnID) (tiles.KeepShut, error) {
	k, ok := s.KilnNamed(id)
	if !ok {
		return tiles.KeepShut{}, record.ErrNoKiln
	}
	told, err := s.Archive.KeepShuts(ctx, id)
	switch {
	case err != nil:
		return tiles.KeepShut{}, err
	case len(told) > 0:
		return told[0], nil
	}
	return tiles.KeepShut{Kiln: id, Mark: k.KeepShut, Reason: k.KeepShutReason}, nil
}

func (s Kilns) KeepShutJSON(m tiles.KeepShut) wire.KeepShut {
	return wire.KeepShut{ID: Text(m.ID), MarkC: Celsius(m.Mark), Reason: m.Reason, By: m.By, At: s.Moment(m.At)}
}

func (s Kilns) KeepKeepShut(ctx context.Context, id kiln.KilnID, b wire.KeepShutBody) (tiles.PutResult, error) {
	if _, ok := s.KilnNamed(id); !ok {
		return tiles.PutResult{}, refuse("unknown-kiln", "No kiln "+string(id)+" in the settings.", wire.Field{Name: "kiln", Says: "not in the settings"})
	}
	m := tiles.KeepShut{ID: b.ID, Kiln: id, Mark: kiln.Celsius(b.MarkC), Reason: b.Reason, By: b.By}
	if err := m.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	k, err := s.Archive.PutKeepShut(ctx, m, s.Now())
	if err != nil || !k.New {
		return k, err
	}
	s.Loads().TellKiln(ctx, detect.Fact{Kiln: id, What: detect.MarkSet, At: s.Now(), Mark: m.Mark})
	return k, nil
}
