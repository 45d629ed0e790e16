package source_test

import (
	"context"
	"math"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/source"
	"lidwright/kiln/source/sourcetest"
)

var start = kiln.Stamp{Boot: "b1", Since: time.Hour, Wall: time.Date(2031, 3, 4, 7, 0, 0, 0, time.UTC)}

// oneKiln is a line with one kiln on it whose channels 1, 2, ... stand in those columns.
func oneKiln(change func(*source.Kiln)) source.Settings {
	k := source.Kiln{
		ID: "big-blue", Every: time.Second, Reply: "columns", Separator: ",", Terminator: "\n",
		Channels: []source.Channel{{ID: "1", From: "1", Unit: "c", Scale: 1,
			Linearised: true, Role: kiln.RoleProbe}},
	}
	if change != nil {
		change(&k)
	}
	return source.Settings{Port: "/dev/serial/by-id/nothing", Speed: 9600, Framing: "8N1",
		Kilns: []source.Kiln{k}}
}

// play runs a recording through a source and gives all samples and what was heard.
func play(t *testing.T, s source.Settings, recording string) ([]kiln.Sample, source.Heard) {
	t.Helper()
	out := make(chan kiln.Sample, 1<<12)
	src, err := source.New(s, sourcetest.EverySecond(start), out)
	if err != nil {
		t.Fatal(err)
	}
	src.Open = sourcetest.Lines([]byte(recording))
	if err := src.Run(context.Background()); err != nil {
		t.Fatal(err)
	}
	close(out)
	var all []kiln.Sample
	for sample := range out {
		all = append(all, sample)
	}
	return all, src.Heard()
}

func channel(id, from string, change func(*source.Channel)) source.Channel {
	c := source.Channel{ID: kiln.ChannelID(id), From: from, Unit: "c", Scale: 1,
		Linearised: true, Role: kiln.RoleProbe}
	if change != nil {
		change(&c)
	}
	return c
}

// first is the first sample's temperatures, NaN for a fault.
func temperatures(s kiln.Sample) []float64 {
	var out []float64
	for _, v := range s.Values {
		out = append(out, float64(v.T))
	}
	return out
}

func TestForms(t *testing.T) {
	two := func(a, b string) []source.Channel {
		return []source.Channel{channel("1", a, nil), channel("2", b, nil)}
	}
	cases := []struct {
		name   string
		change func(*source.Kiln)
		lines  string
		want   []float64
		good   uint64 // lines
		bad    uint64
	}{
		{"columns by number", func(k *source.Kiln) { k.Channels = two("1", "2") }, "1222.5,1210.0\r\n",
			[]float64{1222.5, 1210}, 1, 0},
		{"columns by name after the header", func(k *source.Kiln) { k.Channels = two("top", "bottom") },
			"9.0,1,2\ntime,bottom,top\n10.0,850.5,860.25\n", []float64{860.25, 850.5}, 1, 1},
		{"a header that comes again", func(k *source.Kiln) { k.Channels = two("top", "bottom") },
			"top,bottom\n1,2\ntop,bottom\n3,4\n", []float64{1, 2}, 2, 0},
		{"blanks between columns", func(k *source.Kiln) { k.Separator = " " },
			"  20.5   21\n", []float64{20.5}, 1, 0},
		{"decimal comma", func(k *source.Kiln) {
			k.DecimalComma, k.Separator, k.Channels = true, ";",
				two("1", "2")
		}, "1222,5;19,25\n", []float64{1222.5, 19.25}, 1, 0},
		{"key and value", func(k *source.Kiln) { k.Reply, k.Channels = "keyvalue", two("t1", "t2") },
			"t2 = 7.5, t1=6\n", []float64{6, 7.5}, 1, 0},
		{"key and value with colons", func(k *source.Kiln) {
			k.Reply, k.Separator, k.Channels = "keyvalue",
				" ", two("A", "B")
		}, "A:6 B:7\n", []float64{6, 7}, 1, 0},
		{"JSON", func(k *source.Kiln) { k.Reply, k.Channels = "json", two("zones.0.t", "zones.1.t") },
			`{"zones":[{"t":600.5},{"t":"601"}],"x":{}}` + "\n", []float64{600.5, 601}, 1, 0},
		{"a key that stands twice in JSON",
			func(k *source.Kiln) { k.Reply, k.Channels = "json", two("t", "t") }, `{"t":1,"t":2}` +
				"\n", nil, 0, 1},
		{"pattern", func(k *source.Kiln) {
			k.Reply, k.Pattern, k.Channels = "pattern", `PV (?P<pv>[\d.]+) SP (?P<sp>[\d.]+).*`, two("pv",
				"sp")
		}, "PV 99.5 SP 120 OK\nxPV 1 SP 2\n", []float64{99.5, 120}, 1, 1},
		{"Fahrenheit", func(k *source.Kiln) { k.Channels[0].Unit = "f" }, "212F\n", []float64{100}, 1, 0},
		{"kelvin", func(k *source.Kiln) { k.Channels[0].Unit = "k" }, "373.15\n", []float64{100}, 1, 0},
		{"scale and offset", func(k *source.Kiln) { k.Channels[0].Scale, k.Channels[0].Offset = 0.1, -5 },
			"12225\n", []float64{1217.5}, 1, 0},
		{"a word in front", func(k *source.Kiln) { k.Select = "B1" }, "A1,10\nB1,20\n", []float64{20}, 1, 1},
		// A sentence of NMEA 0183 that is printed in many places, among them the manuals of receivers (from
		// memory).
		{"xor", func(k *source.Kiln) { k.Checksum, k.Channels = "xor", two("9", "10") },
			"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\n$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.8,545.4,M,46.9,M,,*47\n", []float64{0.9, 545.4}, 1, 1},
		{"sum of bytes", func(k *source.Kiln) { k.Checksum = "sum8" }, "20.5*C5\n", []float64{20.5}, 1, 0},
		// CRC-16/MODBUS of "123456789" is 4B37: catalogue of parametrised CRC algorithms, check value.
		{"crc16", func(k *source.Kiln) { k.Checksum, k.Channels[0].Scale = "crc16", 1e-6 },
			"123456789*4B37\n", []float64{123.456789}, 1, 0},
		{"CR alone ends a line", nil, "20\r21\r", []float64{20}, 2, 0},
		{"another end of line", func(k *source.Kiln) { k.Terminator = ";" },
			"20;21;\n22;", []float64{20}, 3, 0},
		{"a NUL drops the line", nil, "1\x0022\n23\n", []float64{23}, 1, 1},
		{"a line of a megabyte", nil, strings.Repeat("1", 1<<12) + "\n24\n", []float64{24}, 1, 1},
		{"a banner", nil, "Version 2, ready!\n\n25\n", []float64{25}, 1, 1},
		{"glued lines", nil, "20.120.2\n20.3\n", []float64{20.3}, 1, 1},
		{"the number of columns changes once", func(k *source.Kiln) { k.Channels = two("1", "2") },
			"1,2\n1\n3,4\n5,6\n7,8,9\n", []float64{1, 2}, 3, 2},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			samples, heard := play(t, oneKiln(c.change), c.lines)
			k := heard.Kilns[0]
			if k.Good != c.good || k.Garbled != c.bad {
				t.Errorf("%d good and %d garbled lines, want %d and %d: %+v", k.Good, k.Garbled,
					c.good, c.bad, k.BadLines)
			}
			if uint64(len(samples)) != c.good {
				t.Fatalf("%d samples, want %d", len(samples), c.good)
			}
			if len(samples) == 0 {
				return
			}
			got := temperatures(samples[0])
			if len(got) != len(c.want) {
				t.Fatalf("got %v, want %v", got, c.want)
			}
			for i := range got {
				if math.Abs(got[i]-c.want[i]) > 1e-9 {
					t.Errorf("got %v, want %v", got, c.want)
				}
			}
		})
	}
}
