package source

import (
	"time"

	"lidwright/kiln"
	"lidwright/kiln/thermocouple"
)

// Settings are those of one serial line and of every kiln that speaks on it. New refuses what
// cannot work.
type Settings struct {
	Port    string // by-id or by-path link; for reply "replay" the file that is played back
	Speed   int    // baud
	Framing string // "8N1": data bits, parity N, E or O, stop bits
	Kilns   []Kiln // one at least; the first tells terminator and way of asking for all
}

// Kiln is how one kiln speaks on its line. The words are those of the settings file.
type Kiln struct {
	ID    kiln.KilnID   // of the settings, unique on the line
	Every time.Duration // period of the readings: how often to ask, or how often to expect a line

	Reply        string // columns, keyvalue, json, pattern, modbus, replay
	Separator    string // between columns or pairs; " " means any run of blanks
	DecimalComma bool   // numbers have a comma where others have a point
	Terminator   string // of a line; CR, LF and CR LF are all taken for "\n", "\r" and "\r\n"
	Checksum     string // none, xor, sum8, crc16
	Pattern      string // regular expression with named groups; it must match the whole line
	TimeColumn   string // where the device's own time is; "" = time of arrival
	Select       string // what a line of this kiln begins with; it is cut off before reading
	// strings that are sent in turn, each followed by Terminator; none: it speaks unasked
	Poll       []string
	PollOther  bool   // poll strings may end in something other than "?"
	PollReason string // why that does no harm

	Channels []Channel // in the order of the values of a sample
}

// Channel is one number of a reply.
type Channel struct {
	ID           kiln.ChannelID    // unique within the kiln
	Role         kiln.Role         // a vent may tell words, on and off
	From         string            // column number from 1 or name, key, JSON path, group; not for modbus
	Unit         string            // c, f, k, mv
	ColdJunction kiln.ChannelID    // channel of the cold junction, "" if there is none
	Scale        float64           // value = raw * Scale + Offset, in Unit; never 0
	Offset       float64           // in Unit
	Type         thermocouple.Type // of the couple; 0 where there is none or it does not matter
	Linearised   bool              // false: a fixed-slope front end, undone where the cold junction is sent

	UnitID   int    // modbus, 1 to 247
	Function int    // modbus, 3 or 4
	Register int    // modbus, as on the wire, from 0
	Number   string // modbus: int16, uint16, int32, uint32, float32
	Order    string // modbus, of 32 bits: abcd, badc, cdab, dcba
}

// modbus reports whether the kiln is read by registers.
func (k Kiln) modbus() bool { return k.Reply == "modbus" }

// asked reports whether the kiln speaks only when asked.
func (k Kiln) asked() bool { return k.modbus() || len(k.Poll) > 0 }

// channel is one of the kiln's channels; ok is false if it has none of that id.
func (k Kiln) channel(id kiln.ChannelID) (Channel, bool) {
	for _, c := range k.Channels {
		if c.ID == id {
			return c, true
		}
	}
	return Channel{}, false
}

// words is how wide the channel's number is, in registers of 16 bits.
func (c Channel) words() int {
	switch c.Number {
	case "int32", "uint32", "float32":
		return 2
	}
	return 1
}
