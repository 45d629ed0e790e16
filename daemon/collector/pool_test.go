package collector

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lidwright/api/collectorpages"
	"lidwright/api/wire"
	"lidwright/daemon/collector/pgtest"
	"lidwright/tiles/shrinkage"
	"lidwright/tiles/tilestest"
)

// summaryOf is what the bars of a made-up studio say of clay 0, told for 1222 °C.
func summaryOf(t *testing.T, n uint64) wire.PoolSummary {
	t.Helper()
	m := tilestest.Make(2701, n, tilestest.Options{Row: tilestest.Ten})
	fit, err := m.Studio.Fit(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	s, bars, err := shrinkage.Summarise(t.Context(), fit, tilestest.ClayName(0), 1222)
	if err != nil {
		t.Fatal(err)
	}
	return wire.PoolSummary{Model: shrinkage.Model, Bars: bars,
		Year: shrinkage.NewestBag(fit, tilestest.ClayName(0)), Info: s.Bytes()}
}

// pooler is a studio that tells of a body over HTTP.
type pooler struct{ site, key string }

func (p pooler) path(r *running, more string) string {
	return r.url + "/v1/studios/" + p.site + "/bodies" + more
}

func told(t *testing.T, r *running, p pooler, body string) (a wire.PoolAnswer, status int) {
	t.Helper()
	return toldBy(t, r, p, body, shrinkage.Model)
}

func toldBy(t *testing.T, r *running, p pooler, body, model string) (a wire.PoolAnswer, status int) {
	t.Helper()
	resp := ask(t, "GET", p.path(r, "/"+body+"/pool?model="+model), p.key, nil)
	if resp.StatusCode == http.StatusOK {
		if err := json.NewDecoder(resp.Body).Decode(&a); err != nil {
			t.Fatal(err)
		}
	}
	return a, resp.StatusCode
}

// TestPoolOfBodies: studios tell of a body, a pool is worked out from five on, each is told it without its
// own summary; the catalogue's merge, going back, taking back, a forgotten studio; and what is no summary
// changes nothing.
func TestPoolOfBodies(t *testing.T) {
	r := startWith(t, pgtest.Database(t), func(c *Collector) { c.PoolEvery = time.Hour })
	o := Owner{r.store}
	body, err := o.NewBody(t.Context(), "Sandpit Clays", "1140", "Smooth stoneware", "6")
	if err != nil {
		t.Fatal(err)
	}
	twice, err := o.NewBody(t.Context(), "Sandpit", "1140", "Smooth Stoneware", "6")
	if err != nil {
		t.Fatal(err)
	}
	var all []pooler
	tell := func(n int, body string) {
		p := pooler{site: uuid.Must(uuid.NewV7()).String()}
		if p.key, _, err = joinRaw(t, r, p.site); err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
		if resp := ask(t, "PUT", p.path(r, "/"+body), p.key,
			summaryOf(t, uint64(n))); resp.StatusCode != http.StatusNoContent {
			t.Fatalf("studio %d: %d", n, resp.StatusCode)
		}
	}
	work := func() {
		t.Helper()
		if err := r.Pool(t.Context(), 0); err != nil {
			t.Fatal(err)
		}
	}
	for n := range 4 {
		tell(n, body)
	}
	work()
	if _, status := told(t, r, all[0], body); status != http.StatusNotFound {
		t.Errorf("four studios: %d", status)
	}
	tell(4, twice)
	if err := o.MergeBody(t.Context(), twice, body); err != nil {
		t.Fatal(err)
	}
	work()
	first, status := told(t, r, all[0], body)
	fifth, _ := told(t, r, all[4], twice)
	if status != http.StatusOK || first.Studios != 4 || fifth.Body != body || bytes.Equal(first.Prior,
		fifth.Prior) {
		t.Errorf("%d: %d others, the fifth is told of %s", status, first.Studios, fifth.Body)
	}
	outsider := pooler{site: uuid.Must(uuid.NewV7()).String()}
	if outsider.key, _, err = joinRaw(t, r, outsider.site); err != nil {
		t.Fatal(err)
	}
	if a, _ := told(t, r, outsider, body); a.Studios != 5 || a.Unlike != 0 {
		t.Errorf("one that sent nothing: %+v", a)
	}
	if p, err := shrinkage.ReadPrior(first.Prior); err != nil {
		t.Error(err)
	} else if mean, sd := p.Total(1222, 1222); mean < 8 || mean > 15 || sd > 2 {
		t.Errorf("told %.1f ± %.1f", mean, sd)
	}
	for n := 5; n < 10; n++ {
		tell(n, body)
	}
	work()
	second, _ := told(t, r, all[0], body)
	if second.Studios != 9 || !second.Made.After(first.Made) {
		t.Errorf("%d others, made %v", second.Studios, second.Made)
	}
	if err := o.PoolBack(t.Context(), body); err != nil {
		t.Fatal(err)
	}
	if a, _ := told(t, r, all[0], body); !a.Made.Equal(first.Made) {
		t.Errorf("gone back to %v, want %v", a.Made, first.Made)
	}
	work() // nothing new came
	if a, _ := told(t, r, all[0], body); !a.Made.Equal(first.Made) {
		t.Error("another pool without anything new")
	}
	for _, wrong := range []any{wire.PoolSummary{Model: "1", Bars: 3, Info: []byte("short")},
		wire.PoolSummary{Model: "1", Bars: 0, Info: summaryOf(t, 0).Info},
		wire.PoolSummary{Model: "1", Bars: 3, Info: bytes.Repeat([]byte{0xff}, shrinkage.SummaryBytes)},
		map[string]any{"model": 4}} {
		if resp := ask(t, "PUT", all[1].path(r, "/"+body), all[1].key,
			wrong); resp.StatusCode != http.StatusUnprocessableEntity {
			t.Errorf("%.60v: %d", wrong, resp.StatusCode)
		}
	}
	if resp := ask(t, "PUT", all[1].path(r, "/"+body), all[2].key,
		summaryOf(t, 0)); resp.StatusCode != http.StatusNotFound {
		t.Errorf("by another's key: %d", resp.StatusCode)
	}
	ask(t, "DELETE", all[1].path(r, "/"+body), all[1].key, nil)
	if err := r.store.Forget(t.Context(), all[2].site); err != nil {
		t.Fatal(err)
	}
	work()
	if a, _ := told(t, r, all[0], body); a.Studios != 7 {
		t.Errorf("one took it back and one is forgotten: %d others", a.Studios)
	}
	if rows, err := r.store.Rows(t.Context(), all[2].site); err != nil || len(rows) > 0 {
		t.Errorf("rows of a forgotten studio: %v, %v", rows, err)
	}
	if err := r.store.Forget(t.Context(), all[3].site); err != nil {
		t.Fatal(err)
	}
	work() // due by that alone
	if a, _ := told(t, r, all[0], body); a.Studios != 6 {
		t.Errorf("another is forgotten: %d others", a.Studios)
	}
	page := ask(t, "GET", r.url+"/bodies", "", nil)
	var text bytes.Buffer
	text.ReadFrom(page.Body)
	if !strings.Contains(text.String(), "Smooth stoneware") ||
		!strings.Contains(text.String(), "Merged into Smooth stoneware") ||
		strings.Contains(text.String(), "Room ") {
		t.Errorf("the page of bodies: %.300s", text.String())
	}
}

// TestTenPoolsAreKept: of twelve pools of a body the last ten are kept, no prior of an older one stays, and
// the operator goes back through nine of them one by one; before the first that is kept there is none.
func TestTenPoolsAreKept(t *testing.T) {
	r := start(t, pgtest.Database(t))
	body := pooledBody(t, r) // the first
	p := pooler{site: uuid.Must(uuid.NewV7()).String()}
	var err error
	if p.key, _, err = joinRaw(t, r, p.site); err != nil {
		t.Fatal(err)
	}
	said := summaryOf(t, 7)
	s, err := shrinkage.ReadSummary(said.Info)
	if err != nil {
		t.Fatal(err)
	}
	var made []time.Time
	for range 11 { // a sixth studio measures one bar more each time
		for i := range s.Pull {
			s.Pull[i] *= 1.1
			for j := range s.Pull {
				s.Precision[i][j] *= 1.1
			}
		}
		said.Bars, said.Info = said.Bars+1, s.Bytes()
		if resp := ask(t, "PUT", p.path(r, "/"+body), p.key, said); resp.StatusCode != http.StatusNoContent {
			t.Fatal(resp.StatusCode)
		}
		if err := r.Pool(t.Context(), 0); err != nil {
			t.Fatal(err)
		}
		a, _ := told(t, r, p, body)
		made = append(made, a.Made)
	}
	of := func(table string) (n int) {
		t.Helper()
		db, err := pgx.Connect(t.Context(), r.cfg.Database.URL)
		if err != nil {
			t.Fatal(err)
		}
		defer db.Close(context.Background())
		if err := db.QueryRow(t.Context(), `SELECT count(DISTINCT made) FROM `+table).Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	if pools, priors := of("pool"), of("prior"); pools != 10 || priors != 10 {
		t.Errorf("%d pools and priors of %d are kept, want ten", pools, priors)
	}
	for n := range 9 {
		if err := (Owner{r.store}).PoolBack(t.Context(), body); err != nil {
			t.Fatalf("back for the %d. time: %v", n+1, err)
		}
		if a, status := told(t, r, p, body); status != http.StatusOK || !a.Made.Equal(made[9-n]) {
			t.Errorf("back for the %d. time: %d, made %v, want %v", n+1, status, a.Made, made[9-n])
		}
	}
	if err := (Owner{r.store}).PoolBack(t.Context(), body); err == nil {
		t.Error("there is another before the ten")
	}
	if a, _ := told(t, r, p, body); !a.Made.Equal(made[1]) {
		t.Errorf("after that %v is told, want %v", a.Made, made[1])
	}
}

// TestSplitBody: a body whose recipe changed is split. The new one has the same supplier, number and cone, a
// name of its own and no studio; what was told stays with the old one, and is told of it. Who picks the new
// one tells of that alone. A body that was merged, or is none, has nothing to be split.
func TestSplitBody(t *testing.T) {
	r := start(t, pgtest.Database(t))
	o := Owner{r.store}
	old := pooledBody(t, r)
	fresh, err := o.SplitBody(t.Context(), old, "Smooth stoneware, recipe of 2026")
	if err != nil {
		t.Fatal(err)
	}
	p := pooler{site: uuid.Must(uuid.NewV7()).String()}
	if p.key, _, err = joinRaw(t, r, p.site); err != nil {
		t.Fatal(err)
	}
	tells := func(of string) int {
		a, status := told(t, r, p, of)
		if status == http.StatusOK && a.Body != of {
			t.Errorf("asked of %s, told of %s", of, a.Body)
		}
		return a.Studios
	}
	if was, now := tells(old), tells(fresh); was != 5 || now != 0 {
		t.Errorf("after the split %d studios tell of the old body and %d of the new one", was, now)
	}
	if resp := ask(t, "PUT", p.path(r, "/"+fresh), p.key,
		summaryOf(t, 9)); resp.StatusCode != http.StatusNoContent {
		t.Fatal(resp.StatusCode)
	}
	if err := r.Pool(t.Context(), 0); err != nil {
		t.Fatal(err)
	}
	if was := tells(old); was != 5 {
		t.Errorf("one told of the new body, and %d tell of the old one", was)
	}
	all, err := o.Bodies(t.Context())
	if err != nil || len(all) != 2 {
		t.Fatalf("%+v, %v", all, err)
	}
	byID := map[string]collectorpages.Body{all[0].ID: all[0], all[1].ID: all[1]}
	a, b := byID[old], byID[fresh]
	if a.Studios != 5 || b.Studios != 1 || b.Name != "Smooth stoneware, recipe of 2026" ||
		a.Name != "Smooth stoneware" ||
		b.Supplier != a.Supplier || b.Number != a.Number || b.Cone != a.Cone ||
		b.MaturesC != a.MaturesC || b.Became != "" {
		t.Errorf("of %+v came %+v", a, b)
	}
	if err := o.MergeBody(t.Context(), fresh, old); err != nil {
		t.Fatal(err)
	}
	for _, none := range []string{fresh, newID()} {
		if _, err := o.SplitBody(t.Context(), none, "Another"); !errors.Is(err, collectorpages.ErrNoBody) {
			t.Errorf("split of %s: %v", none, err)
		}
	}
}

// TestOnePoolAtATime: two collectors work at once, and one pool comes of it.
func TestOnePoolAtATime(t *testing.T) {
	database := pgtest.Database(t)
	a, b := start(t, database), start(t, database)
	body, err := Owner{a.store}.NewBody(t.Context(), "Sandpit Clays", "7", "Groggy", "6")
	if err != nil {
		t.Fatal(err)
	}
	for n := range 5 {
		p := pooler{site: uuid.Must(uuid.NewV7()).String()}
		if p.key, _, err = joinRaw(t, a, p.site); err != nil {
			t.Fatal(err)
		}
		ask(t, "PUT", p.path(a, "/"+body), p.key, summaryOf(t, uint64(n)))
	}
	var both sync.WaitGroup
	for _, c := range []*running{a, b} {
		both.Go(func() {
			if err := c.Pool(context.Background(), time.Hour); err != nil {
				t.Error(err)
			}
		})
	}
	both.Wait()
	all, err := a.store.Bodies(t.Context())
	if err != nil || len(all) != 1 || all[0].Studios != 5 || all[0].Made.IsZero() {
		t.Errorf("%+v, %v", all, err)
	}
	if err := a.store.PoolBack(t.Context(), body); err == nil {
		t.Error("there is a second pool")
	}
}

// TestTwoModelsSideBySide: while studios come to another shrink model one after another, each is told by the
// studios of its own. A collector that does not know a model leaves its pools alone; but where a studio of
// one is forgotten it is told no more, until a collector that knows it works it out without that studio.
func TestTwoModelsSideBySide(t *testing.T) {
	const later = "later"
	database := pgtest.Database(t)
	older := start(t, database)
	body, err := Owner{older.store}.NewBody(t.Context(), "Sandpit Clays", "1140", "Smooth stoneware", "6")
	if err != nil {
		t.Fatal(err)
	}
	var now, next []pooler
	for n := range 11 {
		p := pooler{site: uuid.Must(uuid.NewV7()).String()}
		if p.key, _, err = joinRaw(t, older, p.site); err != nil {
			t.Fatal(err)
		}
		said := summaryOf(t, uint64(n))
		if n >= 5 {
			said.Model = later
			next = append(next, p)
		} else {
			now = append(now, p)
		}
		if resp := ask(t, "PUT", p.path(older, "/"+body), p.key,
			said); resp.StatusCode != http.StatusNoContent {
			t.Fatalf("studio %d: %d", n, resp.StatusCode)
		}
	}
	tells := func(p pooler, model string) int {
		t.Helper()
		resp := ask(t, "GET", p.path(older, "/"+body+"/pool?model="+model), p.key, nil)
		var a wire.PoolAnswer
		if resp.StatusCode == http.StatusOK {
			if err := json.NewDecoder(resp.Body).Decode(&a); err != nil || a.Model != model {
				t.Errorf("asked for model %s: %+v, %v", model, a, err)
			}
		}
		return a.Studios
	}
	works := func(c *running) {
		t.Helper()
		if err := c.Pool(t.Context(), 0); err != nil {
			t.Fatal(err)
		}
	}
	works(older)
	if a, b := tells(now[0], shrinkage.Model), tells(next[0], later); a != 4 || b != 0 {
		t.Errorf("by the older collector %d and %d others tell", a, b)
	}
	newer := startWith(t, database, func(c *Collector) { c.Models = []string{shrinkage.Model, later} })
	works(newer)
	if a, b, other := tells(now[0], shrinkage.Model), tells(next[0], later), tells(next[0],
		shrinkage.Model); a != 4 || b != 5 || other != 5 {
		t.Errorf("by the newer collector %d and %d others tell, %d in the older model", a, b, other)
	}
	works(older)
	if b := tells(next[0], later); b != 5 {
		t.Errorf("the older collector left %d in the later model", b)
	}
	if err := older.store.Forget(t.Context(), next[3].site); err != nil {
		t.Fatal(err)
	}
	works(older)
	if b := tells(next[0], later); b != 0 {
		t.Errorf("one is forgotten, and %d are still told with it", b)
	}
	works(newer)
	if b := tells(next[0], later); b != 4 {
		t.Errorf("one is forgotten, and %d others tell", b)
	}
}

// TestDriftByYear: what a body loses is told by the year of the newest bag, of years of five studios up, and
// a year whose bags lose more is told to the operator; no studio's name stands on the page.
func TestDriftByYear(t *testing.T) {
	r := start(t, pgtest.Database(t))
	body, err := Owner{r.store}.NewBody(t.Context(), "Sandpit Clays", "1140", "Smooth stoneware", "6")
	if err != nil {
		t.Fatal(err)
	}
	made := tilestest.DrawBody(2704, 1, tilestest.Options{})
	studio := 0
	for year, drying := range map[int]float64{2024: 0, 2025: 0, 2026: 2.5, 2023: 5} {
		for range map[int]int{2023: 4, 2024: 8, 2025: 8, 2026: 8}[year] {
			studio++
			m := made.Buyer(2705, uint64(studio), tilestest.Options{Row: tilestest.Ten},
				tilestest.Way{Drying: drying})
			fit, err := m.Studio.Fit(t.Context(), nil)
			if err != nil {
				t.Fatal(err)
			}
			s, bars, err := shrinkage.Summarise(t.Context(), fit, tilestest.ClayName(0), 1222)
			if err != nil {
				t.Fatal(err)
			}
			p := pooler{site: uuid.Must(uuid.NewV7()).String()}
			if p.key, _, err = joinRaw(t, r, p.site); err != nil {
				t.Fatal(err)
			}
			said := wire.PoolSummary{Model: shrinkage.Model, Bars: bars, Year: year, Info: s.Bytes()}
			if resp := ask(t, "PUT", p.path(r, "/"+body), p.key,
				said); resp.StatusCode != http.StatusNoContent {
				t.Fatal(resp.StatusCode)
			}
		}
	}
	if err := r.Pool(t.Context(), time.Hour); err != nil {
		t.Fatal(err)
	}
	_, years, err := r.store.Told(t.Context(), body, []string{shrinkage.Model})
	if err != nil || len(years) != 3 || years[0].Year != 2024 || years[2].Studios != 8 {
		t.Fatalf("%+v, %v", years, err)
	}
	if more := years[2].Mean - years[1].Mean; more < 1.7 || more > 3.3 {
		t.Errorf("2026 loses %.2f log-percent more than 2025, of 2.5 that it truly does", more)
	}
	page := ask(t, "GET", r.url+"/bodies", "", nil)
	var text bytes.Buffer
	text.ReadFrom(page.Body)
	if !strings.Contains(text.String(), "Bags of 2026 shrink") ||
		strings.Contains(text.String(), "Bags of 2025 shrink") ||
		!strings.Contains(text.String(), "<svg") ||
		!strings.Contains(text.String(), "% at cone 6; nine studios in ten") ||
		strings.Contains(text.String(), "2023") {
		t.Errorf("the page of bodies: %s", text.String())
	}
}
