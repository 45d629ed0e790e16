package source

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"lidwright/kiln"
)

// The fuzzers run their seeds with the other tests. `go test -fuzz FuzzX -fuzztime 10000000x`
// runs one for as long as wanted.

func FuzzCutter(f *testing.F) {
	f.Add([]byte("12.5\r\n13\n\x00x\n"), "\n")
	f.Add([]byte(strings.Repeat("9", 300)+"\n1\n"), "\n")
	f.Add([]byte("1;2;\n3;"), ";")
	f.Add([]byte("1\x032\x03"), "\x03")
	f.Fuzz(func(t *testing.T, data []byte, end string) {
		if !goodTerminator(end) {
			end = "\n"
		}
		c := newLineSplitter(end)
		c.fresh()
		each := func(line []byte) {
			if len(line) > maxLine || strings.ContainsRune(string(line), 0) || line != nil && len(line) == 0 {
				t.Fatalf("cut %q", line)
			}
		}
		c.cut(data, each)
		// Whatever came before, the second of two good lines is taken.
		last := ""
		c.cut([]byte(end+"20.5"+end+"21.5"+end), func(line []byte) { last = string(line) })
		if !strings.HasSuffix(last, "21.5") {
			t.Fatalf("after %q the good line became %q", data, last)
		}
	})
}

var strict = regexp.MustCompile(`^[+-]?([0-9]{1,9}([.][0-9]{1,9})?|[.][0-9]{1,9})([eE][+-]?[0-9]{1,2})?$`)

func FuzzNumber(f *testing.F) {
	for _, s := range []string{"1222.5", "-5", "+3e2", "9.91E37", "0x1p-2", "1_0", "NaN", "OPEN", "----",
		"12,5", "25 °C", "77F", "1.2.3", ".5", "5.", ""} {
		f.Add(s, false)
		f.Add(s, true)
	}
	f.Fuzz(func(t *testing.T, text string, comma bool) {
		v, err := parseNumber(text, "c", comma)
		if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
			t.Fatalf("%q became %v", text, v)
		}
		if plain(text) != strict.MatchString(text) {
			t.Fatalf("%q: plain %v", text, plain(text))
		}
	})
}

// fuzzForm reads lines with a form and asks for two channels; nothing but the absence of panics and
// of numbers that are none is asked.
func fuzzForm(t *testing.T, k Kiln, lines string) {
	k.ID, k.Terminator = "k", "\n"
	k.Channels = []Channel{{ID: "1", From: k.Channels[0].From, Unit: "c", Scale: 1, Linearised: true},
		{ID: "2", From: k.Channels[1].From, Unit: "f", Scale: 1, Linearised: true}}
	form, err := newForm(k)
	if err != nil {
		t.Fatal(err)
	}
	decoder := &decoder{kiln: k, form: form, conv: newConverter(k), tally: newTally()}
	for _, line := range strings.Split(lines, "\n") {
		s, err := form.read(line)
		if err != nil {
			continue
		}
		if len(s.columns) > maxColumns {
			t.Fatalf("%d columns", len(s.columns))
		}
		raws, _, err := decoder.raws(s)
		if err != nil {
			continue
		}
		if form.usual(len(s.columns)) != nil {
			continue
		}
		for _, v := range decoder.conv.values(kiln.Stamp{}, raws) {
			if v.Fault == kiln.Good && !v.T.Known() {
				t.Fatalf("%q: good and no number: %+v", line, v)
			}
		}
	}
}

func from(a, b string) []Channel { return []Channel{{From: a}, {From: b}} }

func FuzzColumns(f *testing.F) {
	f.Add("1,2\n3,4\n", ",", false)
	f.Add("a;b\n1,5;2\n", ";", true)
	f.Add("  1  2 \n", " ", false)
	f.Fuzz(func(t *testing.T, lines, separator string, comma bool) {
		if separator == "" {
			separator = ","
		}
		fuzzForm(t, Kiln{Reply: "columns", Separator: separator, DecimalComma: comma,
			Channels: from("1", "2")}, lines)
		fuzzForm(t, Kiln{Reply: "columns", Separator: separator, DecimalComma: comma,
			Channels: from("a", "b")}, lines)
	})
}

func FuzzKeyValue(f *testing.F) {
	f.Add("a=1,b=2", ",")
	f.Add("a:1 b:2 a:3", " ")
	f.Fuzz(func(t *testing.T, lines, separator string) {
		if separator == "" {
			separator = ","
		}
		fuzzForm(t, Kiln{Reply: "keyvalue", Separator: separator, Channels: from("a", "b")}, lines)
	})
}

func FuzzJSON(f *testing.F) {
	f.Add(`{"a":1,"b":{"c":[1,2,null]}}`, "a", "b.c.1")
	f.Add(`[[[[[[[[[[[[[[[[[[[[]]]]]]]]]]]]]]]]]]]]`, "0", "0.0")
	f.Add(`{"a":1}{"a":2}`, "a", "")
	f.Fuzz(func(t *testing.T, line, a, b string) {
		fuzzForm(t, Kiln{Reply: "json", Channels: from(a, b)}, line)
	})
}

func FuzzPattern(f *testing.F) {
	f.Add(`T (?P<a>\d+) (?P<b>.*)`, "T 12 13\nT x\n")
	f.Fuzz(func(t *testing.T, pattern, lines string) {
		re, err := regexp.Compile(pattern)
		if err != nil || len(pattern) > 200 {
			return
		}
		if _, err := regexp.Compile("^(?:" + pattern + ")$"); err != nil || re.NumSubexp() > 20 {
			return
		}
		fuzzForm(t, Kiln{Reply: "pattern", Pattern: pattern, Channels: from("a", "b")}, lines)
	})
}

// Whatever has a right checksum ends in it: nothing else passes.
func FuzzChecksum(f *testing.F) {
	f.Add("$1,2*1E", "xor")
	f.Add("20.5*C5", "sum8")
	f.Add("123456789*4B37", "crc16")
	f.Fuzz(func(t *testing.T, line, kind string) {
		if kind != "xor" && kind != "sum8" {
			kind = "crc16"
		}
		body, err := stripChecksum(line, kind)
		if err != nil {
			return
		}
		digits := map[string]int{"xor": 2, "sum8": 2, "crc16": 4}[kind]
		line = strings.TrimRight(line, " ")
		var want uint64
		for _, c := range strings.ToLower(line[len(line)-digits:]) {
			at := strings.IndexRune("0123456789abcdef", c)
			if at < 0 {
				t.Fatalf("%q passed with the check %q", line, line[len(line)-digits:])
			}
			want = want<<4 | uint64(at)
		}
		if uint64(sumOf(body, kind)) != want || !strings.Contains(line, body) {
			t.Fatalf("%q passed as %q", line, body)
		}
	})
}

func FuzzAnswer(f *testing.F) {
	r := request{17, 3, 107, 3}
	f.Add(withCRC([]byte{0x11, 0x03, 0x06, 0x02, 0x2b, 0x00, 0x00, 0x00, 0x64}), 17, 3, 107, 3)
	f.Add(withCRC([]byte{0x11, 0x83, 0x02}), 17, 3, 107, 3)
	f.Add(r.frame(), 17, 3, 107, 3)
	f.Fuzz(func(t *testing.T, b []byte, unit, function, first, count int) {
		r := request{unit, function, first, count}
		if !isReading(r.frame()) || unit > 247 || count > maxRegisters || count < 1 || unit < 1 ||
			function != 3 && function != 4 {
			return
		}
		words, err := r.parse(b)
		if err != nil {
			return
		}
		whole := []byte{byte(unit), byte(function), byte(2 * count)}
		for _, w := range words {
			whole = append(whole, byte(w>>8), byte(w))
		}
		if string(withCRC(whole)) != string(b) {
			t.Fatalf("% x passed as %v", b, words)
		}
	})
}

func FuzzTime(f *testing.F) {
	for _, s := range []string{"12.5", "13:05:59", "2031-03-04T07:00:00Z", "2031-03-04 07:00:00",
		"1e9", "-1", "25:00:00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if d, err := parseTime(text); err == nil && d < 0 {
			t.Fatalf("%q became %v", text, d)
		}
	})
}
