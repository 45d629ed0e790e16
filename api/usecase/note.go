package usecase

import (
	"context"
	"strconv"
	"strings"

	"lidwright/api/caution"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles"
)

func (s Firings) noteJSON(n tiles.Note) wire.Note {
	j := wire.Note{ID: n.ID, Firing: string(n.Firing), Text: n.Text, At: s.Moment(n.At), Incident: n.Incident,
		By: n.By, ClockTrusted: n.Trusted}
	if n.Happened != "" {
		j.At = Text(n.Happened)
	}
	if a := n.Struck; a != nil {
		j.Struck = &wire.Act{By: a.By, Why: a.Why, At: s.Moment(a.At)}
	}
	return j
}

// KeepNote keeps a note of a firing, once for an id.
func (s Firings) KeepNote(ctx context.Context, p wire.NotePath, b wire.NoteBody) (tiles.PutResult, error) {
	f, err := s.FindFiring(ctx, kiln.FiringID(p.ID))
	if err != nil {
		return tiles.PutResult{}, err
	}
	n := tiles.Note{ID: p.Note, Firing: f.ID, Text: b.Text, Happened: b.At, Incident: b.Incident, By: b.By}
	if err := n.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	return s.Archive.PutNote(ctx, n, s.Now())
}

// Note is one note of a firing, crossed out or not; ErrNoNote where there is none.
func (s Firings) Note(ctx context.Context, p wire.NotePath) (wire.Note, error) {
	notes, err := s.Archive.Notes(ctx, kiln.FiringID(p.ID))
	for _, n := range notes {
		if n.ID == p.Note {
			return s.noteJSON(n), nil
		}
	}
	if err == nil {
		err = tiles.ErrNoNote
	}
	return wire.Note{}, err
}

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
		one := wire.Tick{Item: item, Says: caution.Text(caution.Number(number)), Done: t.Done, By: t.By,
			ClockTrusted: t.Trusted}
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

// KeepTick keeps that a line of a check list was done or taken back; subject is the load or the firing.
func (s Firings) KeepTick(ctx context.Context, subject, id string, b wire.TickBody) (tiles.PutResult, error) {
	t := tiles.Tick{ID: id, Subject: subject, Item: b.Item, Done: b.Done, By: b.By}
	if err := t.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	return s.Archive.PutTick(ctx, t, s.Now())
}
