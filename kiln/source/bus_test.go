package source

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"lidwright/kiln/practice"
)

// onlyReads fails where anything but a reading of one register was sent, judged by the standard alone.
func onlyReads(t *testing.T, sent [][]byte) {
	t.Helper()
	for _, b := range sent {
		if len(b) != 8 || b[0] < 1 || b[0] > 247 || b[1] != 3 && b[1] != 4 || b[4] != 0 || b[5] != 1 ||
			string(withCRC(slices.Clone(b[:6]))) != string(b) {
			t.Errorf("sent % x", b)
		}
	}
}

func slaves(from, to int) []BusSlave {
	var out []BusSlave
	for u := from; u <= to; u++ {
		out = append(out, BusSlave{Unit: u, Function: 3, Register: 0})
	}
	return out
}

// busAt is a search on ports in memory that answer by way and question.
func busAt(answer func(way BusWay, p *fakePort, q []byte)) (s BusSearch, sent func() [][]byte,
	ways func() []BusWay) {
	var ports []*fakePort
	var opened []BusWay
	s = BusSearch{Port: "/dev/x", Ways: BusWays(), Tell: func(string) {}, Open: func(set Settings) (Port,
		error) {
		way := BusWay{set.Speed, set.Framing}
		p := newFakePort(func(p *fakePort, q []byte) { answer(way, p, q) })
		ports, opened = append(ports, p), append(opened, way)
		return p, nil
	}}
	return s, func() [][]byte {
		var all [][]byte
		for _, p := range ports {
			all = append(all, p.sent...)
		}
		return all
	}, func() []BusWay { return opened }
}

// One slave at the way of the settings, one left at another speed, one that refuses the register, two of one
// number whose answers run into each other; all that leaves are readings of one register.
func TestBusSearch(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, sent, _ := busAt(func(way BusWay, p *fakePort, q []byte) {
			b := respond(q[0], map[uint16]uint16{0: 8505}, q)
			switch slow := (BusWay{9600, "8N1"}); {
			case q[0] == 3 && way == slow, q[0] == 5 && way == (BusWay{19200, "8E1"}):
				p.later(0, b)
			case q[0] == 9 && way == slow:
				p.later(0, respond(9, nil, q)) // no such register
			case q[0] == 12 && way == slow:
				b[3] ^= 0x5a
				p.later(0, b)
			case q[0] == 14 && way == slow: // a gateway that says so of an empty place
				p.later(0, withCRC([]byte{14, q[1] | 0x80, 11}))
			}
		})
		s.Ask, s.Want = slaves(1, 16), []int{3, 5}
		found, err := s.Search(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, f := range found {
			got = append(got, fmt.Sprintf("%d %v %d %v %v", f.Unit, f.Way, f.Value, f.Refused != "",
				f.Garbled != ""))
		}
		want := []string{"3 9600 baud 8N1 8505 false false", "9 9600 baud 8N1 0 true false",
			"12 9600 baud 8N1 0 false true", "5 19200 baud 8E1 8505 false false"}
		if !slices.Equal(got, want) {
			t.Errorf("found\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		onlyReads(t, sent())
	})
}

// Nobody at the first way: the number that is wanted is looked for at the others, and all of them where it
// is.
func TestBusSearchFindsTheSpeed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		at := BusWay{4800, "8O1"}
		s, sent, ways := busAt(func(way BusWay, p *fakePort, q []byte) {
			if way == at && (q[0] == 1 || q[0] == 7) {
				p.later(0, respond(q[0], map[uint16]uint16{0: 20}, q))
			}
		})
		s.Ask, s.Want = slaves(1, 8), []int{1}
		found, err := s.Search(t.Context())
		if err != nil || len(found) != 2 || found[0].Unit != 1 || found[1].Unit != 7 || found[1].Way != at {
			t.Errorf("%+v, %v", found, err)
		}
		if last := ways()[len(ways())-1]; last != at {
			t.Errorf("it went on to %v", last)
		}
		onlyReads(t, sent())
	})
}

// Where anybody speaks unasked nothing is sent at all.
func TestBusTaken(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, sent, _ := busAt(func(BusWay, *fakePort, []byte) {})
		open := s.Open
		s.Open = func(set Settings) (Port, error) {
			p, err := open(set)
			p.(*fakePort).in <- []byte{1, 6, 0, 0, 0, 1}
			return p, err
		}
		s.Ask, s.Want = slaves(1, 8), []int{1}
		if _, err := s.Search(t.Context()); !errors.Is(err, ErrBusTaken) || len(sent()) > 0 {
			t.Errorf("%v, sent %d", err, len(sent()))
		}
	})
}

// A search ends with its context.
func TestBusSearchEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, stop := context.WithCancel(t.Context())
		s, _, _ := busAt(func(BusWay, *fakePort, []byte) { stop() })
		s.Ask, s.Want = slaves(1, 247), []int{1}
		if _, err := s.Search(ctx); !errors.Is(err, context.Canceled) {
			t.Errorf("%v", err)
		}
	})
}

// Two slaves that pymodbus plays on one bus at 19,200 baud, looked for with another speed set: the relay lets
// through what was sent at their speed and spoils the rest, as a receiver of another speed does.
func TestBusOfForeignSlaves(t *testing.T) {
	t.Parallel()
	slave := slavesOf(t, "pymodbus", "3,7")
	front := pty(t)
	var lock sync.Mutex
	var sent [][]byte
	stop := make(chan struct{})
	var relays sync.WaitGroup
	t.Cleanup(func() { close(stop); relays.Wait() })
	relays.Go(func() { carryBus(stop, front, slave, &lock, &sent) })
	var told []string
	s := BusSearch{Open: OpenPort, Port: front.Path, Ways: BusWays(), Ask: slaves(1, 8), Want: []int{7},
		Tell: func(text string) { told = append(told, text) }}
	found, err := s.Search(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var units []int
	for _, f := range found {
		if units = append(units, f.Unit); f.Way.Speed != 19200 || f.Value != 8505 ||
			f.Garbled+f.Refused != "" {
			t.Errorf("%+v", f)
		}
	}
	if !slices.Equal(units, []int{3, 7}) {
		t.Errorf("found %v; %q", units, told)
	}
	lock.Lock()
	defer lock.Unlock()
	onlyReads(t, sent)
	if len(sent) < 16 {
		t.Errorf("%d questions seen", len(sent))
	}
}

// carryBus carries questions to the slave and its answers back while the speed set is the slave's.
func carryBus(stop chan struct{}, front, slave *practice.Pty, lock *sync.Mutex, sent *[][]byte) {
	buf := make([]byte, 256)
	for {
		select {
		case <-stop:
			return
		default:
		}
		q := piece(front, buf)
		if q == nil {
			if b := piece(slave, buf); b != nil {
				front.Write(b)
			}
			continue
		}
		lock.Lock()
		*sent = append(*sent, q)
		lock.Unlock()
		if speed, err := front.Speed(); err == nil && speed == 19200 {
			slave.Write(q)
		}
	}
}

// piece is what comes within 5 ms, nil for nothing.
func piece(from *practice.Pty, buf []byte) []byte {
	var out []byte
	for {
		from.SetReadDeadline(time.Now().Add(5 * time.Millisecond))
		n, err := from.Read(buf)
		if n == 0 {
			if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
				time.Sleep(5 * time.Millisecond)
			}
			return out
		}
		out = append(out, buf[:n]...)
	}
}
