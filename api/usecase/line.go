package usecase

import (
	"lidwright/api/wire"
	"lidwright/kiln"
)

// Line is how one kiln is heard on its serial line: what the settings page, `lidwright check` and
// the metrics tell of it.
type Line struct {
	Kiln                              kiln.KilnID
	Port                              string
	Open                              bool
	Waits                             string   // what is waited for, in words; empty while the port is open
	Words                             []string // what was heard, in words
	Look                              []string // those of the words that ask to be looked at
	Sends                             []string // all that is ever sent for it, in words
	Good, Garbled, Silent, Breakvalue uint64   // since the start of the program
	GoodMinute, BadMinute             int      // in the last minute
	Window                            float64  // s, that minute, or less where it was listened to for less
	Last                              []kiln.Value
	LastAt                            kiln.Stamp // zero: nothing heard yet
	Orders                            []Order    // of a Modbus line
}

// Order is one number of 32 bits off a Modbus line in every order of its bytes.
type Order struct {
	Channel kiln.ChannelID
	Set     string             // the order of the settings
	Values  map[string]float64 // by order, in the unit of the settings
}

// JSON is l as it is written; at writes a stamp.
func (l Line) JSON(at func(kiln.Stamp) *string) wire.Line {
	j := wire.Line{Kiln: string(l.Kiln), Port: l.Port, Open: l.Open, Waits: l.Waits, Words: append([]string{}, l.Words...), Look: append([]string{}, l.Look...), Sends: append([]string{}, l.Sends...),
		ForS: Rounded(l.Window, 0), Good: l.GoodMinute, Bad: l.BadMinute, Last: []wire.Last{}, Orders: []wire.Order{},
		Outcome: wire.OutcomesTotal{Good: l.Good, Garbled: l.Garbled, Silent: l.Silent, Breakvalue: l.Breakvalue}}
	if l.LastAt != (kiln.Stamp{}) {
		j.ReadAt = at(l.LastAt)
	}
	for _, v := range l.Last {
		one := wire.Last{Channel: string(v.Channel), Fault: string(v.Fault)}
		if v.Fault == kiln.Good {
			one.TemperatureC = Celsius(v.T)
		}
		j.Last = append(j.Last, one)
	}
	for _, o := range l.Orders {
		one := wire.Order{Channel: string(o.Channel), Set: o.Set, Values: map[string]*float64{}}
		for order, v := range o.Values {
			one.Values[order] = Rounded(v, 3)
		}
		j.Orders = append(j.Orders, one)
	}
	return j
}

// LinesNow is what each serial line heard in the last minute, in words and figures.
func (s Kilns) LinesNow() []wire.Line {
	items := []wire.Line{}
	for _, l := range s.Lines() {
		items = append(items, l.JSON(func(at kiln.Stamp) *string { return s.Moment(at.Wall) }))
	}
	return items
}
