package collector

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lidwright/api/wire"
	"lidwright/daemon/collector/cluster"
	"lidwright/daemon/collector/pgtest"
)

// sql does something on one server, outside the collector.
func sql(t testing.TB, s *cluster.Server, statements ...string) {
	t.Helper()
	db, err := pgx.Connect(t.Context(), s.URL("own"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close(context.Background())
	for _, one := range statements {
		if _, err := db.Exec(t.Context(), one); err != nil {
			t.Fatalf("%s: %v", one, err)
		}
	}
}

// asked looks at one value on a server; "" while it does not answer.
func asked(t testing.TB, s *cluster.Server, question string) (answer string) {
	t.Helper()
	db, err := pgx.Connect(t.Context(), s.URL("own"))
	if err != nil {
		return ""
	}
	defer db.Close(context.Background())
	db.QueryRow(t.Context(), question).Scan(&answer)
	return answer
}

// synchronous has a primary acknowledge nothing that its standby has not.
func synchronous(t testing.TB, primary *cluster.Server) {
	t.Helper()
	sql(t, primary, `ALTER SYSTEM SET synchronous_standby_names = 'ANY 1 (standby)'`,
		`SELECT pg_reload_conf()`)
	until(t, "the standby is synchronous", func() bool {
		return asked(t, primary, `SELECT coalesce(max(sync_state), '') FROM pg_stat_replication WHERE state = 'streaming'`) == "quorum"
	})
}

// alone has a primary wait for no standby: one that was promoted took the setting over with the copy.
func alone(t testing.TB, primary *cluster.Server) {
	t.Helper()
	sql(t, primary, `ALTER SYSTEM RESET synchronous_standby_names`, `SELECT pg_reload_conf()`)
}

// promote makes a standby the server that takes writes. A statement that waited for it would hold up what the
// standby still has to replay, until one of both is cut off after 30 s.
func promote(t testing.TB, s *cluster.Server) {
	t.Helper()
	sql(t, s, `SELECT pg_promote(wait => false)`)
	until(t, "the standby is promoted", func() bool {
		return asked(t, s, `SELECT pg_is_in_recovery()::text`) == "false"
	})
}

// both is the address of a primary and its standby, whichever takes writes.
func both(a, b *cluster.Server) string {
	return fmt.Sprintf("postgres://lidwright@127.0.0.1:%d,127.0.0.1:%d/own?sslmode=disable&target_session_attrs=read-write",
		a.Port, b.Port)
}

// pusher sends facts one by one and knows which were acknowledged.
type pusher struct {
	site, life, key, url string
	acked                int64
	pad                  int // bytes of each fact beside what it says
	busy, gaps           int // answers 503, and gaps
	other                []string
}

func newPusher(t testing.TB, r *running) *pusher {
	t.Helper()
	p := &pusher{site: uuid.Must(uuid.NewV7()).String(), life: uuid.Must(uuid.NewV7()).String(), url: r.url}
	var err error
	if p.key, _, err = joinRaw(t, r, p.site); err != nil {
		t.Fatal(err)
	}
	return p
}

// push sends the fact after the last one that was acknowledged, and what only its cursor may answer.
func (p *pusher) push(ctx context.Context) {
	next, pad := p.acked+1, make([]byte, p.pad/2)
	rand.NewChaCha8([32]byte{byte(next)}).Read(pad) // the same each time, and nothing that packs
	body, _ := json.Marshal(wire.Push{Form: wire.PushForm, Life: p.life, After: p.acked, Last: next,
		Facts: []wire.PushFact{{Seq: next, Kind: "clay", Op: "put", ID: "made-up", At: time.Unix(next, 0),
			ClockTrusted: true, Boot: "boot", Body: json.RawMessage(fmt.Sprintf(`{"name":"%d","note":"%s"}`,
				next, hex.EncodeToString(pad)))}}})
	req, _ := http.NewRequestWithContext(ctx, http.MethodPost, p.url+"/v1/studios/"+p.site+"/push",
		strings.NewReader(string(body)))
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("Authorization", "Bearer "+p.key)
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return
	}
	defer resp.Body.Close()
	said, _ := io.ReadAll(resp.Body)
	var taken wire.PushTaken
	switch {
	case resp.StatusCode == http.StatusOK && json.Unmarshal(said, &taken) == nil:
		p.acked = taken.Have
	case resp.StatusCode == http.StatusServiceUnavailable:
		p.busy++
	case resp.StatusCode == http.StatusConflict:
		p.gaps++
		p.other = append(p.other, string(said))
	default:
		p.other = append(p.other, fmt.Sprintf("%d %s", resp.StatusCode, said))
	}
}

// run pushes until stop is called, which waits for the push that is under way.
func (p *pusher) run(t testing.TB) (stop func()) {
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		for ctx.Err() == nil {
			p.push(ctx)
		}
	}()
	return func() { cancel(); <-done }
}

// holds what is there against what was acknowledged: every fact, once, in order.
func (p *pusher) holds(t testing.TB, r *running) {
	t.Helper()
	site, err := r.store.Site(t.Context(), p.site)
	if err != nil {
		t.Fatal(err)
	}
	facts, err := r.store.Facts(t.Context(), p.site, p.life, 0, 1_000_000)
	if err != nil {
		t.Fatal(err)
	}
	if site.Have < p.acked || int64(len(facts)) < p.acked {
		t.Fatalf("%d were acknowledged; the cursor is at %d, %d facts are there",
			p.acked, site.Have, len(facts))
	}
	for i, f := range facts {
		if f.Seq != int64(i+1) || !strings.Contains(string(f.Body), fmt.Sprintf(`"name": "%d"`, i+1)) {
			t.Fatalf("fact %d is %d %.100s", i+1, f.Seq, f.Body)
		}
	}
	if p.gaps > 0 || len(p.other) > 0 {
		t.Fatalf("%d gaps; other answers: %q", p.gaps, p.other)
	}
}

// TestPrimaryKilled kills a primary with -9 while studios send, promotes its synchronous standby, and makes a
// new standby of it, time and again: nothing that was acknowledged is lost, and the collector goes on by
// itself.
func TestPrimaryKilled(t *testing.T) {
	primary := pgtest.Own(t)
	standby := pgtest.Standby(t, primary, 0)
	r, s := start(t, both(primary, standby)), newStudio(t)
	s.join(t, r)
	p := newPusher(t, r)
	acked := int64(0)
	for i := range times(2, 5) {
		synchronous(t, primary)
		stop := p.run(t)
		s.says(t, 20)
		s.fires(t, 0.05)
		from := p.acked
		until(t, "facts are acknowledged", func() bool {
			one, err := r.store.Site(t.Context(), p.site)
			return err == nil && one.Have >= from+20
		})
		primary.Kill()
		alone(t, standbyUp(t, standby))
		until(t, "the promoted one takes writes", func() bool {
			one, err := r.store.Site(t.Context(), p.site)
			before := one.Have
			if err != nil {
				return false
			}
			time.Sleep(10 * time.Millisecond)
			one, err = r.store.Site(t.Context(), p.site)
			return err == nil && one.Have > before
		})
		stop()
		p.holds(t, r)
		if p.acked <= acked {
			t.Fatalf("round %d acknowledged nothing", i+1)
		}
		acked = p.acked
		primary, standby = standby, pgtest.Standby(t, standby, primary.Port)
	}
	s.arrived(t, r.store)
	t.Logf("%d facts acknowledged, 0 lost; %d answers 503", p.acked, p.busy)
}

// standbyUp promotes a standby and gives it.
func standbyUp(t testing.TB, standby *cluster.Server) *cluster.Server {
	t.Helper()
	promote(t, standby)
	return standby
}

// TestStandbyBehind kills a primary whose standby is not synchronous and has not heard the last of it: the
// studios are sent back by themselves, and nothing is missing.
func TestStandbyBehind(t *testing.T) {
	primary := pgtest.Own(t)
	standby := pgtest.Standby(t, primary, 0)
	r, s := start(t, both(primary, standby)), newStudio(t)
	s.join(t, r)
	for range times(1, 5) {
		s.says(t, 30)
		s.arrived(t, r.store)
		until(t, "the standby has it all", func() bool {
			return asked(t, primary, `SELECT (max(replay_lsn) = pg_current_wal_lsn())::text FROM pg_stat_replication`) == "true"
		})
		sql(t, standby, `ALTER SYSTEM SET primary_conninfo = ''`, `SELECT pg_reload_conf()`)
		until(t, "the standby hears nothing more", func() bool {
			return asked(t, primary, `SELECT count(*)::text FROM pg_stat_replication`) == "0"
		})
		s.fires(t, 0.1)
		s.says(t, 40)
		s.arrived(t, r.store)
		last, err := r.store.Site(t.Context(), s.id)
		if err != nil {
			t.Fatal(err)
		}
		primary.Kill()
		promote(t, standby)
		until(t, "the promoted one answers", func() bool { return r.store.Ready(t.Context()) == nil })
		if now, err := r.store.Site(t.Context(), s.id); err == nil && now.Have >= last.Have &&
			now.Seen.Equal(last.Seen) {
			t.Fatalf("the promoted one lost nothing: %d of %d", now.Have, last.Have)
		}
		s.arrived(t, r.store) // what the kilns do is told all the time, and shows the hole
		primary, standby = standby, pgtest.Standby(t, standby, primary.Port)
	}
}

// TestStandbyGone kills the only synchronous standby: nothing is acknowledged, studios are told to come again
// and keep what they have, and it all arrives once a standby is there again.
func TestStandbyGone(t *testing.T) {
	primary := pgtest.Own(t)
	standby := pgtest.Standby(t, primary, 0)
	r, s := start(t, primary.URL("own")), newStudio(t)
	s.join(t, r)
	s.says(t, 10)
	s.arrived(t, r.store)
	p := newPusher(t, r)
	for range 5 {
		p.push(t.Context())
	}
	synchronous(t, primary)
	standby.Kill()
	s.says(t, 20)
	s.fires(t, 0.05)
	was := p.acked
	for range times(1, 5) {
		p.push(t.Context())
	}
	if p.acked != was || p.busy != times(1, 5) || len(p.other) > 0 {
		t.Errorf("without a standby: %d acknowledged of %d, %d answers 503, %q", p.acked-was,
			times(1, 5), p.busy, p.other)
	}
	until(t, "the studio says that it waits", func() bool {
		st, err := s.out.Status(t.Context())
		return err == nil && strings.Contains(st.Trouble, "sent again") && st.Behind > 0
	})
	if err := standby.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	s.arrived(t, r.store)
	p.push(t.Context())
	p.holds(t, r)
}
