package usecase

import (
	"context"
	"slices"

	"github.com/google/uuid"

	"lidwright/api/wire"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// TakeTable reads a table of bars and, unless it is a dry run or a row is bad, keeps it whole.
func (s Bars) TakeTable(ctx context.Context, text string, dry bool, told func(done, of int)) (wire.Import, error) {
	out := wire.Import{DryRun: dry, Codes: []string{}, Bad: []wire.BadRow{}, Asked: []wire.AskedRow{}}
	rows, bad, err := tiles.ReadSheet(text, s.Unit(), s.Codes)
	for i := range rows {
		if rows[i].Bar.MarkLength == 0 {
			rows[i].Bar.MarkLength = s.Site.MarkLength
		}
	}
	if err != nil {
		return out, err
	}
	have, err := s.sheetNeeds(ctx, rows)
	if err != nil {
		return out, err
	}
	taken, more := tiles.TakeSheet(rows, have)
	bad = append(bad, more...)
	slices.SortStableFunc(bad, func(a, b tiles.BadRow) int { return a.Line - b.Line })
	for _, b := range bad {
		out.Bad = append(out.Bad, wire.BadRow{Line: b.Line, Field: b.Field, Says: b.Why})
	}
	for _, a := range taken.Asked {
		out.Asked = append(out.Asked, wire.AskedRow{Line: a.Line, Bar: string(a.Bar), Stage: string(a.Stage), Slip: string(a.EntryError), Question: a.Question, Needs: a.Needs})
	}
	out.Rows, out.Readings, out.Same, out.Loads = len(rows), taken.Number, taken.Same, len(taken.Loads)
	for _, b := range taken.Bars {
		if !taken.There[b.Code] {
			out.NewBars++
		}
		if slices.Contains(have.Free, b.Code) {
			out.Codes = append(out.Codes, string(b.Code))
		}
	}
	if dry || len(bad) > 0 {
		return out, nil
	}
	if err := s.Archive.KeepSheet(ctx, taken, s.Now(), told); err != nil {
		return out, err
	}
	out.Kept = true
	s.Shrink.Touch()
	return out, nil
}

// sheetNeeds gathers what is there of what the rows refer to.
func (s Bars) sheetNeeds(ctx context.Context, rows []tiles.SheetRow) (tiles.SheetNeeds, error) {
	fit := s.LastFit()
	have := tiles.SheetNeeds{Batches: map[tiles.ClayID][]tiles.Batch{}, Bars: map[tiles.Code]tiles.Bar{}, At: s.Now().Wall,
		Judge: func(bar tiles.Bar, r *tiles.Reading) { shrinkage.Judge(bar, r, fit) },
		NewID: func(text string) string {
			return uuid.NewSHA1(uuid.NameSpaceURL, []byte("lidwright table: "+text)).String()
		}}
	batches, err := s.Archive.Batches(ctx)
	if err != nil {
		return have, err
	}
	for _, b := range batches {
		have.Batches[b.Clay] = append(have.Batches[b.Clay], b.Batch)
	}
	used, err := s.Archive.UsedCodes(ctx)
	if err != nil {
		return have, err
	}
	var named []tiles.Code
	without := 0
	in := map[tiles.Code]bool{}
	loads := false
	for _, r := range rows {
		switch {
		case r.Bar.Code == "":
			without++
		case used[r.Bar.Code]:
			named = append(named, r.Bar.Code)
		}
		in[r.Bar.Code] = true
		loads = loads || r.LoadBisque != "" || r.LoadFired != ""
	}
	if len(named) > 0 {
		bars, err := s.Archive.Bars(ctx, tiles.BarFilter{Codes: named}, s.Channel)
		if err != nil {
			return have, err
		}
		for _, b := range bars {
			have.Bars[b.Code] = b.Bar
		}
	}
	if without > 0 {
		free, err := s.Codes.Free(without, func(c tiles.Code) bool { return used[c] || in[c] }, s.Chance())
		if err != nil {
			return have, refuse("out-of-range", Sentence(err.Error()), wire.Field{Name: "code", Says: "not enough free codes"})
		}
		have.Free = free
	}
	if loads {
		all, err := s.Archive.Loads(ctx, tiles.LoadFilter{})
		if err != nil {
			return have, err
		}
		for _, l := range all {
			have.Loads = append(have.Loads, l.Load)
		}
	}
	return have, nil
}
