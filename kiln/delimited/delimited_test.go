package delimited_test

import (
	"encoding/csv"
	"errors"
	"io"
	"math"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"lidwright/kiln/delimited"
)

func known(name string) bool { return slices.Contains([]string{"code", "wet", "fired", "note"}, name) }

func all(t *testing.T, text string) (*delimited.Table, [][]string, []int, []int) {
	t.Helper()
	table, err := delimited.Open([]byte(text), known)
	if err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	var rows [][]string
	var lines, bad []int
	for {
		row, err := table.Read()
		var f *delimited.Fault
		if errors.As(err, &f) {
			bad = append(bad, f.Line)
			continue
		}
		if err == io.EOF {
			return table, rows, lines, bad
		}
		rows, lines = append(rows, slices.Clone(row.Cells)), append(lines, row.Line)
	}
}

// Tables as programs write them are one and the same table.
func TestWaysOfWriting(t *testing.T) {
	want := [][]string{{"BQ7", "100,0", "87,6", "Töpferin"}, {"BQ4", "100,0", "87,9", "a \"slow\"\none; dry"}}
	utf16 := func(s string) string {
		out := []byte("\xff\xfe")
		for _, r := range s { // none of them needs two units
			out = append(out, byte(r), byte(r>>8))
		}
		return string(out)
	}
	semicolon := "code;wet;fired;note\nBQ7;100,0;87,6;Töpferin\nBQ4;100,0;87,9;\"a \"\"slow\"\"\none; dry\"\n"
	for name, c := range map[string]struct {
		text, encoding string
		separator      rune
		line           int
	}{
		"semicolon":       {semicolon, "UTF-8", ';', 1},
		"byte order mark": {"\xef\xbb\xbf" + semicolon, "UTF-8", ';', 1},
		"CRLF":            {strings.ReplaceAll(semicolon, "\n", "\r\n"), "UTF-8", ';', 1},
		"CR":              {strings.ReplaceAll(semicolon, "\n", "\r"), "UTF-8", ';', 1},
		"no last end":     {strings.TrimSuffix(semicolon, "\n"), "UTF-8", ';', 1},
		"Windows-1252":    {strings.ReplaceAll(semicolon, "ö", "\xf6"), "Windows-1252", ';', 1},
		"UTF-16":          {utf16(semicolon), "UTF-16", ';', 1},
		"tab": {strings.NewReplacer(";", "\t", "one;", "one;").Replace(semicolon), "UTF-8", '\t',
			1},
		"comma":            {"code,wet,fired,note\nBQ7,\"100,0\",\"87,6\",Töpferin\nBQ4,\"100,0\",\"87,9\",\"a \"\"slow\"\"\none; dry\"\n", "UTF-8", ',', 1},
		"all quoted":       {"\"code\";\"wet\";\"fired\";\"note\"\n\"BQ7\";\"100,0\";\"87,6\";\"Töpferin\"\n\"BQ4\";\"100,0\";\"87,9\";\"a \"\"slow\"\"\none; dry\"\n", "UTF-8", ';', 1},
		"separator told":   {"sep=;\r\n" + semicolon, "UTF-8", ';', 2},
		"a title above":    {"Test bars, spring, all of them\n\n" + semicolon, "UTF-8", ';', 3},
		"names over lines": {strings.Replace(semicolon, "fired", "\"fired\"", 1), "UTF-8", ';', 1},
	} {
		table, rows, lines, bad := all(t, c.text)
		if table.Separator != c.separator || table.Encoding != c.encoding || table.Line != c.line ||
			strings.Join(table.Names, " ") != "code wet fired note" || len(bad) > 0 {
			t.Errorf("%s: %q %s, line %d, names %q, bad %v", name, table.Separator, table.Encoding,
				table.Line, table.Names, bad)
		}
		if !slices.EqualFunc(rows, want, slices.Equal) || lines[len(lines)-1] != c.line+2 {
			t.Errorf("%s: %q on lines %v", name, rows, lines)
		}
	}
}

// Where no name is known the separator is a tab of the first line, else its semicolon, else the comma; what
// stands in quotes does not tell it.
func TestSeparatorOfUnknownNames(t *testing.T) {
	for text, want := range map[string]rune{
		"a;b\tc,d\n1;2\n": '\t', "a,b;c\n1\t2\n": ';', "a,b\n1;2\n": ',', "a\n1\n": ',', "a,b\r1;2\r": ',',
		"\"a;b\tc\",d\n1;2\n": ',', "\"a;b\";\"c\td\"\n1,2\n": ';',
	} {
		for _, known := range []func(string) bool{nil, known} {
			table, err := delimited.Open([]byte(text), known)
			if err != nil || table.Separator != want || table.Line != 1 {
				t.Errorf("%q: %v, %+v", text, err, table)
			}
		}
	}
	word := map[rune]string{'\t': "tab", ';': "semicolon", ',': "comma"}
	for sep, want := range word {
		if got := (&delimited.Table{Separator: sep}).Separated(); got != want {
			t.Errorf("%q is called %s", sep, got)
		}
	}
}

// A quote that is closed is over: what stands behind it is a cell like others. Sep= is a hint only as a whole
// first line.
func TestBehindAClosedQuote(t *testing.T) {
	_, rows, _, bad := all(t, "code,wet,note\r\"BQ7\",3\",½\" off\r\"BQ4\", 4\",\"a \"\"slow\"\" one\"\r")
	if len(bad) > 0 || len(rows) != 2 || rows[0][1] != "3″" || rows[0][2] != "½″ off" || rows[1][1] != "4″" ||
		rows[1][2] != `a "slow" one` {
		t.Errorf("%q, bad %v", rows, bad)
	}
	for text, line := range map[string]int{"sep=;\ncode;wet\n": 2, "SEP=,\rcode,wet\r": 2,
		"sep=;x\ncode;wet\n": 2,
		"sep=|\ncode;wet\n":  2} {
		table, _, _, _ := all(t, text)
		if table.Line != line || strings.Join(table.Names, " ") != "code wet" {
			t.Errorf("%q: %q on line %d", text, table.Names, table.Line)
		}
	}
}

// The names of the columns stand in the first ten lines; below them they are not looked for.
func TestLinesAboveTheNames(t *testing.T) {
	for above, line := range map[int]int{0: 1, 1: 2, 9: 10, 10: 1} {
		table, _, _, _ := all(t, strings.Repeat("spring, all of them\n", above)+"code,wet\nBQ7,100\n")
		if table.Line != line {
			t.Errorf("%d lines above: names %q on line %d", above, table.Names, table.Line)
		}
	}
}

// What cannot be read is told by its line, and what is around it is read all the same; inches are no quotes.
func TestFaults(t *testing.T) {
	_, rows, lines, bad := all(t, "code,wet,note\nBQ7,3 15/16\",\"2\"\" off\"\nBQ4,the \"top\" one,\nBQ3,100,\n")
	if len(rows) != 2 || rows[0][1] != "3 15/16″" || rows[0][2] != `2" off` || lines[1] != 4 ||
		!slices.Equal(bad, []int{3}) {
		t.Errorf("%q on %v, bad %v", rows, lines, bad)
	}
	for _, text := range []string{"PK\x03\x04more", "code,wet\n\x00\x00", "\x00code,wet\n",
		strings.Repeat("x", delimited.MostBytes+1)} {
		var f *delimited.Fault
		if _, err := delimited.Open([]byte(text), known); !errors.As(err, &f) || f.Why.String() == "" {
			t.Errorf("%.20q: %v", text, err)
		}
	}
}

func TestNumber(t *testing.T) {
	for _, c := range []struct {
		separator rune
		cell      string
		want      float64
	}{
		{';', "94,1", 94.1}, {';', "1.222,5", 1222.5}, {';', "−3,5", -3.5}, {';', "1\u00a0222,5", 1222.5},
		{',', "1,222.5", 1222.5}, {',', "94,1", 94.1}, {',', "0,125", 0.125},
		{',', "1,222", math.NaN()}, {';', "1,222", 1.222}, {',', "1e3", 1000}, {',', "12.34.5", math.NaN()},
		{',', "12,34.5", math.NaN()}, {',', "inf", math.NaN()}, {',', "0x1p4", math.NaN()},
		{',', "", math.NaN()}, {',', "1e999", math.NaN()}, {',', "1,2,3", math.NaN()}, {';', ",5", .5}, {';',
			".5", .5}, {',', "1.222", 1.222},
		{',', "1234,567", 1234.567}, {',', "123,567", math.NaN()}, {',', "1,22", 1.22}, {';', ",222.5",
			math.NaN()}, {';', "1,222,333.5", 1222333.5}, {';', "1.222.333,5", 1222333.5},
		{';', "1'222,5", 1222.5},
	} {
		table := delimited.Table{Separator: c.separator}
		got, ok := table.Number(c.cell)
		if ok == math.IsNaN(c.want) || ok && math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%q between %q: %v %v, want %v", c.cell, c.separator, got, ok, c.want)
		}
	}
}

// Every way of writing a day is one day. Serial numbers: "January 1, 2008 is serial number 39448 because it
// is 39,447 days after January 1, 1900" (Microsoft Support, DATE function); 0.604166667 of a day is 14:30.
func TestDays(t *testing.T) {
	zone := time.FixedZone("", 3600)
	for _, c := range []struct {
		order delimited.Order
		cell  string
		want  string
		whole bool
	}{
		{"", "2023-03-14", "2023-03-14 00:00", true}, {"", "2023/3/14", "2023-03-14 00:00", true},
		{"", "20230314", "2023-03-14 00:00", true}, {"", "14.3.2023", "2023-03-14 00:00", true},
		{"", "14.03.23", "2023-03-14 00:00", true}, {"", "14. März 2023", "2023-03-14 00:00", true},
		{"", "14 Mar 2023", "2023-03-14 00:00", true}, {"", "March 14, 2023", "2023-03-14 00:00", true},
		{"", "14-Dez-23", "2023-12-14 00:00", true},
		{delimited.DayFirst, "3/4/2023", "2023-04-03 00:00", true}, {delimited.MonthFirst, "3/4/2023",
			"2023-03-04 00:00", true},
		{delimited.MonthFirst, "3.4.2023", "2023-04-03 00:00", true},
		{delimited.DayFirst, "03-04-98 2:30 pm", "1998-04-03 14:30", false},
		{"", "2023-03-14 14:30", "2023-03-14 14:30", false},
		{"", "2023-03-14T14:30:00+01:00", "2023-03-14 14:30", false},
		{"", "2023-03-14T13:30:00Z", "2023-03-14 14:30", false},
		{"", "14.3.2023 14:30 Uhr", "2023-03-14 14:30", false},
		{"", "39448", "2008-01-01 00:00", true}, {"", "39448,604166667", "2008-01-01 14:30", false},
		{"", "39448.604166667", "2008-01-01 14:30", false}, {"", "12:15 am", "", false},
		{"", "yesterday", "", false}, {"", "31.2.2023", "", false}, {"", "100", "", false},
		{"", "2023-03-14 25:00", "", false}, {delimited.MonthFirst, "14/3/2023", "", false},
		{"", "14.3.", "", false},
		{"", "19999", "", false}, {"", "20000", "1954-10-03 00:00", true}, {"", "79999", "2119-01-10 00:00",
			true}, {"", "80000", "", false},
		{"", "14 foo 2023", "", false}, {"", "foo 14, 2023", "", false}, {"", "1.2.69", "1969-02-01 00:00",
			true}, {"", "1.2.68", "2068-02-01 00:00", true},
	} {
		at, whole, err := delimited.Days{Order: c.order}.Read(c.cell, zone)
		if (err == nil) != (c.want != "") || err == nil && (at.Format("2006-01-02 15:04") != c.want ||
			at.Second() != 0 || at.Nanosecond() != 0 || whole != c.whole) {
			t.Errorf("%q: %v %v %v, want %s", c.cell, at, whole, err, c.want)
		}
	}
	for cell, want := range map[string]string{"14:30": "14:30", "2:30 PM": "14:30", "12:05 am": "00:05",
		"14.30": "14:30", "14h30": "14:30", "0,604166667": "14:30", "9:07:30": "09:07", "24:00": "",
		"13 pm": "", "x": "", "1": "", "0": "00:00",
		"23:59:59": "23:59", "23:60": "", "9:07:60": "", "12:30 pm": "12:30", "1 pm": "", "0:30 am": "",
		"13:00 pm": "", "1:00 am": "01:00",
		"14:30Z": "15:30", "14:30+0200": "13:30", "14:30 -01:00": "16:30", "14:30+2500": ""} {
		at, err := delimited.At(time.Date(2023, 3, 14, 0, 0, 0, 0, zone), cell)
		if (err == nil) != (want != "") || err == nil && at.Format("15:04") != want {
			t.Errorf("%q: %v %v, want %s", cell, at, err, want)
		}
	}
}

// Months by their English and German names, whole and short.
func TestMonthsByName(t *testing.T) {
	for i, names := range []string{"January Januar Jan Jänner", "February Februar Feb", "March März Mar Mrz",
		"April Apr", "May Mai", "June Juni Jun", "July Juli Jul", "August Aug", "September Sep Sept",
		"October Oktober Oct Okt", "November Nov", "December Dezember Dec Dez"} {
		for name := range strings.FieldsSeq(names) {
			for _, cell := range []string{"14 " + name + " 2023", "14. " + strings.ToLower(name) + " 23",
				name + " 14th, 2023"} {
				at, whole, err := delimited.Days{}.Read(cell, time.UTC)
				if want := time.Date(2023, time.Month(i+1), 14, 0, 0, 0, 0, time.UTC); err != nil ||
					!whole || !at.Equal(want) {
					t.Errorf("%q: %v %v %v", cell, at, whole, err)
				}
			}
		}
	}
}

// The order of day and month is that of the table, by the first day that tells it; unclear where none does.
func TestOrderOfDays(t *testing.T) {
	for _, c := range []struct {
		cells    []string
		order    delimited.Order
		line     int
		contrary int
	}{
		{[]string{"2023-03-04", "4.3.2023", ""}, delimited.Unasked, 0, 0},
		{[]string{"3/4/2023", "5/6/2023"}, delimited.Unclear, 1, 0},
		{[]string{"4/4/2023"}, delimited.Unasked, 0, 0},
		{[]string{"3/4/2023", "14/4/2023", "5/6/2023"}, delimited.DayFirst, 2, 0},
		{[]string{"3-4-23 10:15", "4-14-23"}, delimited.MonthFirst, 2, 0},
		{[]string{"14/4/2023", "4/14/2023"}, delimited.DayFirst, 1, 2},
		{[]string{"4/14/2023", "14/4/2023", "15/4/2023"}, delimited.MonthFirst, 1, 2},
		{[]string{"13/12/2023"}, delimited.DayFirst, 1, 0}, {[]string{"12/13/2023"}, delimited.MonthFirst, 1,
			0},
		{[]string{"12/11/2023"}, delimited.Unclear, 1, 0}, {[]string{"13/13/2023"}, delimited.Unasked, 0, 0},
		{[]string{"14/4/2023", "3/4/2023"}, delimited.DayFirst, 1, 0},
	} {
		var d delimited.Days
		for i, cell := range c.cells {
			d.Look(i+1, cell)
		}
		if d.Order != c.order || d.Line != c.line || d.Contrary != c.contrary {
			t.Errorf("%q: %+v", c.cells, d)
		}
	}
	var d delimited.Days
	d.Look(3, "39448")
	if d.Serial != 1 || d.SerialLine != 3 || d.SerialDay.Format(time.DateOnly) != "2008-01-01" {
		t.Errorf("a serial day: %+v", d)
	}
	if d.Look(4, "39449.5"); d.Serial != 2 || d.SerialLine != 3 || d.SerialCell != "39448" {
		t.Errorf("a second serial day: %+v", d)
	}
	d = delimited.Days{Order: delimited.DayFirst, Line: 2, Told: "14/4/2023", Contrary: 3}
	if d.Say(delimited.Unclear); d.Order != delimited.DayFirst || d.Contrary != 3 {
		t.Errorf("no order was said, and now: %+v", d)
	}
	for _, o := range []delimited.Order{delimited.MonthFirst, delimited.DayFirst} {
		if d.Say(o); d != (delimited.Days{Order: o}) {
			t.Errorf("%s was said: %+v", o, d)
		}
	}
}

// FuzzTable: whatever a file holds, a table that opens ends, its lines rise, and its cells are text; and a
// table that the standard library wrote is read back as it was.
func FuzzTable(f *testing.F) {
	f.Add([]byte("code;wet\r\nBQ7;\"100,0\"\r\n"), "a \"b\"\nc", "14/3/2023")
	f.Add([]byte("code\n"), "", "0\n0")
	f.Add([]byte("\xff\xfec\x00;\x00"), "3 15/16\"", "39448,5")
	f.Fuzz(func(t *testing.T, text []byte, cell, day string) {
		if table, err := delimited.Open(text, known); err == nil {
			last := table.Line
			for n := 0; ; n++ {
				row, err := table.Read()
				if err == io.EOF {
					break
				}
				if err != nil {
					continue
				}
				if row.Line <= last || n > len(text) {
					t.Fatalf("line %d behind %d", row.Line, last)
				}
				last = row.Line
				for _, c := range row.Cells {
					if !utf8.ValidString(c) {
						t.Errorf("%q is no text", c)
					}
					table.Number(c)
				}
			}
		}
		var d delimited.Days
		d.Look(1, day)
		if at, _, err := d.Read(day, time.UTC); err == nil && (at.Year() < 1900 || at.Year() > 9999) &&
			!strings.Contains(day, "0") {
			t.Errorf("%q is %v", day, at)
		}
		cell = strings.ToValidUTF8(strings.ReplaceAll(cell, "\x00", ""), "")
		var out strings.Builder
		w := csv.NewWriter(&out)
		w.Write([]string{"code", "note"})
		w.Write([]string{"x", cell})
		w.Flush()
		table, err := delimited.Open([]byte(out.String()), known)
		if err != nil {
			t.Fatal(err)
		}
		row, err := table.Read()
		want := strings.ReplaceAll(strings.ReplaceAll(cell, "\r\n", "\n"), "\r", "\n")
		// Blanks before a cell without quotes, and the sign of inches in one, are no part of what is
		// compared.
		if err != nil || len(row.Cells) != 2 ||
			strings.TrimSpace(strings.ReplaceAll(row.Cells[1], "″",
				`"`)) != strings.TrimSpace(strings.ReplaceAll(want, "″", `"`)) {
			t.Errorf("%q came back as %q, %v", cell, row.Cells, err)
		}
	})
}
