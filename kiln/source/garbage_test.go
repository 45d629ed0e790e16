package source

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"runtime"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/faults"
	"lidwright/kiln/practice"
)

// checked is a line with a checksum that holds a counter, so that a phantom can be told from what
// was sent.
func checked(sum string, n int) string {
	body := fmt.Sprintf("%d,%d.5", n%1800, (n*7)%1800)
	if sum == "crc16" {
		return fmt.Sprintf("%s*%04X", body, sumOf(body, sum))
	}
	return fmt.Sprintf("%s*%02X", body, sumOf(body, sum))
}

func checkedSettings(sum string) Settings {
	s := columnsOn("x")
	s.Kilns[0].Checksum, s.Kilns[0].Every = sum, time.Nanosecond
	s.Kilns[0].Channels = append(s.Kilns[0].Channels, Channel{ID: "2", From: "2", Unit: "c",
		Scale: 1, Linearised: true})
	return s
}

// noise makes n bytes of one kind of garbage: any bytes; printable ones and line ends; or lines
// that were good but for one damage, which may be any one byte, a bit, a lost or a doubled byte.
func noise(kind, sum string, n int, dice *rand.Rand) []byte {
	out := make([]byte, 0, n+64)
	for i := 0; len(out) < n; i++ {
		switch kind {
		case "any":
			out = append(out, byte(dice.Uint32()))
		case "printable":
			const set = "0123456789.,-*ABCDEF \r\n"
			out = append(out, set[dice.IntN(len(set))])
		case "near miss":
			line := []byte(checked(sum, i))
			before := string(line)
			at := dice.IntN(len(line))
			switch dice.IntN(4) {
			case 0:
				line[at] = byte(dice.Uint32())
			case 1:
				line[at] ^= 1 << dice.IntN(8)
			case 2:
				line = append(line[:at], line[at+1:]...)
			case 3:
				line = append(line[:at+1], line[at:]...)
			}
			if string(line) != before {
				out = append(append(out, line...), '\n')
			}
		}
	}
	return out
}

// 10^7 bytes of garbage hold no reading for a form with a checksum, cost no memory, and the next
// good line is taken. A phantom is a sample whose pair of numbers no sent line had.
func TestGarbage(t *testing.T) {
	n := scaled(300_000, 10_000_000)
	for _, sum := range []string{"xor", "sum8", "crc16"} {
		for _, kind := range []string{"any", "printable", "near miss"} {
			t.Run(sum+" "+kind, func(t *testing.T) {
				data := noise(kind, sum, n, rand.New(rand.NewPCG(3, uint64(len(sum)+len(kind)))))
				var before, after runtime.MemStats
				runtime.GC()
				runtime.ReadMemStats(&before)
				phantoms, last := 0, kiln.Sample{}
				heard := listenTo(t, checkedSettings(sum), append(data, "\n"+checked(sum, 42)+"\n"...),
					func(s kiln.Sample) {
						last = s
						if len(s.Values) != 2 || !sent(s) {
							phantoms++
						}
					})
				runtime.GC()
				runtime.ReadMemStats(&after)
				grown := int64(after.HeapAlloc) - int64(before.HeapAlloc)
				k := heard.Kilns[0]
				t.Logf("%d bytes, %d garbled lines, %d good, %d phantoms, heap grown by %d", n, k.Garbled,
					k.Good, phantoms, grown)
				if phantoms > limitOf(sum, kind, k.Garbled) {
					t.Errorf("%d phantoms", phantoms)
				}
				if grown > 10<<20 {
					t.Errorf("the heap grew by %d bytes", grown)
				}
				if len(last.Values) != 2 || last.Values[0].T != 42 || last.Values[1].T != 294.5 {
					t.Errorf("the next good line was not taken: %+v", last)
				}
			})
		}
	}
}

// limitOf is how many phantoms a checksum can not help: none for anything that we promise. Eight
// bits let one in 256 through where a byte is lost or doubled, and a made-up printable line may
// happen to be right.
func limitOf(sum, kind string, lines uint64) int {
	if sum == "crc16" || kind == "any" {
		return 0
	}
	return int(lines / 256)
}

// sent reports whether some line of checked holds this pair.
func sent(s kiln.Sample) bool {
	a, b := float64(s.Values[0].T), float64(s.Values[1].T)
	n := int(a)
	return float64(n) == a && n >= 0 && n < 1800 && b == float64((n*7)%1800)+0.5
}

// listenTo plays data to a source and calls each for every sample.
func listenTo(t *testing.T, s Settings, data []byte, each func(kiln.Sample)) Heard {
	t.Helper()
	out := make(chan kiln.Sample, 64)
	src, err := New(s, steps(), out)
	if err != nil {
		t.Fatal(err)
	}
	src.Open = func(Settings) (Port, error) { return Played(io.NopCloser(&chunks{data: data})), nil }
	ended := make(chan error, 1)
	go func() { ended <- src.Run(context.Background()); close(out) }()
	for sample := range out {
		each(sample)
	}
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	return src.Heard()
}

// chunks reads data in pieces of uneven size.
type chunks struct {
	data []byte
	n    int
}

func (c *chunks) Read(b []byte) (int, error) {
	if len(c.data) == 0 {
		return 0, io.EOF
	}
	c.n = c.n%61 + 1
	n := copy(b, c.data[:min(c.n, len(c.data))])
	c.data = c.data[n:]
	return n, nil
}

// Garbage on a bus: every question gets garbage for an answer, half of it near misses of the right
// one, until there were 10^7 bytes of it. None is taken; the next good answer is.
func TestGarbageOnTheBus(t *testing.T) {
	n := scaled(100_000, 10_000_000)
	synctest.Test(t, func(t *testing.T) {
		dice := rand.New(rand.NewPCG(5, 6))
		registers := map[uint16]uint16{5: 1, 6: 2}
		total := 0
		port := newFakePort(func(p *fakePort, q []byte) {
			good := respond(1, registers, q)
			answer := good
			if total < n {
				if dice.IntN(2) == 0 {
					answer = practice.Damage(good, dice)
				} else {
					answer = make([]byte, 1+dice.IntN(200))
					for i := range answer {
						answer[i] = byte(dice.Uint32())
					}
				}
				if total += len(answer); bytes.Equal(answer, good) {
					answer = answer[1:] // the damage undid itself
				}
			}
			p.in <- answer
		})
		s := bussed(busKiln("k", register("1", 1, 5, "int16"), register("2", 1, 6, "int16")))
		out := make(chan kiln.Sample, 1)
		src, err := New(s, boot(), out)
		if err != nil {
			t.Fatal(err)
		}
		src.Open = func(Settings) (Port, error) { return port, nil }
		ctx, cancel := context.WithCancel(context.Background())
		ended := make(chan error, 1)
		go func() { ended <- src.Run(ctx) }()
		first := <-out
		cancel()
		<-ended
		if total < n {
			t.Errorf("%+v was taken after %d bytes of garbage", first, total)
		}
		if len(first.Values) != 2 || first.Values[0].T != 1 || first.Values[1].T != 2 {
			t.Errorf("the next good answer: %+v", first)
		}
		t.Logf("%d bytes in %d answers, none taken", total, src.Heard().Kilns[0].Garbled)
	})
}

// A fifth of the lines of a firing damaged, plain text with two columns: once judged, no reading
// that is left is more than 20 K off, and the curve, which takes the median of
// ten seconds, stays within 1 °C of the truth.
func TestCorruptedLines(t *testing.T) {
	curve := practice.Curve{Programme: practice.MustParse("20>600@150 >1222@180 h20 off60"),
		Noise: 0.15, Step: 0.1, Seed: 4}
	other := curve
	other.Off, other.Seed = 8, 5
	k := practice.Kiln{Curves: []practice.Curve{curve, other}, Seed: 6,
		Faults: []practice.Fault{{What: practice.Garbled, To: 1000 * time.Hour, Share: 0.2}}}
	s := columnsOn("x")
	s.Kilns[0].Channels = append(s.Kilns[0].Channels, Channel{ID: "2", From: "2", Unit: "c",
		Scale: 1, Linearised: true})
	s.Kilns[0].Every = time.Nanosecond
	worst, single, judgedWorst, marked := 0.0, 0, 0.0, 0
	var bin []float64
	judge := faults.NewFaultDetector(kiln.Kiln{ID: s.Kilns[0].ID, Control: "1", Every: time.Second,
		Channels: []kiln.Channel{{ID: "1", Role: kiln.RoleProbe}, {ID: "2", Role: kiln.RoleProbe}}}, nil)
	heard := listenToKiln(t, s, &k, func(sample kiln.Sample) {
		if v, ok := sample.Value("1"); ok && v.Fault == kiln.Good &&
			abs(float64(v.T-curve.True(sample.At.Since))) > 20 {
			single++
		}
		for _, judged := range judge.Assess(sample) {
			v, ok := judged.Value("1")
			if !ok || v.Fault != kiln.Good {
				marked++
				continue
			}
			off := float64(v.T - curve.True(judged.At.Since))
			judgedWorst = max(judgedWorst, abs(off))
			if bin = append(bin, off); len(bin) == 10 {
				worst = max(worst, abs(median(bin)))
				bin = bin[:0]
			}
		}
	})
	h := heard.Kilns[0]
	t.Logf("%d good, %d garbled, %d lines over 20 K off, %d readings marked; what is left is off by %.1f at worst, ten seconds' median by %.2f", h.Good, h.Garbled, single, marked, judgedWorst, worst)
	if judgedWorst > 20 {
		t.Errorf("a damaged reading %.1f K off was believed", judgedWorst)
	}
	if h.Garbled < 1000 {
		t.Errorf("only %d garbled lines: nothing was tried", h.Garbled)
	}
	if worst > 1 {
		t.Errorf("the curve is off by %.2f °C", worst)
	}
}

// listenToKiln plays a practice kiln to a source, a line each second of the kiln's age, by which it
// is stamped.
func listenToKiln(t *testing.T, s Settings, k *practice.Kiln, each func(kiln.Sample)) Heard {
	t.Helper()
	out := make(chan kiln.Sample)
	told := &telling{kiln: k}
	src, err := New(s, func() kiln.Stamp {
		return kiln.Stamp{Boot: "b1",
			Since: time.Duration(told.age.Load())}
	}, out)
	if err != nil {
		t.Fatal(err)
	}
	src.Open = func(Settings) (Port, error) { return Played(io.NopCloser(told)), nil }
	ended := make(chan error, 1)
	go func() { ended <- src.Run(context.Background()); close(out) }()
	for sample := range out {
		each(sample)
	}
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	return src.Heard()
}

// telling reads what a practice kiln says, one line at a time.
type telling struct {
	kiln *practice.Kiln
	next time.Duration
	age  atomic.Int64 // of the line last read
}

func (k *telling) Read(b []byte) (int, error) {
	for ; k.next < k.kiln.Length(); k.next += time.Second {
		if said := k.kiln.Said(k.next); said != nil {
			k.age.Store(int64(k.next))
			k.next += time.Second
			return copy(b, said), nil
		}
	}
	return 0, io.EOF
}

func abs(x float64) float64 { return max(x, -x) }

func median(v []float64) float64 {
	s := append([]float64(nil), v...)
	for i := range s {
		for k := i; k > 0 && s[k] < s[k-1]; k-- {
			s[k], s[k-1] = s[k-1], s[k]
		}
	}
	return (s[len(s)/2-1] + s[len(s)/2]) / 2
}
