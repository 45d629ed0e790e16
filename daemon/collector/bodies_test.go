package collector

import (
	"context"
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"lidwright/api/wire"
	"lidwright/daemon/collector/pgtest"
	"lidwright/daemon/store"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// pooledBody is a body of the catalogue of which five made-up studios told, with its pool worked out.
func pooledBody(t *testing.T, r *running) (id string) {
	t.Helper()
	id, err := Owner{r.store}.NewBody(t.Context(), "Sandpit Clays", "1140", "Smooth stoneware", "6")
	if err != nil {
		t.Fatal(err)
	}
	for n := range 5 {
		p := pooler{site: newStudio(t).id}
		if p.key, _, err = joinRaw(t, r, p.site); err != nil {
			t.Fatal(err)
		}
		ask(t, "PUT", p.path(r, "/"+id), p.key, summaryOf(t, uint64(n)))
	}
	if err := r.Pool(t.Context(), time.Hour); err != nil {
		t.Fatal(err)
	}
	return id
}

// TestStudioTellsOfABody: nothing is sent before the owner says yes; what is sent then has a model, a count,
// a year and 104 numbers in it and nothing else; what the others tell is kept and is there without the
// collector and after a restart; a no has the collector delete it, and leaving takes all of it out.
func TestStudioTellsOfABody(t *testing.T) {
	r := start(t, pgtest.Database(t))
	body := pooledBody(t, r)
	s := newStudio(t)
	var changed atomic.Int64
	set := func() {
		s.out.ShrinkModels, s.out.PoolEach = shrinkage.PoolModels(), 20*time.Millisecond
		s.out.PoolsChanged = func() { changed.Add(1) }
		s.out.Summarise = func(_ context.Context, clay tiles.ClayID, matures float64) (*wire.PoolSummary,
			error) {
			one := summaryOf(t, 77)
			return &one, nil
		}
	}
	set()
	s.join(t, r)
	studios := func() int {
		all, err := r.store.Bodies(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		return all[0].Studios
	}
	if err := s.out.SetClayBody(t.Context(), "tern",
		"0199a3c4-0000-7000-8000-000000000000", true); err == nil {
		t.Error("a body that is not in the catalogue was taken")
	}
	if err := s.out.SetClayBody(t.Context(), "tern", body, false); err != nil {
		t.Fatal(err)
	}
	until(t, "the others' figures are told", func() bool { return len(s.out.Pools()) == 1 })
	if got := s.out.ClayBody("tern"); studios() != 5 || got.LastBody != "" || got.Told.Studios != 5 {
		t.Errorf("before a yes: %d studios, %+v", studios(), got)
	}
	if err := s.out.SetClayBody(t.Context(), "tern", body, true); err != nil {
		t.Fatal(err)
	}
	until(t, "it is sent", func() bool { return studios() == 6 })
	until(t, "it is shown", func() bool { return s.out.ClayBody("tern").LastBody != "" })
	sent := s.out.ClayBody("tern").LastBody
	var members map[string]any
	if err := json.Unmarshal([]byte(sent), &members); err != nil || len(members) != 4 {
		t.Errorf("%v: %.200s", err, sent)
	}
	if !regexp.MustCompile(`^\{"model":"[0-9]+","bars":[0-9]+,"year":[0-9]{4},"info":"[A-Za-z0-9+/]+=="\}$`).MatchString(sent) || len(members["info"].(string)) != 1112 {
		t.Errorf("%d bytes are sent: %.120s", len(sent), sent)
	}
	r.stop()
	s.halt()
	s.Store.Close()
	s.open(t)
	set()
	if err := s.out.ReadBodies(t.Context()); err != nil {
		t.Fatal(err)
	}
	if !s.out.ClayBody("tern").Send {
		t.Error("the yes is gone after a restart")
	}
	if told := s.out.Pools()["tern"]; told.Studios != 5 || len(told.Prior) != shrinkage.SummaryBytes {
		t.Errorf("after a restart without the collector: %+v", told)
	}
	if err := s.out.SetClayBody(t.Context(), "tern", body, false); err == nil {
		t.Error("taken back although the collector did not answer")
	}
	s.run()
	if err := s.out.Leave(t.Context(), false); err != nil || len(s.out.Pools()) != 0 || changed.Load() == 0 {
		t.Errorf("after leaving: %v, %d clays", err, len(s.out.Pools()))
	}
}

// TestModelIsUpgraded: a studio comes to another shrink model. It sends its own summary anew, and what others
// tell by the model before stays in force until enough of them came after it; those that did not are told by
// theirs. A no takes it out of both.
func TestModelIsUpgraded(t *testing.T) {
	models := shrinkage.PoolModels()
	newest, before := models[0], models[1]
	r := start(t, pgtest.Database(t))
	body, err := Owner{r.store}.NewBody(t.Context(), "Sandpit Clays", "1140", "Smooth stoneware", "6")
	if err != nil {
		t.Fatal(err)
	}
	var others []pooler
	put := func(p pooler, n int, model string) {
		t.Helper()
		said := summaryOf(t, uint64(n))
		said.Model = model
		if resp := ask(t, "PUT", p.path(r, "/"+body), p.key, said); resp.StatusCode != http.StatusNoContent {
			t.Fatal(resp.StatusCode)
		}
	}
	works := func() {
		t.Helper()
		if err := r.Pool(t.Context(), 0); err != nil {
			t.Fatal(err)
		}
	}
	for n := range 5 {
		p := pooler{site: newStudio(t).id}
		if p.key, _, err = joinRaw(t, r, p.site); err != nil {
			t.Fatal(err)
		}
		put(p, n, before)
		others = append(others, p)
	}
	works()
	s := newStudio(t)
	knows := func(models ...string) {
		s.out.ShrinkModels, s.out.PoolEach, s.out.PoolsChanged = models, 20*time.Millisecond, func() {}
		s.out.Summarise = func(context.Context, tiles.ClayID, float64) (*wire.PoolSummary, error) {
			one := summaryOf(t, 77)
			one.Model = models[0]
			return &one, nil
		}
	}
	sent := func() string { return s.out.ClayBody("tern").LastBody }
	tells := func(model string, studios int) func() bool {
		return func() bool {
			a := s.out.Pools()["tern"]
			return a.Model == model && a.Studios == studios
		}
	}
	knows(before)
	s.join(t, r)
	if err := s.out.SetClayBody(t.Context(), "tern", body, true); err != nil {
		t.Fatal(err)
	}
	until(t, "it is sent and told by the model before",
		func() bool { return strings.Contains(sent(), `"model":"`+before+`"`) && tells(before, 5)() })
	works()

	s.halt()
	s.Store.Close()
	s.open(t)
	knows(models...)
	if err := s.out.ReadBodies(t.Context()); err != nil {
		t.Fatal(err)
	}
	if !tells(before, 5)() {
		t.Errorf("at its start the newer program is told %+v", s.out.Pools()["tern"])
	}
	s.run()
	until(t, "its own summary is sent anew", func() bool {
		return strings.Contains(sent(),
			`"model":"`+newest+`"`)
	})
	works()
	until(t, "it is told by the pool worked out last",
		func() bool { return s.out.ClayBody("tern").Told != nil })
	if !tells(before, 5)() {
		t.Errorf("alone with the newer model it is told %+v", s.out.Pools()["tern"])
	}
	for n, p := range others[:4] {
		put(p, n, newest)
	}
	works()
	until(t, "four others came after it", tells(newest, 4))
	if a, _ := toldBy(t, r, others[4], body, before); a.Studios != 5 {
		t.Errorf("one that stays with the model before is told by %d others", a.Studios)
	}
	if err := s.out.SetClayBody(t.Context(), "tern", body, false); err != nil {
		t.Fatal(err)
	}
	rows, err := r.store.Rows(t.Context(), s.id)
	if err != nil || rows["summary"] != 0 {
		t.Errorf("after a no: %v, %v", rows, err)
	}
	works()
	if a, _ := toldBy(t, r, others[4], body, before); a.Studios != 4 {
		t.Errorf("after a no %d others tell by the model before", a.Studios)
	}
	until(t, "too few tell by the newer model by then", tells(before, 5))
}

// TestCopyHoldsWhatOthersTold: a copy of the store that is put back in another folder, as on a new machine,
// still has what other studios told, and uses it without any collector. The yes to sending was said in
// another life of the record and may have been taken back since: it counts no more, and what was sent is
// deleted at the next turn.
func TestCopyHoldsWhatOthersTold(t *testing.T) {
	r, s := start(t, pgtest.Database(t)), newStudio(t)
	body := pooledBody(t, r)
	set := func(s *studio) {
		s.out.ShrinkModels, s.out.PoolEach = shrinkage.PoolModels(), 20*time.Millisecond
		s.out.Summarise = func(context.Context, tiles.ClayID, float64) (*wire.PoolSummary, error) {
			one := summaryOf(t, 77)
			return &one, nil
		}
	}
	set(s)
	s.join(t, r)
	if err := s.out.SetClayBody(t.Context(), "tern", body, true); err != nil {
		t.Fatal(err)
	}
	until(t, "it is sent and told", func() bool {
		b := s.out.ClayBody("tern")
		return b.LastBody != "" && b.Told != nil
	})
	if len(s.out.KnownBodies()) != 1 {
		t.Errorf("the catalogue is not known: %v", s.out.KnownBodies())
	}
	s.halt()
	if _, err := s.Copy(t.Context()); err != nil {
		t.Fatal(err)
	}
	s.Store.Close()
	folder := t.TempDir()
	if _, _, err := store.Restore(t.Context(), folder, filepath.Join(s.folder, "copies"),
		time.Now()); err != nil {
		t.Fatal(err)
	}
	fresh := openStudio(t, folder, clock()) // of another machine: no collector is joined
	if err := fresh.out.ReadBodies(t.Context()); err != nil {
		t.Fatal(err)
	}
	told := fresh.out.Pools()["tern"]
	if _, err := shrinkage.ReadPrior(told.Prior); err != nil || told.Studios != 5 {
		t.Errorf("after the copy was put back %d studios tell: %v", told.Studios, err)
	}
	if b := fresh.out.ClayBody("tern"); b.Send || !b.YesAgain || b.Body == nil || b.Body.ID != body {
		t.Errorf("after the copy was put back: %+v", b)
	}
	if err := os.CopyFS(filepath.Join(folder, "key"), os.DirFS(s.folder)); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(filepath.Join(folder, "key", "collector.json"),
		filepath.Join(folder, "collector.json")); err != nil {
		t.Fatal(err)
	}
	set(fresh)
	fresh.run() // with the key of before
	until(t, "what was sent is deleted", func() bool {
		all, err := r.store.Bodies(context.Background())
		return err == nil && all[0].Studios == 5 && fresh.out.ClayBody("tern").LastBody == ""
	})
	if b := fresh.out.ClayBody("tern"); b.Told == nil || b.Send {
		t.Errorf("after it was deleted: %+v", b)
	}
	if err := fresh.out.SetClayBody(t.Context(), "tern", body, true); err != nil {
		t.Fatal(err)
	}
	until(t, "it is sent after another yes", func() bool { return fresh.out.ClayBody("tern").LastBody != "" })
}

// TestTakenBack: a no has the collector delete what was sent.
func TestTakenBack(t *testing.T) {
	r, s := start(t, pgtest.Database(t)), newStudio(t)
	body, err := Owner{r.store}.NewBody(t.Context(), "Sandpit Clays", "", "Groggy", "6")
	if err != nil {
		t.Fatal(err)
	}
	s.out.PoolEach, s.out.ShrinkModels = 20*time.Millisecond, shrinkage.PoolModels()
	s.out.Summarise = func(context.Context, tiles.ClayID, float64) (*wire.PoolSummary, error) {
		one := summaryOf(t, 3)
		return &one, nil
	}
	s.join(t, r)
	if err := s.out.SetClayBody(t.Context(), "tern", body, true); err != nil {
		t.Fatal(err)
	}
	rows := func() int {
		all, err := r.store.Bodies(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		return all[0].Studios
	}
	until(t, "it is sent", func() bool { return rows() == 1 })
	until(t, "it is known as sent", func() bool { return s.out.ClayBody("tern").LastBody != "" })
	if err := s.out.SetClayBody(t.Context(), "tern", body, false); err != nil || rows() != 0 ||
		s.out.ClayBody("tern").LastBody != "" {
		t.Errorf("after a no: %v, %d studios", err, rows())
	}
}

// TestCarriedIsReadAgain: what a carry file brings of other studios while the sender runs, with no collector
// joined, is used from then on, and stays when another clay is picked.
func TestCarriedIsReadAgain(t *testing.T) {
	s := newStudio(t)
	var changed atomic.Int64
	s.out.PoolsChanged = func() { changed.Add(1) }
	s.run()
	beside := store.Outbox{Store: s.Store}
	if err := beside.SaveClayBodies(t.Context(),
		[]wire.KeptBody{{Clay: "tern", Body: wire.CatalogueBody{ID: newID(), Name: "Groggy"},
			YesLife: "carried", Told: &wire.PoolAnswer{Studios: 41, Made: time.Now()}}}); err != nil {
		t.Fatal(err)
	}
	if len(s.out.Pools()) != 0 {
		t.Error("it was not there before")
	}
	s.out.BodiesCarried()
	until(t, "it is used", func() bool { return len(s.out.Pools()) == 1 && changed.Load() == 1 })
	if b := s.out.ClayBody("tern"); b.Send || !b.YesAgain || b.Told == nil {
		t.Errorf("carried: %+v", b)
	}
}
