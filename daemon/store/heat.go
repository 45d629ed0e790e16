package store

import (
	"context"
	"database/sql"
	"fmt"

	"lidwright/daemon/store/codec"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/tiles"
)

// heats joins each bar with the firings of its loads, oldest first: the heat work of the channel of its shelf, or
// what was stated for a load without a firing. A firing that goes on has its heat work from its peak on. A
// candling is no firing, and a load that was called off is none.
func (s BarStore) heats(ctx context.Context, bars map[tiles.Code]*tiles.KeptBar, list string, channel Channels) error {
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
		err := rows.Scan(&j.bar, &h.Load, &h.Shelf, &h.Kind, &h.Kiln, &stated, &unpacked, &over, &h.Firing, &h.Status, &opened, &began)
		h.Work = kiln.NoTemperature()
		if began > 0 {
			h.Began = fromMilli(began)
		}
		if stated.Valid {
			h.Work, h.ExtraSD = kiln.Celsius(stated.Float64), statedHeatSD
		}
		switch { // when it was over: the end or the unpacking, whichever came first; where heat is stated, at once
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
			if i+1 < len(all) && all[i+1].bar == j.bar && all[i+1].heat.Load == j.heat.Load || bar.WasIn(j.heat.Load) {
				continue
			}
			j.heat = tiles.Heat{Load: j.heat.Load, Shelf: j.heat.Shelf, Kind: j.heat.Kind, Kiln: j.heat.Kiln, Work: j.heat.Work, ExtraSD: j.heat.ExtraSD} // packed
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
	all, err := collect(rows, "heat works", func(f *summed) error { return rows.Scan(&f.id, &f.stands, &f.data) })
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
