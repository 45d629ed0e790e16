package lid

import (
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// Seat is the shape of the place that a lid lies in.
type Seat string

const (
	Inset   Seat = "inset"   // lid inside an upright collar, on a ledge
	Flange  Seat = "flange"  // a flange below the lid goes into the mouth
	Cap     Seat = "cap"     // the lid's skirt goes over the neck
	DropIn  Seat = "drop_in" // a rim on the ledge, the lid's well hangs into the opening
	Over    Seat = "over"    // a skirt over the neck and a flange into the mouth
	Stopper Seat = "stopper" // a plug in the mouth
)

// Seats are all six, in the order in which they are offered.
func Seats() []Seat { return []Seat{Inset, Flange, Cap, DropIn, Over, Stopper} }

// lidInside reports whether the lid is the inner part, so that play is collar minus lid.
// Of a cap and an over the lid is outside: play is skirt minus neck.
func (s Seat) lidInside() bool { return s != Cap && s != Over }

// ledged reports whether the lid lies on a ledge and may slip past it when pushed aside.
func (s Seat) ledged() bool { return s == Inset || s == DropIn }

// opens reports whether the question may name an opening, and needs whether it must.
func (s Seat) opens() (may, needs bool) {
	switch s {
	case Inset:
		return true, false
	case DropIn, Over:
		return true, true
	}
	return false, false
}

// CollarName is what the width of the pot is called at this seat.
func (s Seat) CollarName() string {
	switch s {
	case Flange, Stopper:
		return "mouth"
	case Cap, Over:
		return "neck"
	}
	return "gallery, wall to wall"
}

// LidName is what the width of the lid is called at this seat, and where it is taken.
func (s Seat) LidName() string {
	switch s {
	case Flange:
		return "flange, outside"
	case Cap, Over:
		return "skirt, inside"
	case DropIn:
		return "rim"
	case Stopper:
		return "stopper"
	}
	return "lid"
}

// believedCollar is the range in which a collar is believed, in mm (own). Outside it is asked about first; an
// answer all the same carries asked-unusual.
func (s Seat) believedCollar() (low, high tiles.Millimetre) {
	switch s {
	case Flange:
		return 20, 600
	case Stopper:
		return 10, 200
	}
	return 30, 600
}

// Window is the good play of one kind of seat: fired, across, both sides together.
type Window struct {
	Least, Most           tiles.Millimetre // at 100 mm fired and less
	LeastRatio, MostRatio tiles.Ratio      // of the fired diameter; rules where it gives more
}

// At is the window at one fired diameter: both ends grow alike over 100 mm.
func (w Window) At(diameter tiles.Millimetre) (least, most tiles.Millimetre) {
	return max(w.Least, tiles.Millimetre(w.LeastRatio)*diameter),
		max(w.Most, tiles.Millimetre(w.MostRatio)*diameter)
}

// Defaults is what the settings say where a question says nothing.
type Defaults struct {
	Windows   map[Seat]Window  // one a seat
	Bearing   tiles.Millimetre // least overlap that carries the lid when it is pushed to one side
	GlazeFace tiles.Millimetre // thickness of fired glaze on one face
	Step      tiles.Millimetre // what the maker can set; 0: no rounding
	MeasureSD tiles.Millimetre // one reading of a calliper on soft clay, one sd
	FiredSD   tiles.Millimetre // one reading of a calliper on fired ware, one sd
	ThrowSD   tiles.Millimetre // throwing to a calliper, one sd
	Accuracy  string           // where the two sds come from: "default" or "learned"
}

// UsualDefaults are the defaults that the program comes with. All are our own but the glaze
// face (from memory); none was tuned.
func UsualDefaults() Defaults {
	ledge := Window{Least: 1.0, Most: 2.5, LeastRatio: 0.010, MostRatio: 0.025}
	skirt := Window{Least: 1.0, Most: 3.0, LeastRatio: 0.010, MostRatio: 0.030}
	plug := Window{Least: 0.3, Most: 1.0, LeastRatio: 0.003, MostRatio: 0.010}
	return Defaults{
		Windows: map[Seat]Window{Inset: ledge, Flange: ledge, DropIn: ledge, Cap: skirt, Over: skirt,
			Stopper: plug},
		Bearing:   1.0,
		GlazeFace: 0.3,
		Step:      0.5,
		MeasureSD: 0.3,
		FiredSD:   0.05,
		ThrowSD:   0.5,
		Accuracy:  "default",
	}
}

// Render is the word for s in the reader's language.
func (s Seat) Render(r message.Reader) string { return r.Word(string(s)) }
