package source

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"lidwright/kiln"
)

func polled(change func(*Kiln)) Settings {
	s := columnsOn("/dev/serial/by-path/y")
	s.Kilns[0].Poll = []string{"T?"}
	if change != nil {
		change(&s.Kilns[0])
	}
	return s
}

func TestAsked(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		port := newFakePort(func(p *fakePort, q []byte) {
			if string(q) == "T?\r" {
				p.later(time.Millisecond, q) // the controller echoes what it is asked
				p.later(30*time.Millisecond, []byte("2"))
				p.later(60*time.Millisecond, []byte("0.5\r\n"))
			}
		})
		samples, heard := runFor(t, 10*time.Second, polled(func(k *Kiln) { k.Terminator = "\r" }), port)
		if len(samples) != 8 || samples[0].Values[0].T != 20.5 || heard.Kilns[0].Garbled != 0 {
			t.Errorf("%d samples, %+v", len(samples), heard.Kilns[0])
		}
		if len(heard.Sends) != 1 || !strings.Contains(heard.Sends[0].String(), `"T?"`) {
			t.Errorf("%q", heard.Sends)
		}
	})
}

// Two questions a round: columns count on, and a missing answer ends the round.
func TestTwoQuestions(t *testing.T) {
	for _, dumb := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			port := newFakePort(func(p *fakePort, q []byte) {
				switch {
				case strings.HasPrefix(string(q), "A"):
					p.later(20*time.Millisecond, []byte("1,2\r\n"))
				case !dumb:
					p.later(20*time.Millisecond, []byte("3\r\n"))
				}
			})
			samples, heard := runFor(t, 8*time.Second,
				polled(func(k *Kiln) { k.Poll, k.Channels[0].From = []string{"A?", "B?"}, "3" }), port)
			if dumb && (len(samples) != 0 || heard.Kilns[0].Silent == 0) || !dumb && (len(samples) != 6 ||
				samples[0].Values[0].T != 3) {
				t.Errorf("dumb %v: %d samples, %+v", dumb, len(samples), heard.Kilns[0])
			}
		})
	}
}

// An answer that comes too late is not taken for the answer to the next question.
func TestLateLine(t *testing.T) {
	for _, late := range []time.Duration{900, 1100, 1900, 2500, 3900} {
		synctest.Test(t, func(t *testing.T) {
			n := 0
			port := newFakePort(func(p *fakePort, q []byte) {
				n++
				d := 20 * time.Millisecond
				if n%3 == 0 {
					d = late * time.Millisecond
				}
				p.later(d, []byte(map[byte]string{'A': "100\r\n", 'B': "900\r\n"}[q[0]]))
			})
			s := polled(func(k *Kiln) {
				k.Poll = []string{"A?", "B?"}
				k.Channels = append(k.Channels, k.Channels[0])
				k.Channels[1].ID, k.Channels[1].From = "2", "2"
			})
			samples, _ := runFor(t, time.Minute, s, port)
			for _, sample := range samples {
				if sample.Values[0].T != 100 || sample.Values[1].T != 900 {
					t.Fatalf("late by %d ms: %+v", late, sample.Values)
				}
			}
			if len(samples) < 5 {
				t.Errorf("late by %d ms: %d samples", late, len(samples))
			}
		})
	}
}

// Silence of a line that speaks unasked is counted, and a line begun and not ended is dropped.
func TestSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		port := newFakePort(nil)
		port.later(0, []byte("\n20.5\n12"))
		port.later(30*time.Second, []byte("21.5\n"))
		samples, heard := runFor(t, time.Minute, columnsOn("z"), port)
		if len(samples) != 2 || samples[1].Values[0].T != 21.5 {
			t.Errorf("%+v", samples)
		}
		if k := heard.Kilns[0]; k.Silent < 4 || k.Silent > 6 || k.Garbled != 1 {
			t.Errorf("%+v", k)
		}
	})
}

// The port goes: another opening, and the state in words.
func TestGone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		opened := 0
		out := make(chan kiln.Sample, 100)
		src, err := New(columnsOn("/dev/x"), boot(), out)
		if err != nil {
			t.Fatal(err)
		}
		var states []PortState
		src.Changed = func(h Heard) { states = append(states, h.State) }
		ports := []*fakePort{}
		src.Open = func(Settings) (Port, error) {
			opened++
			p := newFakePort(nil)
			p.in <- []byte("\n20.5\n")
			close(p.in)
			ports = append(ports, p)
			return p, nil
		}
		runUntil(t, src, 10*time.Second)
		if opened < 20 || len(out) < 8 {
			t.Errorf("opened %d times, %d samples", opened, len(out))
		}
		for i, p := range ports {
			if !p.closed {
				t.Fatalf("port %d was left open", i)
			}
		}
		if states[0] != PortOpen || states[1] != PortGone || states[len(states)-1] != PortOver {
			t.Errorf("states %v", states)
		}
	})
}

// A header that was heard once holds after an unplugging: the device may not have noticed it.
func TestHeaderOutlastsUnplugging(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := columnsOn("/dev/x")
		s.Kilns[0].Channels[0].From = "top"
		out := make(chan kiln.Sample, 100)
		src, err := New(s, boot(), out)
		if err != nil {
			t.Fatal(err)
		}
		text := "\ntop\n20.5\n"
		src.Open = func(Settings) (Port, error) {
			p := newFakePort(nil)
			p.in <- []byte(text)
			text = "\n21.5\n"
			close(p.in)
			return p, nil
		}
		runUntil(t, src, 3*time.Second)
		if len(out) < 3 {
			t.Errorf("%d samples, %+v", len(out), src.Heard())
		}
	})
}
