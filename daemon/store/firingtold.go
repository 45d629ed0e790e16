package store

import (
	"context"
	"database/sql"
	"time"

	"lidwright/daemon/store/codec"
	"lidwright/kiln"
)

// firingTold is what the record of changes says of a firing that began, ended or was corrected.
type firingTold struct {
	Kiln     string             `json:"kiln"`
	Number   int                `json:"number"`
	Revision int64              `json:"revision"`
	Status   string             `json:"status"`
	Source   string             `json:"source"`
	Load     string             `json:"load,omitempty"`
	BeganAt  string             `json:"began_at"` // RFC 3339, UTC
	OverAt   string             `json:"over_at,omitempty"`
	Trusted  bool               `json:"times_trusted"`
	LengthS  float64            `json:"length_s,omitempty"`
	PeakC    *float64           `json:"peak_c,omitempty"`
	HeatWork map[string]float64 `json:"heat_work_c,omitempty"` // by channel, as indicated
	Why      string             `json:"why,omitempty"`         // of a correction: clock, heat_work
}

// tellFiring records that a firing began, ended or was corrected, after its row is written.
func tellFiring(ctx context.Context, tx *sql.Tx, op, why string, row int64, f kiln.Firing, at kiln.Stamp) error {
	told := firingTold{BeganAt: f.Began.Wall.UTC().Format(time.RFC3339Nano), LengthS: f.Length.Seconds(), HeatWork: map[string]float64{}, Why: why}
	err := tx.QueryRowContext(ctx, `
		SELECT f.kiln, f.number, f.revision, f.stands, f.source, f.trusted, coalesce(l.load, '') FROM firing f LEFT JOIN load_firing l ON l.firing = f.id WHERE f.row = ?`, row).
		Scan(&told.Kiln, &told.Number, &told.Revision, &told.Status, &told.Source, &told.Trusted, &told.Load)
	if err != nil {
		return err
	}
	if !f.Over.Wall.IsZero() {
		told.OverAt = f.Over.Wall.UTC().Format(time.RFC3339Nano)
	}
	if codec.IsNumber(f.Peak) && f.Peak != 0 {
		peak := float64(f.Peak)
		told.PeakC = &peak
	}
	for c, w := range f.HeatWork {
		if codec.IsNumber(w.C) {
			told.HeatWork[string(c)] = float64(w.C)
		}
	}
	_, err = recordChange(ctx, tx, "firing", op, string(f.ID), at, told)
	return err
}
