package source_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"regexp"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/source"
	"lidwright/kiln/thermocouple"
)

// millivolts is a kiln with an amplifier board: voltage in column 1, its cold junction in column 2.
func millivolts(k *source.Kiln) {
	k.Channels = []source.Channel{
		channel("1", "1", func(c *source.Channel) {
			c.Unit, c.ColdJunction, c.Type = "mv", "cold", thermocouple.K
		}),
		channel("cold", "2", func(c *source.Channel) { c.Role = kiln.RoleOther }),
	}
}

// NIST Standard Reference Database 60, type K: 1222 °C is 49.637457 mV and 25 °C is 1.000242 mV, so
// a meter whose junction is at 25 °C sees 48.637215 mV.
func TestMillivolts(t *testing.T) {
	samples, _ := play(t, oneKiln(millivolts), "48.637215,25.0\n")
	if v := samples[0].Values[0]; math.Abs(float64(v.T)-1222) > 1e-4 || v.Fault != kiln.Good {
		t.Errorf("%+v, want 1222.0000 °C", v)
	}
}

func TestColdJunction(t *testing.T) {
	samples, _ := play(t, oneKiln(millivolts), strings.Join([]string{
		"48.637215,25.0", "48.637215,35.0", "48.637215,35.0", "48.637215,99.0", "48.637215,-", "nan,35.0", "",
	}, "\n"))
	want := []kiln.Fault{kiln.Good, kiln.NotConverted, kiln.Good, kiln.NotConverted}
	for i, fault := range want {
		if got := samples[i].Values[0].Fault; got != fault {
			t.Errorf("sample %d: fault %q, want %q", i, got, fault)
		}
		if fault != kiln.Good && samples[i].Raw == "" {
			t.Errorf("sample %d: the raw line is not kept", i)
		}
	}
}

// The last cold junction heard is good for a minute.
func TestColdJunctionLasts(t *testing.T) {
	s := oneKiln(func(k *source.Kiln) {
		millivolts(k)
		k.Reply = "keyvalue"
		k.Channels[0].From, k.Channels[1].From = "mv", "cj"
	})
	samples, _ := play(t, s, "mv=48.637215,cj=25\n"+strings.Repeat("mv=48.637215\n", 70))
	for i, sample := range samples {
		want := kiln.Good
		if i > 60 {
			want = kiln.NotConverted
		}
		if got := sample.Values[0].Fault; got != want {
			t.Errorf("%d s after the junction was told: fault %q, want %q", i, got, want)
		}
	}
}

// A fixed-slope front end reports Tcj + E / 0.041276: for 1222 °C and 25 °C that is
// 25 + 48.637215 / 0.041276 = 1203.3410.
func TestFixedSlope(t *testing.T) {
	s := oneKiln(func(k *source.Kiln) {
		millivolts(k)
		k.Channels[0].Unit, k.Channels[0].Linearised = "c", false
	})
	samples, _ := play(t, s, "1203.3410,25\n")
	if v := samples[0].Values[0]; math.Abs(float64(v.T)-1222) > 1e-2 {
		t.Errorf("%+v, want 1222.00 °C", v)
	}
}

// What controllers say of an open couple (common practice, no source) is never a temperature, and
// what makes no sense is no line.
func TestNoTemperature(t *testing.T) {
	for text, want := range map[string]kiln.Fault{
		"NaN": kiln.Break, "OPEN": kiln.Break, "----": kiln.Break,
		"9.91E37": kiln.Break, "-9.9E37": kiln.Break,
		"": kiln.Break, "32767": kiln.Break, "3276.7": kiln.Break, "-3276.8": kiln.Break,
		"9999": kiln.Break, "inf": kiln.Break,
		"HHHH": kiln.Break, "Err": kiln.Break, "999.9": kiln.Good, "1222.5": kiln.Good, "25 C": kiln.Good,
		"77F": kiln.UnitChanged,
	} {
		samples, heard := play(t, oneKiln(func(k *source.Kiln) {
			k.Channels = append(k.Channels,
				channel("2", "2", nil))
		}), text+",20\n")
		if len(samples) != 1 {
			t.Errorf("%q: no sample: %+v", text, heard.Kilns[0].BadLines)
			continue
		}
		v := samples[0].Values[0]
		if v.Fault != want || want == kiln.Break && v.T.Known() {
			t.Errorf("%q: %+v, want fault %q", text, v, want)
		}
		if b := heard.Kilns[0].Breakvalue; b > 0 != (want == kiln.Break) {
			t.Errorf("%q: %d break values counted", text, b)
		}
		if samples[0].Values[1].T != 20 || samples[0].Values[1].Fault != kiln.Good {
			t.Errorf("%q: the other channel is %+v", text, samples[0].Values[1])
		}
	}
	for _, text := range []string{"12x5", "0x10", "1_000", "1e999", "12.5.1", "+-3",
		"1e", "12345678901", "١٢"} {
		samples, heard := play(t, oneKiln(nil), text+"\n")
		if len(samples) != 0 || heard.Kilns[0].Garbled != 1 {
			t.Errorf("%q: %+v", text, samples)
		}
	}
}

func TestVentContact(t *testing.T) {
	s := oneKiln(func(k *source.Kiln) { k.Channels[0].Role = kiln.RoleVent })
	samples, _ := play(t, s, "ON\nclosed\n1\n")
	for i, want := range []kiln.Celsius{1, 0, 1} {
		if v := samples[i].Values[0]; v.T != want || v.Fault != kiln.Good {
			t.Errorf("line %d: %+v", i, v)
		}
	}
}

// A decimal comma never becomes two channels without a word.
func TestDecimalCommaIsSuspected(t *testing.T) {
	s := oneKiln(func(k *source.Kiln) { k.Channels = append(k.Channels, channel("2", "2", nil)) })
	if _, heard := play(t, s, "1222,5\n1223,0\n"); !strings.Contains(strings.Join(heard.Words(), "\n"),
		"decimal_comma = true") {
		t.Errorf("%q", heard.Words())
	}
	if _, heard := play(t, s, "1222.0,1210.5\n"); heard.Kilns[0].Hint.String() != "" {
		t.Errorf("%q", heard.Kilns[0].Hint)
	}
}

// Two kilns on one line, each with its word in front.
func TestSelect(t *testing.T) {
	s := oneKiln(func(k *source.Kiln) { k.Select = "A" })
	other := s.Kilns[0]
	other.ID, other.Select = "little-red", "B"
	s.Kilns = append(s.Kilns, other)
	samples, heard := play(t, s, "A,10\nB,20\nA 11\nC,5\nB,x\n")
	got := ""
	for _, sample := range samples {
		got += fmt.Sprintf("%s %.0f; ", sample.Kiln, sample.Values[0].T)
	}
	if got != "big-blue 10; little-red 20; big-blue 11; " {
		t.Errorf("%s", got)
	}
	if a, b := heard.Kilns[0].Garbled, heard.Kilns[1].Garbled; a != 1 || b != 2 { // C,5 belongs to nobody
		t.Errorf("garbled %d and %d", a, b)
	}
}

// A device that starts again sets its clock back: order and steps are ours.
func TestDeviceTime(t *testing.T) {
	s := oneKiln(func(k *source.Kiln) {
		k.TimeColumn, k.Channels[0].From, k.Every = "1", "2", time.Millisecond
	})
	samples, heard := play(t, s, "100,20\n100.2,21\n100.2,21\n101.2,22\n0.5,23\n1.5,24\n12:00:00,25\n2031-03-04T07:00:00Z,26\nx,27\n")
	last := time.Duration(-1)
	for i, sample := range samples {
		if sample.At.Since <= last {
			t.Errorf("sample %d at %v after one at %v", i, sample.At.Since, last)
		}
		last = sample.At.Since
	}
	if len(samples) != 7 || heard.Kilns[0].Garbled != 2 { // one line came twice, one has no time
		t.Errorf("%d samples, %+v", len(samples), heard.Kilns[0].BadLines)
	}
}

// A flood is thinned to two lines a period: eight in these four, and three of the room that a line has
// when it begins.
func TestFlood(t *testing.T) {
	s := oneKiln(nil)
	s.Kilns[0].Every = 500 * time.Second // lines come a second apart: five hundred times too often
	samples, heard := play(t, s, strings.Repeat("20.5\n", 2000))
	if len(samples) != 11 || heard.Kilns[0].Crowded != 1989 {
		t.Errorf("%d samples, %d left out", len(samples), heard.Kilns[0].Crowded)
	}
}

// heldUpPort is a line that speaks once a second for half a minute, and whose next twenty lines nobody
// reads for twenty seconds.
type heldUpPort struct {
	source.Port
	now  *atomic.Int64 // seconds
	read int
}

func (p *heldUpPort) SetReadTimeout(time.Duration) error { return nil }
func (p *heldUpPort) Close() error                       { return nil }

func (p *heldUpPort) Read(b []byte) (int, error) {
	p.read++
	switch {
	case p.read == 1:
		return 0, nil
	case p.read <= 31:
		p.now.Add(1)
		return copy(b, "20.5\n"), nil
	case p.read == 32:
		p.now.Add(20)
		return copy(b, strings.Repeat("21.5\n", 20)), nil
	}
	return 0, errors.New("over")
}

// Lines that waited while nobody read are all taken, each stamped when it was read.
func TestHeldUp(t *testing.T) {
	var now atomic.Int64
	out := make(chan kiln.Sample, 100)
	src, err := source.New(oneKiln(nil), func() kiln.Stamp {
		return kiln.Stamp{Boot: "b1", Since: time.Duration(now.Load()) * time.Second}
	}, out)
	if err != nil {
		t.Fatal(err)
	}
	src.Open = func(source.Settings) (source.Port, error) { return &heldUpPort{now: &now}, nil }
	ctx, cancel := context.WithCancel(t.Context())
	src.Sleep = func(context.Context, time.Duration) error { cancel(); return ctx.Err() }
	src.Run(ctx)
	close(out)
	single, together := 0, 0
	for s := range out {
		switch {
		case s.Values[0].T == 20.5 && s.At.Since == time.Duration(single+1)*time.Second:
			single++
		case s.Values[0].T == 21.5 && s.At.Since == 50*time.Second:
			together++
		default:
			t.Errorf("%+v", s)
		}
	}
	if h := src.Heard().Kilns[0]; single != 30 || together != 20 || h.Crowded != 0 {
		t.Errorf("%d lines a second apart, want 30; %d at once, want 20; %d left out",
			single, together, h.Crowded)
	}
}

func TestHeardInWords(t *testing.T) {
	_, heard := play(t, oneKiln(nil), "19.4\nrubbish\n19.5\n")
	want := []string{
		`big-blue: received 2 good lines in 4 s and 1 bad, last 1 19.5 °C; last bad line "rubbish": channel 1: rubbish: not a number`,
		`big-blue: now 19.5 °C: is that about the room? If the kiln is cold and it is, unit = "c" is right`,
	}
	if got := heard.Words(); !slices.Equal(got[len(got)-2:], want) {
		t.Errorf("%q\nwant %q", got, want)
	}
}

// A channel that no line has where the settings look for it is told, with the places that the line does have.
func TestAbsentInWords(t *testing.T) {
	two := func(reply, from1, from2 string) source.Settings {
		return oneKiln(func(k *source.Kiln) {
			k.Reply = reply
			k.Channels = append(k.Channels, k.Channels[0])
			k.Channels[0].From, k.Channels[1].ID, k.Channels[1].From, k.Channels[1].Role =
				from1, "2", from2, kiln.RoleRoom
		})
	}
	const line = `{"probe":[{"t":612.4,"ok":true}],"room":19.5}` + "\n"
	for _, c := range []struct {
		settings source.Settings
		lines    string
		want     []string
	}{
		{two("json", "probe.t", "room"), strings.Repeat(line, 8),
			[]string{`channel 1 is absent: nothing stands at from = "probe.t"; the line has probe.0.t, room. A path is the keys with points between, the first of a list is 0: probe.0.t`}},
		{two("json", "probe.0.t", "room"), strings.Repeat(line, 8), nil},
		// it was there a moment ago
		{two("json", "probe.0.t", "room"), line + `{"probe":[],"room":19.5}` + "\n", nil},
		{two("keyvalue", "top", "room"), "Top=612.4,room=19.5\n",
			[]string{`channel 1 is absent: nothing stands at from = "top"; the line has Top, room`}},
	} {
		_, heard := play(t, c.settings, c.lines)
		var got []string
		for _, says := range heard.Kilns[0].Absent {
			got = append(got, says.String())
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %q\nwant %q", c.lines, got, c.want)
		}
		if told := strings.Contains(strings.Join(heard.Words(), "\n"), "absent"); told != (c.want != nil) {
			t.Errorf("%s: told %v", c.lines, told)
		}
	}
}

// What help and example say of places on a line is what is read: the path of a JSON line, and a pattern that
// must match the whole line.
func TestPlacesAsDocumented(t *testing.T) {
	for _, name := range []string{"../../api/topics/connecting.md", "../../config/example.toml"} {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		text := string(b)
		path := regexp.MustCompile("(probe\\.0\\.t)`? in `?(\\{.*\\})[`\n]").FindStringSubmatch(text)
		pattern := regexp.MustCompile("[`'](T1 .*)[`'] reads `?(T1 612.4 C run)").FindStringSubmatch(text)
		if path == nil || pattern == nil || !strings.Contains(text, "the whole line") {
			t.Errorf("%s does not say how a JSON path is written, or that a pattern matches the whole line",
				name)
			continue
		}
		for _, c := range []struct {
			reply, from, line, pattern string
			reads                      bool
		}{
			{"json", path[1], path[2], "", true},
			{"pattern", "top", pattern[2], pattern[1], true},
			{"pattern", "top", "x " + pattern[2], pattern[1], false},
		} {
			samples, _ := play(t, oneKiln(func(k *source.Kiln) {
				k.Reply, k.Pattern = c.reply, c.pattern
				k.Channels[0].From = c.from
			}), c.line+"\n")
			if reads := len(samples) == 1 && samples[0].Values[0].T == 612.4; reads != c.reads {
				t.Errorf("%s: %q by %s: read %v, want %v: %v", name, c.line, c.from+c.pattern,
					reads, c.reads, samples)
			}
		}
	}
}

// 66.2 °F is 19.0 °C, and 19.0 °C taken for °F is -7.2 °C: 32 °F is 0 °C and 180 °F are 100 K, the
// definition of the scale.
func TestQuestionOfTheUnit(t *testing.T) {
	for _, c := range []struct{ unit, line, want string }{
		{"c", "66.2", `now 66.2 °C: is that about the room? If the kiln is cold and the room is nearer 19 °C, the line is in °F: set unit = "f" for channel 1`},
		{"f", "19.0", `now -7.2 °C: is that about the room? If the kiln is cold and the room is nearer 19 °C, the line is in °C: set unit = "c" for channel 1`},
		{"f", "66.2", `now 19.0 °C: is that about the room? If the kiln is cold and it is, unit = "f" is right`},
		{"k", "292.15", `now 19.0 °C: is that about the room? If the kiln is cold and it is, unit = "k" is right`},
		{"c", "612.4", ""},
	} {
		s := oneKiln(func(k *source.Kiln) { k.Channels[0].Unit = c.unit })
		if _, heard := play(t, s, c.line+"\n"); heard.Kilns[0].Question.String() != c.want {
			t.Errorf("%s in %s: %q\nwant %q", c.line, c.unit, heard.Kilns[0].Question, c.want)
		}
	}
}
