package source_test

import (
	"strings"
	"testing"

	"lidwright/kiln/source"
)

// Every setting that cannot work is refused with its key and what would be right.
func TestValidate(t *testing.T) {
	modbus := func(change func(*source.Channel)) func(*source.Settings) {
		return func(s *source.Settings) {
			k := &s.Kilns[0]
			k.Reply = "modbus"
			c := &k.Channels[0]
			c.UnitID, c.Function, c.Number, c.Order = 1, 3, "int16", "abcd"
			change(c)
		}
	}
	both := func(change func(a, b *source.Kiln)) func(*source.Settings) {
		return func(s *source.Settings) {
			other := s.Kilns[0]
			other.ID = "little-red"
			s.Kilns = append(s.Kilns, other)
			change(&s.Kilns[0], &s.Kilns[1])
		}
	}
	for _, c := range []struct {
		name   string
		change func(*source.Settings)
		want   string // "" = fine
	}{
		{"as it is", func(*source.Settings) {}, ""},
		{"scale 0", func(s *source.Settings) { s.Kilns[0].Channels[0].Scale = 0 },
			"channel.1.scale: 0: every reading would be the same"},
		{"a unit", func(s *source.Settings) { s.Kilns[0].Channels[0].Unit = "celsius" },
			"it is one of c, f, k, mv"},
		{"an odd speed", func(s *source.Settings) { s.Speed = 12345 }, "speed: 12345 baud is no usual speed"},
		{"framing", func(s *source.Settings) { s.Framing = "9X3" },
			"framing: \"9X3\" is no framing; take 8N1"},
		{"no port", func(s *source.Settings) { s.Port = "" }, "port: missing"},
		{"no channel", func(s *source.Settings) { s.Kilns[0].Channels = nil }, "no channel"},
		{"a poll string without its question mark",
			func(s *source.Settings) {
				s.Kilns[0].Poll = []string{"READ"}
			}, `poll_bytes: poll string "READ": must end in "?"`},
		{"a poll string with a control byte", func(s *source.Settings) { s.Kilns[0].Poll = []string{"A\r?"} },
			"only printable ASCII"},
		{"an end of line that is a digit", func(s *source.Settings) { s.Kilns[0].Terminator = "5" },
			"terminator"},
		{"column 0", func(s *source.Settings) { s.Kilns[0].Channels[0].From = "0" }, "columns count from 1"},
		{"comma twice", func(s *source.Settings) { s.Kilns[0].DecimalComma = true },
			"a comma cannot be both"},
		{"mv without a junction", func(s *source.Settings) {
			s.Kilns[0].Channels[0].Unit =
				"mv"
			s.Kilns[0].Channels[0].Type = 'K'
		}, "cold_junction: needed with unit mv"},
		{"mv without a type", func(s *source.Settings) { s.Kilns[0].Channels[0].Unit = "mv" },
			"mv needs the type"},
		{"junction that is not there", func(s *source.Settings) { s.Kilns[0].Channels[0].ColdJunction = "7" },
			`there is no channel "7"`},
		{"linearised on S", func(s *source.Settings) {
			c := &s.Kilns[0].Channels[0]
			c.Linearised, c.Type = false, 'S'
		}, "this is type S"},
		{"a pattern without the group", func(s *source.Settings) {
			s.Kilns[0].Reply,
				s.Kilns[0].Pattern = "pattern", "T(\\d+)"
		}, `no group "1"`},
		{"a pattern that is none", func(s *source.Settings) {
			s.Kilns[0].Reply,
				s.Kilns[0].Pattern = "pattern", "("
		}, "pattern: "},
		{"a checksum", func(s *source.Settings) { s.Kilns[0].Checksum = "md5" }, "none, xor, sum8, crc16"},
		{"modbus", modbus(func(*source.Channel) {}), ""},
		{"writing function", modbus(func(c *source.Channel) { c.Function = 6 }),
			"only 3 (holding registers) and 4"},
		{"register out of range", modbus(func(c *source.Channel) { c.Register = 65536 }),
			"registers go from 0 to 65535"},
		{"a wide register at the end", modbus(func(c *source.Channel) {
			c.Register, c.Number = 65535,
				"float32"
		}), "registers go from 0 to 65534"},
		{"slave 0", modbus(func(c *source.Channel) { c.UnitID = 0 }), "1 to 247"},
		{"order", modbus(func(c *source.Channel) { c.Order = "abdc" }), "abcd, badc, cdab, dcba"},
		{"two that send on one port", both(func(a, b *source.Kiln) {}), "kiln.little-red.select: needed"},
		{"two with words in front", both(func(a, b *source.Kiln) { a.Select, b.Select = "A", "B" }), ""},
		{"one asked and one not", both(func(a, b *source.Kiln) { a.Poll = []string{"A?"} }),
			"either all kilns are asked or none"},
		{"two of one name", both(func(a, b *source.Kiln) { a.Select, b.Select, b.ID = "A", "B", a.ID }),
			"two kilns of one name"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := oneKiln(nil)
			c.change(&s)
			err := s.Validate()
			if c.want == "" {
				if err != nil {
					t.Error(err)
				}
				return
			}
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%v; want %q", err, c.want)
			}
			if _, err := source.New(s, nil, nil); err == nil {
				t.Error("New took it")
			}
		})
	}
}
