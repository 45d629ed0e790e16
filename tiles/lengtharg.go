package tiles

import (
	"math"
	"strconv"
	"strings"

	"lidwright/kiln/message"
)

// Measured is a length as an argument of a message: a reader sees it in his own unit, who has none in Unit.
type Measured struct {
	Length Millimetre // exact; rounded when it is written
	Unit   LengthUnit // of the studio, or as it was asked
	Bare   bool       // without the name of the unit
	Places int        // in mm: so many, -1 for none, in inches two more than that; 0: as Format
}

// Of is l as an argument of a message.
func (u LengthUnit) Of(l Millimetre) Measured { return Measured{Length: l, Unit: u} }

// Fine is a small difference of lengths as an argument of a message: to 0.01 mm, 0.001 cm or 0.001 in, as a
// 32nd is too coarse for it.
type Fine Millimetre

// Render is d in the reader's unit.
func (d Fine) Render(r message.Reader) string {
	switch LengthUnit(r.Unit) {
	case CM:
		return r.Decimal(float64(d)/10, 3) + " cm"
	case Inch, Inch32nd:
		return r.Decimal(float64(d)/25.4, 3) + " in"
	}
	return r.Decimal(float64(d), 2) + " mm"
}

const coarse Millimetre = 5 // below it a 32nd of an inch tells too little to a reader (own)

// Render is the length as Format writes it, with the reader's decimal sign.
func (m Measured) Render(r message.Reader) string {
	// the reader's own unit goes before that of the message
	unit := m.Unit
	if r.Unit != "" {
		unit = LengthUnit(r.Unit)
		if unit == Inch32nd && math.Abs(float64(m.Length)) < float64(coarse) {
			return Fine(m.Length).Render(r)
		}
	}
	text := unit.Format(m.Length)
	if unit == MM && m.Places != 0 {
		text = strconv.FormatFloat(float64(m.Length), 'f', max(m.Places, 0), 64) + " mm"
	} else if unit == Inch && m.Places != 0 {
		text = strconv.FormatFloat(float64(m.Length)/25.4, 'f', m.Places+2, 64) + " in"
	} else if m.Bare {
		text = unit.Bare(m.Length)
	}
	if r.Comma {
		return strings.Replace(text, ".", ",", 1)
	}
	return text
}
