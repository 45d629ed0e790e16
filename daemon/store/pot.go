package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

type potBody struct {
	Mark       string    `json:"mark"`
	Number     string    `json:"number"`
	Form       string    `json:"form"`
	Seat       string    `json:"seat"`
	SeatGlazed bool      `json:"seat_glazed"`
	Together   string    `json:"together"`
	Collar     []float64 `json:"collar_mm"`
	Opening    float64   `json:"opening_mm"`
	Stage      string    `json:"collar_stage"`
	Body       string    `json:"body"`
	Lid        string    `json:"lid"`
	Set        float64   `json:"set_mm"`
	Measured   float64   `json:"lid_mm"`
	Bowl       float64   `json:"bowl_mm"`
	TrimMost   float64   `json:"trim_most_mm"`
	Fired      []float64 `json:"fired_mm"`
	MadeOn     string    `json:"made_on"`
	Note       string    `json:"note"`
}

// PutPot keeps a pot card or what is changed about it. The errors are tiles.ErrNoClay,
// ErrNoBatch, ErrChanged and trouble with the disk.
func (s LidStore) PutPot(ctx context.Context, p lid.PotCard, m usecase.Precondition,
	at kiln.Stamp) (kept tiles.PutResult, err error) {
	lid := ""
	if p.Lid != (tiles.BatchRef{}) {
		lid = p.Lid.String()
	}
	body := potBody{p.Mark, p.Number, p.Form, string(p.Seat), p.SeatGlazed,
		string(p.Together), floats(p.Collar),
		float64(p.Opening), string(p.Stage),
		p.Body.String(), lid, float64(p.Set), float64(p.Measured), float64(p.Bowl), float64(p.TrimMost),
		floats(p.Fired), p.MadeOn, p.Note}
	collar, err := jsonList(body.Collar)
	if err != nil {
		return kept, fmt.Errorf("keep pot card %s: %w", p.ID, err)
	}
	fired, err := jsonList(body.Fired)
	if err != nil {
		return kept, fmt.Errorf("keep pot card %s: %w", p.ID, err)
	}
	err = s.write(ctx, func(tx *sql.Tx) error {
		kept = tiles.PutResult{}
		err := tx.QueryRowContext(ctx, `SELECT rev FROM pot WHERE id = ?`, p.ID).Scan(&kept.Revision)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		again, err := mayEdit(ctx, tx, "pot", p.ID, kept.Revision, m, body)
		if again || err != nil {
			return err
		}
		for _, ref := range [...]tiles.BatchRef{p.Body, p.Lid} {
			if ref == (tiles.BatchRef{}) {
				continue
			}
			if err := batchThere(ctx, tx, ref); err != nil {
				return fmt.Errorf("%s: %w", ref, err)
			}
		}
		kept.New = true
		if kept.Revision, err = recordChange(ctx, tx, "pot", "put", p.ID, at, body); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `
			INSERT INTO pot (id, mark, number, form, seat, seat_glazed, together, collar_mm, collar_stage, opening_mm, body_clay, body_batch,
				lid_clay, lid_batch, set_mm, lid_mm, bowl_mm, trim_most_mm, fired_mm, made_on, note, words, rev)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT (id) DO UPDATE SET mark = excluded.mark, number = excluded.number, form = excluded.form, seat = excluded.seat,
				seat_glazed = excluded.seat_glazed, together = excluded.together, collar_mm = excluded.collar_mm, collar_stage = excluded.collar_stage,
				opening_mm = excluded.opening_mm, body_clay = excluded.body_clay, body_batch = excluded.body_batch, lid_clay = excluded.lid_clay,
				lid_batch = excluded.lid_batch, set_mm = excluded.set_mm, lid_mm = excluded.lid_mm, bowl_mm = excluded.bowl_mm,
				trim_most_mm = excluded.trim_most_mm, fired_mm = excluded.fired_mm, made_on = excluded.made_on, note = excluded.note,
				words = excluded.words, rev = excluded.rev`,
			p.ID, p.Mark, p.Number, p.Form, p.Seat, p.SeatGlazed, p.Together, collar, p.Stage,
			orNull(float64(p.Opening)), p.Body.Clay, p.Body.Batch,
			orNull(p.Lid.Clay), orNull(p.Lid.Batch), orNull(float64(p.Set)), orNull(float64(p.Measured)),
			orNull(float64(p.Bowl)), orNull(float64(p.TrimMost)), fired, p.MadeOn, p.Note,
			potWords(p.Mark, p.Number, p.Form, p.MadeOn), kept.Revision)
		return err
	})
	if err != nil {
		return tiles.PutResult{}, fmt.Errorf("keep pot card %s: %w", p.ID, err)
	}
	return kept, nil
}

const mostWords = 10 // of a search; more are not looked at

// potWords is what a pot card is found by.
func potWords(mark, number, form, madeOn string) string {
	return strings.ToLower(strings.Join([]string{mark, number, form, madeOn}, " "))
}

// Pot gives one pot card, or tiles.ErrNoPot.
func (s LidStore) Pot(ctx context.Context, id string) (lid.KeptPot, error) {
	all, err := s.Pots(ctx, lid.PotFilter{ID: id})
	if err == nil && len(all) == 0 {
		err = lid.ErrNoPot
	}
	if err != nil {
		return lid.KeptPot{}, fmt.Errorf("pot card %s: %w", id, err)
	}
	return all[0], nil
}

// Pots gives the pot cards that the filter lets pass, those last written first.
func (s LidStore) Pots(ctx context.Context, w lid.PotFilter) ([]lid.KeptPot, error) {
	query := strings.Builder{}
	query.WriteString(`
		SELECT id, mark, number, form, seat, seat_glazed, together, collar_mm, collar_stage, coalesce(opening_mm, 0), body_clay, body_batch,
			coalesce(lid_clay, ''), coalesce(lid_batch, ''), coalesce(set_mm, 0), coalesce(lid_mm, 0), coalesce(bowl_mm, 0), coalesce(trim_most_mm, 0), fired_mm, made_on, note, rev
		FROM pot WHERE id IN (SELECT id FROM pot WHERE 1`)
	var args []any
	if w.ID != "" {
		query.WriteString(` AND id = ?`)
		args = append(args, w.ID)
	}
	if w.Form != "" {
		query.WriteString(` AND form = ?`)
		args = append(args, w.Form)
	}
	if w.After != "" {
		query.WriteString(` AND rev < (SELECT rev FROM pot WHERE id = ?)`)
		args = append(args, w.After)
	}
	words := strings.Fields(strings.ToLower(w.Find))
	slices.SortFunc(words, func(a, b string) int { return len(b) - len(a) }) // the rarest first, most likely
	for _, word := range words[:min(len(words), mostWords)] {
		query.WriteString(` AND instr(words, ?)`)
		args = append(args, word)
	}
	query.WriteString(` ORDER BY rev DESC LIMIT ?) ORDER BY rev DESC`)
	rows, err := s.read.QueryContext(ctx, query.String(), append(args, limited(w.Limit))...)
	if err != nil {
		return nil, fmt.Errorf("read pot cards: %w", err)
	}
	return collect(rows, "pot cards", func(p *lid.KeptPot) error {
		var collar, fired string
		if err := rows.Scan(&p.ID, &p.Mark, &p.Number, &p.Form, &p.Seat, &p.SeatGlazed, &p.Together, &collar,
			&p.Stage, &p.Opening, &p.Body.Clay, &p.Body.Batch,
			&p.Lid.Clay, &p.Lid.Batch, &p.Set, &p.Measured, &p.Bowl, &p.TrimMost, &fired, &p.MadeOn, &p.Note,
			&p.Revision); err != nil {
			return err
		}
		err := errors.Join(json.Unmarshal([]byte(collar), &p.Collar), json.Unmarshal([]byte(fired), &p.Fired))
		if len(p.Fired) == 0 {
			p.Fired = nil
		}
		return err
	})
}
