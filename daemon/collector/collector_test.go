package collector

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"lidwright/kiln/kilntest"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lidwright/api/collectorpages"
	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/config"
	"lidwright/daemon/collector/pgtest"
	"lidwright/daemon/collector/postgres"
	"lidwright/daemon/outbox"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/tiles"
)

func TestMain(m *testing.M) {
	if os.Getenv("LIDWRIGHT_SOAK") == "" {
		slog.SetDefault(slog.New(slog.DiscardHandler))
	}
	switch os.Getenv("LIDWRIGHT_CHILD") {
	case "collector":
		collectorChild()
	case "studio":
		studioChild()
	}
	pgtest.Main(m)
}

// times is how often something is done: few in the ordinary tests, as many as DEVELOPERS.md tells in the
// soak.
func times(few, many int) int {
	if os.Getenv("LIDWRIGHT_SOAK") != "" {
		return many
	}
	return few
}

// settingsFor are those of a collector on a database, at an address of its own.
func settingsFor(url, address string) config.Collect {
	cfg := config.DefaultCollect()
	cfg.Database.URL, cfg.Listen.Address, cfg.Keep.BackupDays, cfg.Name = url, address,
		0, "The made-up school"
	cfg.Database.Connections = 6
	return cfg
}

// running is a collector within the test.
type running struct {
	*Collector
	url  string
	stop func()
}

func start(t testing.TB, database string) *running {
	t.Helper()
	return startWith(t, database, func(*Collector) {})
}

// startWith starts one that is another in something.
func startWith(t testing.TB, database string, other func(*Collector)) *running {
	t.Helper()
	c, err := New(context.Background(), settingsFor(database, "127.0.0.1:0"), "test")
	if err != nil {
		t.Fatal(err)
	}
	other(c)
	ctx, cancel := context.WithCancel(context.Background())
	ready, done := make(chan string, 1), make(chan error, 1)
	c.Ready = func(address string) { ready <- "http://" + address }
	go func() { done <- c.Run(ctx) }()
	r := &running{Collector: c}
	var once sync.Once
	r.stop = func() { once.Do(func() { cancel(); <-done }) }
	t.Cleanup(r.stop)
	select {
	case r.url = <-ready:
	case err := <-done:
		t.Fatal(err)
	}
	return r
}

// collectorChild is a collector in a process of its own, to be killed.
func collectorChild() {
	c, err := New(context.Background(), settingsFor(os.Getenv("LIDWRIGHT_DATABASE"),
		os.Getenv("LIDWRIGHT_ADDRESS")), "test")
	if err == nil {
		err = c.Run(context.Background())
	}
	fmt.Fprintln(os.Stderr, err)
	os.Exit(1)
}

// child starts this test binary again as something else.
func child(t testing.TB, what string, env ...string) *exec.Cmd {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(append(os.Environ(), "LIDWRIGHT_CHILD="+what), env...)
	cmd.Stderr = os.Stderr
	if err := kilntest.StartChild(cmd, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { kill(cmd) })
	return cmd
}

func kill(cmd *exec.Cmd) {
	cmd.Process.Kill()
	cmd.Wait()
}

// studio is a Pi's record and its sender.
type studio struct {
	*store.Store
	out    *outbox.Outbox
	folder string
	id     string
	clock  func() kiln.Stamp
	stop   func()
	facts  int
	live   []wire.LiveKiln
}

// clock is one that is trusted, as a Pi's that has a network.
func clock() func() kiln.Stamp {
	began := time.Now()
	return func() kiln.Stamp {
		return kiln.Stamp{Boot: "0193c0c0-0000-7000-8000-00000000b007", Since: time.Hour + time.Since(began),
			Wall: time.Now().UTC().Truncate(time.Millisecond), Trusted: true}
	}
}

func newStudio(t testing.TB) *studio { return openStudio(t, t.TempDir(), clock()) }

func openStudio(t testing.TB, folder string, now func() kiln.Stamp) *studio {
	t.Helper()
	s := &studio{folder: folder, clock: now, live: []wire.LiveKiln{}}
	s.open(t)
	t.Cleanup(func() { s.halt(); s.Store.Close() })
	return s
}

func (s *studio) open(t testing.TB) {
	t.Helper()
	st, err := store.Settings{Now: s.clock, Version: "test"}.Open(context.Background(), s.folder)
	if err != nil {
		t.Fatal(err)
	}
	if s.id, err = st.SiteID(context.Background(), uuid.Must(uuid.NewV7()).String()); err != nil {
		t.Fatal(err)
	}
	s.Store = st
	s.out = outbox.New(store.Outbox{Store: st}, s.folder, "test", s.clock,
		func() []wire.LiveKiln { return s.live }, store.CurveSum)
	s.out.First, s.out.Most, s.out.LiveElse, s.out.SaveEach = time.Millisecond, 50*time.Millisecond,
		50*time.Millisecond, 10*time.Millisecond
}

// run sends until halt.
func (s *studio) run() {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); s.out.Run(ctx) }()
	s.stop = func() { cancel(); <-done }
}

func (s *studio) halt() {
	if s.stop != nil {
		s.stop()
		s.stop = nil
	}
}

// join has the studio join and send everything.
func (s *studio) join(t testing.TB, r *running) {
	t.Helper()
	code, err := Owner{r.store}.Add(t.Context(), "Room "+s.id[len(s.id)-4:])
	if err != nil {
		t.Fatal(err)
	}
	s.joinBy(t, r.url, code)
}

func (s *studio) joinBy(t testing.TB, url, code string) {
	t.Helper()
	if err := s.out.Join(t.Context(), url, code, ""); err != nil {
		t.Fatal(err)
	}
	if err := s.out.Set(t.Context(), true, true); err != nil {
		t.Fatal(err)
	}
	if s.stop == nil {
		s.run()
	}
}

// says keeps n facts.
func (s *studio) says(t testing.TB, n int) {
	t.Helper()
	for range n {
		s.facts++
		c := tiles.Clay{ID: tiles.ClayID(fmt.Sprintf("clay-%d", s.facts%20)),
			Name: fmt.Sprintf("Made-up clay, %d times named", s.facts)}
		if _, err := s.PutClay(context.Background(), c, usecase.Precondition{}, s.clock()); err != nil {
			t.Fatal(err)
		}
	}
}

// fires records a whole short firing of one probe.
func (s *studio) fires(t testing.TB, hours float64) string {
	t.Helper()
	ctx, at := context.Background(), s.clock()
	f := kiln.Firing{ID: kiln.FiringID(uuid.Must(uuid.NewV7()).String()), Kiln: "big-blue", Began: at,
		Source: "serial", Peak: 1222.5, Length: time.Duration(hours * float64(time.Hour))}
	var samples []kiln.Sample
	for i := range int(hours * 3600) {
		smp := kiln.Sample{Kiln: "big-blue", At: at,
			Values: []kiln.Value{{Channel: "1", T: kiln.Celsius(20 + float64(i%4000)/3.2)}}}
		smp.At.Since += time.Duration(i) * time.Second
		smp.At.Wall = smp.At.Wall.Add(time.Duration(i) * time.Second)
		samples = append(samples, smp)
	}
	if _, err := s.BeginFiring(ctx, f, samples[:1]); err != nil {
		t.Fatal(err)
	}
	if err := s.AppendCurve(ctx, f.ID, samples[1:]); err != nil {
		t.Fatal(err)
	}
	f.Over, f.Status = samples[len(samples)-1].At, kiln.Ended
	if err := s.EndFiring(ctx, f); err != nil {
		t.Fatal(err)
	}
	return string(f.ID)
}

// until waits for what must come; its limit is against hanging alone.
func until(t testing.TB, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(5 * time.Minute); !is(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("it never came to this: %s", what)
		}
	}
}

// arrived waits until all of a studio is at the collector, and holds that it is the same: every fact once, in
// order, every firing, every curve to the bit.
func (s *studio) arrived(t testing.TB, db *postgres.Store) {
	t.Helper()
	ctx := context.Background()
	last, err := s.LastChange(ctx)
	if err != nil {
		t.Fatal(err)
	}
	_, life, err := s.Store.Site(ctx)
	if err != nil {
		t.Fatal(err)
	}
	out := store.Outbox{Store: s.Store}
	marks, err := out.FiringRevisions(ctx)
	if err != nil {
		t.Fatal(err)
	}
	waited := time.Now()
	until(t, fmt.Sprintf("changes up to %d and %d firings are there", last, len(marks)), func() bool {
		one, err := db.Site(ctx, s.id)
		if time.Since(waited) > 30*time.Second {
			st, _ := s.out.Status(ctx)
			t.Logf("it is %+v (%v); the studio says %q, %d behind", one, err, st.Trouble, st.Behind)
			waited = time.Now()
		}
		if err != nil || one.Life != life || one.Have < last || one.Anew {
			return false
		}
		all, err := db.Firings(ctx, s.id, life, 0)
		if err != nil || len(all) != len(marks) {
			return false
		}
		for _, m := range marks {
			_, curve, err := out.SentFiring(ctx, m.ID)
			if err != nil {
				t.Fatal(err)
			}
			there, err := db.Curve(ctx, s.id, life, m.ID)
			if err != nil || !bytes.Equal(curve, there) {
				return false
			}
		}
		return true
	})
	want, err := s.Changes(ctx, 0, 1_000_000)
	if err != nil {
		t.Fatal(err)
	}
	got, err := db.Facts(ctx, s.id, life, 0, 1_000_000)
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != len(want) {
		t.Fatalf("%d facts are there, %d were said", len(got), len(want))
	}
	for i, g := range got {
		w := want[i]
		if g.Seq != w.Seq || g.Kind != w.Kind || g.Op != w.Op || g.ID != w.ID || !g.At.Equal(w.At) ||
			g.ClockTrusted != w.Trusted || g.Boot != w.Boot || !sameJSON(t, g.Body, []byte(w.Body)) {
			t.Fatalf("fact %d is there as %+v and was said as %+v", i, g, w)
		}
	}
}

func sameJSON(t testing.TB, a, b []byte) bool {
	t.Helper()
	var x, y any
	if json.Unmarshal(a, &x) != nil || json.Unmarshal(b, &y) != nil {
		t.Fatalf("no JSON: %s, %s", a, b)
	}
	one, _ := json.Marshal(x)
	other, _ := json.Marshal(y)
	return bytes.Equal(one, other)
}

func opened(t testing.TB, url string) *postgres.Store {
	t.Helper()
	db, err := postgres.Open(context.Background(), url, 4)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(db.Close)
	return db
}

// TestRecordArrives has a studio of some age join: all of it arrives, in order, with its curves to the bit,
// and what is said from then on.
func TestRecordArrives(t *testing.T) {
	r, s := start(t, pgtest.Database(t)), newStudio(t)
	s.says(t, times(1200, 10_000))
	s.fires(t, 1.5)
	s.join(t, r)
	s.arrived(t, r.store)
	id := s.fires(t, 0.2)
	s.says(t, 3)
	if err := s.SayFiring(t.Context(), kiln.FiringID(id), kiln.FiringAnnotation{Kind: kiln.Glaze,
		Note: "a windy day", By: "KT"}, s.clock()); err != nil {
		t.Fatal(err)
	}
	s.arrived(t, r.store)
	if _, err := s.ForgetMaker(t.Context(), "KT", s.clock()); err != nil {
		t.Fatal(err)
	}
	s.arrived(t, r.store)
	if st, err := s.out.Status(t.Context()); err != nil || st.Trouble != "" || st.LastOK.IsZero() ||
		!strings.Contains(st.LastBody, `"form":1`) {
		t.Errorf("the studio says of it %+v: %v", st, err)
	}
}

// cutter stands between studio and collector and cuts connections off at random bytes of the answers, after
// the collector has committed.
func cutter(t testing.TB, to string, dice *rand.Rand, cuts int) (url string, left func() int) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	var mu sync.Mutex
	go func() {
		for {
			in, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer in.Close()
				out, err := net.Dial("tcp", strings.TrimPrefix(to, "http://"))
				if err != nil {
					return
				}
				defer out.Close()
				go func() {
					buf := make([]byte, 4096)
					for {
						n, err := in.Read(buf)
						if err != nil {
							out.(*net.TCPConn).CloseWrite()
							return
						}
						out.Write(buf[:n])
					}
				}()
				buf := make([]byte, 64<<10)
				for {
					n, err := out.Read(buf)
					if err != nil {
						return
					}
					mu.Lock()
					cut := cuts > 0 && dice.IntN(3) > 0
					at := n
					if cut {
						cuts--
						at = dice.IntN(n)
					}
					mu.Unlock()
					in.Write(buf[:at])
					if cut {
						return
					}
				}
			}()
		}
	}()
	return "http://" + l.Addr().String(), func() int { mu.Lock(); defer mu.Unlock(); return cuts }
}

// TestAnswerLost loses answers after the collector committed, at random bytes: no fact is doubled, none lost.
func TestAnswerLost(t *testing.T) {
	r, s := start(t, pgtest.Database(t)), newStudio(t)
	url, left := cutter(t, r.url, rand.New(rand.NewPCG(3, 1)), times(40, 200))
	code, err := Owner{r.store}.Add(t.Context(), "Room 3")
	if err != nil {
		t.Fatal(err)
	}
	if err := s.out.Join(t.Context(), r.url, code, ""); err != nil {
		t.Fatal(err)
	}
	readdress(t, s.folder, url)
	s.says(t, 30)
	if err := s.out.Set(t.Context(), true, true); err == nil {
		t.Log("set before it runs")
	}
	readdress(t, s.folder, url)
	s.open2(t)
	s.run()
	for i := 0; left() > 0; i++ {
		s.says(t, 7)
		if i%10 == 0 {
			s.fires(t, 0.05)
		}
		time.Sleep(time.Millisecond)
	}
	s.arrived(t, r.store)
}

// open2 makes the sender anew over the same store, as a start does.
func (s *studio) open2(t testing.TB) {
	t.Helper()
	s.halt()
	fresh := outbox.New(store.Outbox{Store: s.Store}, s.folder, "test", s.clock,
		func() []wire.LiveKiln { return s.live }, store.CurveSum)
	fresh.First, fresh.Most, fresh.LiveElse, fresh.SaveEach = s.out.First, s.out.Most,
		s.out.LiveElse, s.out.SaveEach
	s.out = fresh
}

// readdress has a studio find its collector elsewhere, and says yes to everything.
func readdress(t testing.TB, folder, url string) {
	t.Helper()
	path := filepath.Join(folder, "collector.json")
	text, err := os.ReadFile(path)
	var j map[string]any
	if err == nil {
		err = json.Unmarshal(text, &j)
	}
	if err != nil {
		t.Fatal(err)
	}
	j["url"], j["keep"], j["makers"] = url, true, true
	text, _ = json.Marshal(j)
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestCollectorKilled kills the collector in mid-push with -9 and starts it again: no fact is doubled, none
// lost.
func TestCollectorKilled(t *testing.T) {
	database := pgtest.Database(t)
	db := opened(t, database)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	l.Close()
	env := []string{"LIDWRIGHT_DATABASE=" + database, "LIDWRIGHT_ADDRESS=" + address}
	s := newStudio(t)
	cmd := child(t, "collector", env...)
	waitReady(t, "http://"+address)
	code, err := Owner{db}.Add(t.Context(), "Room 3")
	if err != nil {
		t.Fatal(err)
	}
	s.joinBy(t, "http://"+address, code)
	dice := rand.New(rand.NewPCG(5, 1))
	for range times(8, 200) {
		s.says(t, 20)
		time.Sleep(time.Duration(dice.IntN(40)) * time.Millisecond)
		kill(cmd)
		cmd = child(t, "collector", env...)
		waitReady(t, "http://"+address)
	}
	s.arrived(t, db)
}

func waitReady(t testing.TB, url string) {
	t.Helper()
	until(t, url+" is ready", func() bool {
		resp, err := http.Get(url + "/readyz")
		if err != nil {
			return false
		}
		resp.Body.Close()
		return resp.StatusCode == http.StatusOK
	})
}

// studioChild is a studio's sender in a process of its own, to be killed.
func studioChild() {
	now := clock()
	st, err := store.Settings{Now: now, Version: "test"}.Open(context.Background(),
		os.Getenv("LIDWRIGHT_FOLDER"))
	if err == nil {
		o := outbox.New(store.Outbox{Store: st}, os.Getenv("LIDWRIGHT_FOLDER"), "test", now,
			func() []wire.LiveKiln { return nil }, store.CurveSum)
		o.First, o.Most, o.SaveEach = time.Millisecond, 50*time.Millisecond, time.Millisecond
		err = o.Run(context.Background())
	}
	fmt.Fprintln(os.Stderr, err)
	os.Exit(1)
}

// TestStudioKilled kills a studio's program in mid-push with -9: no fact is doubled, none lost.
func TestStudioKilled(t *testing.T) {
	r, s := start(t, pgtest.Database(t)), newStudio(t)
	s.join(t, r)
	s.arrived(t, r.store)
	dice := rand.New(rand.NewPCG(4, 1))
	for range times(8, 200) {
		s.says(t, 30)
		s.halt()
		s.Store.Close()
		cmd := child(t, "studio", "LIDWRIGHT_FOLDER="+s.folder)
		time.Sleep(time.Duration(20+dice.IntN(80)) * time.Millisecond)
		kill(cmd)
		s.open(t)
	}
	s.run()
	s.arrived(t, r.store)
}

// TestDatabaseKilled kills PostgreSQL with -9 and starts it again: studios see 503 alone, no fact is doubled,
// none lost.
func TestDatabaseKilled(t *testing.T) {
	server := pgtest.Own(t, "fsync=on", "full_page_writes=on")
	r, s := start(t, server.URL("own")), newStudio(t)
	s.join(t, r)
	dice := rand.New(rand.NewPCG(6, 1))
	for range times(3, 20) {
		s.says(t, 25)
		time.Sleep(time.Duration(dice.IntN(60)) * time.Millisecond)
		server.Kill()
		s.says(t, 5)
		if err := server.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		until(t, "the collector goes on by itself", func() bool { return r.store.Ready(t.Context()) == nil })
	}
	s.arrived(t, r.store)
}

// TestDatabaseLost puts an empty database in the place of one: once the owner lets the studios in again they
// send all from the beginning, and nobody in them is asked anything.
func TestDatabaseLost(t *testing.T) {
	first, s := start(t, pgtest.Database(t)), newStudio(t)
	s.says(t, 40)
	s.fires(t, 0.1)
	s.join(t, first)
	s.arrived(t, first.store)
	s.halt()
	first.stop()
	second := start(t, pgtest.Database(t))
	readdress(t, s.folder, second.url)
	s.open2(t)
	s.run()
	until(t, "the studio says that it is not known", func() bool {
		st, err := s.out.Status(t.Context())
		return err == nil && strings.Contains(st.Trouble, "does not know the key")
	})
	if err := second.store.Readmit(t.Context(), s.id, "Room 3"); err != nil {
		t.Fatal(err)
	}
	s.arrived(t, second.store)
	if err := second.store.Comes(t.Context(), s.id,
		"another key that comes later, 43 signs or so"); !errors.Is(err, collectorpages.ErrNoKey) {
		t.Errorf("a second key for the same studio: %v", err)
	}
}

// TestTailLost gives the collector an older state of its database back, as a standby that was behind: the
// studio is sent back by itself, and nothing is missing.
func TestTailLost(t *testing.T) {
	database := pgtest.Database(t)
	r, s := start(t, database), newStudio(t)
	s.says(t, 50)
	s.fires(t, 0.1)
	s.join(t, r)
	s.arrived(t, r.store)
	lost := s.fires(t, 0.1)
	s.says(t, 20)
	s.arrived(t, r.store)
	lose(t, database, s.id, 30, lost)
	s.says(t, 1)
	s.arrived(t, r.store)
}

// lose takes the end of what is there of a studio out of a database.
func lose(t testing.TB, database, site string, after int, firing string) {
	t.Helper()
	db, err := pgx.Connect(t.Context(), database)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close(context.Background())
	for _, s := range []string{`DELETE FROM fact WHERE site = $1 AND seq > $2`,
		`UPDATE site SET have = $2 WHERE site = $1`} {
		if _, err := db.Exec(t.Context(), s, site, after); err != nil {
			t.Fatal(err)
		}
	}
	for _, s := range []string{`DELETE FROM firing WHERE site = $1 AND firing = $2`,
		`DELETE FROM curve WHERE site = $1 AND firing = $2`} {
		if _, err := db.Exec(t.Context(), s, site, firing); err != nil {
			t.Fatal(err)
		}
	}
}

// TestRestoredCopy puts an older copy back on a studio and lets it go on: its new life takes the place of the
// old one, and no fact of two lives stands beside another.
func TestRestoredCopy(t *testing.T) {
	r, s := start(t, pgtest.Database(t)), newStudio(t)
	s.says(t, 20)
	s.fires(t, 0.1)
	if _, err := s.Copy(t.Context()); err != nil {
		t.Fatal(err)
	}
	s.join(t, r)
	s.says(t, 15)
	s.arrived(t, r.store)
	_, old, err := s.Store.Site(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	s.halt()
	s.Store.Close()
	if _, _, err := store.Restore(t.Context(), s.folder, filepath.Join(s.folder, "copies"),
		time.Now()); err != nil {
		t.Fatal(err)
	}
	s.open(t)
	s.facts += 100
	s.says(t, 30)
	s.run()
	s.arrived(t, r.store)
	if facts, err := r.store.Facts(t.Context(), s.id, old, 0, 1000); err != nil || len(facts) != 0 {
		t.Errorf("%d facts of the old life are still there: %v", len(facts), err)
	}
}

// TestClonedCard has two machines say that they are one studio: both are told so, and no fact of the one
// comes under the other.
func TestClonedCard(t *testing.T) {
	r, s := start(t, pgtest.Database(t)), newStudio(t)
	s.says(t, 20)
	s.join(t, r)
	s.arrived(t, r.store)
	s.halt()
	s.Store.Close()
	folder := filepath.Join(t.TempDir(), "clone")
	if err := os.CopyFS(folder, os.DirFS(s.folder)); err != nil {
		t.Fatal(err)
	}
	s.open(t)
	clone := openStudio(t, folder, clock())
	clone.facts = 500
	s.says(t, 10)
	s.run()
	s.arrived(t, r.store)
	clone.says(t, 10)
	clone.run()
	s.says(t, 1)
	for name, one := range map[string]*studio{"the first": s, "the clone": clone} {
		until(t, name+" is told", func() bool {
			st, err := one.out.Status(t.Context())
			return err == nil && strings.Contains(st.Trouble, "wo machines say")
		})
	}
	site, err := r.store.Site(t.Context(), s.id)
	if err != nil || site.Forked.IsZero() {
		t.Fatalf("the collector does not tell it: %+v, %v", site, err)
	}
	facts, err := r.store.Facts(t.Context(), s.id, site.Life, 0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	want, _ := s.Changes(t.Context(), 0, 1000)
	for i, f := range facts {
		if !sameJSON(t, f.Body, []byte(want[i].Body)) {
			t.Fatalf("fact %d is the clone's: %s", f.Seq, f.Body)
		}
	}
	// The owner says which holds: the clone gets no key, the first goes on.
	clone.halt()
	if err := r.store.Readmit(t.Context(), s.id, ""); err != nil {
		t.Fatal(err)
	}
	s.arrived(t, r.store)
}

// TestClockPutRight has a studio whose clock says 1970 and is put right later: no fact has a wrong date then.
func TestClockPutRight(t *testing.T) {
	r := start(t, pgtest.Database(t))
	began := time.Now()
	var mu sync.Mutex
	trusted := false
	now := func() kiln.Stamp {
		mu.Lock()
		defer mu.Unlock()
		at := kiln.Stamp{Boot: "0193c0c0-0000-7000-8000-00000000b008",
			Since: time.Minute + time.Since(began), Trusted: trusted}
		if at.Wall = time.Unix(0, 0).UTC().Add(at.Since); trusted {
			at.Wall = time.Now().UTC().Truncate(time.Millisecond)
		}
		return at
	}
	// facts wait for the clock, or went before it was trusted
	for _, wait := range []time.Duration{24 * time.Hour, 0} {
		mu.Lock()
		trusted = false
		mu.Unlock()
		s := openStudio(t, t.TempDir(), now)
		s.out.TrustWait = wait
		s.says(t, 10)
		s.join(t, r)
		if wait == 0 {
			until(t, "facts of 1970 are there", func() bool {
				one, err := r.store.Site(t.Context(), s.id)
				return err == nil && one.Have >= 10
			})
		}
		mu.Lock()
		trusted = true
		mu.Unlock()
		if err := s.Trust(t.Context(), now()); err != nil {
			t.Fatal(err)
		}
		s.says(t, 1)
		s.arrived(t, r.store)
	}
}

// TestForgottenWhileItSends deletes a studio while it sends: no row of it stays in any table, and its next
// push hears that it was forgotten.
func TestForgottenWhileItSends(t *testing.T) {
	r, s, other := start(t, pgtest.Database(t)), newStudio(t), newStudio(t)
	other.says(t, 10)
	other.join(t, r)
	s.says(t, 50)
	s.fires(t, 0.1)
	s.join(t, r)
	s.arrived(t, r.store)
	s.says(t, 100)
	if err := r.store.Forget(t.Context(), s.id); err != nil {
		t.Fatal(err)
	}
	until(t, "the studio is told", func() bool {
		st, err := s.out.Status(t.Context())
		return err == nil && strings.Contains(st.Trouble, "forget")
	})
	if rows, err := r.store.Rows(t.Context(), s.id); err != nil || len(rows) != 0 {
		t.Errorf("rows that stayed: %v, %v", rows, err)
	}
	other.says(t, 1)
	other.arrived(t, r.store)
}

// TestKeys tries wrong, revoked and foreign keys, and guesses: nothing is kept, and few guesses are looked
// at.
func TestKeys(t *testing.T) {
	r, s, other := start(t, pgtest.Database(t)), newStudio(t), newStudio(t)
	at := time.Now()
	r.Now = func() time.Time { return at }
	key, _, err := joinRaw(t, r, s.id)
	if err != nil {
		t.Fatal(err)
	}
	foreign, _, err := joinRaw(t, r, other.id)
	if err != nil {
		t.Fatal(err)
	}
	push := func(site, key string) int {
		resp := ask(t, "POST", r.url+"/v1/studios/"+site+"/push", key,
			wire.Push{Form: 1, Life: uuid.Nil.String(), Last: 0})
		return resp.StatusCode
	}
	if got := push(s.id, key); got != http.StatusOK {
		t.Fatalf("the right key: %d", got)
	}
	for name, c := range map[string]struct {
		site, key string
		want      int
	}{
		"foreign": {s.id, foreign, http.StatusNotFound}, "another path": {other.id, key, http.StatusNotFound},
		"wrong": {s.id, strings.Repeat("x", 43), http.StatusUnauthorized},
		"none":  {s.id, "", http.StatusUnauthorized},
	} {
		if got := push(c.site, c.key); got != c.want {
			t.Errorf("%s: %d, want %d", name, got, c.want)
		}
	}
	at = at.Add(2 * time.Minute)
	looked := 0
	for range times(100, 1000) {
		if push(s.id, strings.Repeat("y", 43)) == http.StatusUnauthorized {
			looked++
		}
	}
	if looked > 5 {
		t.Errorf("%d guesses of a minute were looked at", looked)
	}
	at = at.Add(2 * time.Minute)
	if err := r.store.Revoke(t.Context(), s.id); err != nil {
		t.Fatal(err)
	}
	if got := push(s.id, key); got != http.StatusUnauthorized {
		t.Errorf("revoked: %d", got)
	}
	if rows, err := r.store.Rows(t.Context(), s.id); err != nil || rows["fact"] != 0 {
		t.Errorf("rows: %v, %v", rows, err)
	}
}

func joinRaw(t testing.TB, r *running, site string) (key string, status int, err error) {
	t.Helper()
	code, err := Owner{r.store}.Add(t.Context(), "Room")
	if err != nil {
		return "", 0, err
	}
	resp := ask(t, "POST", r.url+"/v1/join", "",
		wire.JoinAsk{Code: code, Site: site, Life: uuid.Nil.String()})
	var taken wire.JoinTaken
	err = json.NewDecoder(resp.Body).Decode(&taken)
	return taken.Token, resp.StatusCode, err
}

func ask(t testing.TB, method, url, key string, body any) *http.Response {
	t.Helper()
	text, is := body.([]byte)
	if !is {
		text, _ = json.Marshal(body)
	}
	req, err := http.NewRequest(method, url, bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/json")
	if key != "" {
		req.Header.Set("Authorization", "Bearer "+key)
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { resp.Body.Close() })
	return resp
}

// percentiles tells the middle and the slowest hundredth of what was timed, in ms.
func percentiles(b *testing.B, took []time.Duration) {
	b.Helper()
	slices.Sort(took)
	at := func(q float64) float64 { return took[int(q*float64(len(took)-1))].Seconds() * 1000 }
	b.ReportMetric(at(0.5), "p50-ms")
	b.ReportMetric(at(0.99), "p99-ms")
}

// newID is one that no other has.
func newID() string { return uuid.Must(uuid.NewV7()).String() }

// free is an address that nobody listens on now.
func free(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}
