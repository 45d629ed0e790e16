package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

type lidResultBody struct {
	Load       string    `json:"load"`
	Pots       []string  `json:"pots"`
	Form       string    `json:"form"`
	Maker      string    `json:"maker"`
	Seat       string    `json:"seat"`
	SeatGlazed bool      `json:"seat_glazed"`
	Body       string    `json:"body"`
	Lid        string    `json:"lid"`
	Counts     sat       `json:"counts"`
	Losses     losses    `json:"losses"`
	Plays      []float64 `json:"plays_mm"`
	Thrown     []float64 `json:"thrown_mm"`
	By         string    `json:"by"`
}

type sat struct {
	TooBig      int `json:"too_big"`
	Tight       int `json:"tight"`
	Good        int `json:"good"`
	Loose       int `json:"loose"`
	DropsIn     int `json:"drops_in"`
	NotLookedAt int `json:"not_looked_at"`
}

type losses struct {
	Glued   int `json:"glued"`
	Rocks   int `json:"rocks"`
	Chipped int `json:"chipped"`
	Dropped int `json:"dropped"`
}

// PutLidResult keeps how the lids of one board sat, with the limits that were in force. These
// are no part of what was said, so that the same board said again under other settings is
// still the same. The errors are tiles.ErrIDUsed, ErrNoLoad, ErrNoClay, ErrNoBatch and
// trouble with the disk.
func (s LidStore) PutLidResult(ctx context.Context, v lid.Result,
	at kiln.Stamp) (kept tiles.PutResult, err error) {
	body := lidResultBody{v.Load, append([]string{}, v.Pots...), v.Form, v.Maker,
		string(v.Seat), v.SeatGlazed,
		v.Body.String(), v.Lid.String(),
		sat(v.Sat), losses(v.Losses), floats(v.Plays), floats(v.Thrown), v.By}
	pots, err := jsonList(body.Pots)
	if err != nil {
		return kept, fmt.Errorf("keep lid result %s: %w", v.ID, err)
	}
	plays, err := jsonList(body.Plays)
	if err != nil {
		return kept, fmt.Errorf("keep lid result %s: %w", v.ID, err)
	}
	thrown, err := jsonList(body.Thrown)
	if err != nil {
		return kept, fmt.Errorf("keep lid result %s: %w", v.ID, err)
	}
	var least, most, bearing any
	if l := v.Limits; l != nil {
		least, most, bearing = float64(l.LeastPlay), float64(l.MostPlay), float64(l.Bearing)
	}
	kept, err = s.putFact(ctx, "lid_result", v.ID, at, body, func(tx *sql.Tx, seq int64) error {
		if v.Load != "" {
			var one int
			if err := tx.QueryRowContext(ctx, `SELECT 1 FROM load WHERE id = ?`,
				v.Load).Scan(&one); err != nil {
				return missing(err, tiles.ErrNoLoad)
			}
		}
		for _, ref := range [...]tiles.BatchRef{v.Body, v.Lid} {
			if err := batchThere(ctx, tx, ref); err != nil {
				return fmt.Errorf("%s: %w", ref, err)
			}
		}
		_, err := tx.ExecContext(ctx, `
			INSERT INTO lid_result (id, seq, load, pots, form, maker, seat, seat_glazed, body_clay, body_batch, lid_clay, lid_batch,
				too_big, tight, good, loose, drops_in, not_looked_at, glued, rocks, chipped, dropped,
				plays_mm, thrown_mm, least_play_mm, most_play_mm, bearing_mm, by)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			v.ID, seq, orNull(v.Load), pots, v.Form, v.Maker, v.Seat, v.SeatGlazed, v.Body.Clay, v.Body.Batch,
			v.Lid.Clay, v.Lid.Batch,
			v.Sat.TooBig, v.Sat.Tight, v.Sat.Good, v.Sat.Loose, v.Sat.DropsIn, v.Sat.NotLookedAt,
			v.Losses.Glued, v.Losses.Rocks, v.Losses.Chipped, v.Losses.Dropped, plays, thrown, least, most,
			bearing, v.By)
		return err
	})
	return kept, err
}

// StrikeLidResult crosses a board out; it stays to be seen. Said again it changes nothing.
func (s LidStore) StrikeLidResult(ctx context.Context, id, by, why string, at kiln.Stamp) error {
	return s.strike(ctx, "lid_result", `SELECT 1 FROM lid_result WHERE id = ?`, id, by,
		why, at, lid.ErrNoResult)
}

// LidResult gives one board, or tiles.ErrNoLidResult.
func (s LidStore) LidResult(ctx context.Context, id string) (lid.Result, error) {
	all, err := s.LidResults(ctx, lid.ResultFilter{ID: id})
	if err == nil && len(all) == 0 {
		err = lid.ErrNoResult
	}
	if err != nil {
		return lid.Result{}, fmt.Errorf("lid result %s: %w", id, err)
	}
	return all[0], nil
}

// LidResults gives the boards that the filter lets pass, newest first, struck ones too.
func (s LidStore) LidResults(ctx context.Context, w lid.ResultFilter) ([]lid.Result, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT v.id, coalesce(v.load, ''), v.pots, v.form, v.maker, v.seat, v.seat_glazed, v.body_clay, v.body_batch, v.lid_clay, v.lid_batch,
			v.too_big, v.tight, v.good, v.loose, v.drops_in, v.not_looked_at, v.glued, v.rocks, v.chipped, v.dropped,
			v.plays_mm, v.thrown_mm, v.least_play_mm, v.most_play_mm, v.bearing_mm, v.by, c.at_ms, c.trusted, a.by, a.why, ac.at_ms
		FROM lid_result v JOIN change c ON c.seq = v.seq
			LEFT JOIN act a ON a.kind = 'lid_result' AND a.id = v.id AND a.op = 'strike' LEFT JOIN change ac ON ac.seq = a.seq
		WHERE (?1 = '' OR v.id = ?1) AND (?2 = '' OR v.form = ?2) AND (?3 = '' OR v.body_clay = ?3 OR v.lid_clay = ?3) AND (?4 = '' OR v.load = ?4)
			AND (?6 = '' OR v.seq < (SELECT seq FROM lid_result WHERE id = ?6))
		ORDER BY v.seq DESC LIMIT ?5`, w.ID, w.Form, w.Clay, w.Load, limited(w.Limit), w.After)
	if err != nil {
		return nil, fmt.Errorf("read lid results: %w", err)
	}
	return collect(rows, "lid results", func(v *lid.Result) error {
		var pots, plays, thrown string
		var least, most, bearing sql.NullFloat64
		var at int64
		var struck struckRow
		t, l := &v.Sat, &v.Losses
		if err := rows.Scan(&v.ID, &v.Load, &pots, &v.Form, &v.Maker, &v.Seat, &v.SeatGlazed, &v.Body.Clay,
			&v.Body.Batch, &v.Lid.Clay, &v.Lid.Batch,
			&t.TooBig, &t.Tight, &t.Good, &t.Loose, &t.DropsIn, &t.NotLookedAt, &l.Glued, &l.Rocks,
			&l.Chipped, &l.Dropped,
			&plays, &thrown, &least, &most, &bearing, &v.By, &at, &v.Trusted, &struck.by, &struck.why,
			&struck.at); err != nil {
			return err
		}
		v.At, v.Struck = fromMilli(at), struck.act()
		if least.Valid {
			v.Limits = &lid.Limits{LeastPlay: tiles.Millimetre(least.Float64),
				MostPlay: tiles.Millimetre(most.Float64), Bearing: tiles.Millimetre(bearing.Float64)}
		}
		if err := json.Unmarshal([]byte(pots), &v.Pots); err != nil {
			return err
		}
		if err := json.Unmarshal([]byte(plays), &v.Plays); err != nil {
			return err
		}
		return json.Unmarshal([]byte(thrown), &v.Thrown)
	})
}

// Tallies counts how lids sat, by form, clays and maker; struck boards are left out.
func (s LidStore) Tallies(ctx context.Context) ([]lid.GroupCount, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT form, body_clay, lid_clay, maker, count(*), sum(too_big), sum(tight), sum(good), sum(loose), sum(drops_in), sum(not_looked_at),
			sum(glued), sum(rocks), sum(chipped), sum(dropped)
		FROM lid_result v WHERE NOT EXISTS (SELECT 1 FROM act a WHERE a.kind = 'lid_result' AND a.id = v.id AND a.op = 'strike')
		GROUP BY form, body_clay, lid_clay, maker ORDER BY form, body_clay, lid_clay, maker`)
	if err != nil {
		return nil, fmt.Errorf("read the tally: %w", err)
	}
	return collect(rows, "the tally", func(t *lid.GroupCount) error {
		return rows.Scan(&t.Form, &t.Body, &t.Lid, &t.Maker, &t.Boards, &t.Sat.TooBig,
			&t.Sat.Tight, &t.Sat.Good,
			&t.Sat.Loose, &t.Sat.DropsIn, &t.Sat.NotLookedAt,
			&t.Losses.Glued, &t.Losses.Rocks, &t.Losses.Chipped, &t.Losses.Dropped)
	})
}

// Tally counts what was said about bars and lids so far. Its numbers never fall: what was struck
// was said all the same.
func (s LidStore) Tally(ctx context.Context) (tiles.SaidSoFar, error) {
	t := tiles.SaidSoFar{Readings: map[string]int{}, Lids: map[string]int{}}
	var usual, unusual, let, struck, tooBig, tight, good, loose, drops, not int
	err := s.read.QueryRowContext(ctx, `SELECT count(*) FILTER (WHERE unusual = 0), count(*) FILTER (WHERE unusual = 1),
		(SELECT count(DISTINCT id) FROM act WHERE kind = 'reading' AND op IN ('confirm', 'count')),
		(SELECT count(*) FROM act WHERE kind = 'reading' AND op = 'strike') FROM reading`).Scan(&usual, &unusual, &let, &struck)
	if err != nil {
		return t, fmt.Errorf("count readings: %w", err)
	}
	err = s.read.QueryRowContext(ctx, `SELECT coalesce(sum(too_big), 0), coalesce(sum(tight), 0), coalesce(sum(good), 0), coalesce(sum(loose), 0),
		coalesce(sum(drops_in), 0), coalesce(sum(not_looked_at), 0) FROM lid_result`).Scan(&tooBig, &tight, &good, &loose, &drops, &not)
	if err != nil {
		return t, fmt.Errorf("count lid results: %w", err)
	}
	t.Readings["counted"], t.Readings["held"], t.Readings["struck"] = usual+let, unusual, struck
	t.Lids["too_big"], t.Lids["tight"], t.Lids["good"] = tooBig, tight, good
	t.Lids["loose"], t.Lids["drops_in"], t.Lids["not_looked_at"] = loose, drops, not
	return t, nil
}
