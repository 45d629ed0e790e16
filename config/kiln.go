package config

import (
	"time"

	"lidwright/kiln"
	"lidwright/kiln/thermocouple"
)

// Kiln is one kiln of the settings: the line it hangs on, what it says there, and what is in it.
type Kiln struct {
	ID kiln.KilnID `key:"-"`

	Was     []string      `key:"was"` // names that it had: what was recorded under them is its own
	Fuel    string        `key:"fuel" words:"electric gas wood other unknown"`
	Port    string        `key:"port"` // by-id or by-path link; "" = no line, by hand only; replay: a file
	Speed   int           `key:"speed"`
	Framing string        `key:"framing" words:"8N1 8N2 8E1 8E2 8O1 8O2 7N2 7E1 7E2 7O1 7O2"`
	Every   time.Duration `key:"every" min:"100ms" max:"1h"`

	Reply        string   `key:"reply" words:"columns keyvalue json pattern modbus replay"`
	Separator    string   `key:"separator"`
	DecimalComma bool     `key:"decimal_comma"`
	Terminator   string   `key:"terminator"`
	Checksum     string   `key:"checksum" words:"none xor sum8 crc16"`
	Pattern      string   `key:"pattern"`     // regular expression of the whole line with named groups
	TimeColumn   string   `key:"time_column"` // the device's own time; "" = time of arrival
	Select       string   `key:"select"`      // what a line must begin with
	PollBytes    []string `key:"poll_bytes"`  // all that is ever sent; [] = listen only
	PollOther    bool     `key:"poll_other"`
	PollReason   string   `key:"poll_reason"`

	Channels []Channel `key:"-" named:"channel"` // in the order of the file
	Probes   []Probe   `key:"-" named:"probe"`
	Shelves  shelves   `key:"shelf"`

	// needed; a notice when passed, no more
	LimitC         float64        `key:"limit_c" min:"100" max:"1850"`
	KeepShutAboveC float64        `key:"keep_shut_above_c" min:"20" max:"200" why:"50 unless there is a reason, and never over 200, where hot air and ware burn at once"`
	KeepShutReason string         `key:"keep_shut_reason"` // needed over 50
	Control        kiln.ChannelID `key:"control"`          // after Load: never "" while there is a probe
}

// Channel is one number of a reply. From is for every form but modbus; the register's fields are
// for modbus alone.
type Channel struct {
	ID           kiln.ChannelID `key:"-"`
	From         Column         `key:"from"` // column number from 1 or name, key, JSON path, group
	Unit         string         `key:"unit" words:"c f k mv"`
	ColdJunction kiln.ChannelID `key:"cold_junction"`
	Scale        float64        `key:"scale"` // value = raw * scale + offset, in the unit
	Offset       float64        `key:"offset"`
	Role         kiln.Role      `key:"role" words:"probe room vent other"`

	UnitID   int    `key:"unit_id" min:"1" max:"247"`
	Function int    `key:"function" min:"3" max:"4"`
	Register int    `key:"register" min:"0" max:"65535"` // as on the wire, from 0
	Type     string `key:"type" words:"int16 uint16 int32 uint32 float32"`
	Order    string `key:"order" words:"abcd badc cdab dcba"`
}

// Probe is the thermocouple of a channel.
type Probe struct {
	Channel    kiln.ChannelID     `key:"-"`
	Type       thermocouple.Type  `key:"type"`
	Class      thermocouple.Class `key:"class" min:"1" max:"2"`
	FittedOn   Date               `key:"fitted_on"`  // zero = not known
	Linearised bool               `key:"linearised"` // false: a fixed-slope front end to be undone
}

// shelves says which probe has the heat of a shelf's bars; a shelf not named has that of Control.
type shelves = map[string]kiln.ChannelID

// DefaultKiln holds what a kiln has where its table says nothing. LimitC and Reply have no default.
func DefaultKiln() Kiln {
	return Kiln{
		Was: []string{}, Fuel: "unknown", Speed: 9600, Framing: "8N1", Every: time.Second,
		Separator: ",", Terminator: "\n", Checksum: "none", PollBytes: []string{},
		KeepShutAboveC: 50,
	}
}

// DefaultChannel holds what a channel has where its table says nothing. A channel that another
// names as its cold junction has the role "other" where nothing is said.
func DefaultChannel() Channel {
	return Channel{Scale: 1, Role: kiln.RoleProbe, UnitID: 1, Function: 3, Type: "int16", Order: "abcd"}
}

// DefaultProbe holds what a probe has where its table says nothing. Type has no default.
func DefaultProbe() Probe { return Probe{Class: 2, Linearised: true} }

// Kiln is what the trade needs to know of k.
func (k Kiln) Kiln() kiln.Kiln {
	out := kiln.Kiln{
		ID:             k.ID,
		Control:        k.Control,
		Limit:          kiln.Celsius(k.LimitC),
		KeepShut:       kiln.Celsius(k.KeepShutAboveC),
		KeepShutReason: k.KeepShutReason,
		Shelves:        k.Shelves,
		Every:          k.Every,
	}
	if k.Fuel != "unknown" {
		out.Fuel = k.Fuel
	}
	for _, c := range k.Channels {
		out.Channels = append(out.Channels, kiln.Channel{ID: c.ID, Role: c.Role})
	}
	return out
}

// Channel is the channel of that name.
func (k Kiln) Channel(id kiln.ChannelID) (Channel, bool) {
	for _, c := range k.Channels {
		if c.ID == id {
			return c, true
		}
	}
	return Channel{}, false
}

// Probe is the thermocouple of that channel.
func (k Kiln) Probe(channel kiln.ChannelID) (Probe, bool) {
	for _, p := range k.Probes {
		if p.Channel == channel {
			return p, true
		}
	}
	return Probe{}, false
}
