package source

import (
	"bytes"
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"testing/synctest"
	"time"

	"lidwright/kiln"
)

// The worked example of Modbus Application Protocol V1.1b3, section 6.3: registers 108 to 110 hold
// 555, 0 and 100. The frame around it is ours: slave 17.
func TestStandardExample(t *testing.T) {
	r := request{unit: 17, function: 3, register: 107, count: 3}
	if got, want := r.frame(), withCRC([]byte{0x11, 0x03, 0x00, 0x6b, 0x00, 0x03}); !bytes.Equal(got, want) {
		t.Errorf("frame % x, want % x", got, want)
	}
	words, err := r.parse(withCRC([]byte{0x11, 0x03, 0x06, 0x02, 0x2b, 0x00, 0x00, 0x00, 0x64}))
	if err != nil || len(words) != 3 || words[0] != 555 || words[1] != 0 || words[2] != 100 {
		t.Errorf("registers %v, %v", words, err)
	}
}

// The frame 02 07 and its check 41 12 are the worked example of Modbus over Serial Line V1.02,
// appendix B (from memory).
func TestStandardCheck(t *testing.T) {
	if crc := crc16([]byte{0x02, 0x07}); crc != 0x1241 {
		t.Errorf("check %#04x, want 0x1241", crc)
	}
}

// 1222.5 is 0x4498D000 in IEEE 754 binary32: sign 0, exponent 137 - 127 = 10, 1222.5 / 1024 =
// 1.193848, fraction 0x18D000.
func TestOrders(t *testing.T) {
	for order, words := range map[string][]uint16{
		"abcd": {0x4498, 0xd000}, "badc": {0x9844, 0x00d0}, "cdab": {0xd000, 0x4498},
		"dcba": {0x00d0, 0x9844},
	} {
		if v, ok := decode("float32", order, words); v != 1222.5 || !ok {
			t.Errorf("%s: %v %v", order, v, ok)
		}
	}
	for _, c := range []struct {
		number string
		words  []uint16
		want   float64
		ok     bool
	}{
		{"int16", []uint16{0xffce}, -50, true},
		{"uint16", []uint16{0xffce}, 65486, true},
		{"int32", []uint16{0xffff, 0xffce}, -50, true},
		{"uint32", []uint16{0x0001, 0x0000}, 65536, true},
		{"int16", []uint16{0x7fff}, 32767, false},
		{"int16", []uint16{0x8000}, -32768, false},
		{"uint16", []uint16{0xffff}, 65535, false},
		{"int32", []uint16{0x7fff, 0xffff}, math.MaxInt32, false},
		{"float32", []uint16{0x7fc0, 0}, math.NaN(), false},
		{"float32", []uint16{0x7f80, 0}, math.Inf(1), false},
		{"float32", []uint16{0x7e95, 0x1bf0}, 9.91e37, false},
	} {
		if v, ok := decode(c.number, "abcd", c.words); ok != c.ok || ok && v != c.want {
			t.Errorf("%s % x: %v %v", c.number, c.words, v, ok)
		}
	}
}

func TestPlanJoinsNeighbours(t *testing.T) {
	k := busKiln("big-blue", register("1", 1, 10, "float32"), register("2", 1, 12, "int16"),
		register("3", 1, 14, "int16"), register("4", 2, 13, "int16"))
	got := plan(k)
	want := []request{{1, 3, 10, 3}, {1, 3, 14, 1}, {2, 3, 13, 1}}
	if len(got) != len(want) {
		t.Fatalf("plan %v", got)
	}
	for i := range want {
		if got[i].request != want[i] {
			t.Errorf("request %d: %v, want %v", i, got[i].request, want[i])
		}
	}
}

// Two kilns on one bus, two slaves, both functions, a gap of 3.5 characters and one question at a time.
func TestBus(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		registers := map[uint16]uint16{0: 8505, 1: 0x4498, 2: 0xd000, 7: 190}
		port := newFakePort(func(p *fakePort, q []byte) {
			for unit := byte(1); unit <= 2; unit++ {
				if a := respond(unit, registers, q); a != nil {
					p.later(20*time.Millisecond, a)
				}
			}
		})
		tenth := register("1", 1, 0, "int16")
		tenth.Scale = 0.1
		room := register("room", 2, 7, "uint16")
		room.Function, room.Scale = 4, 0.1
		samples, heard := runFor(t, 10*time.Second,
			bussed(busKiln("big-blue", tenth, register("2", 1, 1, "float32")), busKiln("little-red", room)),
			port)
		seen := map[kiln.KilnID]int{}
		for _, s := range samples {
			seen[s.Kiln]++
			switch s.Kiln {
			case "big-blue":
				if len(s.Values) != 2 || math.Abs(float64(s.Values[0].T)-850.5) > 1e-9 ||
					s.Values[1].T != 1222.5 {
					t.Fatalf("big-blue: %+v", s)
				}
			case "little-red":
				if len(s.Values) != 1 || s.Values[0].T != 19 {
					t.Fatalf("little-red: %+v", s)
				}
			}
		}
		if seen["big-blue"] != 8 || seen["little-red"] != 8 { // 10 s less 2 s of settling
			t.Errorf("samples %v", seen)
		}
		if o := heard.Kilns[0].Orders; len(o) != 1 || o[0].Values[0] != 1222.5 || o[0].Set != "abcd" {
			t.Errorf("orders %v", o)
		}
		for i := 1; i < len(port.at); i++ {
			if d := port.at[i].Sub(port.at[i-1]); d < 20*time.Millisecond+gap(9600) {
				t.Errorf("question %d came %v after the one before", i, d)
			}
		}
	})
}

func TestExceptions(t *testing.T) {
	for _, e := range []byte{1, 2, 3, 4, 5, 6, 11} {
		synctest.Test(t, func(t *testing.T) {
			asked := 0
			port := newFakePort(func(p *fakePort, q []byte) {
				asked++
				if (e == 5 || e == 6) && asked%2 == 0 {
					p.later(10*time.Millisecond, respond(1, map[uint16]uint16{5: 100}, q))
					return
				}
				p.later(10*time.Millisecond, withCRC([]byte{1, 0x83, e}))
			})
			samples, heard := runFor(t, 2500*time.Millisecond,
				bussed(busKiln("k", register("1", 1, 5, "int16"))), port)
			k := heard.Kilns[0]
			if k.Garbled != 1 || len(k.BadLines) != 1 || len(k.BadLines[0].Why.String()) < 20 {
				t.Errorf("exception %d: %+v", e, k)
			}
			wants := 0
			if e == 5 || e == 6 {
				wants = 1 // asked again
			}
			if len(samples) != wants {
				t.Errorf("exception %d: %d samples, want %d", e, len(samples), wants)
			}
		})
	}
}

// A slave that refuses two registers at once is asked for each on its own.
func TestSplitReading(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		port := newFakePort(func(p *fakePort, q []byte) {
			if q[5] > 1 {
				p.later(time.Millisecond, withCRC([]byte{1, 0x83, 3}))
				return
			}
			p.later(time.Millisecond, respond(1, map[uint16]uint16{5: 100, 6: 200}, q))
		})
		samples, _ := runFor(t, 4500*time.Millisecond,
			bussed(busKiln("k", register("1", 1, 5, "int16"), register("2", 1, 6, "int16"))), port)
		if len(samples) != 2 || samples[0].Values[0].T != 100 || samples[0].Values[1].T != 200 {
			t.Errorf("%+v", samples)
		}
	})
}

// Two-wire converters give our own question back.
func TestEcho(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		port := newFakePort(func(p *fakePort, q []byte) {
			p.later(time.Millisecond, q)
			p.later(30*time.Millisecond, respond(1, map[uint16]uint16{5: 100}, q))
		})
		samples, heard := runFor(t, 6500*time.Millisecond, bussed(busKiln("k", register("1", 1, 5, "int16"))),
			port)
		if len(samples) != 5 || heard.Kilns[0].Garbled != 0 {
			t.Errorf("%d samples, %+v", len(samples), heard.Kilns[0])
		}
	})
	synctest.Test(t, func(t *testing.T) {
		port := newFakePort(func(p *fakePort, q []byte) { p.later(time.Millisecond, q) })
		samples, heard := runFor(t, 6500*time.Millisecond, bussed(busKiln("k", register("1", 1, 5, "int16"))),
			port)
		if b := heard.Kilns[0].BadLines; len(samples) != 0 || len(b) == 0 ||
			!bytes.Contains([]byte(b[0].Why.String()), []byte("echo")) {
			t.Errorf("%d samples, %+v", len(samples), heard.Kilns[0])
		}
	})
}

// However late the answers are, none reaches the channel of another register. Register 5 holds 100
// and register 50 holds 900.
func TestLateAnswers(t *testing.T) {
	registers := map[uint16]uint16{5: 100, 50: 900}
	for _, late := range []time.Duration{499, 501, 750, 999, 1001, 1250, 1490, 1600, 2300, 3100} {
		synctest.Test(t, func(t *testing.T) {
			dice := rand.New(rand.NewPCG(uint64(late), 1))
			port := newFakePort(func(p *fakePort, q []byte) {
				d := 20 * time.Millisecond
				if dice.IntN(3) == 0 {
					d = late * time.Millisecond
				}
				p.later(d, respond(1, registers, q))
			})
			samples, heard := runFor(t, 2*time.Minute,
				bussed(busKiln("k", register("1", 1, 5, "int16"), register("2", 1, 50, "int16"))), port)
			for _, s := range samples {
				if v, ok := s.Value("1"); ok && v.T != 100 {
					t.Fatalf("late by %d ms: channel 1 is %v", late, v.T)
				}
				if v, ok := s.Value("2"); ok && v.T != 900 {
					t.Fatalf("late by %d ms: channel 2 is %v", late, v.T)
				}
			}
			if len(samples) < 10 {
				t.Errorf("late by %d ms: only %d samples: %+v", late, len(samples), heard.Kilns[0])
			}
		})
	}
}

// A slave that is switched off does not hold up the one beside it.
func TestDeadSlave(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		port := newFakePort(func(p *fakePort, q []byte) {
			if a := respond(2, map[uint16]uint16{0: 21}, q); a != nil {
				p.later(20*time.Millisecond, a)
			}
		})
		samples, heard := runFor(t, time.Minute,
			bussed(busKiln("k", register("1", 1, 0, "int16")), busKiln("l", register("1", 2, 0, "int16"))),
			port)
		if len(samples) < 56 {
			t.Errorf("%d samples of the live kiln in 58 s", len(samples))
		}
		if heard.Kilns[0].Silent < 14 || heard.Kilns[1].Silent != 0 {
			t.Errorf("%+v", heard.Kilns)
		}
	})
}

// Damage of every kind to answers: bits flipped, bytes lost, doubled, put in, cut off, of another
// slave, function or count. None is accepted. A frame whose damage happens to leave it whole does
// not count as damaged.
func TestDamagedFrames(t *testing.T) {
	n := scaled(20_000, 100_000)
	dice := rand.New(rand.NewPCG(7, 8))
	r := request{1, 3, 5, 3}
	good := respond(1, map[uint16]uint16{5: 12225, 6: 19, 7: 0x4498}, r.frame())
	accepted := 0
	for range n {
		b := append([]byte(nil), good...)
		switch dice.IntN(7) {
		case 0: // up to three bits
			for range 1 + dice.IntN(3) {
				b[dice.IntN(len(b))] ^= 1 << dice.IntN(8)
			}
		case 1: // a burst of up to 16 bits
			at, long := dice.IntN(len(b)-1), 1+dice.IntN(2)
			for i := range long {
				b[at+i] ^= byte(1 + dice.IntN(255))
			}
		case 2: // a byte lost
			at := dice.IntN(len(b))
			b = append(b[:at], b[at+1:]...)
		case 3: // cut
			b = b[:dice.IntN(len(b))]
		case 4: // another slave, rightly checked
			b = withCRC(append([]byte{byte(2 + dice.IntN(240))}, good[1:len(good)-2]...))
		case 5: // another function, rightly checked
			b = withCRC(append([]byte{1, byte(4 + dice.IntN(100))}, good[2:len(good)-2]...))
		case 6: // another count, rightly checked
			b = withCRC([]byte{1, 3, byte(2 * dice.IntN(3)), 1, 2, 3, 4, 5, 6})
		}
		if bytes.Equal(b, good) {
			continue
		}
		words, err := r.parse(b)
		var refusal exception
		if err == nil && words != nil || errors.As(err, &refusal) {
			accepted++
		}
	}
	t.Logf("%d of %d damaged frames accepted", accepted, n)
	if accepted > 0 {
		t.Errorf("%d of %d damaged frames accepted", accepted, n)
	}
}
