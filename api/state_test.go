package api

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
	"lidwright/tiles/lid"
)

// fullDisk is a hearth whose readings cannot be written.
type fullDisk struct{ hearth }

func (*fullDisk) Trouble() (record.StoreTrouble, bool) {
	return record.StoreTrouble{Why: message.New("the disk is full")}, true
}

// Whatever is wrong, the Wareboard and the Spyhole say so and what to do next.
func TestBrokenStates(t *testing.T) {
	burning, cold := inState(kiln.Soaking, 1301), inState(kiln.Cold, 18)
	burning.OverLimit, burning.Limit = true, 1290
	for _, c := range []struct {
		what    string
		kilns   usecase.Recorder
		trusted bool
		want    []string
	}{
		{"the disk is full", &fullDisk{hearth{live: inState(kiln.Rising, 612)}}, true,
			[]string{"wait in memory", "the disk is full", "Make room on the disk"}},
		{"the clock is not set", &hearth{live: inState(kiln.Rising, 612)}, false,
			[]string{"The clock is not set", "Give the machine a network"}},
		{"hot", &hearth{live: inState(kiln.Rising, 612)}, true, []string{">hot<"}},
		{"over its limit", &hearth{live: burning}, true,
			[]string{"blue is over its limit of 1290 °C.", ">hot<"}},
		{"cold", &hearth{live: cold}, true, nil},
		{"all is well", &hearth{live: inState(kiln.Rising, 612)}, true, nil},
	} {
		now := kiln.Stamp{Boot: "test", Since: time.Hour, Wall: time.Date(2026, 2, 2, 12, 0, 0, 0, time.UTC),
			Trusted: c.trusted}
		st, err := store.Open(t.Context(), t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		s := &Server{Studio: &usecase.Studio{Site: usecase.Site{Name: "studio", Zone: time.UTC, Units: "mm"},
			Archive: usecase.StorageOf(st), Recorder: c.kilns, Shrink: barless{st}, Heat: unasked{},
			Lines:       func() []usecase.Line { return nil },
			LidDefaults: lid.UsualDefaults(), Codes: "ABCDEFGHJKLNPQRTVWXY347",
			Now: func() kiln.Stamp { return now }, Ready: func() error { return nil }}}
		h, err := s.Handler()
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range []string{"/", "/kiln/blue"} {
			w := httptest.NewRecorder()
			h.ServeHTTP(w, httptest.NewRequestWithContext(context.Background(), "GET",
				"http://localhost"+path, nil))
			page := asRead(w.Body.String())
			if path == "/" && (strings.Contains(page, ">hot<") != c.kilns.Live()[0].Hot ||
				strings.Contains(page, "over its limit") != c.kilns.Live()[0].OverLimit) {
				t.Errorf("%s, %s: hot or over the limit is not as it is", c.what, path)
			}
			l := c.kilns.Live()[0]
			tile := []string{"data-state=" + strconv.Quote(string(l.State)),
				fmt.Sprintf(`data-over="%v"`, l.OverLimit), fmt.Sprintf(`data-still="%v"`, l.StillHot)}
			for _, want := range append(tile, c.want...) { // its cautions change with these while it is open
				if path != "/" && (want == ">hot<" || strings.Contains(want, "over its limit")) {
					continue // the state and its cautions say so there
				}
				if !strings.Contains(page, want) {
					t.Errorf("%s, %s: does not say %q", c.what, path, want)
				}
			}
			if w.Code != http.StatusOK || c.want == nil && (strings.Contains(page, "wait in memory") ||
				strings.Contains(page, "clock is not set")) {
				t.Errorf("%s, %s: %d, or trouble that is none", c.what, path, w.Code)
			}
		}
		if err := st.Close(); err != nil {
			t.Fatal(err)
		}
	}
}
