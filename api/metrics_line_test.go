package api

import (
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/api/metrics"
	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/kiln/record"
	"lidwright/tiles/lid"
)

// oneKiln is a recorder with one kiln.
type oneKiln struct {
	nobody
	live record.Live
}

func (k oneKiln) Live() []record.Live { return []record.Live{k.live} }

// The metrics of the line: lines by outcome, age of the reading, faults by kind. A reading that is
// not fresh takes temperature and rate away, and leaves its age and whether the kiln is hot.
func TestMetricsOfTheLine(t *testing.T) {
	live := record.Live{Kiln: "big-blue", State: kiln.Rising, Hot: true, T: 612.4, LastT: 612.4, Rate: 95,
		Age: 8 * time.Second, Fresh: true,
		Channels: []record.LiveChannel{{Channel: "1", Role: kiln.RoleProbe, T: 612.4, LastT: 612.4,
			Fresh: true}, {Channel: "room", Role: kiln.RoleRoom, T: 21, LastT: 21, Fresh: true}},
		Peak: kiln.NoTemperature(), Limit: 1290, KeepShut: 50,
		Faulty: map[kiln.Fault]int{kiln.Spike: 3, kiln.Break: 2}, Gaps: 90 * time.Second}
	page := func() []string {
		s := &Server{Studio: &usecase.Studio{Site: usecase.Site{Name: "studio", Zone: time.UTC, Units: "mm",
			Version: "test"}, Archive: usecase.StorageOf(nobody{}),
			Recorder: oneKiln{live: live}, Shrink: nobody{},
			Lines: func() []usecase.Line {
				return []usecase.Line{{Kiln: "big-blue", Good: 1200, Garbled: 7, Silent: 2, Breakvalue: 1}}
			},
			Kiln:        map[kiln.KilnID]kiln.Kiln{"big-blue": {ID: "big-blue", Control: "1"}},
			LidDefaults: lid.UsualDefaults(), Codes: "ABCDEFGHJKLNPQRTVWXY347",
			Now: func() kiln.Stamp {
				return kiln.Stamp{Wall: time.Date(2026, 1, 13, 10, 0, 0, 0, time.UTC)}
			},
			Ready: func() error { return nil }}}
		w := httptest.NewRecorder()
		metrics.New(s.Studio).Handler().ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
		lines := regexp.MustCompile(`(?m)^lidwright_(serial_lines|kiln_reading|kiln_temp|kiln_rate|kiln_hot|faults|firing_gap)[^\n]*`).FindAllString(w.Body.String(), -1)
		if w.Body.Len() > 100_000 {
			t.Errorf("the page has %d bytes; want under 100 kB", w.Body.Len())
		}
		slices.Sort(lines)
		return lines
	}
	faults := func() (out []string) {
		for _, f := range []string{"breakvalue 2", "spike 3", "frozen 0", "reversed 0", "shorted 0",
			"unit-changed 0", "disagrees 0", "below-range 0", "not-converted 0", "unbelievable 0"} {
			kind, n, _ := strings.Cut(f, " ")
			out = append(out, `lidwright_faults_total{kiln="big-blue",kind="`+kind+`"} `+n)
		}
		return out
	}
	always := append(faults(),
		`lidwright_serial_lines_total{kiln="big-blue",outcome="good"} 1200`,
		`lidwright_serial_lines_total{kiln="big-blue",outcome="garbled"} 7`,
		`lidwright_serial_lines_total{kiln="big-blue",outcome="silent"} 2`,
		`lidwright_serial_lines_total{kiln="big-blue",outcome="breakvalue"} 1`,
		`lidwright_firing_gap_seconds_total{kiln="big-blue"} 90`,
		`lidwright_kiln_hot{kiln="big-blue"} 1`)
	compare := func(when string, got []string, more ...string) {
		t.Helper()
		want := append(slices.Clone(always), more...)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			t.Errorf("%s:\n%s\nwant\n%s", when, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
	}
	compare("fresh", page(), `lidwright_kiln_temperature_celsius{kiln="big-blue",probe="1"} 612.4`,
		`lidwright_kiln_rate_celsius_per_hour{kiln="big-blue",probe="1"} 95`,
		`lidwright_kiln_reading_age_seconds{kiln="big-blue"} 8`)
	live.T, live.Rate, live.Fresh, live.Age, live.State =
		kiln.NoTemperature(), kiln.CelsiusPerHour(kiln.NoTemperature()), false, 130*time.Second, kiln.Quiet
	live.Channels[0].T, live.Channels[0].Fresh = kiln.NoTemperature(), false
	compare("quiet", page(), `lidwright_kiln_reading_age_seconds{kiln="big-blue"} 130`)
}
