package usecase

import (
	"context"
	"math"

	"lidwright/api/wire"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// Diary is what the boards of one form taught, one after another.
type Diary struct {
	Form   string
	Boards []DiaryBoard // the newest first
	Sat    lid.Outcomes // of every board of the form, those crossed out left out
	Losses lid.Losses
	Of     int // boards of the form
}

// DiaryBoard is one board: what was expected of its lids, how they sat, and how far that moved the next lid.
type DiaryBoard struct {
	wire.LidResult
	Numbers   []string         // of its pots, where they have cards
	Predicted tiles.Millimetre // gap when fired, by what was known before; NaN: not known
	Moved     tiles.Millimetre // the next lid larger by so much, as thrown; NaN: it teaches nothing
}

// Diary tells of the newest boards of a form, at most of most.
func (s Lids) Diary(ctx context.Context, form string, most int) (Diary, error) {
	d := Diary{Form: form}
	boards, err := s.Archive.LidResults(ctx, lid.ResultFilter{Form: form})
	if err != nil || len(boards) == 0 {
		return d, err
	}
	l, err := s.Learned(ctx)
	if err != nil {
		return d, err
	}
	moves, at := lid.Moves(l.sats, form, most), map[string]int{}
	for i, id := range l.told {
		at[id] = i
	}
	for _, b := range boards {
		if b.Struck == nil {
			d.Of++
			d.Sat, d.Losses = addOutcomes(d.Sat, b.Sat), addLosses(d.Losses, b.Losses)
		}
		if len(d.Boards) == most {
			continue
		}
		one := DiaryBoard{LidResult: s.lidResultJSON(b, l.boards[b.ID]),
			Predicted: tiles.Millimetre(math.NaN()),
			Moved:     tiles.Millimetre(math.NaN())}
		var set tiles.Millimetre
		for _, id := range b.Pots {
			card, err := s.Archive.Pot(ctx, id)
			if err != nil {
				return d, err
			}
			one.Numbers = append(one.Numbers, card.Number)
			set = max(set, card.Set)
		}
		if t := l.boards[b.ID]; t.Sat.Lid != 0 {
			one.Predicted = t.Sat.Play
			if i, ok := at[b.ID]; ok {
				if set == 0 {
					set = t.Sat.Lid
				}
				if m, known := moves[i]; known {
					one.Predicted += t.Sat.Lid * tiles.Millimetre(m.Before) / 100
					one.Moved = set * tiles.Millimetre(m.After-m.Before) / 100
				}
			}
		}
		d.Boards = append(d.Boards, one)
	}
	return d, nil
}

func addOutcomes(a, b lid.Outcomes) lid.Outcomes {
	return lid.Outcomes{TooBig: a.TooBig + b.TooBig, Tight: a.Tight + b.Tight, Good: a.Good + b.Good,
		Loose: a.Loose + b.Loose, DropsIn: a.DropsIn + b.DropsIn, NotLookedAt: a.NotLookedAt + b.NotLookedAt}
}

func addLosses(a, b lid.Losses) lid.Losses {
	return lid.Losses{Glued: a.Glued + b.Glued, Rocks: a.Rocks + b.Rocks, Chipped: a.Chipped + b.Chipped,
		Dropped: a.Dropped + b.Dropped}
}
