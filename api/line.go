package api

import (
	"context"

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

type linesJSON struct {
	Items []LineJSON `json:"items"`
}

// LineJSON is a Line as it is written.
type LineJSON struct {
	Kiln    string        `json:"kiln"`
	Port    string        `json:"port" doc:"Device of the settings; empty for a kiln kept by hand"`
	Open    bool          `json:"open"`
	Waits   string        `json:"waits" doc:"What is waited for, in words; empty while the port is open"`
	Words   []string      `json:"words" doc:"What was heard in the last minute, in words"`
	Look    []string      `json:"look" doc:"Those of the words that ask to be looked at"`
	Sends   []string      `json:"sends" doc:"All that is ever sent to the controller"`
	ForS    *float64      `json:"for_s" doc:"How long the counts below look back"`
	Good    int           `json:"good"`
	Bad     int           `json:"bad"`
	ReadAt  *string       `json:"read_at"`
	Last    []lastJSON    `json:"last"`
	Orders  []orderJSON   `json:"orders" doc:"Numbers of 32 bits off a Modbus line in every order of bytes"`
	Outcome outcomesTotal `json:"lines_total"`
}

type lastJSON struct {
	Channel      string   `json:"channel"`
	TemperatureC *float64 `json:"temperature_c"`
	Fault        string   `json:"fault"`
}

type orderJSON struct {
	Channel string              `json:"channel"`
	Set     string              `json:"set"`
	Values  map[string]*float64 `json:"values"`
}

type outcomesTotal struct {
	Good       uint64 `json:"good"`
	Garbled    uint64 `json:"garbled"`
	Silent     uint64 `json:"silent"`
	Breakvalue uint64 `json:"breakvalue"`
}

// JSON is l as it is written; at writes a stamp.
func (l Line) JSON(at func(kiln.Stamp) *string) LineJSON {
	j := LineJSON{Kiln: string(l.Kiln), Port: l.Port, Open: l.Open, Waits: l.Waits, Words: append([]string{}, l.Words...), Look: append([]string{}, l.Look...), Sends: append([]string{}, l.Sends...),
		ForS: rounded(l.Window, 0), Good: l.GoodMinute, Bad: l.BadMinute, Last: []lastJSON{}, Orders: []orderJSON{},
		Outcome: outcomesTotal{l.Good, l.Garbled, l.Silent, l.Breakvalue}}
	if l.LastAt != (kiln.Stamp{}) {
		j.ReadAt = at(l.LastAt)
	}
	for _, v := range l.Last {
		one := lastJSON{Channel: string(v.Channel), Fault: string(v.Fault)}
		if v.Fault == kiln.Good {
			one.TemperatureC = celsius(v.T)
		}
		j.Last = append(j.Last, one)
	}
	for _, o := range l.Orders {
		one := orderJSON{Channel: string(o.Channel), Set: o.Set, Values: map[string]*float64{}}
		for order, v := range o.Values {
			one.Values[order] = rounded(v, 3)
		}
		j.Orders = append(j.Orders, one)
	}
	return j
}

func (s *Server) linesNow() []LineJSON {
	items := []LineJSON{}
	for _, l := range s.Lines() {
		items = append(items, l.JSON(func(at kiln.Stamp) *string { return s.moment(at.Wall) }))
	}
	return items
}

func (s *Server) getLines(context.Context, *struct{}) (*struct{ Body linesJSON }, error) {
	return &struct{ Body linesJSON }{linesJSON{s.linesNow()}}, nil
}
