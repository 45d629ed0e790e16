package tiles

import (
	"errors"
	"fmt"
	"time"
)

// Sat counts how the lids of a board sat. Set it on: it won't go in, too big. Turn it full
// circle: it binds one way, tight. Push it to one side: it slips past the ledge, drops in.
// Let go: it rattles, loose; else good.
type Sat struct {
	TooBig, Tight, Good, Loose, DropsIn int
	NotLookedAt                         int
}

// Lids is how many lids were counted, looked at or not.
func (s Sat) Lids() int { return s.TooBig + s.Tight + s.Good + s.Loose + s.DropsIn + s.NotLookedAt }

// Losses counts lids without a verdict, by cause. None of them teaches a size.
type Losses struct {
	Glued   int // held by glaze
	Rocks   int // warped
	Chipped int // broken at the edge
	Dropped int // fell
}

// Lids is how many lids were lost.
func (l Losses) Lids() int { return l.Glued + l.Rocks + l.Chipped + l.Dropped }

// LidBoard is how the lids of one board sat after the last firing. It is a fact: struck, never changed.
type LidBoard struct {
	ID         string   // UUID made by the client
	Load       string   // id of the load, or empty
	Pots       []string // ids of the pot cards whose lids these are; none: the board is kept and teaches nothing
	Form       string
	Maker      string // who threw the lids
	Seat       Seat
	SeatGlazed bool
	Body, Lid  BatchRef
	Sat        Sat
	Losses     Losses
	Plays      []Millimetre // fired plays measured on this board, across
	Thrown     []Millimetre // widths as thrown
	Limits     *FitLimits   // in force when it was judged; kept, so that a changed setting changes nothing past
	By         string       // who looked
	At         time.Time
	Trusted    bool // the clock could be trusted
	Struck     *Act
}

// FitLimits is what made a lid good when it was judged, fired, in mm at that diameter.
type FitLimits struct {
	LeastPlay, MostPlay, Bearing Millimetre
}

const (
	mostLids  = 500
	mostPlay  = 20 // mm
	mostSizes = 500
)

// OutOf says how many lids the board had: those that nobody told of were not looked at. The error
// is InvalidFields: more were told of than there were.
func (v *LidBoard) OutOf(lids int) error {
	var f faults
	told := v.Sat.Lids() + v.Losses.Lids()
	if told > lids {
		f.add(OutOfRange, "counts", fmt.Sprintf("%d lids told of, the board had %d: name the other pots, or count again", told, lids))
		return f.err()
	}
	v.Sat.NotLookedAt += lids - told
	return nil
}

// Validate puts the texts of v into their usual form and tells every fault.
func (v *LidBoard) Validate() error {
	var f faults
	f.id("id", &v.ID)
	f.idOrNone("load", &v.Load)
	if len(v.Pots) > mostLids {
		f.add(OutOfRange, "pots", "are more than 500")
	}
	for i := range v.Pots {
		f.id("pots", &v.Pots[i])
	}
	f.needed("form", &v.Form, longestName)
	f.maker("maker", &v.Maker)
	f.maker("by", &v.By)
	word(&f, "seat", v.Seat, Seats()...)
	f.batchRef("body", v.Body)
	f.batchRef("lid", v.Lid)
	counts := []struct {
		field string
		n     int
	}{
		{"counts.too_big", v.Sat.TooBig}, {"counts.tight", v.Sat.Tight}, {"counts.good", v.Sat.Good},
		{"counts.loose", v.Sat.Loose}, {"counts.drops_in", v.Sat.DropsIn}, {"counts.not_looked_at", v.Sat.NotLookedAt},
		{"losses.glued", v.Losses.Glued}, {"losses.rocks", v.Losses.Rocks},
		{"losses.chipped", v.Losses.Chipped}, {"losses.dropped", v.Losses.Dropped},
	}
	for _, c := range counts {
		f.number(c.field, float64(c.n), 0, mostLids)
	}
	lids := v.Sat.Lids() + v.Losses.Lids()
	if lids == 0 {
		f.add(Missing, "counts", "no lid was counted")
	}
	if len(v.Plays) > v.Sat.Lids() {
		f.add(OutOfRange, "plays_mm", fmt.Sprintf("%d plays measured, %d lids counted", len(v.Plays), v.Sat.Lids()))
	}
	if len(v.Thrown) > mostSizes {
		f.add(OutOfRange, "thrown_mm", "has more than 500 widths")
	}
	for _, p := range v.Plays {
		f.number("plays_mm", float64(p), -mostPlay, mostPlay) // below 0: it does not go in by so much
	}
	for _, w := range v.Thrown {
		f.number("thrown_mm", float64(w), float64(ShortestPiece), float64(LongestPiece))
	}
	if m := v.Limits; m != nil {
		f.number("least_play_mm", float64(m.LeastPlay), 0, mostPlay)
		f.number("most_play_mm", float64(m.MostPlay), 0, mostPlay)
		f.number("bearing_mm", float64(m.Bearing), 0, mostPlay)
		if m.LeastPlay > m.MostPlay {
			f.add("window-empty", "least_play_mm", "larger than most_play_mm")
		}
	}
	return f.err()
}

// ErrNoVerdict means that no lids of that id were told of.
var ErrNoVerdict = errors.New("no such verdict")

// VerdictFilter narrows a list of boards of lids down.
type VerdictFilter struct {
	ID    string
	Form  string
	Clay  ClayID // of body or lid
	Load  string
	After string // said before the board of this id, for lists in parts
	Limit int    // 0: all
}

// Tally is what the boards of one form, its two clays and maker come to, struck ones left out.
type Tally struct {
	PartGroup
	Boards int
	Sat    Sat
	Losses Losses
}
