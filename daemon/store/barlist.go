package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"lidwright/daemon/store/codec"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// Channels tells which channel of a kiln a bar of a shelf had its heat from.
type Channels = func(k kiln.KilnID, shelf string) kiln.ChannelID

// Bar gives one bar with its readings and firings, or tiles.ErrNoBar.
func (s BarStore) Bar(ctx context.Context, code tiles.Code, channel Channels) (tiles.KeptBar, error) {
	all, err := s.Bars(ctx, tiles.BarFilter{Code: code}, channel)
	if err == nil && len(all) == 0 {
		err = tiles.ErrNoBar
	}
	if err != nil {
		return tiles.KeptBar{}, fmt.Errorf("bar %s: %w", code, err)
	}
	return all[0], nil
}

// Bars gives the bars that the filter lets pass, by code, each with all its readings and with
// every firing it went through. channel tells whose heat work a shelf had.
func (s BarStore) Bars(ctx context.Context, w tiles.BarFilter, channel Channels) ([]tiles.KeptBar, error) {
	codes, err := s.codes(ctx, w)
	if err != nil {
		return nil, fmt.Errorf("read codes of bars: %w", err)
	}
	list, err := jsonList(codes)
	if err != nil {
		return nil, err
	}
	rows, err := s.read.QueryContext(ctx, `
		SELECT code, id, clay, batch, forming, mark_length_mm, marks, made_on, by, practice, flags, note, rev
		FROM bar WHERE code IN (SELECT value FROM json_each(?)) ORDER BY code`, list)
	if err != nil {
		return nil, fmt.Errorf("read bars: %w", err)
	}
	bars, err := collect(rows, "bars", func(b *tiles.KeptBar) error {
		var flags string
		err := rows.Scan(&b.Code, &b.ID, &b.Clay, &b.Batch, &b.Forming, &b.MarkLength,
			&b.Marks, &b.MadeOn, &b.By,
			&b.Practice, &flags, &b.Note, &b.Revision)
		for _, f := range strings.Fields(flags) {
			b.Flags = append(b.Flags, tiles.Flag(f))
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	at := make(map[tiles.Code]*tiles.KeptBar, len(bars))
	for i := range bars {
		at[bars[i].Code] = &bars[i]
	}
	if err := s.readings(ctx, at, list); err != nil {
		return nil, err
	}
	return bars, s.heats(ctx, at, list, channel)
}

// codes gives the codes of the bars that the filter lets pass, in order. Each sort of filter
// has the statement that its index wants.
func (s BarStore) codes(ctx context.Context, w tiles.BarFilter) ([]tiles.Code, error) {
	if w.Code != "" {
		return []tiles.Code{w.Code}, nil
	}
	if len(w.Codes) > 0 {
		return w.Codes, nil
	}
	practice := -1 // either
	if w.Practice != nil {
		practice = 0
		if *w.Practice {
			practice = 1
		}
	}
	args := []any{w.Clay, w.Batch, w.After, w.Load, practice, limited(w.Limit)}
	var statement string
	switch {
	case w.Waiting:
		statement = `
			SELECT DISTINCT b.code FROM load_bar x INDEXED BY load_bar_waiting CROSS JOIN load l ON l.id = x.load CROSS JOIN bar b ON b.code = x.bar
			WHERE x.measured = 0 AND b.flags = '' AND b.code > ?3
				AND ` + loadWaits + `
				AND (?1 = '' OR b.clay = ?1) AND (?2 = '' OR b.batch = ?2) AND (?4 = '' OR x.load = ?4) AND (?5 < 0 OR b.practice = ?5)
			ORDER BY b.code LIMIT ?6`
	case w.Load != "":
		statement = `
			SELECT b.code FROM load_bar x JOIN bar b ON b.code = x.bar
			WHERE x.load = ?4 AND b.code > ?3 AND (?1 = '' OR b.clay = ?1) AND (?2 = '' OR b.batch = ?2) AND (?5 < 0 OR b.practice = ?5)
			ORDER BY b.code LIMIT ?6`
	case w.Clay != "" && w.Batch != "":
		statement = `SELECT code FROM bar WHERE clay = ?1 AND batch = ?2 AND code > ?3 AND (?5 < 0 OR practice = ?5) ORDER BY code LIMIT ?6`
	case w.Clay != "":
		statement = `SELECT code FROM bar WHERE clay = ?1 AND code > ?3 AND (?5 < 0 OR practice = ?5) ORDER BY code LIMIT ?6`
	default:
		statement = `SELECT code FROM bar WHERE code > ?3 AND (?2 = '' OR batch = ?2) AND (?5 < 0 OR practice = ?5) ORDER BY code LIMIT ?6`
	}
	rows, err := s.read.QueryContext(ctx, statement, args...)
	if err != nil {
		return nil, err
	}
	return collect(rows, "codes", func(c *tiles.Code) error { return rows.Scan(c) })
}

// readings gives each bar of the list (JSON) its readings in the order of entry, and what was
// done to them.
func (s BarStore) readings(ctx context.Context, bars map[tiles.Code]*tiles.KeptBar, list string) error {
	rows, err := s.read.QueryContext(ctx, `
		SELECT r.id, r.bar, r.mark, r.stage, coalesce(r.length_mm, 0), r.as_typed, r.unit, r.instrument, r.step_mm, r.dry_g, r.saturated_g, r.suspended_g, r.step_g,
			r.by, r.queued_s, r.unusual, r.outside, r.slip, r.question, coalesce(r.supersedes, ''), c.at_ms, c.trusted
		FROM reading r JOIN change c ON c.seq = r.seq
		WHERE r.bar IN (SELECT value FROM json_each(?)) ORDER BY r.bar, r.seq`, list)
	if err != nil {
		return fmt.Errorf("read readings: %w", err)
	}
	defer rows.Close()
	type place struct {
		bar *tiles.KeptBar
		n   int
	}
	places := map[string]place{}
	for rows.Next() {
		var r tiles.Reading
		var dry, saturated, suspended, step sql.NullFloat64
		var queued float64
		var ms int64
		var asked string
		if err := rows.Scan(&r.ID, &r.Bar, &r.Mark, &r.Stage, &r.Length, &r.AsTyped, &r.Unit, &r.Instrument,
			&r.Step, &dry, &saturated, &suspended, &step,
			&r.By, &queued, &r.Unusual, &r.Outside, &r.EntryError, &asked, &r.Supersedes, &ms,
			&r.Trusted); err != nil {
			return fmt.Errorf("read readings: %w", err)
		}
		r.At, r.Queued = fromMilli(ms), time.Duration(queued*float64(time.Second))
		r.Question = message.Read(asked)
		if dry.Valid {
			r.Mass = &tiles.Mass{Dry: dry.Float64, Saturated: saturated.Float64, Suspended: suspended.Float64,
				Step: step.Float64}
		}
		bar := bars[r.Bar]
		if bar == nil {
			continue // entered between the two statements
		}
		places[r.ID] = place{bar, len(bar.Readings)}
		bar.Readings = append(bar.Readings, r)
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("read readings: %w", err)
	}
	rows, err = s.read.QueryContext(ctx, `
		SELECT a.id, a.op, a.by, a.why, c.at_ms
		FROM reading r JOIN act a ON a.kind = 'reading' AND a.id = r.id JOIN change c ON c.seq = a.seq
		WHERE r.bar IN (SELECT value FROM json_each(?))`, list)
	if err != nil {
		return fmt.Errorf("read what was done to readings: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var id, op string
		var a tiles.Act
		var ms int64
		if err := rows.Scan(&id, &op, &a.By, &a.Why, &ms); err != nil {
			return fmt.Errorf("read what was done to readings: %w", err)
		}
		a.At = fromMilli(ms)
		p, ok := places[id]
		if !ok {
			continue
		}
		switch r := &p.bar.Readings[p.n]; op {
		case "strike":
			r.Struck = &a
		case "confirm":
			r.Confirmed = &a
		case "count":
			r.Counted = &a
		}
	}
	return rows.Err()
}

// heats joins each bar with the firings of its loads, oldest first: the heat work of the channel of its
// shelf, or what was stated for a load without a firing. A firing that goes on has its heat work from its
// peak on. A candling is no firing, and a load that was called off is none.
func (s BarStore) heats(ctx context.Context, bars map[tiles.Code]*tiles.KeptBar, list string,
	channel Channels) error {
	rows, err := s.read.QueryContext(ctx, `
		SELECT x.bar, l.id, x.shelf, l.kind, l.kiln, l.heat_work_c, coalesce(l.unpacked_ms, 0), coalesce(f.over_ms, 0), coalesce(lf.firing, ''), coalesce(f.stands, ''), o.at_ms, coalesce(f.began_ms, 0)
		FROM load_bar x JOIN load l ON l.id = x.load AND l.called_off_ms IS NULL JOIN change o ON o.seq = l.opened
			LEFT JOIN load_firing lf ON lf.load = l.id LEFT JOIN firing f ON f.id = lf.firing
		WHERE x.bar IN (SELECT value FROM json_each(?)) ORDER BY x.bar, l.number, f.began_ms, f.row`, list)
	if err != nil {
		return fmt.Errorf("read the firings of bars: %w", err)
	}
	type joined struct {
		bar  tiles.Code
		heat tiles.Heat
	}
	all, err := collect(rows, "the firings of bars", func(j *joined) error {
		h := &j.heat
		var stated sql.NullFloat64
		var unpacked, over, opened, began int64
		err := rows.Scan(&j.bar, &h.Load, &h.Shelf, &h.Kind, &h.Kiln, &stated, &unpacked, &over, &h.Firing,
			&h.Status, &opened, &began)
		h.Work = kiln.NoTemperature()
		if began > 0 {
			h.Began = fromMilli(began)
		}
		if stated.Valid {
			h.Work, h.ExtraSD = kiln.Celsius(stated.Float64), statedHeatSD
		}
		// when it was over: the end or the unpacking, whichever came first; where heat is stated, at once
		switch {
		case stated.Valid && h.Firing == "":
			h.At = fromMilli(opened)
			if unpacked > 0 && unpacked < opened {
				h.At = fromMilli(unpacked)
			}
		case over > 0 && (unpacked == 0 || over < unpacked):
			h.At = fromMilli(over)
		case unpacked > 0:
			h.At = fromMilli(unpacked)
		}
		return err
	})
	if err != nil {
		return err
	}
	works, err := s.works(ctx, list)
	if err != nil {
		return err
	}
	for i, j := range all {
		bar := bars[j.bar]
		if bar == nil {
			continue // entered between the two statements
		}
		f := works[j.heat.Firing]
		if j.heat.Status == kiln.Ended && !f.Whole() {
			if i+1 < len(all) && all[i+1].bar == j.bar && all[i+1].heat.Load == j.heat.Load ||
				bar.WasIn(j.heat.Load) {
				continue
			}
			// packed
			j.heat = tiles.Heat{Load: j.heat.Load, Shelf: j.heat.Shelf, Kind: j.heat.Kind, Kiln: j.heat.Kiln,
				Work: j.heat.Work, ExtraSD: j.heat.ExtraSD}
		}
		heated(&j.heat, f, channel)
		if !bar.TakenOut(j.heat) {
			bar.Firings = append(bar.Firings, j.heat)
		}
	}
	return nil
}

// heated gives h the heat work of its firing f, by the channel of its shelf.
func heated(h *tiles.Heat, f kiln.Firing, channel Channels) {
	if h.Status != kiln.Ended && h.Status != kiln.Running || f.PeakAfter == 0 && h.Status == kiln.Running {
		return
	}
	if f.PeakAfter > 0 {
		h.Peak = h.Began.Add(f.PeakAfter)
	}
	c := channel(h.Kiln, h.Shelf)
	w, ok := f.WorkOn(c, h.Shelf)
	if !ok || !w.C.Known() {
		return
	}
	h.Work, h.ExtraSD = w.C, w.OwnSD
	if w.From == kiln.FromCurve {
		h.Probe, h.ProbeSD = heatwork.ProbeName(h.Kiln, c, w.Since), float64(w.BiasSD)
	} else {
		h.ExtraSD = w.SD()
	}
}

// works gives the summary, with its heat works, of every firing that a bar of the list (JSON) went through.
func (s BarStore) works(ctx context.Context, list string) (map[kiln.FiringID]kiln.Firing, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT id, stands, summary FROM firing WHERE stands <> 'incomplete' AND id IN (
			SELECT l.firing FROM load_bar x JOIN load_firing l ON l.load = x.load WHERE x.bar IN (SELECT value FROM json_each(?)))`, list)
	if err != nil {
		return nil, fmt.Errorf("read heat works: %w", err)
	}
	type summed struct {
		id     kiln.FiringID
		stands kiln.Status
		data   []byte
	}
	all, err := collect(rows, "heat works", func(f *summed) error {
		return rows.Scan(&f.id, &f.stands, &f.data)
	})
	if err != nil {
		return nil, err
	}
	works := make(map[kiln.FiringID]kiln.Firing, len(all))
	for _, one := range all {
		f, err := codec.ReadSummary(one.data)
		if err != nil {
			return nil, err
		}
		f.Status = one.stands
		works[one.id] = f
	}
	return works, nil
}

// statedHeatSD is the doubt of a heat work that was stated by hand, °C (own): half a cone.
const statedHeatSD = 12
