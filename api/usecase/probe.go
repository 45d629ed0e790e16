package usecase

import (
	"context"
	"fmt"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// KeepShut is the one in force: the last that was told, else that of the settings.
func (s Kilns) KeepShut(ctx context.Context, id kiln.KilnID) (tiles.KeepShut, error) {
	k, ok := s.KilnNamed(id)
	if !ok {
		return tiles.KeepShut{}, fmt.Errorf("%s: %w", id, record.ErrNoKiln)
	}
	told, err := s.Archive.KeepShuts(ctx, id)
	switch {
	case err != nil:
		return tiles.KeepShut{}, err
	case len(told) > 0:
		return told[0], nil
	}
	return tiles.KeepShut{Kiln: id, Mark: k.KeepShut, Reason: k.KeepShutReason}, nil
}

// KeepShutJSON is a mark as the API tells it; without an id it is that of the settings.
func (s Kilns) KeepShutJSON(m tiles.KeepShut) wire.KeepShut {
	return wire.KeepShut{ID: Text(m.ID), MarkC: Celsius(m.Mark), Reason: m.Reason,
		By: m.By, At: s.Moment(m.At)}
}

// KeepKeepShut keeps above which temperature a kiln is kept shut from now on, and tells the recorder.
func (s Kilns) KeepKeepShut(ctx context.Context, id kiln.KilnID,
	b wire.KeepShutBody) (tiles.PutResult, error) {
	if _, ok := s.KilnNamed(id); !ok {
		return tiles.PutResult{}, refuse("unknown-kiln",
			message.New("No kiln {1} in the settings.", string(id)),
			wire.Field{Name: "kiln", Says: message.New("not in the settings")})
	}
	m := tiles.KeepShut{ID: b.ID, Kiln: id, Mark: kiln.Celsius(b.MarkC), Reason: b.Reason, By: b.By}
	if err := m.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	k, err := s.Archive.PutKeepShut(ctx, m, s.Now())
	if err != nil || !k.New {
		return k, err
	}
	s.Loads().TellKiln(ctx, detect.Fact{Kiln: id, What: detect.MarkSet, At: s.Now(), Mark: m.Mark})
	return k, nil
}

// Shelves is how much the shelves of a kiln differ by the bars of the fit, with a sentence on where to
// pack.
func (s Kilns) Shelves(ctx context.Context, k kiln.KilnID) (wire.Shelves, error) {
	j := wire.Shelves{Kiln: string(k), Shelves: []wire.Shelf{}, Likely: []*float64{},
		Says: message.New("Pack a pot and its lid on one shelf. How the shelves differ is not known: " +
			"lay a bar on each of two in one load, and name the shelf.")}
	fit, _, err := s.Shrink.Fit(ctx)
	if err != nil {
		return j, err
	}
	sp, ok := fit.Shelves(k)
	if !ok {
		return j, nil
	}
	for _, h := range sp.Shelves {
		j.Shelves = append(j.Shelves, wire.Shelf{Shelf: h.Shelf,
			MoreC: Rounded(h.More, 1), SDC: Rounded(h.SD, 1),
			Bars: h.Bars})
	}
	j.Apart, j.Likely, j.OnLidMM, j.Loads = Rounded(sp.Apart, 1),
		[]*float64{Rounded(sp.Low, 1), Rounded(sp.High, 1)}, LengthMM(sp.OnLid), sp.Loads
	j.Says = packingAdvice(sp)
	return j, nil
}

// packingAdvice says where to pack a pot and its lid.
func packingAdvice(sp shrinkage.Shelves) message.Message {
	hot, cool := sp.Shelves[0].Shelf, sp.Shelves[len(sp.Shelves)-1].Shelf
	if sp.Low <= 0 {
		return message.New("Pack a pot and its lid on one shelf. "+
			"The bars do not tell yet which of {1} and {2} is hotter.", hot, cool)
	}
	bare := func(by float64) kiln.Difference { return kiln.Difference{By: by, Bare: true} }
	return message.New("Pack a pot and its lid on one shelf: {1} fires {2} of heat work hotter than {3}, likely {4} to {5}, "+
		"and a lid of {6} fired there comes out {7} smaller.", hot, kiln.Warmer(sp.Apart), cool, bare(sp.Low),
		bare(sp.High), tiles.Measured{Length: 100, Unit: tiles.MM, Places: -1},
		tiles.Measured{Length: sp.OnLid, Unit: tiles.MM, Places: 1})
}

// Wired is how one kiln of the settings is wired: what the settings page shows of it.
type Wired struct {
	Kiln     kiln.KilnID
	Speaks   message.Message // "columns at 9600 baud 8N1, a line each 1s"
	Channels []WiredChannel
	Shelves  []message.Message // "top: probe 2"
}

// WiredChannel is one number of a kiln's reply.
type WiredChannel struct {
	Channel kiln.ChannelID
	Role    kiln.Role
	From    message.Message // column, key or register
	Unit    string
	Couple  *Couple // nil: no thermocouple
}

// Couple is the thermocouple of a channel as the settings have it.
type Couple struct {
	Type       string
	Class      int
	Fitted     string // date; empty: not said
	Linearised bool
	Tolerance  message.Message // how far it may be off while it is new; nothing where that is not known
}

// ProbeLifeRow is one thermocouple of a channel, from when it was fitted until it was taken out.
type ProbeLifeRow struct {
	ID                             string // empty: of the settings, nobody told of it
	Channel, Type, Fitted, Removed string
	Class                          int
	Hours                          float64 // over kiln.ProbeHot
}

// ProbeLives are the lives of the thermocouples of a kiln: those that were told, and where none was
// told of a channel that of the settings.
func (s Kilns) ProbeLives(ctx context.Context, k Wired) ([]ProbeLifeRow, error) {
	told, err := s.Archive.Probes(ctx, k.Kiln)
	if err != nil {
		return nil, err
	}
	var lives []tiles.ProbeLife
	for _, c := range k.Channels {
		n := len(lives)
		for _, t := range told {
			if t.Channel == c.Channel {
				lives = append(lives, t.ProbeLife)
			}
		}
		if n == len(lives) && c.Couple != nil {
			lives = append(lives, tiles.ProbeLife{Kiln: k.Kiln, Channel: c.Channel, Type: c.Couple.Type,
				Class: c.Couple.Class, Fitted: c.Couple.Fitted})
		}
	}
	var rows []ProbeLifeRow
	for _, l := range lives {
		hot, err := s.Hot(ctx, k.Kiln, s.startOf(l.Fitted), s.startOf(l.Removed))
		if err != nil {
			return nil, err
		}
		rows = append(rows, ProbeLifeRow{l.ID, string(l.Channel), l.Type, l.Fitted, l.Removed, l.Class,
			hot[l.Channel].Hours()})
	}
	return rows, nil
}

// startOf is the beginning of a day in the studio's zone; zero for no day.
func (s Kilns) startOf(day string) time.Time {
	t, err := time.ParseInLocation(time.DateOnly, day, s.Site.Zone)
	if err != nil {
		return time.Time{}
	}
	return t
}
