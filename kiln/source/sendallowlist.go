package source

import (
	"errors"
	"fmt"
)

// maxPoll is the longest poll string, in bytes.
const maxPoll = 32

// checkPoll holds the rules for what may be sent to a controller: printable ASCII, at most 32
// bytes, a question. Something that does not end in "?" needs the owner's word for it.
func checkPoll(poll string, other bool, reason string) error {
	if poll == "" || len(poll) > maxPoll {
		return fmt.Errorf("poll string %q: must have 1 to %d bytes", poll, maxPoll)
	}
	for _, b := range []byte(poll) {
		if b < 0x20 || b > 0x7e {
			return fmt.Errorf("poll string %q: only printable ASCII is ever sent", poll)
		}
	}
	if poll[len(poll)-1] == '?' {
		return nil
	}
	if !other {
		return fmt.Errorf("poll string %q: must end in \"?\", unless poll_other = true with a poll_reason",
			poll)
	}
	if reason == "" {
		return fmt.Errorf("poll string %q does not end in \"?\": poll_reason must say why it does no harm",
			poll)
	}
	return nil
}

// errRefused is what a sendAllowlist answers to bytes that are not on its list.
var errRefused = errors.New("refused to send bytes that are no question of the settings")

// sendAllowlist is the one way out to the device. What it lets through is fixed when the line is opened:
// the poll strings of the settings, and the Modbus requests made from the settings, which are
// checked once more for being nothing but a reading of registers.
type sendAllowlist struct {
	port    Port
	allowed map[string]bool
	trace   func([]byte) // told what is about to leave; nil is fine
}

// newSendAllowlist takes the list of all that may ever be sent on the line of s. The settings have been
// validated; a poll string or request that breaks the rules is left off all the same.
func newSendAllowlist(port Port, s Settings) sendAllowlist {
	g := sendAllowlist{port: port, allowed: map[string]bool{}}
	for _, k := range s.Kilns {
		for _, p := range k.Poll {
			if checkPoll(p, k.PollOther, k.PollReason) == nil {
				g.allowed[p+k.Terminator] = true
			}
		}
		if k.modbus() {
			for _, r := range requestsOf(k) {
				g.allowed[string(r.frame())] = isReading(r.frame())
			}
		}
	}
	return g
}

// send writes b to the device if b is on the list, and refuses otherwise. Nothing else in this
// package, nor in the program, writes to a port; a test walks the source to see that.
func (g sendAllowlist) send(b []byte) error {
	if !g.allowed[string(b)] {
		return fmt.Errorf("%w: % x", errRefused, b)
	}
	if g.trace != nil {
		g.trace(b)
	}
	for len(b) > 0 {
		n, err := g.port.Write(b)
		if err != nil {
			return err
		}
		if n <= 0 {
			return errors.New("the port took no bytes")
		}
		b = b[n:]
	}
	return nil
}
