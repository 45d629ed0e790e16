package kiln_test

import (
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
)

// TestReadOldLog: tables as loggers write them. 212 °F is 100 °C, 2192 °F is 1200 °C (definition of
// the scales: °C = (°F - 32) / 1.8).
func TestReadOldLog(t *testing.T) {
	for name, c := range map[string]struct {
		text     string
		choice   kiln.OldChoice
		TimeAxis []time.Duration
		first    []float64 // of each row; NaN: empty
		bad      string
	}{
		"hours and °C": {"hours,temperature_c\n0,20\n0.5,120.5\n1.5,300\n", kiln.OldChoice{},
			[]time.Duration{0, 30 * time.Minute, 90 * time.Minute}, []float64{20, 120.5, 300}, ""},
		"°F": {"hours,temperature_f\r\n2,212\r\n3,2192\r\n", kiln.OldChoice{},
			[]time.Duration{0, time.Hour}, []float64{100, 1200}, ""},
		"decimal comma": {"minutes;temp_c\n0;20,5\n1,5;21,25\n", kiln.OldChoice{},
			[]time.Duration{0, 90 * time.Second}, []float64{20.5, 21.25}, ""},
		"tab, own names":       {"\ufeffWhen\tZone A\tZone B\n2024-03-09 08:00:00\t68\t70\n2024-03-09 08:00:10\t\t71\n", kiln.OldChoice{Time: "When", Temperatures: []string{"Zone A=f", "zone b=f"}, Zone: time.UTC}, []time.Duration{0, 10 * time.Second}, []float64{20, math.NaN()}, ""},
		"quoted cells":         {"\"hours\",\"note, of who was there\",\"t_c\"\n\"0\",\"KT, RO\",\"20\"\n\"0.5\",\"a \"\"slow\"\" one\",\"120.5\"\n", kiln.OldChoice{}, []time.Duration{0, 30 * time.Minute}, []float64{20, 120.5}, ""},
		"cells over two lines": {"hours,\"chamber\nt_c\",note\n0,20,\"damper\nopen\"\n1,30,\"shut,\n\nthen open\"\n2,40,\n", kiln.OldChoice{Temperatures: []string{"chamber t_c"}}, []time.Duration{0, time.Hour, 2 * time.Hour}, []float64{20, 30, 40}, ""},
		"CR alone": {"hours;t_c\r0;20,5\r1;30\r", kiln.OldChoice{},
			[]time.Duration{0, time.Hour}, []float64{20.5, 30}, ""},
		"quoted semicolon in a name": {"hours,\"top; left_c\"\n0,20\n1,30\n", kiln.OldChoice{},
			[]time.Duration{0, time.Hour}, []float64{20, 30}, ""},
		"quoted decimal comma": {"hours;t_c\n\"0,5\";\"20,5\"\n\"1\";\"30\"\n",
			kiln.OldChoice{}, []time.Duration{0, 30 * time.Minute}, []float64{20.5, 30}, ""},
		"blanks before quotes": {"hours, t_c\n0, \"20\"\n1, \"30\"\n", kiln.OldChoice{},
			[]time.Duration{0, time.Hour}, []float64{20, 30}, ""},
		"blank lines": {"hours,t_c\n\n0,20\n   \n1,30\n\n", kiln.OldChoice{},
			[]time.Duration{0, time.Hour}, []float64{20, 30}, ""},
		"line numbers behind a cell of two lines": {"hours,t_c,note\n0,20,\"a\nb\"\n1,warm,\n",
			kiln.OldChoice{}, nil, nil, "4 t_c"},
		"a quote that is not closed": {"hours,t_c,note\n0,20,\"a\n1,30,\n2,40,\n",
			kiln.OldChoice{}, nil, nil, "2 "},
		"a bare quote": {"hours,t_c,note\n0,20,the \"top\" shelf\n1,30,\n",
			kiln.OldChoice{}, nil, nil, "2 "},
		"inches in a note": {"hours,t_c,note\n0,20,6\" shelf\n1,30,\n", kiln.OldChoice{},
			[]time.Duration{0, time.Hour}, []float64{20, 30}, ""},
		"a title above": {"Old kiln, spring\n\nhours;t_c\n0;20,5\n1;30\n", kiln.OldChoice{},
			[]time.Duration{0, time.Hour}, []float64{20.5, 30}, ""},
		"a title of more cells": {"Old kiln,spring,north,shed\nhours,t_c\n0,20\n1,30\n",
			kiln.OldChoice{}, []time.Duration{0, time.Hour}, []float64{20, 30}, ""},
		"two columns of time": {"time,minutes,hours,t_c\n7,6,0,20\n6,90,0.5,30\n",
			kiln.OldChoice{}, []time.Duration{0, 30 * time.Minute}, []float64{20, 30}, ""},
		"the one that is named": {"hours,minutes,t_c\n0,6,20\n0,90,30\n",
			kiln.OldChoice{Time: "Minutes"}, []time.Duration{0, 84 * time.Minute}, []float64{20, 30}, ""},
		"a thousands mark": {"hours,t_c\n0,20\n1,\"1,200\"\n", kiln.OldChoice{}, nil, nil, "3 t_c"},
		"no unit": {"hours,heat\n0,20\n1,30\n",
			kiln.OldChoice{Temperatures: []string{"heat"}}, nil, nil, "1 heat"},
		"no column":              {"a,b\n1,2\n", kiln.OldChoice{}, nil, nil, "1 time"},
		"backwards":              {"hours,t_c\n0,20\n1,30\n1,31\n", kiln.OldChoice{}, nil, nil, "4 hours"},
		"a word":                 {"hours,t_c\n0,20\n1,warm\n2,40\n", kiln.OldChoice{}, nil, nil, "3 t_c"},
		"°F as °C":               {"hours,t_c\n0,20\n1,2192\n", kiln.OldChoice{}, nil, nil, "3 t_c"},
		"short row":              {"hours,t_c\n0,20\n1\n", kiln.OldChoice{}, nil, nil, "3 t_c"},
		"a row without its time": {"t_c,hours\n20,0\n30\n", kiln.OldChoice{}, nil, nil, "3 hours"},
		"not a number":           {"hours,t_c\n0,20\nNaN,30\n", kiln.OldChoice{}, nil, nil, "3 hours"},
		"empty":                  {"", kiln.OldChoice{}, nil, nil, "1 time"},
		"one row":                {"hours,t_c\n0,20\n", kiln.OldChoice{}, nil, nil, "1 "},
	} {
		l, bad := kiln.ReadOldLog([]byte(c.text), c.choice)
		if c.bad != "" {
			if len(bad) == 0 || fmt.Sprintf("%d %s", bad[0].Line, bad[0].Field) != c.bad ||
				bad[0].Why.String() == "" {
				t.Errorf("%s: %v, want %s", name, bad, c.bad)
			}
			continue
		}
		if len(bad) > 0 || fmt.Sprint(l.Ages) != fmt.Sprint(c.TimeAxis) {
			t.Errorf("%s: ages %v, bad %v", name, l.Ages, bad)
			continue
		}
		for i, want := range c.first {
			if got := float64(l.Celsius[0][i]); math.IsNaN(want) != math.IsNaN(got) ||
				math.Abs(got-want) > 1e-9 {
				t.Errorf("%s: row %d is %v, want %v", name, i, got, want)
			}
		}
	}
}

// A file may have 250,000 rows; the one after them is told by its line.
func TestRowsOfAnOldLog(t *testing.T) {
	text := []byte("seconds,t_c\n")
	for i := range 250_000 {
		text = append(strconv.AppendInt(text, int64(i), 10), ",20\n"...)
	}
	l, bad := kiln.ReadOldLog(append(text, "250000,20\n"...), kiln.OldChoice{})
	if len(bad) != 1 || bad[0].Line != 250_002 || len(l.Ages) != 250_000 {
		t.Errorf("%d rows, bad %v", len(l.Ages), bad)
	}
}

// Of bad rows a hundred are told, no more.
func TestBadRowsOfAnOldLog(t *testing.T) {
	text := "hours,t_c\n"
	for i := range 300 {
		text += fmt.Sprintf("%d,warm\n", i)
	}
	if _, bad := kiln.ReadOldLog([]byte(text), kiln.OldChoice{}); len(bad) != 100 || bad[99].Line != 101 {
		t.Errorf("%d told", len(bad))
	}
}

// The rows become samples of the kiln from the moment on that it began, each channel by its column; an empty
// cell says nothing.
func TestSamplesOfAnOldLog(t *testing.T) {
	l, bad := kiln.ReadOldLog([]byte("minutes,a_c,b_f\n10,20,212\n12.5,30,\n"), kiln.OldChoice{})
	if len(bad) > 0 {
		t.Fatal(bad)
	}
	day := time.Date(2024, 3, 9, 8, 0, 0, 0, time.UTC)
	got := l.Samples("big-blue", kiln.Stamp{Boot: "a", Since: time.Hour, Wall: day})
	want := []kiln.Sample{
		{Kiln: "big-blue", At: kiln.Stamp{Boot: "a", Since: time.Hour, Wall: day},
			Values: []kiln.Value{{Channel: "1", T: 20}, {Channel: "2", T: 100}}},
		{Kiln: "big-blue", At: kiln.Stamp{Boot: "a", Since: time.Hour + 150*time.Second,
			Wall: day.Add(150 * time.Second)},
			Values: []kiln.Value{{Channel: "1", T: 30}}},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
}

// FuzzReadOldLog: whatever the file holds, every reading is one a kiln can have, and ages rise.
func FuzzReadOldLog(f *testing.F) {
	f.Add([]byte("hours,temperature_c\n0,20\n0.5,120.5\n"))
	f.Add([]byte("time;a_f\n2024-03-09 08:00:00;1,5\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		l, bad := kiln.ReadOldLog(text, kiln.OldChoice{Zone: time.UTC})
		if len(bad) > 0 {
			return
		}
		for i := range l.Ages {
			if i > 0 && l.Ages[i] <= l.Ages[i-1] {
				t.Errorf("ages %v", l.Ages)
			}
			for _, column := range l.Celsius {
				if c := column[i]; c.Known() && (c < -40 || c > 1700) {
					t.Errorf("reading %v", c)
				}
			}
		}
	})
}

// BenchmarkReadOldLog reads a million readings out of a wide table: eight columns.
func BenchmarkReadOldLog(b *testing.B) {
	var text strings.Builder
	text.WriteString("seconds,a_c,b_c,c_c,d_c,e_c,f_c,g_c,h_c\n")
	for i := range 125_000 {
		fmt.Fprintf(&text, "%d,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f\n", i, 20+float64(i)/110, 21.5, 22.5,
			23.5, 24.5, 25.5, 26.5, 27.5)
	}
	all := []byte(text.String())
	b.ReportAllocs()
	for b.Loop() {
		if l, bad := kiln.ReadOldLog(all, kiln.OldChoice{}); len(bad) > 0 || l.Readings != 1_000_000 {
			b.Fatal(l.Readings, bad)
		}
	}
}
