// Package daemon is the wiring, written out by hand once: it builds store, lines, recorder,
// fit and server in the order in which they need one another, and Run takes them down again.
//
// In flow the settings; out flows a running program: samples of the lines into the recorder and the store,
// the fit of shrink rates (fitjob.go) and the heat work of firings (heatjob.go) in the background, care of
// the store (maintenance.go), what is worth telling (notifier.go). Each goroutine stands in one errgroup and
// ends with its context.
//
// It holds no rule of the trade.
package daemon

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"os"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	notify "github.com/coreos/go-systemd/v22/daemon"
	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"
	"golang.org/x/sys/unix"

	"lidwright/api"
	"lidwright/api/auth"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/config"
	"lidwright/daemon/mqtt"
	"lidwright/daemon/notice"
	"lidwright/daemon/outbox"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/kiln/analysis"
	"lidwright/kiln/detect"
	"lidwright/kiln/faults"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/record"
	"lidwright/kiln/source"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// ErrCannotStart wraps what keeps the daemon from starting until someone acts.
var ErrCannotStart = errors.New("cannot start")

var _ record.Log = (*store.Store)(nil)

// Daemon is everything that runs. New fills the exported fields with the real ones; a test
// swaps them before Run.
type Daemon struct {
	Now   func() kiln.Stamp
	NewID func() string // of a new fact
	// how long an entry's answer waits for the fit; 0: 150 ms
	Settle time.Duration
	Dice   func() *rand.Rand                          // a new source of chance, for codes that nobody chose
	Tick   func(ctx context.Context) <-chan time.Time // once a second
	Minute func(ctx context.Context) <-chan time.Time // once a minute, for copies and what becomes old
	Listen func(address string) (net.Listener, error)
	Ready  func(address string) // told once, when the page answers

	cfg      config.Config
	store    *store.Store
	recorder *record.Recorder
	lines    []*source.Source
	samples  chan kiln.Sample
	over     *endings
	stopping chan struct{} // closed when Run begins to end
	statfs   func(path string, disk *unix.Statfs_t) error
	learning sync.Mutex // held while a kiln's past is read and told, so that none overtakes a newer one
	copying  lastCopy
	shrink   *fitJob
	notifier *notifier
	heat     *heatJob
	outbox   *outbox.Outbox
	mqtt     *mqtt.Publisher // nil where the settings name no broker
	server   *api.Server
	handler  func() (http.Handler, error) // its routes, built once
	ready    atomic.Bool
	turned   atomic.Int64 // turns of the recording loop when the watcher of our silence was last called
}

// New opens the store and builds everything that hangs on it. Errors that wrap
// ErrCannotStart mean that someone must act first.
func New(ctx context.Context, cfg config.Config, version string) (*Daemon, error) {
	clock, err := NewClock()
	if err != nil {
		return nil, err
	}
	who, err := access(cfg)
	if err != nil {
		return nil, err
	}
	if err := makeFolder(cfg.Store.Folder); err != nil {
		return nil, err
	}
	d, err := newDaemon(cfg, version, clock, who)
	if err != nil {
		return nil, err
	}
	st, err := store.Settings{Now: func() kiln.Stamp { return d.Now() }, Copies: cfg.Copy.Keep,
		Second: cfg.Copy.Target, Version: version}.Open(ctx, cfg.Store.Folder)
	if err != nil {
		if errors.Is(err, store.ErrFolder) || errors.Is(err, store.ErrInUse) ||
			errors.Is(err, store.ErrNewer) || errors.Is(err, store.ErrUpgrade) {
			return nil, fmt.Errorf("%w: %w", ErrCannotStart, err)
		}
		return nil, err
	}
	if _, err = st.SiteID(ctx, cmp.Or(cfg.Site.ID, newID())); err != nil {
		st.Close()
		return nil, err
	}
	err = renameKilns(ctx, st, cfg, func() kiln.Stamp { return d.Now() })
	if err == nil {
		err = d.build(ctx, st)
	}
	if err != nil {
		st.Close()
		return nil, err
	}
	return d, nil
}

// newDaemon makes what needs no store, and begins to build the routes: while the store is opened they
// are done.
func newDaemon(cfg config.Config, version string, clock *Clock, who auth.Access) (*Daemon, error) {
	zone, err := time.Local, error(nil)
	if cfg.Site.Zone != "" {
		if zone, err = time.LoadLocation(cfg.Site.Zone); err != nil {
			return nil, fmt.Errorf("%w: site.zone: %w", ErrCannotStart, err)
		}
	}
	d := &Daemon{Now: clock.Now, NewID: newID, Dice: newDice, Tick: every(time.Second),
		Minute: every(time.Minute),
		Listen: func(a string) (net.Listener, error) { return net.Listen("tcp", a) },
		Ready:  func(string) {}, cfg: cfg, samples: make(chan kiln.Sample, 256), over: newEndings(),
		stopping: make(chan struct{}), statfs: unix.Statfs}
	d.server = &api.Server{Studio: &usecase.Studio{
		Site: usecase.Site{Name: cfg.Site.Name, Zone: zone, Units: cfg.Units.Length,
			Fahrenheit: cfg.Units.Temperature == "f", Language: cfg.Site.Language, Clock: cfg.Site.Clock,
			ConeSeries: cfg.Heat.ConeSeries, Atmosphere: kiln.Atmosphere(cfg.Site.Atmosphere),
			MainKiln: kiln.KilnID(cfg.Site.MainKiln), MarkLength: tiles.Millimetre(cfg.Bars.MarkLengthMM),
			Hosts: hostsOf(cfg), PublicURL: cfg.Listen.URL, Origins: cfg.Reading.Origins, Version: version},
		LidDefaults: Lids(cfg), Codes: tiles.Alphabet(cfg.Bars.Alphabet), Wired: wiredOf(cfg),
		Now: func() kiln.Stamp { return d.Now() }, NewID: func() string { return d.NewID() },
		Settle: func() time.Duration { return d.Settle },
		Dice:   func() *rand.Rand { return d.Dice() }, Lines: d.heard, Store: d.health, Ready: d.isReady,
		Revision: func() uint64 { return d.store.Written() + d.shrink.revision.Load() },
		Noted:    func() uint64 { return d.store.Noted() + d.shrink.revision.Load() },
	}, Access: who}
	d.handler = sync.OnceValues(d.server.Handler)
	go d.handler()
	return d, nil
}

// build puts everything else around an open store.
func (d *Daemon) build(ctx context.Context, st *store.Store) (err error) {
	cfg, zone := d.cfg, d.server.Site.Zone
	d.store = st
	d.recorder = &record.Recorder{Log: d.store, Ladder: heatwork.MainConeScale(),
		Past: map[kiln.KilnID]detect.Past{}, Zones: map[kiln.KilnID]faults.ZonePast{},
		Loads: map[kiln.KilnID][]detect.Load{},
		NewID: d.newFiringID,
		Rules: detect.Rules{StartAbove: kiln.Celsius(cfg.Firing.StartAboveC),
			EndBelow: kiln.Celsius(cfg.Firing.EndBelowC), QuietAfter: cfg.Firing.QuietAfter,
			Atmosphere: kiln.Atmosphere(cfg.Site.Atmosphere)},
		Notify: func(n record.Notice) { d.notifier.receive(n) },
		Ended:  func(f kiln.Firing) { d.over.add(f.Kiln) }, Peaked: func(kiln.Firing) { d.shrink.Touch() }}
	added, err := d.store.AddedKilns(ctx)
	if err != nil {
		return err
	}
	kilns := map[kiln.KilnID]kiln.Kiln{}
	for _, k := range cfg.Kilns {
		kilns[k.ID] = k.Kiln()
		if err := d.watchKiln(ctx, k.Kiln()); err != nil {
			return err
		}
	}
	for _, k := range added {
		if _, ok := kilns[k.ID]; !ok {
			if err := d.watchKiln(ctx, k.Kiln()); err != nil {
				return err
			}
		}
	}
	for _, s := range linesOf(cfg) {
		line, err := source.New(s, func() kiln.Stamp { return d.Now() }, d.samples)
		if err != nil {
			return fmt.Errorf("%w: the line %s: %w", ErrCannotStart, s.Port, err)
		}
		d.lines = append(d.lines, line)
	}
	d.shrink = newFitJob(d.store, d.server.Channel)
	var settings strings.Builder
	cfg.Show(&settings)
	hot := &probeHours{firings: d.store.Firings, live: d.recorder.LiveCurve,
		over: map[kiln.FiringID]map[kiln.ChannelID]time.Duration{},
		minutes: func(ctx context.Context, id kiln.FiringID) ([]kiln.Envelope, error) {
			e, _, err := d.store.Envelopes(ctx, id, nil, time.Minute, 0)
			return e, err
		}}
	if d.notifier, err = newNotifier(d.store, cfg, zone, d.server.Now, d.server.NewID); err != nil {
		return err
	}
	d.turned.Store(-1)
	d.heat = newHeatJob(d.store, cfg, zone, d.relearn)
	d.server.Site.ID, d.server.Settings, d.server.Kiln, d.server.Hot = cfg.Site.ID, settings.String(),
		kilns, hot.of
	d.server.Kilns().TakeAdded(added)
	d.server.Learn = d.relearn
	d.server.Archive, d.server.Copies, d.server.Recorder, d.server.Shrink, d.server.Heat,
		d.server.Notices = usecase.StorageOf(d.store), copies{d.store, d.stopping}, d.recorder, d.shrink,
		d.heat, d.notifier
	d.shrink.assumed = d.server.Clays().Assumed
	d.outbox = outbox.New(store.Outbox{Store: d.store}, cfg.Store.Folder, d.server.Site.Version,
		func() kiln.Stamp { return d.Now() }, d.server.LiveKilns, store.CurveSum)
	if err := d.outbox.ReadBodies(ctx); err != nil {
		slog.Warn("what other studios tell is not used", "err", err)
	}
	d.outbox.Summarise, d.outbox.PoolsChanged, d.outbox.ShrinkModels =
		d.summarise, func() { d.shrink.Touch() }, shrinkage.PoolModels()
	d.shrink.pools = d.pooled
	d.server.Collector = d.outbox
	d.notifier.studio, d.notifier.keeps = d.server.Clays().StudioNews, d.keeps
	return d.publish(ctx)
}

// access is who may do what by the settings. It refuses any address but this machine's own
// while no codes are set, and files that cannot be used.
func access(cfg config.Config) (auth.Access, error) {
	host, _, err := net.SplitHostPort(cfg.Listen.Address)
	if err != nil {
		return auth.Access{}, fmt.Errorf("%w: listen.address %q: %v", ErrCannotStart, cfg.Listen.Address, err)
	}
	a := auth.Access{ReadingOpen: cfg.Reading.Open, WritesASecond: writesASecond}
	bench, owner := cfg.Codes.BenchFile, cfg.Codes.OwnerFile
	ip := net.ParseIP(host)
	switch alone := host == "localhost" || ip != nil && ip.IsLoopback(); {
	case alone && bench == "" && owner == "" && cfg.Reading.Open:
		return a, nil
	case bench == "" || owner == "":
		return a, fmt.Errorf("%w: listen.address %s lets others write into the record, or reading.open is false, and there are no access codes; set codes.bench_file and codes.owner_file and make both with: lidwright code new bench, lidwright code new owner. Or listen on 127.0.0.1 alone with reading open", ErrCannotStart, cfg.Listen.Address)
	}
	files := &codeFiles{bench: codeFile{path: bench}, owner: codeFile{path: owner}}
	if _, _, err := files.codes(); err != nil {
		return a, fmt.Errorf("%w: %w; make both codes with: lidwright code new bench, lidwright code new owner",
			ErrCannotStart, err)
	}
	a.Codes = files.codes
	return a, nil
}

const (
	writesASecond = 20                     // from one address
	servingGC     = 50                     // per cent: a small machine has more time than memory
	lineCloses    = 500 * time.Millisecond // a port that is stuck in a write is not waited for longer
)

// secured puts TLS around a listener where the settings name a pair of files.
func secured(l net.Listener, cfg config.Config) (net.Listener, error) {
	if cfg.Listen.TLSCert == "" {
		return l, nil
	}
	pair, err := tls.LoadX509KeyPair(cfg.Listen.TLSCert, cfg.Listen.TLSKey)
	if err != nil {
		return nil, fmt.Errorf("%w: listen.tls_cert and listen.tls_key: %v", ErrCannotStart, err)
	}
	return tls.NewListener(l, &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12,
		NextProtos: []string{"http/1.1"}}), nil
}

// makeFolder makes the last folder of the path where its parent is there.
func makeFolder(folder string) error {
	if folder == "" {
		return fmt.Errorf("%w: store.folder is not set and the environment names none", ErrCannotStart)
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return fmt.Errorf("%w: make the store folder: %v", ErrCannotStart, err)
	}
	return nil
}

func hostsOf(cfg config.Config) []string {
	hosts := slices.Clone(cfg.Listen.Hosts)
	if name, err := os.Hostname(); err == nil {
		hosts = append(hosts, name, name+".local")
	}
	if u, err := url.Parse(cfg.Listen.URL); err == nil && u.Hostname() != "" {
		hosts = append(hosts, u.Hostname())
	}
	return hosts
}

// Lids are the settings of seats and of the maker.
func Lids(cfg config.Config) lid.Defaults {
	d := lid.UsualDefaults()
	for seat, p := range map[lid.Seat]config.Play{lid.Inset: cfg.Seat.Inset,
		lid.Flange: cfg.Seat.Flange, lid.Cap: cfg.Seat.Cap,
		lid.DropIn: cfg.Seat.DropIn, lid.Over: cfg.Seat.Over, lid.Stopper: cfg.Seat.Stopper} {
		if len(p.PlayMM) == 3 {
			d.Windows[seat] = lid.Window{Least: tiles.Millimetre(p.PlayMM[0]),
				Most:       tiles.Millimetre(p.PlayMM[2]),
				LeastRatio: tiles.Ratio(p.LeastPlayRatio), MostRatio: tiles.Ratio(p.MostPlayRatio)}
		}
	}
	d.Bearing, d.GlazeFace = tiles.Millimetre(cfg.Seat.BearingMM), tiles.Millimetre(cfg.Seat.GlazeFaceMM)
	d.Step, d.MeasureSD, d.ThrowSD = tiles.Millimetre(cfg.Lid.StepMM), tiles.Millimetre(cfg.Lid.MeasureSDMM),
		tiles.Millimetre(cfg.Lid.ThrowSDMM)
	return d
}

func newID() string { return uuid.Must(uuid.NewV7()).String() }

// Fitted waits until heat works and rates rest on everything that was said so far, worked out anew in
// the background: from then on the same question has the same answer, whoever was quicker.
func (d *Daemon) Fitted(ctx context.Context) error {
	if err := d.heat.settled(ctx); err != nil {
		return err
	}
	return d.shrink.settled(ctx)
}

func newDice() *rand.Rand { return rand.New(rand.NewPCG(rand.Uint64(), rand.Uint64())) }

// Routes are the patterns of every route that the daemon answers on; none before Run.
func (d *Daemon) Routes() []string { return d.server.Routes() }

func (d *Daemon) newFiringID() kiln.FiringID { return kiln.FiringID(d.NewID()) }

func every(period time.Duration) func(context.Context) <-chan time.Time {
	return func(ctx context.Context) <-chan time.Time {
		t := time.NewTicker(period)
		context.AfterFunc(ctx, t.Stop)
		return t.C
	}
}

// Run records and answers until ctx ends. Neither a port nor a trusted clock is waited for.
//
// Every goroutine is one of the group, or of a part that waits for its own before it returns:
//
//	what runs             owner                what ends it
//	a line each           group of the lines   end of the group's context; one stuck in a write is left after lineCloses
//	recorder              group of the record  stopRecording, once the lines are closed, so that what was heard last
//	                                           is written. It owns the writer, who tells notices, and who reads a
//	                                           firing again after a start, who ends by himself
//	ender                 group                end of its context: first of all it has the record end
//	learner of a kiln     group                its curves are read, or end of the context
//	endings, fit, heat    group                end of the context; a fit looks at it every 48 ms of work
//	server                group                end of the context, a second later at most. It owns the HTTP server, who
//	                                           shuts it down, and who works out metrics; a request owns what it starts
//	watchdog, place,      group                end of the context
//	call that all is well
//	notifier              group                end of the context and of the record, whose last words it keeps; it
//	                                           owns the post, which owns a goroutine a receiver
//	maintenance           group                end of the context; it owns who reads a large file through
//	outbox, MQTT          group                end of the context; the outbox owns who asks for pools
//
// The first of the group that fails ends the others. No lock is held over SQL or a fit: who waits for what
// another works out waits for a channel, and no longer than his context. The passcodes' own is held while
// their two small files are looked at.
func (d *Daemon) Run(ctx context.Context) error {
	defer d.store.Close()
	defer debug.SetGCPercent(debug.SetGCPercent(servingGC))
	recording, stopRecording := context.WithCancel(context.WithoutCancel(ctx))
	defer stopRecording()
	d.recorder.Now, d.recorder.Tick = d.Now, d.Tick(recording)
	handler, err := d.handler()
	if err != nil {
		return fmt.Errorf("build the pages: %w", err)
	}
	l, err := d.Listen(d.cfg.Listen.Address)
	if err != nil {
		return fmt.Errorf("%w: listen on %s: %v", ErrCannotStart, d.cfg.Listen.Address, err)
	}
	limited, err := secured(web.Limit(l, d.cfg.Listen.Connections, d.cfg.Listen.ConnectionsPerAddress), d.cfg)
	if err != nil {
		l.Close()
		return err
	}
	g, gctx := errgroup.WithContext(ctx)
	closed := d.listen(gctx)
	recorded := make(chan struct{})
	var record errgroup.Group // apart: it goes on while the others end
	record.Go(func() error {
		defer close(recorded)
		return d.recorder.Run(recording, d.samples)
	})
	g.Go(func() error { // what was heard is written, whatever the others are about
		<-gctx.Done()
		close(d.stopping)
		select {
		case <-closed:
		case <-time.After(lineCloses):
		}
		stopRecording()
		return nil
	})
	for _, id := range d.server.KilnNames() { // behind the start: curves take a while to read
		g.Go(func() error { d.learn(gctx, id); return nil })
	}
	g.Go(func() error { d.endings(gctx); return nil })
	g.Go(func() error { return d.shrink.run(gctx) })
	g.Go(func() error { return d.heat.run(gctx) })
	g.Go(func() error {
		return d.server.Serve(gctx, handler, limited)
	})
	g.Go(func() error { return d.watch(gctx) })
	g.Go(func() error { return d.notifier.run(gctx, recorded) })
	g.Go(func() error {
		return notice.Call(gctx, d.cfg.Notice.DeadmanURL, d.cfg.Notice.DeadmanEvery, d.isWell)
	})
	g.Go(func() error { return d.maintain(gctx) })
	g.Go(func() error { return d.outbox.Run(gctx) })
	g.Go(func() error { return d.watchPlace(gctx) })
	if d.mqtt != nil {
		g.Go(func() error { return d.mqtt.Run(gctx) })
	}
	d.ready.Store(true)
	d.Ready(l.Addr().String())
	notify.SdNotify(false, notify.SdNotifyReady)
	err = g.Wait()
	notify.SdNotify(false, notify.SdNotifyStopping)
	return errors.Join(err, record.Wait())
}

// listen has every line of the settings listened to until ctx ends; closed tells when all of them are.
func (d *Daemon) listen(ctx context.Context) (closed <-chan struct{}) {
	var lines errgroup.Group
	for _, line := range d.lines {
		lines.Go(func() error { return line.Run(ctx) })
	}
	over := make(chan struct{})
	go func() { defer close(over); lines.Wait() }()
	return over
}

// watch tells the service manager that all is well, only if the recording loop has turned
// since the last time.
func (d *Daemon) watch(ctx context.Context) error {
	every, err := notify.SdWatchdogEnabled(false)
	if err != nil || every == 0 {
		return nil
	}
	t := time.NewTicker(every / 2)
	defer t.Stop()
	last := int64(-1)
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
			if turns := d.recorder.Turns(); turns != last {
				last = turns
				notify.SdNotify(false, notify.SdNotifyWatchdog)
			}
		}
	}
}

// isWell says that the store answers and that the recording loop has turned since it was last asked.
func (d *Daemon) isWell() error {
	if turns := d.recorder.Turns(); d.turned.Swap(turns) == turns {
		return errors.New("the recording loop stands still")
	}
	return d.isReady()
}

func (d *Daemon) isReady() error {
	if !d.ready.Load() {
		return errors.New("starting")
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	var reasons []error
	if err := d.store.Ready(ctx); err != nil {
		reasons = append(reasons, fmt.Errorf("the store does not answer: %w", err))
	}
	if err := d.store.InPlace(ctx); err != nil {
		reasons = append(reasons, err)
	}
	if err := d.keeps(); err != nil {
		reasons = append(reasons, fmt.Errorf("nothing can be kept: %w", err))
	}
	return errors.Join(reasons...)
}

// leastRoom is what a transaction may need of the disk, its log and its pages, bytes.
const leastRoom = 256 << 10

// keeps says why nothing can be written down; nil where it can.
func (d *Daemon) keeps() error {
	if t, ok := d.recorder.Trouble(); ok {
		return t.Why
	}
	var disk unix.Statfs_t
	if err := d.statfs(d.cfg.Store.Folder, &disk); err != nil {
		return fmt.Errorf("the folder of the store does not answer: %w", err)
	}
	switch {
	case disk.Flags&unix.ST_RDONLY != 0:
		return record.ErrReadOnly
	case disk.Blocks > 0 && disk.Bavail*uint64(disk.Bsize) < leastRoom:
		return record.ErrFull
	}
	return nil
}

// witnessed is what the cones tell of the probes of a kiln; nothing where they cannot be read.
func (d *Daemon) witnessed(ctx context.Context, id kiln.KilnID) heatwork.Witnessed {
	stories, err := d.heat.Stories(ctx, id)
	if err != nil && ctx.Err() == nil {
		slog.Warn("a firing that goes on is not corrected by the cones", "kiln", id, "err", err)
	}
	return heatwork.WitnessedOf(stories)
}

// holds takes in what the curves of the last firings, at most eight, say of the holds that are usual, and of
// how quickly the kiln cools.
func (d *Daemon) holds(ctx context.Context, k kiln.Kiln, p *detect.Past) {
	firings, err := d.store.Firings(ctx, kiln.FiringFilter{Kiln: k.ID, Status: kiln.Ended, Limit: 8})
	if err != nil {
		return
	}
	for _, f := range firings {
		if curve, err := d.store.Curve(ctx, f.ID, []kiln.ChannelID{k.Control}, k.GapAfter()); err == nil {
			p.Hold(f, analysis.FeaturesOf(curve, k.Control).Holds)
		}
		if lines, _, err := d.store.Envelopes(ctx, f.ID, []kiln.ChannelID{k.Control}, time.Minute,
			0); err == nil && len(lines) > 0 {
			p.Fell(analysis.FallsOf(lines[0]))
		}
	}
}

// zones is what the last eight firings of a kiln tell of how its probes read beside one another;
// the last four weigh most. A kiln with one probe has no zones.
func (d *Daemon) zones(ctx context.Context, k kiln.Kiln) (faults.ZonePast, error) {
	probes := 0
	for _, c := range k.Channels {
		if c.Role == kiln.RoleProbe {
			probes++
		}
	}
	if probes < 2 {
		return nil, nil
	}
	firings, err := d.store.Firings(ctx, kiln.FiringFilter{Kiln: k.ID, Status: kiln.Ended, Limit: 8})
	if err != nil {
		return nil, err
	}
	var all [][]kiln.Envelope
	for _, f := range slices.Backward(firings) {
		minutes, _, err := d.store.Envelopes(ctx, f.ID, nil, time.Minute, 0)
		if err != nil {
			return nil, err
		}
		all = append(all, minutes)
	}
	return faults.ZonesOf(k, all...), nil
}

func (d *Daemon) past(ctx context.Context, k kiln.KilnID, control kiln.ChannelID) (detect.Past, error) {
	firings, err := d.store.Firings(ctx, kiln.FiringFilter{Kiln: k, Status: kiln.Ended, Limit: 200})
	if err != nil {
		return detect.Past{}, err
	}
	said, err := d.store.Usuals(ctx, k)
	return detect.PastOf(firings, control, usecase.UsualSaid(said)...), err
}

// keepShutAtMost brings what a store from before has a kiln kept shut above down to the most that can be
// set, and says so, once: it is kept as a fact of its own, at the next start if the disk takes nothing.
func (d *Daemon) keepShutAtMost(ctx context.Context, m tiles.KeepShut) tiles.KeepShut {
	slog.Warn("the kiln is kept shut above less than the store had: more cannot be set any more",
		"kiln", m.Kiln, "was_c", float64(m.Mark), "now_c", float64(tiles.KeepShutMost))
	m.Reason = strings.TrimSuffix(fmt.Sprintf("%.0f °C before, more than can be set. %s", m.Mark, m.Reason),
		" ")
	if r := []rune(m.Reason); len(r) > 500 {
		m.Reason = string(r[:500])
	}
	m.ID, m.Mark = newID(), tiles.KeepShutMost
	if _, err := d.store.PutKeepShut(ctx, m, d.Now()); err != nil {
		slog.Warn("what the kiln is kept shut above is not written down", "kiln", m.Kiln, "err", err)
	}
	return m
}
