package lid

import (
	"time"

	"lidwright/kiln/message"
	"lidwright/tiles"
)

// Outcomes counts how the lids of a board sat. Set it on: it won't go in, too big. Turn it full
// circle: it binds one way, tight. Push it to one side: it slips past the ledge, drops in.
// Let go: it rattles, loose; else good.
type Outcomes struct {
	// by how they sat
	TooBig, Tight, Good, Loose, DropsIn int
	// counted and not told; they teach nothing
	NotLookedAt int
}

// Lids is how many lids were counted, looked at or not.
func (s Outcomes) Lids() int {
	return s.TooBig + s.Tight + s.Good + s.Loose + s.DropsIn + s.NotLookedAt
}

// Losses counts lids of which nothing was said how they sat, by cause. None of them teaches a size.
type Losses struct {
	Glued   int // held by glaze
	Rocks   int // warped
	Chipped int // broken at the edge
	Dropped int // fell
}

// Lids is how many lids were lost.
func (l Losses) Lids() int { return l.Glued + l.Rocks + l.Chipped + l.Dropped }

// Result is how the lids of one board sat after the last firing. It is a fact: struck, never changed.
type Result struct {
	ID   string // UUID made by the client
	Load string // id of the load, or empty
	// ids of the pot cards whose lids these are; none: the board is kept and teaches nothing
	Pots       []string
	Form       string             // as people call it
	Maker      string             // who threw the lids
	Seat       Seat               // where the lids lie
	SeatGlazed bool               // glaze on the seat
	Body, Lid  tiles.BatchRef     // clays of pot and lid
	Sat        Outcomes           // how the lids sat
	Losses     Losses             // lids of which nothing can be said how they sat
	Plays      []tiles.Millimetre // fired plays measured on this board, across
	Thrown     []tiles.Millimetre // widths as thrown
	// in force when it was judged; kept, so that a changed setting changes nothing past
	Limits  *Limits
	By      string     // who looked
	At      time.Time  // when they were looked at
	Trusted bool       // the clock could be trusted
	Struck  *tiles.Act // nil: it counts
}

// Limits is what made a lid good when it was judged, fired, in mm at that diameter.
type Limits struct {
	// mm, fired, across
	LeastPlay, MostPlay, Bearing tiles.Millimetre
}

const (
	mostLids  = 500
	mostPlay  = 20 // mm
	mostSizes = 500
)

// OutOf says how many lids the board had: those that nobody told of were not looked at. The error
// is InvalidFields: more were told of than there were.
func (v *Result) OutOf(lids int) error {
	var f tiles.Faults
	told := v.Sat.Lids() + v.Losses.Lids()
	if told > lids {
		f.Add(tiles.OutOfRange, "counts", "{1} lids told of, the board had {2}: name the other pots, or count again", told, lids)
		return f.Err()
	}
	v.Sat.NotLookedAt += lids - told
	return nil
}

// Validate puts the texts of v into their usual form and tells every fault.
func (v *Result) Validate() error {
	var f tiles.Faults
	f.ID("id", &v.ID)
	f.IDOrNone("load", &v.Load)
	if len(v.Pots) > mostLids {
		f.Add(tiles.OutOfRange, "pots", "are more than 500")
	}
	for i := range v.Pots {
		f.ID("pots", &v.Pots[i])
	}
	f.Needed("form", &v.Form)
	f.Maker("maker", &v.Maker)
	f.Maker("by", &v.By)
	tiles.OneOf(&f, "seat", v.Seat, Seats()...)
	f.BatchRef("body", v.Body)
	f.BatchRef("lid", v.Lid)
	counts := []struct {
		field string
		n     int
	}{
		{"counts.too_big", v.Sat.TooBig}, {"counts.tight", v.Sat.Tight}, {"counts.good", v.Sat.Good},
		{"counts.loose", v.Sat.Loose}, {"counts.drops_in", v.Sat.DropsIn},
		{"counts.not_looked_at", v.Sat.NotLookedAt},
		{"losses.glued", v.Losses.Glued}, {"losses.rocks", v.Losses.Rocks},
		{"losses.chipped", v.Losses.Chipped}, {"losses.dropped", v.Losses.Dropped},
	}
	for _, c := range counts {
		f.Number(c.field, float64(c.n), 0, mostLids)
	}
	lids := v.Sat.Lids() + v.Losses.Lids()
	if lids == 0 {
		f.Add(tiles.Missing, "counts", "no lid was counted")
	}
	if len(v.Plays) > v.Sat.Lids() {
		f.Add(tiles.OutOfRange, "plays_mm", "{1} plays measured, {2} lids counted", len(v.Plays),
			v.Sat.Lids())
	}
	if len(v.Thrown) > mostSizes {
		f.Add(tiles.OutOfRange, "thrown_mm", "has more than 500 widths")
	}
	for _, p := range v.Plays {
		f.Within("plays_mm", float64(p)) // below 0: it does not go in by so much
	}
	for _, w := range v.Thrown {
		f.Within("thrown_mm", float64(w))
	}
	if m := v.Limits; m != nil {
		f.Within("least_play_mm", float64(m.LeastPlay))
		f.Within("most_play_mm", float64(m.MostPlay))
		f.Within("bearing_mm", float64(m.Bearing))
		if m.LeastPlay > m.MostPlay {
			f.Add(WindowEmpty, "least_play_mm", "larger than most_play_mm")
		}
	}
	return f.Err()
}

// ErrNoResult means that no lids of that id were told of.
var ErrNoResult = message.NewError("no such lid result")

// ResultFilter narrows a list of boards of lids down.
type ResultFilter struct {
	ID    string       // one board
	Form  string       // of that form
	Clay  tiles.ClayID // of body or lid
	Load  string       // id; boards out of that load
	After string       // said before the board of this id, for lists in parts
	Limit int          // 0: all
}

// GroupCount is what the boards of one form, its two clays and maker come to, struck ones left out.
type GroupCount struct {
	DifferenceGroup
	// told of
	Boards int
	// of all together
	Sat Outcomes
	// of all together
	Losses Losses
}
