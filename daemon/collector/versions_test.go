package collector

import (
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"lidwright/api/wire"
	"lidwright/daemon/collector/pgtest"
	"lidwright/daemon/collector/postgres"
)

// TestNewerStudio has a studio that sends a form which the collector does not know yet: it is told so, loses
// nothing, and all arrives once the collector was brought up to date. One of the form before goes on sending.
func TestNewerStudio(t *testing.T) {
	database := pgtest.Database(t)
	older, s, still := start(t, database), newStudio(t), newStudio(t)
	still.says(t, 5)
	still.join(t, older)
	still.arrived(t, older.store)
	s.out.Form = wire.PushForm + 1
	s.says(t, 20)
	s.fires(t, 0.1)
	s.join(t, older)
	until(t, "the studio is told", func() bool {
		st, err := s.out.Status(t.Context())
		return err == nil && strings.Contains(st.Trouble, "brought up to date first") && st.Behind > 0
	})
	if rows, err := older.store.Rows(t.Context(), s.id); err != nil || rows["fact"] != 0 {
		t.Errorf("kept of a form that is not known: %v, %v", rows, err)
	}
	s.says(t, 5)

	newer := startWith(t, database, func(c *Collector) { c.pages.Form = wire.PushForm + 1 })
	for _, one := range []*studio{s, still} {
		one.halt()
		readdress(t, one.folder, newer.url)
		form := one.out.Form
		one.open2(t)
		one.out.Form = form
		one.run()
	}
	still.says(t, 5)
	s.arrived(t, newer.store)
	still.arrived(t, newer.store)
}

// TestUnknownIsKept sends kinds, members and operations that this collector does not know: they are kept as
// they came, for one that does.
func TestUnknownIsKept(t *testing.T) {
	r := start(t, pgtest.Database(t))
	p := newPusher(t, r)
	said := `{"of": {"what": [1, 2, null]}, "text": "'; DROP TABLE fact; --"}`
	body := `{"form":1,"life":"` + p.life +
		`","after":0,"last":1,"later":{"a":1},"facts":[{"seq":1,"kind":"glaze_recipe","op":"weigh","id":"x'y","at":"2026-11-30T09:00:00Z","clock_trusted":true,"boot":"b","new":7,"body":` + said + `}]}`
	if resp := ask(t, "POST", r.url+"/v1/studios/"+p.site+"/push", p.key,
		[]byte(body)); resp.StatusCode != http.StatusOK {
		t.Fatalf("answered %d", resp.StatusCode)
	}
	facts, err := r.store.Facts(t.Context(), p.site, p.life, 0, 10)
	if err != nil || len(facts) != 1 || facts[0].Kind != "glaze_recipe" ||
		facts[0].Op != "weigh" || facts[0].ID != "x'y" ||
		!sameJSON(t, facts[0].Body, json.RawMessage(said)) {
		t.Errorf("it is there as %+v: %v", facts, err)
	}
}

// TestNeighbouringVersions has a collector run beside one of the next version, whose schema file added to the
// tables: both take what studios send. One that is too old for the tables says so and does not start.
func TestNeighbouringVersions(t *testing.T) {
	database := pgtest.Database(t)
	r, s := start(t, database), newStudio(t)
	s.says(t, 10)
	s.join(t, r)
	s.arrived(t, r.store)
	db, err := pgx.Connect(t.Context(), database)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close(t.Context())
	does := func(statement string) {
		t.Helper()
		if _, err := db.Exec(t.Context(), statement); err != nil {
			t.Fatal(err)
		}
	}
	does(`ALTER TABLE fact ADD COLUMN of_next_year text; ALTER TABLE site ADD COLUMN of_next_year int NOT NULL DEFAULT 0; CREATE TABLE next_year (a int)`)
	does(`INSERT INTO schema (number, works_from, at) SELECT max(number) + 1, max(works_from), now() FROM schema`)
	s.says(t, 10)
	s.fires(t, 0.05)
	s.arrived(t, r.store)
	beside := start(t, database) // this version is started anew while the tables are already the next one's
	other := newStudio(t)
	other.says(t, 5)
	other.join(t, beside)
	other.arrived(t, r.store)
	does(`UPDATE schema SET works_from = 1000 WHERE number = (SELECT max(number) FROM schema)`)
	if _, err := New(t.Context(), settingsFor(database, "127.0.0.1:0"), "test"); !errors.Is(err,
		postgres.ErrNewer) || !errors.Is(err, ErrCannotStart) {
		t.Errorf("a program that is too old for the tables starts: %v", err)
	}
}

// TestMadeAtTheSameTime starts several collectors on an empty database at once: the tables are made once.
func TestMadeAtTheSameTime(t *testing.T) {
	database := pgtest.Database(t)
	done := make(chan error, 5)
	for range cap(done) {
		go func() {
			db, err := postgres.Open(t.Context(), database, 2)
			if err == nil {
				db.Close()
			}
			done <- err
		}()
	}
	for range cap(done) {
		select {
		case err := <-done:
			if err != nil {
				t.Error(err)
			}
		case <-time.After(5 * time.Minute):
			t.Fatal("it hangs")
		}
	}
}
