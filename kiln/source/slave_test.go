package source

import (
	"context"
	"encoding/binary"
	"errors"
	"sync"
	"testing"
	"time"

	"lidwright/kiln"
)

// fakePort is a port in memory. Under testing/synctest its waiting takes no time at all.
type fakePort struct {
	in      chan []byte
	answer  func(p *fakePort, question []byte) // called for each write
	mu      sync.Mutex
	pending []byte
	timeout time.Duration
	sent    [][]byte
	at      []time.Time // of each write
	closed  bool
}

var errUnplugged = errors.New("unplugged")

func newFakePort(answer func(p *fakePort, question []byte)) *fakePort {
	return &fakePort{in: make(chan []byte, 1024), answer: answer}
}

func (p *fakePort) Read(b []byte) (int, error) {
	if len(p.pending) == 0 {
		select {
		case more, ok := <-p.in:
			if !ok {
				return 0, errUnplugged
			}
			p.pending = more
		case <-time.After(p.timeout):
			return 0, nil
		}
	}
	n := copy(b, p.pending)
	p.pending = p.pending[n:]
	return n, nil
}

func (p *fakePort) Write(b []byte) (int, error) {
	p.mu.Lock()
	p.sent, p.at = append(p.sent, append([]byte(nil), b...)), append(p.at, time.Now())
	p.mu.Unlock()
	if p.answer != nil {
		p.answer(p, append([]byte(nil), b...))
	}
	return len(b), nil
}

// later brings bytes in after a while.
func (p *fakePort) later(d time.Duration, b []byte) {
	if d == 0 {
		p.in <- b
		return
	}
	time.AfterFunc(d, func() { p.in <- b })
}

func (p *fakePort) SetReadTimeout(d time.Duration) error { p.timeout = d; return nil }

func (p *fakePort) ResetInputBuffer() error {
	p.pending = nil
	for {
		select {
		case <-p.in:
		default:
			return nil
		}
	}
}

func (p *fakePort) Close() error { p.closed = true; return nil }

// respond is what a slave with these registers answers to a question, made apart from the code
// under test: nil for a question to another slave.
func respond(unit byte, registers map[uint16]uint16, q []byte) []byte {
	if len(q) != 8 || q[0] != unit {
		return nil
	}
	first, count := binary.BigEndian.Uint16(q[2:]), binary.BigEndian.Uint16(q[4:])
	b := []byte{unit, q[1], byte(2 * count)}
	for i := range count {
		v, ok := registers[first+i]
		if !ok {
			return withCRC([]byte{unit, q[1] | 0x80, 2})
		}
		b = binary.BigEndian.AppendUint16(b, v)
	}
	return withCRC(b)
}

// withCRC appends the check, worked out bit by bit from the polynomial x^16 + x^15 + x^2 + 1 on
// whole reflected bits, another way than crc16 does it.
func withCRC(b []byte) []byte {
	reg := uint32(0xffff)
	for _, c := range b {
		for i := range 8 {
			bit := uint32(c>>i) & 1
			if (reg^bit)&1 == 1 {
				reg = reg>>1 ^ 0xa001
			} else {
				reg >>= 1
			}
		}
	}
	return append(b, byte(reg), byte(reg>>8))
}

func boot() func() kiln.Stamp {
	begin := time.Now()
	return func() kiln.Stamp {
		return kiln.Stamp{Boot: "b1", Since: time.Hour + time.Since(begin), Wall: time.Now()}
	}
}

// register is a channel of a Modbus slave.
func register(id string, unit, at int, number string) Channel {
	return Channel{ID: kiln.ChannelID(id), Role: kiln.RoleProbe, Unit: "c", Scale: 1, Linearised: true,
		UnitID: unit, Function: 3, Register: at, Number: number, Order: "abcd"}
}

func bussed(kilns ...Kiln) Settings {
	return Settings{Port: "/dev/serial/by-path/x", Speed: 9600, Framing: "8N1", Kilns: kilns}
}

func busKiln(id string, channels ...Channel) Kiln {
	return Kiln{ID: kiln.KilnID(id), Every: time.Second, Reply: "modbus", Channels: channels}
}

// runFor listens to the port for a while and gives the samples and what was heard.
func runFor(t *testing.T, d time.Duration, s Settings, port Port) ([]kiln.Sample, Heard) {
	t.Helper()
	out := make(chan kiln.Sample, 10000)
	src, err := New(s, boot(), out)
	if err != nil {
		t.Fatal(err)
	}
	src.Open = func(Settings) (Port, error) { return port, nil }
	ctx, cancel := context.WithTimeout(context.Background(), d)
	defer cancel()
	if err := src.Run(ctx); !errors.Is(err, context.DeadlineExceeded) {
		t.Fatalf("Run ended with %v", err)
	}
	heard := src.Heard()
	close(out)
	var all []kiln.Sample
	for sample := range out {
		all = append(all, sample)
	}
	return all, heard
}

func runUntil(t *testing.T, src *Source, d time.Duration) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), d)
	defer cancel()
	if err := src.Run(ctx); !errors.Is(err, context.DeadlineExceeded) {
		t.Fatalf("Run ended with %v", err)
	}
}
