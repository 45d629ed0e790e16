package source

import (
	"fmt"
	"strconv"
	"strings"

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
	Waiting string   // in words, what is waited for: "/dev/...: no such device"; "" while open
	Warning string   // about the name of the port; "" if it is fine
	Opened  int      // how often the port was opened
	Sends   []string // all that is ever sent, in words: poll strings, or the registers read
	Guess   string   // "looks like 9600 baud, you set 19200"; "" where nothing can be told
	Kilns   []KilnHeard
}

// KilnHeard is what was heard of one kiln. The counts begin with the program.
type KilnHeard struct {
	Kiln                              kiln.KilnID
	Good, Garbled, Silent, Breakvalue uint64
	Crowded                           uint64 // good lines left out because they came faster than asked for
	GoodMinute, BadMinute             int    // lines of the last 60 s
	Ever                              bool   // a line with a good value was ever heard
	Last                              kiln.Sample
	BadLines                          []BadLine // the last few
	Hint                              string    // what the form of the lines suggests, in words
	Orders                            []Decoded // modbus: the last numbers of 32 bits, in every order of bytes
}

// BadLine is a line that made no sense.
type BadLine struct {
	At   kiln.Stamp
	Line string // as it came, any bytes
	Why  string
}

// Words say it in lines of plain English, the port first, then a line or two for each kiln.
func (h Heard) Words() []string {
	var out []string
	switch h.State {
	case PortOpen:
		out = append(out, fmt.Sprintf("port %s is open", h.Port))
	case PortOver:
		out = append(out, fmt.Sprintf("port %s: %s", h.Port, h.Waiting))
	default:
		out = append(out, fmt.Sprintf("waiting for %s", h.Waiting))
	}
	for _, more := range []string{h.Warning, h.Guess} {
		if more != "" {
			out = append(out, more)
		}
	}
	for _, k := range h.Kilns {
		out = append(out, k.words())
		if k.Hint != "" {
			out = append(out, fmt.Sprintf("%s: %s", k.Kiln, k.Hint))
		}
		for _, d := range k.Orders {
			out = append(out, fmt.Sprintf("%s: %s", k.Kiln, d))
		}
	}
	return out
}

func (k KilnHeard) words() string {
	text := fmt.Sprintf("%s: heard %s in 60 s", k.Kiln, plural(k.GoodMinute, "good line"))
	if k.BadMinute > 0 {
		text += fmt.Sprintf(" and %d bad", k.BadMinute)
	}
	if !k.Ever {
		text += ", no reading yet"
	} else {
		var said []string
		for _, v := range k.Last.Values {
			if v.Fault == kiln.Good {
				said = append(said, fmt.Sprintf("%s %.1f °C", v.Channel, v.T))
			} else {
				said = append(said, fmt.Sprintf("%s %s", v.Channel, v.Fault))
			}
		}
		text += ", last " + strings.Join(said, ", ")
	}
	if n := len(k.BadLines); n > 0 && k.BadMinute > 0 {
		text += fmt.Sprintf("; last bad line %s: %s", strconv.QuoteToASCII(k.BadLines[n-1].Line), k.BadLines[n-1].Why)
	}
	return text
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
