package api

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// measured is a studio of one clay: two bars in each of four loads of batch A, then one load of
// batch B that shrinks 1.5 points more; one fired length of A was read 5 mm too long.
type measured struct {
	nobody
	fit *shrinkage.Fit
}

func newMeasured(t *testing.T) measured {
	t.Helper()
	s := shrinkage.Studio{Clays: []tiles.Clay{{ID: "tern", Name: "Tern stoneware", Matures: 1222}}}
	at := time.Date(2026, 1, 5, 9, 0, 0, 0, time.UTC)
	for i := range 12 {
		load, batch := i/2, tiles.BatchID("A")
		if load >= 4 {
			batch = "B"
		}
		at := at.Add(time.Duration(load) * 7 * 24 * time.Hour)
		b := tiles.Bar{ID: fmt.Sprintf("b%02d", i), Code: tiles.Code(fmt.Sprintf("B%02d", i)),
			BatchRef: tiles.BatchRef{Clay: "tern", Batch: batch}, MarkLength: 100, Marks: 1,
			Firings: []tiles.Heat{{Load: fmt.Sprint("load-", load), Kind: kiln.Glaze,
				Work: kiln.Celsius(1214 + 4*load), At: at.Add(72 * time.Hour)}}}
		fired := 88.4 + 0.1*float64(i%3)
		if batch == "B" {
			fired -= 1.5
		}
		if i == 3 {
			fired += 5
		}
		for j, l := range []float64{100, 94.1, fired} {
			b.Readings = append(b.Readings, tiles.Reading{ID: fmt.Sprint(b.ID, j), Bar: b.Code, Mark: 1,
				Stage:  []tiles.Stage{tiles.Wet, tiles.Dry, tiles.Fired}[j],
				Length: tiles.Millimetre(l), Step: 0.05,
				At: at.Add(time.Duration(j) * 40 * time.Hour).Add(time.Duration(i) * time.Minute)})
		}
		s.Bars = append(s.Bars, b)
	}
	for i, b := range []tiles.BatchID{"A", "B"} {
		s.Batches = append(s.Batches, tiles.Batch{BatchRef: tiles.BatchRef{Clay: "tern", Batch: b},
			Open: true, Made: at.Add(time.Duration(i) * 24 * time.Hour)})
	}
	fit, err := s.Fit(context.Background(), nil)
	if err != nil {
		t.Fatal(err)
	}
	return measured{fit: fit}
}

func (m measured) Fit(context.Context) (*shrinkage.Fit, time.Time, error) {
	return m.fit, time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC), nil
}
func (m measured) Load(_ context.Context, id string) (tiles.KeptLoad, error) {
	return tiles.KeptLoad{}, tiles.ErrNoLoad
}
func (m measured) Latest() (*shrinkage.Fit, time.Time, error) { return m.Fit(context.Background()) }
func (m measured) Batches(context.Context) ([]tiles.KeptBatch, error) {
	var out []tiles.KeptBatch
	for _, b := range []tiles.BatchID{"A", "B"} {
		out = append(out, tiles.KeptBatch{Batch: tiles.Batch{BatchRef: tiles.BatchRef{Clay: "tern", Batch: b},
			Open: true}})
	}
	return out, nil
}
func (m measured) Clay(_ context.Context, id tiles.ClayID) (tiles.KeptClay, error) {
	if id != "tern" {
		return tiles.KeptClay{}, tiles.ErrNoClay
	}
	return tiles.KeptClay{Clay: tiles.Clay{ID: "tern", Name: "Tern stoneware", MaturesCone: "6"}}, nil
}

func measuredServer(t *testing.T) *httptest.Server {
	t.Helper()
	m := newMeasured(t)
	s := &Server{Studio: &usecase.Studio{Site: usecase.Site{Name: "studio", Zone: time.UTC, Units: "mm",
		Version: "test"}, Archive: usecase.StorageOf(m), Recorder: m, Heat: cold{}, Shrink: m,
		Lines:       func() []usecase.Line { return nil },
		LidDefaults: lid.UsualDefaults(), Codes: "ABCDEFGHJKLNPQRTVWXY347", Now: func() kiln.Stamp {
			return kiln.Stamp{Wall: time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC), Trusted: true}
		}, Ready: func() error { return nil }}}
	h, err := s.Handler()
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(h)
	t.Cleanup(srv.Close)
	return srv
}

func fetch(t *testing.T, srv *httptest.Server, path string) (int, string) {
	t.Helper()
	r, err := http.Get(srv.URL + path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return r.StatusCode, string(b)
}

// TestMovesOfAClay: the reading that is 5 mm off is named and has no say, batch B is told to end
// about 1.5 points of 150 mm smaller, and the load that brought B in is why B's rate moved.
func TestMovesOfAClay(t *testing.T) {
	srv := measuredServer(t)
	status, text := fetch(t, srv, "/v1/clays/tern/moves?batch=B")
	var j wire.Why
	if err := json.Unmarshal([]byte(text), &j); status != 200 || err != nil {
		t.Fatalf("%d %s (%v)", status, text, err)
	}
	var distrusted []string
	for _, l := range j.LeftOut {
		if l.Distrusted {
			distrusted = append(distrusted, l.Bar)
			if l.OffMM == nil || *l.OffMM < 3 || *l.OffMM > 7 {
				t.Errorf("bar %s is off by %v mm, was made 5 too long", l.Bar, l.OffMM)
			}
		}
	}
	if len(distrusted) != 1 || distrusted[0] != "B03" {
		t.Errorf("distrusted %v, want B03 alone", distrusted)
	}
	if len(j.Batches) != 1 || j.Batches[0].Batch != "A" || !j.Batches[0].Differs ||
		*j.Batches[0].MoreMM < 1.5 || *j.Batches[0].MoreMM > 3 {
		t.Errorf("batches %+v, want B to end about 2.4 mm smaller than A", j.Batches)
	}
	if j.RestsOn.Bars != 4 || j.RestsOn.Loads != 2 {
		t.Errorf("rests on %+v", j.RestsOn)
	}
	if len(j.Items) == 0 || *j.Items[0].Now <= *j.Items[0].Was ||
		!strings.HasPrefix(j.Items[0].Because[0].String(), "load load-") {
		t.Errorf("moves %+v", j.Items)
	}
	if len(j.NextBars) != 4 || j.NextBars[0].Bars != 1 || *j.NextBars[0].GainMM < *j.NextBars[1].GainMM {
		t.Errorf("next bars %+v", j.NextBars)
	}
	if status, text := fetch(t, srv, "/v1/clays/dunlin/moves"); status != 404 {
		t.Errorf("an unknown clay: %d %s", status, text)
	}
	if status, text := fetch(t, srv, "/v1/clays/tern/moves?batch=Q"); status != 404 {
		t.Errorf("an unknown batch: %d %s", status, text)
	}
}

// TestClayPageDrawsTheCurve: solid and dotted parts, the band, a dot a bar and a ring for the
// distrusted one, words for whoever cannot see it, and the table; nothing drawn from wet to dry.
func TestClayPageDrawsTheCurve(t *testing.T) {
	srv := measuredServer(t)
	status, text := fetch(t, srv, "/clay/tern?batch=A&from=wet&to=fired&kind=glaze&cone=&heat_work_c=1300")
	if status != 200 {
		t.Fatalf("%d %s", status, text)
	}
	// Each drawing stands there for a phone and for a desk.
	for what, n := range map[string]int{`<path class="solid" d="M`: 2 + 2*2, `class="dots" d="M`: 2 * 2,
		`<circle class="inkdot"`: 2*11 + 2*2, `<circle class="ring"`: 2,
		`role="img" aria-label="Shrink of Tern stoneware against heat work`: 2,
		`<caption>Shrink by heat work</caption>`:                            1} {
		if got := strings.Count(text, what); got != n {
			t.Errorf("%d of %s, want %d", got, what, n)
		}
	}
	for _, what := range []string{"outside tested heat", "the nearest was at", "B03", "left out",
		"Bag A ends", "What would help most", "Why this rate"} {
		if !strings.Contains(text, what) {
			t.Errorf("no %q on the page", what)
		}
	}
	if status, text := fetch(t, srv, "/clay/tern?from=wet&to=dry"); status != 200 || strings.Contains(text,
		`class="dots"`) {
		t.Errorf("wet to dry: %d, with a curve over heat work", status)
	}
	if status, text := fetch(t, srv, "/clay/tern?from=fired&to=wet"); status != 200 ||
		!strings.Contains(text, `class="wrong"`) {
		t.Errorf("fired to wet: %d, nothing is said", status)
	}
}
