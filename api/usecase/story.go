package usecase

import (
	"context"
	"fmt"

	"lidwright/api/wire"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Story tells what happened to a bar. Where there is no rate yet, nothing moved it.
func (s Bars) Story(ctx context.Context, p wire.BarPath) (wire.Story, error) {
	bar, err := s.Bar(ctx, p)
	if err != nil {
		return wire.Story{}, err
	}
	var moves []shrinkage.RateChange
	a, err := s.Clays().AskRate(ctx, UsualRate(bar.BatchRef))
	if fit := s.LastFit(); err == nil && fit != nil && bar.InFit() {
		if moves, err = fit.RateHistory(a.Ask); err != nil {
			moves = nil
		}
	}
	loads := map[string]tiles.KeptLoad{}
	for _, h := range bar.Firings {
		l, err := s.Archive.Load(ctx, h.Load)
		if err != nil {
			return wire.Story{}, err
		}
		loads[h.Load] = l
	}
	out := wire.Story{Bar: string(bar.Code), Clay: string(bar.Clay), Batch: string(bar.Batch), Items: []wire.Chapter{}}
	for _, c := range shrinkage.BarHistory(bar, moves) {
		j := wire.Chapter{At: s.Moment(c.At), What: string(c.What), By: c.By, Why: c.Why}
		switch {
		case c.Reading != nil:
			j.Reading, j.Says = c.Reading.ID, readingWords(*c.Reading)
		case c.Heat != nil:
			l := loads[c.Heat.Load]
			j.Load, j.By, j.Says = c.Heat.Load, l.PackedBy, fmt.Sprintf("load %d, %s", l.Number, c.Heat.Kind)
			if c.Heat.Shelf != "" {
				j.Says += ", shelf " + c.Heat.Shelf
			}
			if c.Heat.Work.Known() {
				j.Says += fmt.Sprintf(": heat work %.0f °C", float64(c.Heat.Work))
			}
		case c.Change != nil:
			m := s.Clays().moveJSON(ctx, *c.Change, a)
			j.Move, j.Load = &m, c.Change.Load
			j.Says = fmt.Sprintf("%.2f %% became %.2f %%, with %s", 100*float64(c.Change.Was), 100*float64(c.Change.Now), m.Because[0])
		}
		out.Items = append(out.Items, j)
	}
	return out, nil
}

// readingWords is a reading in words: dry 94.35 mm.
func readingWords(r tiles.Reading) string {
	if m := r.Mass; m != nil {
		return fmt.Sprintf("%s %g g dry, %g g soaked", r.Stage, m.Dry, m.Saturated)
	}
	says := fmt.Sprintf("%s %s %s", r.Stage, r.AsTyped, r.Unit)
	if r.Mark > 1 {
		says += fmt.Sprintf(", marks %d", r.Mark)
	}
	return says
}
