package usecase

import (
	"context"
	"strconv"
	"strings"

	"lidwright/api/caution"
	"lidwright/api/wire"
	"lidwright/tiles"
)

// CheckList is the check list of a load or of a firing; that of a firing has what was ticked on
// its load.
func (s Firings) CheckList(ctx context.Context, subject string) (wire.CheckList, error) {
	ticks, err := s.Archive.Ticks(ctx, subject)
	if err != nil {
		return wire.CheckList{}, err
	}
	last := map[string]tiles.Tick{}
	for _, t := range ticks {
		last[t.Item] = t
	}
	j := wire.CheckList{Standing: caution.StandingLine}
	for _, item := range tiles.CheckList() {
		number, _ := strconv.Atoi(strings.TrimPrefix(item, "caution-"))
		t, told := last[item]
		one := wire.Tick{Item: item, Says: caution.Text(caution.Number(number)), Done: t.Done, By: t.By, ClockTrusted: t.Trusted}
		if told {
			one.At = s.Moment(t.At)
		}
		if !t.Done {
			j.Open++
		}
		j.Items = append(j.Items, one)
	}
	return j, nil
}

func (s Firings) KeepTick(ctx context.Context, subject, id string, b wire.TickBody) (tiles.PutResult, error) {
	t := tiles.Tick{ID: id, Subject: subject, Item: b.Item, Done: b.Done, By: b.By}
	if err := t.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	return s.Archive.PutTick(ctx, t, s.Now())
}
