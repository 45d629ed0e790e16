package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"time"

	"lidwright/api/usecase"
	"lidwright/daemon/store/codec"
	"lidwright/kiln"
	"lidwright/tiles"
)

type saidBody struct {
	Kind       string `json:"kind,omitempty"`
	Atmosphere string `json:"atmosphere,omitempty"`
	Status     string `json:"status,omitempty"`
	Note       string `json:"note,omitempty"`
	By         string `json:"by,omitempty"`
}

// SayFiring keeps what a person says of a firing; the last word on each thing holds, over what
// was heard or guessed. Said again it writes nothing. kiln.ErrNoFiring if there is no such firing.
func (s FiringStore) SayFiring(ctx context.Context, id kiln.FiringID, said kiln.FiringAnnotation,
	at kiln.Stamp) error {
	body := saidBody{string(said.Kind), string(said.Atmosphere), string(said.Status), said.Note, said.By}
	err := s.write(ctx, func(tx *sql.Tx) error {
		row, _, err := firingRow(ctx, tx, id)
		if err != nil {
			return err
		}
		before, err := heard(ctx, tx, "firing", string(id), body)
		if err != nil || before == last {
			return err
		}
		if _, err := recordChange(ctx, tx, "firing", "put", string(id), at, body); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `
			UPDATE firing SET revision = revision + 1, said_kind = coalesce(?, said_kind), said_atmosphere = coalesce(?, said_atmosphere),
				said_status = coalesce(?, said_status), said_note = coalesce(?, said_note) WHERE row = ?`,
			orNull(said.Kind), orNull(said.Atmosphere), orNull(said.Status), orNull(said.Note), row)
		return err
	})
	if err != nil {
		return fmt.Errorf("keep what was said of firing %s: %w", id, err)
	}
	return nil
}

// PutFiring keeps a firing that was not heard on a line: typed in by hand, or taken in from a
// file. It is over, and its times, heat work and gaps are the caller's; samples are its curve, none
// if it has none. The number is the next of its kiln. One that is there already is replaced, if it
// came this way too; the same said again writes nothing. said is what was said, for the record of
// changes. tiles.ErrIDUsed if the firing of that id was heard on a line, tiles.ErrChanged if match
// does not.
func (s FiringStore) PutFiring(ctx context.Context, f kiln.Firing, samples []kiln.Sample, said any,
	match usecase.Precondition, at kiln.Stamp) (kept tiles.PutResult, err error) {
	if f.Source == "serial" || f.Source == "" || f.Status == kiln.Running {
		return kept, fmt.Errorf("keep firing %s: only one by hand or from a file, and over, comes this way",
			f.ID)
	}
	err = s.write(ctx, func(tx *sql.Tx) error {
		kept = tiles.PutResult{}
		var row, revision int64
		var source string
		err := tx.QueryRowContext(ctx, `SELECT row, revision, source FROM firing WHERE id = ?`,
			f.ID).Scan(&row,
			&revision, &source)
		switch {
		case errors.Is(err, sql.ErrNoRows):
			kept.New = true
		case err != nil:
			return err
		case source == "serial":
			return tiles.ErrIDUsed
		}
		again, err := mayEdit(ctx, tx, "firing", string(f.ID), revision, match, said)
		if err != nil {
			return err
		}
		if again {
			kept.Revision = revision
			return nil
		}
		if _, err := recordChange(ctx, tx, "firing", "put", string(f.ID), at, said); err != nil {
			return err
		}
		if kept.New {
			if row, _, err = addFiring(ctx, tx, f); err != nil {
				return err
			}
		} else if err := clearFiring(ctx, tx, row, f); err != nil {
			return err
		}
		kept.Revision = revision + 1
		if err := joinLoad(ctx, tx, f); err != nil || len(samples) == 0 {
			return err
		}
		blocks, channels, err := pack(ctx, tx, f, samples)
		if err != nil {
			return err
		}
		if err := keepCurve(ctx, tx, row, blocks); err != nil {
			return err
		}
		return keepEnvelope(ctx, tx, row, channels)
	})
	if err != nil {
		return tiles.PutResult{}, fmt.Errorf("keep firing %s: %w", f.ID, err)
	}
	return kept, nil
}

// pack codes all the samples of a firing that is over, and gives its envelope with them.
func pack(ctx context.Context, q querier, f kiln.Firing, samples []kiln.Sample) (blocks [][]byte,
	channels []kiln.Envelope, err error) {
	thin := kiln.NewDownsampler(nil, codec.EnvelopeStep)
	over := false
	for part := range slices.Chunk(samples, sealAfter) {
		b, data, err := coded(part, true)
		if err != nil {
			return nil, nil, err
		}
		blocks = append(blocks, data)
		if over {
			continue
		}
		if over, err = hand(ctx, q, f, b, func(b *codec.Block, n int) { b.Thin(thin, n) }); err != nil {
			return nil, nil, err
		}
	}
	return blocks, thin.Envelopes(), nil
}

// clearFiring puts another summary in the place of one, and takes its curve out. What people said
// beside it stands.
func clearFiring(ctx context.Context, tx *sql.Tx, row int64, f kiln.Firing) error {
	began, over, trusted := codec.TimesOf(f)
	if _, err := tx.ExecContext(ctx, `
		UPDATE firing SET revision = revision + 1, status = ?, source = ?, began_ms = ?, over_ms = ?, trusted = ?, heat_model = ?, summary = ?, peak_c = ? WHERE row = ?`,
		f.Status, f.Source, began, over, trusted, codec.ModelOf(f.HeatWork), codec.WriteSummary(f), peakOf(f),
		row); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, `DELETE FROM curve WHERE firing = ?`, row); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, `DELETE FROM envelope WHERE firing = ?`, row)
	return err
}

// StaleHeatWork gives the firings that are over and whose heat work another model than this one
// worked out from their curves, oldest first.
func (s FiringStore) StaleHeatWork(ctx context.Context, model string) ([]kiln.FiringID, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT id FROM firing WHERE status <> 'running' AND heat_model NOT IN ('', ?) ORDER BY began_ms, row`, model)
	if err != nil {
		return nil, fmt.Errorf("look for heat works of another model: %w", err)
	}
	return collect(rows, "heat works of another model", func(id *kiln.FiringID) error {
		return rows.Scan(id)
	})
}

// SetHeatWork keeps the heat works of a firing that is over, as indicated by channel and as
// corrected by place, in the place of those that another model or other cones gave.
func (s FiringStore) SetHeatWork(ctx context.Context, id kiln.FiringID,
	works map[kiln.ChannelID]kiln.HeatWork, corrected map[kiln.Place]kiln.HeatWork) error {
	err := s.write(ctx, func(tx *sql.Tx) error {
		var row int64
		var data []byte
		if err := tx.QueryRowContext(ctx, `SELECT row, summary FROM firing WHERE id = ? AND status <> 'running'`, id).Scan(&row, &data); err != nil {
			return missing(err, kiln.ErrNoFiring)
		}
		f, err := codec.ReadSummary(data)
		if err != nil {
			return err
		}
		f.HeatWork, f.Corrected = works, corrected
		_, err = tx.ExecContext(ctx, `UPDATE firing SET revision = revision + 1, heat_model = ?, summary = ? WHERE row = ?`, codec.ModelOf(works), codec.WriteSummary(f), row)
		if err != nil {
			return err
		}
		return tellFiring(ctx, tx, "correct", "heat_work", row, f, s.now())
	})
	if err != nil {
		return fmt.Errorf("keep the heat work of firing %s: %w", id, err)
	}
	return nil
}

// Revision of a firing rises with whatever changes an answer about it: the end, what people say,
// a clock put right, another model. kiln.ErrNoFiring if there is no such firing.
func (s FiringStore) Revision(ctx context.Context, id kiln.FiringID) (revision int64, err error) {
	err = s.read.QueryRowContext(ctx, `SELECT revision FROM firing WHERE id = ?`, id).Scan(&revision)
	return revision, missing(err, kiln.ErrNoFiring)
}

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
func tellFiring(ctx context.Context, tx *sql.Tx, op, why string, row int64, f kiln.Firing,
	at kiln.Stamp) error {
	told := firingTold{BeganAt: f.Began.Wall.UTC().Format(time.RFC3339Nano), LengthS: f.Length.Seconds(),
		HeatWork: map[string]float64{}, Why: why}
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
