package source

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// PortState says how the port is.
type PortState string

const (
	PortWaiting PortState = "waiting" // not open: absent, busy or not permitted; tried again and again
	PortOpen    PortState = "open"
	PortGone    PortState = "gone" // was open and went away; tried again and again
	PortOver    PortState = "over" // a recorded line that has been played to its end, or Run has ended
)

// Heard is what a line heard, for the settings page, `lidwright check` and the metrics. It is a copy.
type Heard struct {
	Port    string            // as in the settings
	State   PortState         // how it is now
	Waiting message.Message   // what is waited for: "/dev/...: no such device"; nothing while open
	Warning message.Message   // about the name of the port; nothing if it is fine
	Opened  int               // how often the port was opened
	Sends   []message.Message // all that is ever sent: poll strings, or the registers read
	Guess   message.Message   // "looks like 9600 baud, you set 19200"; nothing where it cannot be told
	For     time.Duration     // how long it has been listened to
	Kilns   []KilnHeard       // of this line, in the order of the settings
}

// KilnHeard is what was heard of one kiln. The counts begin with the program.
type KilnHeard struct {
	Kiln                              kiln.KilnID
	Good, Garbled, Silent, Breakvalue uint64
	// good lines left out because they came faster than asked for
	Crowded               uint64
	GoodMinute, BadMinute int               // lines of the last 60 s
	Window                time.Duration     // those 60 s, or less where it was listened to for less
	Ever                  bool              // a line with a good value was ever heard
	Last                  kiln.Sample       // the last one that had a good value
	BadLines              []BadLine         // the last few
	Hint                  message.Message   // what the form of the lines suggests
	Absent                []message.Message // channels of the settings that no line had
	// modbus: the last numbers of 32 bits, in every order of bytes
	Orders []Decoded
	// about the unit, while the kiln may be cold; nothing else
	Question message.Message
	Sends    []message.Message // all that is ever sent for it
	bare     []kiln.ChannelID  // channels that are no temperature
}

// BadLine is a line that made no sense.
type BadLine struct {
	At   kiln.Stamp      // when it came
	Line string          // as it came, any bytes
	Why  message.Message // in words for the owner
}

// Remark is a line of what was heard.
type Remark struct {
	Says message.Message // a clause without its stop
	Look bool            // something to be looked at
}

// PortRemarks say how the port is.
func (h Heard) PortRemarks() []Remark {
	var out []Remark
	switch h.State {
	case PortOpen:
		out = append(out, Remark{message.New("port {1} is open", h.Port), false})
	case PortOver:
		out = append(out, Remark{message.New("port {1}: {2}", h.Port, h.Waiting), false})
	default:
		out = append(out, Remark{message.New("waiting for {1}", h.Waiting), true})
	}
	for _, more := range []message.Message{h.Warning, h.Guess} {
		if !more.IsZero() {
			out = append(out, Remark{more, true})
		}
	}
	return out
}

// Remarks say what was heard of the kiln.
func (k KilnHeard) Remarks() []Remark {
	out := []Remark{{k.words(), k.GoodMinute == 0 || k.BadMinute > 0}}
	for _, more := range append([]message.Message{k.Hint, k.Question}, k.Absent...) {
		if !more.IsZero() {
			out = append(out, Remark{message.New("{1}: {2}", k.Kiln, more), true})
		}
	}
	for _, d := range k.Orders {
		out = append(out, Remark{message.New("{1}: {2}", k.Kiln, d.Says()), false})
	}
	return out
}

// words says in one clause how many lines came, what the last said, and the last bad one.
func (k KilnHeard) words() message.Message {
	lines := message.Count(k.GoodMinute, "{1} good line", "{1} good lines")
	long := message.Number{Value: k.Window.Seconds()}
	says := message.New("{1}: received {2} in {3} s", k.Kiln, lines, long)
	if k.BadMinute > 0 {
		says = message.New("{1}: received {2} in {3} s and {4} bad", k.Kiln, lines, long, k.BadMinute)
	}
	if !k.Ever {
		says = message.New("{1}, no reading yet", says)
	} else {
		var said []message.Message
		for _, v := range k.Last.Values {
			switch {
			case v.Fault == kiln.Good && slices.Contains(k.bare, v.Channel):
				said = append(said, message.New("{1} {2}", v.Channel, fmt.Sprintf("%.4g", v.T)))
			case v.Fault == kiln.Good:
				said = append(said, message.New("{1} {2}", v.Channel, kiln.Tenth(v.T)))
			default:
				said = append(said, message.New("{1} {2}", v.Channel, message.Word(v.Fault)))
			}
		}
		says = message.New("{1}, last {2}", says, message.Join(", ", said...))
	}
	if n := len(k.BadLines); n > 0 && k.BadMinute > 0 {
		bad := k.BadLines[n-1]
		says = message.New("{1}; last bad line {2}: {3}", says, strconv.QuoteToASCII(bad.Line), bad.Why)
	}
	return says
}

// absentInWords says of each channel that no line had where the settings look for it, and what the line has.
func (k Kiln) absentInWords(none []Channel, line string) []message.Message {
	var out []message.Message
	for _, c := range none {
		says := message.New("channel {1} is absent: nothing stands at from = {2}",
			c.ID, strconv.Quote(c.From))
		if there := placesOf(k, line); len(there) > 0 && (k.Reply == "json" || k.Reply == "keyvalue") {
			says = message.New("{1}; the line has {2}", says, strings.Join(there, ", "))
		}
		if k.Reply == "json" {
			says = message.New("{1}. A path is the keys with points between, the first of a list is 0: {2}",
				says, "probe.0.t")
		}
		out = append(out, says)
	}
	return out
}

// question asks about the room while a kiln may be cold, which settles °C or °F: what is 19 °C is
// 66 °F, and a line that is taken for the other unit is off by so much that its owner sees it.
func (k Kiln) question(last kiln.Sample) message.Message {
	for _, c := range k.Channels {
		v, ok := last.Value(c.ID)
		if c.Role != kiln.RoleProbe || !ok || v.Fault != kiln.Good {
			continue
		}
		// the same reading taken for the other of °C and °F
		other, name, turned := "", "", 0.0
		switch c.Unit {
		case "c":
			other, name, turned = "f", "°F", (float64(v.T)-32)/1.8
		case "f":
			other, name, turned = "c", "°C", float64(v.T)*1.8+32
		}
		// it would be as warm as a room then: the unit may be the wrong one
		mistaken := other != "" && turned >= 0 && turned <= 45 // as warm as rooms are
		if v.T < -20 || v.T > 45 && !mistaken {
			return message.Message{}
		}
		if mistaken {
			return message.New("now {1}: is that about the room? If the kiln is cold and the room is nearer {2}, "+
				"the line is in {3}: set {4} for channel {5}", kiln.Tenth(v.T), kiln.Celsius(turned), name,
				fmt.Sprintf("unit = %q", other), c.ID)
		}
		return message.New("now {1}: is that about the room? If the kiln is cold and it is, {2} is right",
			kiln.Tenth(v.T),
			fmt.Sprintf("unit = %q", c.Unit))
	}
	return message.Message{}
}
