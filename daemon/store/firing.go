package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"lidwright/kiln"
)

// sealAfter samples of a firing that are not sealed make a sealed run: an hour at one a second.
const sealAfter = 3600

// BeginFiring opens a firing with its pre-roll in one commit. Said again it gives the number
// that the first saying was given.
func (s *Store) BeginFiring(ctx context.Context, f kiln.Firing, preroll []kiln.Sample) (number int, err error) {
	err = s.write(ctx, func(tx *sql.Tx) error {
		err := tx.QueryRowContext(ctx, `SELECT number FROM firing WHERE id = ?`, f.ID).Scan(&number)
		if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		if err := tx.QueryRowContext(ctx, `SELECT coalesce(max(number), 0) + 1 FROM firing WHERE kiln = ?`, f.Kiln).Scan(&number); err != nil {
			return err
		}
		f.Number = number
		text, err := writeSummary(f)
		if err != nil {
			return err
		}
		var row int64
		if err := tx.QueryRowContext(ctx, `
			INSERT INTO firing (id, kiln, number, status, began_ms, summary) VALUES (?, ?, ?, ?, ?, ?) RETURNING row`,
			f.ID, f.Kiln, number, f.Status, f.Began.Wall.UnixMilli(), text).Scan(&row); err != nil {
			return err
		}
		if err := joinLoad(ctx, tx, f); err != nil {
			return err
		}
		for part := range slices.Chunk(preroll, sealAfter) {
			if err := addRun(ctx, tx, row, part, len(part) == sealAfter); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return 0, fmt.Errorf("begin firing %s: %w", f.ID, err)
	}
	return number, nil
}

// joinLoad attaches the load that was open to its firing, unless somebody attached it elsewhere.
func joinLoad(ctx context.Context, tx *sql.Tx, f kiln.Firing) error {
	if f.Load == "" {
		return nil
	}
	_, err := tx.ExecContext(ctx, `UPDATE load SET firing = ?1 WHERE id = ?2 AND firing IS NULL AND NOT EXISTS (SELECT 1 FROM load WHERE firing = ?1)`, f.ID, f.Load)
	return err
}

// AppendCurve writes a batch in one commit. The same batch said again is left alone. Where
// an hour is full it is sealed in the same commit: what was coded is read back and compared
// before its parts are deleted.
func (s *Store) AppendCurve(ctx context.Context, id kiln.FiringID, batch []kiln.Sample) error {
	if len(batch) == 0 {
		return nil
	}
	err := s.write(ctx, func(tx *sql.Tx) error {
		row, k, err := firingRow(ctx, tx, id)
		if err != nil {
			return err
		}
		if err := addRun(ctx, tx, row, batch, false); err != nil {
			return err
		}
		var open int
		if err := tx.QueryRowContext(ctx, `SELECT coalesce(sum(rows), 0) FROM run WHERE firing = ? AND sealed = 0`, row).Scan(&open); err != nil {
			return err
		}
		if open < sealAfter {
			return nil
		}
		return seal(ctx, tx, row, k)
	})
	if err != nil {
		return fmt.Errorf("append to firing %s: %w", id, err)
	}
	return nil
}

func firingRow(ctx context.Context, tx *sql.Tx, id kiln.FiringID) (row int64, k kiln.KilnID, err error) {
	err = tx.QueryRowContext(ctx, `SELECT row, kiln FROM firing WHERE id = ?`, id).Scan(&row, &k)
	return row, k, missing(err, kiln.ErrNoFiring)
}

func addRun(ctx context.Context, tx *sql.Tx, firing int64, samples []kiln.Sample, sealed bool) error {
	at := samples[0].At
	_, err := tx.ExecContext(ctx, `
		INSERT INTO run (firing, rows, sealed, first_boot, first_ns, data) VALUES (?, ?, ?, ?, ?, ?)
		ON CONFLICT (firing, first_boot, first_ns) DO NOTHING`,
		firing, len(samples), sealed, string(at.Boot), at.Since.Nanoseconds(), encodeRun(samples, sealed))
	return err
}

// seal joins the open runs of a firing into one small one.
func seal(ctx context.Context, tx *sql.Tx, firing int64, k kiln.KilnID) error {
	samples, err := runs(ctx, tx, firing, k, `AND sealed = 0`)
	if err != nil || len(samples) == 0 {
		return err
	}
	if back, err := decodeRun(encodeRun(samples, true), k); err != nil || !sameSamples(samples, back) {
		return fmt.Errorf("seal: what was coded does not read back the same: %w", errors.Join(errRun, err))
	}
	if _, err := tx.ExecContext(ctx, `DELETE FROM run WHERE firing = ? AND sealed = 0`, firing); err != nil {
		return err
	}
	return addRun(ctx, tx, firing, samples, true)
}

func sameSamples(a, b []kiln.Sample) bool {
	return slices.EqualFunc(a, b, func(x, y kiln.Sample) bool {
		return x.At.Boot == y.At.Boot && x.At.Since == y.At.Since && x.At.Trusted == y.At.Trusted && x.Raw == y.Raw && len(x.Values) == len(y.Values) &&
			!slices.ContainsFunc(x.Values, func(v kiln.Value) bool {
				w, ok := y.Value(v.Channel)
				return !ok || v.Fault != w.Fault || v.T.Known() != w.T.Known() || v.T.Known() && math.Abs(float64(v.T-w.T)) > 0.0006
			})
	})
}

// runs gives the samples of a firing in order; which narrows them down.
func runs(ctx context.Context, q querier, firing int64, k kiln.KilnID, which string) ([]kiln.Sample, error) {
	rows, err := q.QueryContext(ctx, `SELECT data FROM run WHERE firing = ? `+which+` ORDER BY row`, firing)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var samples []kiln.Sample
	for rows.Next() {
		var data []byte
		if err := rows.Scan(&data); err != nil {
			return nil, err
		}
		part, err := decodeRun(data, k)
		if err != nil {
			return nil, err
		}
		samples = append(samples, part...)
	}
	return samples, rows.Err()
}

// EndFiring closes a firing: its last samples are sealed and its summary is kept.
func (s *Store) EndFiring(ctx context.Context, f kiln.Firing) error {
	err := s.write(ctx, func(tx *sql.Tx) error {
		row, k, err := firingRow(ctx, tx, f.ID)
		if err != nil {
			return err
		}
		if f.Number == 0 {
			if err := tx.QueryRowContext(ctx, `SELECT number FROM firing WHERE row = ?`, row).Scan(&f.Number); err != nil {
				return err
			}
		}
		if err := seal(ctx, tx, row, k); err != nil {
			return err
		}
		if err := joinLoad(ctx, tx, f); err != nil {
			return err
		}
		text, err := writeSummary(f)
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `UPDATE firing SET status = ?, began_ms = ?, over_ms = ?, summary = ? WHERE row = ?`,
			f.Status, f.Began.Wall.UnixMilli(), f.Over.Wall.UnixMilli(), text, row)
		return err
	})
	if err != nil {
		return fmt.Errorf("end firing %s: %w", f.ID, err)
	}
	return nil
}

// Unfinished gives the firings left open, each with every sample written so far.
func (s *Store) Unfinished(ctx context.Context) ([]kiln.Unfinished, error) {
	open, err := s.Firings(ctx, kiln.FiringFilter{Status: kiln.Running})
	if err != nil {
		return nil, err
	}
	var all []kiln.Unfinished
	for _, f := range open {
		samples, err := s.Samples(ctx, f.ID)
		if err != nil {
			return nil, err
		}
		all = append(all, kiln.Unfinished{Firing: f, Samples: samples})
	}
	return all, nil
}

// Samples gives every sample of a firing in order, or kiln.ErrNoFiring.
func (s *Store) Samples(ctx context.Context, id kiln.FiringID) ([]kiln.Sample, error) {
	var row int64
	var k kiln.KilnID
	err := s.read.QueryRowContext(ctx, `SELECT row, kiln FROM firing WHERE id = ?`, id).Scan(&row, &k)
	if err != nil {
		return nil, fmt.Errorf("firing %s: %w", id, missing(err, kiln.ErrNoFiring))
	}
	samples, err := runs(ctx, s.read, row, k, "")
	if err != nil {
		return nil, fmt.Errorf("read the curve of firing %s: %w", id, err)
	}
	return samples, nil
}

// Firing gives one firing, or kiln.ErrNoFiring.
func (s *Store) Firing(ctx context.Context, id kiln.FiringID) (kiln.Firing, error) {
	all, err := s.firings(ctx, `WHERE f.id = ?`, id)
	if err == nil && len(all) == 0 {
		err = kiln.ErrNoFiring
	}
	if err != nil {
		return kiln.Firing{}, fmt.Errorf("firing %s: %w", id, err)
	}
	return all[0], nil
}

// Firings gives those that the filter lets pass, newest first.
func (s *Store) Firings(ctx context.Context, w kiln.FiringFilter) ([]kiln.Firing, error) {
	limit := w.Limit
	if limit == 0 {
		limit = -1
	}
	after := int64(math.MaxInt64)
	if w.Before != (time.Time{}) {
		after = w.Before.UnixMilli()
	}
	all, err := s.firings(ctx, `WHERE (?1 = '' OR f.kiln = ?1) AND (?2 = '' OR f.status = ?2) AND f.began_ms < ?3 ORDER BY f.began_ms DESC, f.row DESC LIMIT ?4`,
		string(w.Kiln), string(w.Status), after, limit)
	if err != nil {
		return nil, fmt.Errorf("list firings: %w", err)
	}
	return slices.DeleteFunc(all, func(f kiln.Firing) bool {
		return w.Kind != "" && f.Kind != w.Kind || w.Atmosphere != "" && f.Atmosphere != w.Atmosphere
	}), nil
}

// firings reads summaries, with what people said of them over what was worked out.
func (s *Store) firings(ctx context.Context, where string, args ...any) ([]kiln.Firing, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT f.summary, f.number, f.status,
			(SELECT kind FROM told t WHERE t.firing = f.id AND kind IS NOT NULL ORDER BY row DESC LIMIT 1),
			(SELECT atmosphere FROM told t WHERE t.firing = f.id AND atmosphere IS NOT NULL ORDER BY row DESC LIMIT 1),
			(SELECT l.id FROM load l WHERE l.firing = f.id)
		FROM firing f `+where, args...)
	if err != nil {
		return nil, err
	}
	return collect(rows, "firings", func(f *kiln.Firing) error {
		var text string
		var number int
		var status kiln.Status
		var kind, atmosphere, load sql.NullString
		if err := rows.Scan(&text, &number, &status, &kind, &atmosphere, &load); err != nil {
			return err
		}
		var err error
		if *f, err = readSummary(text); err != nil {
			return err
		}
		f.Number, f.Status = number, status
		if kind.Valid {
			f.Kind, f.KindFrom = kiln.Kind(kind.String), "fact"
		}
		if atmosphere.Valid {
			f.Atmosphere = kiln.Atmosphere(atmosphere.String)
		}
		if load.Valid {
			f.Load = load.String
		}
		return nil
	})
}

// TellFiring keeps what a person says of a firing: kind, atmosphere, either may be empty.
func (s *Store) TellFiring(ctx context.Context, id kiln.FiringID, kind kiln.Kind, atmosphere kiln.Atmosphere, at kiln.Stamp) error {
	err := s.write(ctx, func(tx *sql.Tx) error {
		if _, _, err := firingRow(ctx, tx, id); err != nil {
			return err
		}
		if _, err := record(ctx, tx, "firing", "put", string(id), at, map[string]string{"kind": string(kind), "atmosphere": string(atmosphere)}); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `INSERT INTO told (firing, kind, atmosphere, at_ms) VALUES (?, ?, ?, ?)`,
			id, orNull(kind), orNull(atmosphere), at.Wall.UnixMilli())
		return err
	})
	if err != nil {
		return fmt.Errorf("tell firing %s: %w", id, err)
	}
	return nil
}

// summary is a kiln.Firing as JSON, in which no temperature is written as null.
type summary struct {
	kiln.Firing
	Peak     *float64
	HeatWork map[kiln.ChannelID]heatSummary
}

type heatSummary struct {
	kiln.HeatWork
	C, Low, High *float64
}

func writeSummary(f kiln.Firing) (string, error) {
	w := summary{Firing: f, Peak: known(f.Peak), HeatWork: map[kiln.ChannelID]heatSummary{}}
	w.Firing.Peak, w.Firing.HeatWork = 0, nil
	for c, h := range f.HeatWork {
		hs := heatSummary{HeatWork: h, C: known(h.C), Low: known(h.Low), High: known(h.High)}
		hs.HeatWork.C, hs.HeatWork.Low, hs.HeatWork.High = 0, 0, 0
		w.HeatWork[c] = hs
	}
	text, err := json.Marshal(w)
	if err != nil {
		return "", fmt.Errorf("write the summary of firing %s: %w", f.ID, err)
	}
	return string(text), nil
}

func readSummary(text string) (kiln.Firing, error) {
	var w summary
	if err := json.Unmarshal([]byte(text), &w); err != nil {
		return kiln.Firing{}, fmt.Errorf("read a firing's summary: %w", err)
	}
	f := w.Firing
	f.Peak, f.HeatWork = temperature(w.Peak), map[kiln.ChannelID]kiln.HeatWork{}
	for c, hs := range w.HeatWork {
		h := hs.HeatWork
		h.C, h.Low, h.High = temperature(hs.C), temperature(hs.Low), temperature(hs.High)
		f.HeatWork[c] = h
	}
	return f, nil
}

func known(t kiln.Celsius) *float64 {
	if !t.Known() {
		return nil
	}
	v := float64(t)
	return &v
}

func temperature(v *float64) kiln.Celsius {
	if v == nil {
		return kiln.NoTemperature()
	}
	return kiln.Celsius(*v)
}
