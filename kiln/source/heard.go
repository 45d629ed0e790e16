package source

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"lidwright/kiln"
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
	Port    string
	State   PortState
	Waiting string        // in words, what is waited for: "/dev/...: no such device"; "" while open
	Warning string        // about the name of the port; "" if it is fine
	Opened  int           // how often the port was opened
	Sends   []string      // all that is ever sent, in words: poll strings, or the registers read
	Guess   string        // "looks like 9600 baud, you set 19200"; "" where nothing can be told
	For     time.Duration // how long it has been listened to
	Kilns   []KilnHeard
}

// KilnHeard is what was heard of one kiln. The counts begin with the program.
type KilnHeard struct {
	Kiln                              kiln.KilnID
	Good, Garbled, Silent, Breakvalue uint64
	Crowded                           uint64        // good lines left out because they came faster than asked for
	GoodMinute, BadMinute             int           // lines of the last 60 s
	Window                            time.Duration // those 60 s, or less where it was listened to for less
	Ever                              bool          // a line with a good value was ever heard
	Last                              kiln.Sample
	BadLines                          []BadLine        // the last few
	Hint                              string           // what the form of the lines suggests, in words
	Absent                            []string         // channels of the settings that no line had, in words
	Orders                            []Decoded        // modbus: the last numbers of 32 bits, in every order of bytes
	Question                          string           // about the unit, while the kiln may be cold; "" else
	Sends                             []string         // all that is ever sent for it, in words
	bare                              []kiln.ChannelID // channels that are no temperature
}

// BadLine is a line that made no sense.
type BadLine struct {
	At   kiln.Stamp
	Line string // as it came, any bytes
	Why  string
}

// Remark is a line of what was heard in plain English.
type Remark struct {
	Says string
	Look bool // something to be looked at
}

// Words are the remarks alone.
func (h Heard) Words() []string {
	all := h.PortRemarks()
	for _, k := range h.Kilns {
		all = append(all, k.Remarks()...)
	}
	var out []string
	for _, r := range all {
		out = append(out, r.Says)
	}
	return out
}

// PortRemarks say how the port is.
func (h Heard) PortRemarks() []Remark {
	var out []Remark
	switch h.State {
	case PortOpen:
		out = append(out, Remark{fmt.Sprintf("port %s is open", h.Port), false})
	case PortOver:
		out = append(out, Remark{fmt.Sprintf("port %s: %s", h.Port, h.Waiting), false})
	default:
		out = append(out, Remark{fmt.Sprintf("waiting for %s", h.Waiting), true})
	}
	for _, more := range []string{h.Warning, h.Guess} {
		if more != "" {
			out = append(out, Remark{more, true})
		}
	}
	return out
}

// Remarks say what was heard of the kiln.
func (k KilnHeard) Remarks() []Remark {
	out := []Remark{{k.words(), k.GoodMinute == 0 || k.BadMinute > 0}}
	for _, more := range append([]string{k.Hint, k.Question}, k.Absent...) {
		if more != "" {
			out = append(out, Remark{fmt.Sprintf("%s: %s", k.Kiln, more), true})
		}
	}
	for _, d := range k.Orders {
		out = append(out, Remark{fmt.Sprintf("%s: %s", k.Kiln, d), false})
	}
	return out
}

func (k KilnHeard) words() string {
	text := fmt.Sprintf("%s: heard %s in %.0f s", k.Kiln, plural(k.GoodMinute, "good line"), k.Window.Seconds())
	if k.BadMinute > 0 {
		text += fmt.Sprintf(" and %d bad", k.BadMinute)
	}
	if !k.Ever {
		text += ", no reading yet"
	} else {
		var said []string
		for _, v := range k.Last.Values {
			switch {
			case v.Fault == kiln.Good && slices.Contains(k.bare, v.Channel):
				said = append(said, fmt.Sprintf("%s %.4g", v.Channel, v.T))
			case v.Fault == kiln.Good:
				said = append(said, fmt.Sprintf("%s %.1f °C", v.Channel, v.T))
			default:
				said = append(said, fmt.Sprintf("%s %s", v.Channel, v.Fault))
			}
		}
		text += ", last " + strings.Join(said, ", ")
	}
	if n := len(k.BadLines); n > 0 && k.BadMinute > 0 {
		text += fmt.Sprintf("; last bad line %s: %s", strconv.QuoteToASCII(k.BadLines[n-1].Line),
			k.BadLines[n-1].Why)
	}
	return text
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// absentInWords says of each channel that no line had where the settings look for it, and what the line has.
func (k Kiln) absentInWords(none []Channel, line string) []string {
	var out []string
	for _, c := range none {
		text := fmt.Sprintf("channel %s is absent: nothing stands at from = %q", c.ID, c.From)
		if there := placesOf(k, line); len(there) > 0 && (k.Reply == "json" || k.Reply == "keyvalue") {
			text += "; the line has " + strings.Join(there, ", ")
		}
		if k.Reply == "json" {
			text += `. A path is the keys with points between, the first of a list is 0: probe.0.t`
		}
		out = append(out, text)
	}
	return out
}

// question asks about the room while a kiln may be cold, which settles °C or °F: what is 19 °C is
// 66 °F, and a line that is taken for the other unit is off by so much that its owner sees it.
func (k Kiln) question(last kiln.Sample) string {
	for _, c := range k.Channels {
		v, ok := last.Value(c.ID)
		if c.Role != kiln.RoleProbe || !ok || v.Fault != kiln.Good {
			continue
		}
		other, name, turned := "", "", 0.0
		switch c.Unit {
		case "c":
			other, name, turned = "f", "°F", (float64(v.T)-32)/1.8
		case "f":
			other, name, turned = "c", "°C", float64(v.T)*1.8+32
		}
		mistaken := other != "" && turned >= 0 && turned <= 45 // as warm as rooms are
		if v.T < -20 || v.T > 45 && !mistaken {
			return ""
		}
		ask := fmt.Sprintf("now %.1f °C: is that about the room?", v.T)
		if mistaken {
			return ask + fmt.Sprintf(" If the kiln is cold and the room is nearer %.0f °C, the line is in %s: set unit = %q for channel %s", turned, name, other, c.ID)
		}
		return ask + fmt.Sprintf(" If the kiln is cold and it is, unit = %q is right", c.Unit)
	}
	return ""
}
