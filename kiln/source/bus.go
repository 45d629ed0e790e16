package source

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"
)

// BusSearch finds out which Modbus slaves of a line answer, and at which speed. All that it sends are
// readings of one register, by the same guard as everything else.
type BusSearch struct {
	Open  func(Settings) (Port, error)                     // OpenPort, but in tests
	Sleep func(ctx context.Context, d time.Duration) error // nil: waits
	Tell  func(text string)                                // what is tried, for whoever waits

	Port string     // device of the bus
	Ways []BusWay   // the one to begin with first
	Ask  []BusSlave // every slave that is looked for
	Want []int      // the numbers of those that ought to be there: looked for at the other ways too
}

// BusWay is a speed in baud and a framing such as "8E1".
type BusWay struct {
	// baud
	Speed int
	// such as "8E1"
	Framing string
}

// String is w as people write it, "9600 baud 8N1".
func (w BusWay) String() string { return fmt.Sprintf("%d baud %s", w.Speed, w.Framing) }

// BusWays are the usual ways of a bus, the two that the standard names first. Source: Modbus over Serial
// Line V1.02, section 2.5.1: 19,200 baud with even parity is the default, 9600 must be known too.
func BusWays() []BusWay {
	out := []BusWay{{9600, "8N1"}, {19200, "8E1"}, {19200, "8N1"}, {9600, "8E1"}}
	for _, speed := range []int{38400, 57600, 115200, 4800, 2400, 1200, 9600, 19200} {
		for _, framing := range []string{"8N1", "8E1", "8N2", "8O1"} {
			if w := (BusWay{speed, framing}); !slices.Contains(out, w) {
				out = append(out, w)
			}
		}
	}
	return out
}

// BusSlave is one device that is looked for, and the register that it is asked for.
type BusSlave struct {
	Unit     int // 1 to 247
	Function int // 3 or 4
	Register int // as on the wire, from 0
}

// BusFound is a device that answered, or something that answered in its place and made no sense.
type BusFound struct {
	BusSlave
	Way     BusWay // at which it answered
	Value   uint16 // of the register; nothing where it was refused
	Refused string // why, in words; such a slave is there all the same
	Garbled string // what is wrong with the answer; no slave is known by it
}

// ErrBusTaken says that something speaks on the line unasked: another master, or a device of another kind.
var ErrBusTaken = errors.New("something speaks on this line without being asked: another device asks there, or none of it is Modbus; nothing was sent")

// listenFirst is how long a bus is listened to before anything is sent: whoever else asks on it does so
// every second or so (common practice, no source).
const listenFirst = 3 * time.Second

// Search asks every slave at the first way; those of Want that did not answer it asks at the other ways, and
// where nobody answered at the first it asks all of them at the next that somebody answers at. Errors are
// ErrBusTaken, ctx's, those of opening and of a port that goes away.
func (s BusSearch) Search(ctx context.Context) ([]BusFound, error) {
	if s.Sleep == nil {
		s.Sleep = sleep
	}
	var out []BusFound
	missing := slices.Clone(s.Want)
	ask := s.Ask
	// after the first way those that are still missed alone
	for i, way := range s.Ways {
		if i > 0 {
			if len(missing) == 0 {
				break
			}
			ask = slices.DeleteFunc(slices.Clone(s.Ask), func(b BusSlave) bool {
				return !slices.Contains(missing, b.Unit)
			})
		}
		found, err := s.at(ctx, way, ask, i == 0)
		if err == nil && i > 0 && !anyThere(out) && anyThere(found) {
			found, err = s.at(ctx, way, s.Ask, false)
		}
		if err != nil {
			return out, err
		}
		if i > 0 { // at another speed what is garbled says nothing
			found = slices.DeleteFunc(found, func(f BusFound) bool { return f.Garbled != "" })
		}
		for _, f := range found {
			if f.Garbled == "" {
				missing = slices.DeleteFunc(missing, func(u int) bool { return u == f.Unit })
			}
		}
		out = append(out, found...)
	}
	return out, nil
}

// anyThere reports whether any slave is known by an answer that makes sense.
func anyThere(found []BusFound) bool {
	return slices.ContainsFunc(found, func(f BusFound) bool { return f.Garbled == "" })
}

// settings are those of a line of nothing but the slaves that are asked: what the guard lets through.
func (s BusSearch) settings(way BusWay, ask []BusSlave) Settings {
	k := Kiln{ID: "bus", Every: time.Second, Reply: "modbus"}
	for _, b := range ask {
		k.Channels = append(k.Channels, Channel{UnitID: b.Unit, Function: b.Function, Register: b.Register,
			Number: "uint16", Scale: 1, Unit: "c"})
	}
	return Settings{Port: s.Port, Speed: way.Speed, Framing: way.Framing, Kilns: []Kiln{k}}
}

// at asks slaves at one speed and framing; first says that the line is listened to before.
func (s BusSearch) at(ctx context.Context, way BusWay, ask []BusSlave, first bool) ([]BusFound, error) {
	set := s.settings(way, ask)
	port, err := s.Open(set)
	if err != nil {
		return nil, err
	}
	defer port.Close()
	src := &Source{Sleep: s.Sleep, settings: set}
	b := &modbusClient{line: &line{Source: src, port: port, guard: newSendAllowlist(port, set)},
		lateReplies: map[int]time.Time{}}
	wait := settle
	if first {
		wait = listenFirst
		s.Tell(fmt.Sprintf("listening at %v, whether anybody else speaks ...", way))
	}
	if taken, err := b.speaks(ctx, wait); err != nil {
		return nil, err
	} else if first && taken {
		return nil, ErrBusTaken
	}
	s.Tell(fmt.Sprintf("asking %d of 1 to 247 at %v ...", len(ask), way))
	var out []BusFound
	for _, slave := range ask {
		f, there, err := b.look(ctx, slave)
		if err != nil {
			return nil, fmt.Errorf("%s went away while it was asked: %w", s.Port, err)
		}
		if there {
			f.Way = way
			out = append(out, f)
		}
	}
	return out, nil
}

// speaks reports whether anything comes within a while.
func (b *modbusClient) speaks(ctx context.Context, while time.Duration) (bool, error) {
	if err := b.port.SetReadTimeout(readTimeout); err != nil {
		return false, err
	}
	var buf [maxFrame]byte
	any := false
	for begin := time.Now(); monotonic(begin) < while; {
		if err := ctx.Err(); err != nil {
			return false, err
		}
		n, err := b.read(buf[:])
		if err != nil {
			return false, err
		}
		any = any || n > 0
	}
	return any, nil
}

// look asks one slave, once more where nothing or no sense came. An error is trouble with the port.
func (b *modbusClient) look(ctx context.Context, slave BusSlave) (f BusFound, there bool, err error) {
	f.BusSlave = slave
	r := request{slave.Unit, slave.Function, slave.Register, 1}
	for range 2 {
		words, _, err := b.exchange(ctx, r)
		var refusal exception
		switch {
		case err == nil:
			f.Value, f.Garbled = words[0], ""
			return f, true, nil
		case isGone(err):
			return f, false, err
		case errors.As(err, &refusal) && (refusal == 10 || refusal == 11): // a gateway's: nobody behind it
			return f, false, nil
		case errors.As(err, &refusal):
			f.Refused, f.Garbled = refusal.Error(), ""
			return f, true, nil
		case errors.Is(err, errSilent) || errors.Is(err, errOwing) || errors.Is(err, errEcho):
			return f, f.Garbled != "", nil
		}
		f.Garbled = err.Error()
	}
	return f, true, nil
}
