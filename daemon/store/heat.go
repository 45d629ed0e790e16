package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"lidwright/daemon/store/codec"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/tiles"
)

// heats joins each bar with the firings of its loads: the heat work of the channel of its
// shelf, or what was stated for a load without a firing.
func (s BarStore) heats(ctx context.Context, bars map[tiles.Code]*tiles.KeptBar, list string, channel Channels) error {
	rows, err := s.read.QueryContext(ctx, `
		SELECT x.bar, l.id, x.shelf, l.kind, l.kiln, l.heat_work_c, coalesce(l.unpacked_ms, 0), coalesce(f.over_ms, 0), coalesce(l.firing, ''), coalesce(f.stands, ''), o.at_ms, coalesce(f.began_ms, 0)
		FROM load_bar x JOIN load l ON l.id = x.load JOIN change o ON o.seq = l.opened LEFT JOIN firing f ON f.id = l.firing
		WHERE x.bar IN (SELECT value FROM json_each(?)) ORDER BY x.bar, l.number`, list)
	if err != nil {
		return fmt.Errorf("read the firings of bars: %w", err)
	}
	type joined struct {
		bar   tiles.Code
		heat  tiles.Heat
		began time.Time
	}
	all, err := collect(rows, "the firings of bars", func(j *joined) error {
		h := &j.heat
		var stated sql.NullFloat64
		var unpacked, over, opened, began int64
		err := rows.Scan(&j.bar, &h.Load, &h.Shelf, &h.Kind, &h.Kiln, &stated, &unpacked, &over, &h.Firing, &h.Status, &opened, &began)
		j.began = fromMilli(began)
		h.Work = kiln.NoTemperature()
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
	for _, j := range all {
		if j.heat.Status == kiln.Ended {
			if f := works[j.heat.Firing]; f.PeakAfter > 0 {
				j.heat.Peak = j.began.Add(f.PeakAfter)
			}
			c := channel(j.heat.Kiln, j.heat.Shelf)
			if w, ok := works[j.heat.Firing].WorkOn(c, j.heat.Shelf); ok && w.C.Known() {
				j.heat.Work, j.heat.ExtraSD = w.C, w.OwnSD
				if w.From == kiln.FromCurve {
					j.heat.Probe, j.heat.ProbeSD = heatwork.ProbeName(j.heat.Kiln, c, w.Since), float64(w.BiasSD)
				} else {
					j.heat.ExtraSD = w.SD()
				}
			}
		}
		if bar := bars[j.bar]; bar != nil {
			bar.Firings = append(bar.Firings, j.heat)
		}
	}
	return nil
}

// works gives the summary, with its heat works, of every firing that a bar of the list (JSON) went through.
func (s BarStore) works(ctx context.Context, list string) (map[kiln.FiringID]kiln.Firing, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT id, summary FROM firing WHERE stands = 'ended' AND id IN (
			SELECT l.firing FROM load_bar x JOIN load l ON l.id = x.load WHERE x.bar IN (SELECT value FROM json_each(?)))`, list)
	if err != nil {
		return nil, fmt.Errorf("read heat works: %w", err)
	}
	type summed struct {
		id   kiln.FiringID
		data []byte
	}
	all, err := collect(rows, "heat works", func(f *summed) error { return rows.Scan(&f.id, &f.data) })
	if err != nil {
		return nil, err
	}
	works := make(map[kiln.FiringID]kiln.Firing, len(all))
	for _, one := range all {
		f, err := codec.ReadSummary(one.data)
		if err != nil {
			return nil, err
		}
		works[one.id] = f
	}
	return works, nil
}

// statedHeatSD is the doubt of a heat work that was stated by hand, °C (own): half a cone.
const statedHeatSD = 12
