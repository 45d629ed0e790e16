// Package collector is the wiring of the collector: the database, the answers over HTTP, and how curves are
// read for the pages. Several may run on one database.
//
// In flow the settings and what studios send; out flow records made again of it for the owner's pages
// (carry.go, mirror.go), and to each studio how far it is. What a studio sends twice is kept once.
//
// It keeps nothing by itself: whatever was acknowledged is in PostgreSQL.
package collector

import (
	"context"
	"crypto/tls"
	"encoding/binary"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"runtime/debug"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	notify "github.com/coreos/go-systemd/v22/daemon"

	"lidwright/api/auth"
	"lidwright/api/collectorpages"
	"lidwright/api/wire"
	"lidwright/config"
	"lidwright/daemon/collector/postgres"
	"lidwright/daemon/store/codec"
	"lidwright/kiln"
	"lidwright/tiles/shrinkage"
)

// ErrCannotStart wraps what keeps the collector from starting until someone acts.
var ErrCannotStart = errors.New("cannot start")

var (
	_ collectorpages.Record = (*postgres.Store)(nil)
	_ collectorpages.Shown  = (*postgres.Store)(nil)
	_ collectorpages.Pools  = (*postgres.Store)(nil)
)

// Collector is everything that runs. New fills the exported fields with the real ones.
type Collector struct {
	Now       func() time.Time
	Listen    func(address string) (net.Listener, error)
	Ready     func(address string) // told once, when the pages answer
	PoolEvery time.Duration        // how long what studios say of a body stands at least
	Models    []string             // of shrinkage, by number, that pools are worked out in, the newest first
	// of records that are looked at; nil: a studio's own pages are not to be had
	Read ReadStore

	cfg   config.Collect
	store *postgres.Store
	pages *collectorpages.Server
}

// New opens the database, brings it up to date, and builds what hangs on it.
func New(ctx context.Context, cfg config.Collect, version string) (*Collector, error) {
	zone := time.Local
	if cfg.Zone != "" {
		var err error
		if zone, err = time.LoadLocation(cfg.Zone); err != nil {
			return nil, fmt.Errorf("%w: zone: %w", ErrCannotStart, err)
		}
	}
	c := &Collector{Now: time.Now, Listen: func(a string) (net.Listener,
		error) {
		return net.Listen("tcp", a)
	}, Ready: func(string) {}, PoolEvery: poolEvery, Models: shrinkage.PoolModels(), cfg: cfg}
	c.pages = &collectorpages.Server{Name: cfg.Name, Zone: zone, Tongue: cfg.Language,
		Version: version, Form: wire.PushForm,
		Now: func() time.Time { return c.Now() }, Draw: draw, Summary: codec.ReadSummary}
	if file := cfg.Owner.CodeFile; file != "" {
		if _, err := ownerOf(file); err != nil {
			return nil, fmt.Errorf("%w: owner.code_file: %w; make it with: lidwright-collect code %s",
				ErrCannotStart, err, file)
		}
		c.pages.Owner = func(code string) (bool, string, error) {
			hash, err := ownerOf(file)
			if err != nil {
				return false, "", err
			}
			fits, mark := hash.Fits(code)
			return fits, mark, nil
		}
		c.pages.OwnerMark = func() (string, error) {
			hash, err := ownerOf(file)
			return hash.Mark(), err
		}
	}
	var err error
	if c.store, err = postgres.Open(ctx, cfg.Database.URL, int32(cfg.Database.Connections)); err != nil {
		if errors.Is(err, postgres.ErrNewer) {
			return nil, fmt.Errorf("%w: %w", ErrCannotStart, err)
		}
		return nil, err
	}
	c.pages.Record, c.pages.Shown, c.pages.Pools = c.store, c.store, c.store
	c.pages.CheckSummary, c.pages.Rates, c.pages.Models = checkSummary, rates, c.Models
	return c, nil
}

func ownerOf(file string) (auth.PasscodeHash, error) {
	line, err := os.ReadFile(file)
	if err != nil {
		return auth.PasscodeHash{}, err
	}
	return auth.ParsePasscodeHash(strings.TrimSpace(string(line)))
}

// memory is up to where the runtime lets the heap grow before it looks harder for what nobody needs any
// more: a burst of large bodies is not to stay. GOMEMLIMIT says otherwise.
const memory = 28 << 20

// Run answers until ctx ends.
//
// Every goroutine is one of the group, or of a part that waits for its own before it returns:
//
//	what runs        owner    what ends it
//	server           group    who shuts it; a request owns what it starts
//	who shuts it     group    end of the group's context; what is under way has ten seconds more
//	watchdog         group    end of the context
//	pools            group    end of the context, which the work looks at between studios; of several collectors
//	                          on one database the one that has the lease works them out
//	fit of a record  mirrors  end of the record's use, or of Run: before the store is closed
//
// The first of the group that fails ends the others. Each record that is looked at has a lock of its own,
// which keeps it open while a question is answered, and the others out while it is brought up to what
// arrived.
func (c *Collector) Run(ctx context.Context) error {
	defer c.store.Close()
	if c.Read != nil {
		m := &mirrors{db: c.store, site: c.store.Site, read: c.Read, version: c.pages.Version, now: c.Now}
		defer m.close()
		c.pages.Mirror = m.of
	}
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(memory)
	}
	handler, err := c.pages.Handler()
	if err != nil {
		return fmt.Errorf("build the pages: %w", err)
	}
	l, err := c.Listen(c.cfg.Listen.Address)
	if err != nil {
		return fmt.Errorf("%w: listen on %s: %v", ErrCannotStart, c.cfg.Listen.Address, err)
	}
	address := l.Addr().String()
	if c.cfg.Listen.TLSCert != "" {
		pair, err := tls.LoadX509KeyPair(c.cfg.Listen.TLSCert, c.cfg.Listen.TLSKey)
		if err != nil {
			l.Close()
			return fmt.Errorf("%w: listen.tls_cert and listen.tls_key: %v", ErrCannotStart, err)
		}
		l = tls.NewListener(l, &tls.Config{Certificates: []tls.Certificate{pair},
			MinVersion: tls.VersionTLS12, NextProtos: []string{"http/1.1"}})
	}
	srv := &http.Server{Handler: handler, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: time.Minute,
		WriteTimeout: 90 * time.Second, IdleTimeout: 2 * time.Minute,
		MaxHeaderBytes: 16 << 10, ErrorLog: slog.NewLogLogger(slog.Default().Handler(), slog.LevelDebug)}
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error {
		if err := srv.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			return fmt.Errorf("answer on %s: %w", address, err)
		}
		return nil
	})
	group.Go(func() error { shut(ctx, srv); return nil })
	c.Ready(address)
	notify.SdNotify(false, notify.SdNotifyReady)
	group.Go(func() error { watch(ctx); return nil })
	group.Go(func() error { c.pooling(ctx); return nil })
	return group.Wait()
}

// shut ends the server when ctx ends, and gives what is under way ten seconds.
func shut(ctx context.Context, srv *http.Server) {
	<-ctx.Done()
	notify.SdNotify(false, notify.SdNotifyStopping)
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	if err := srv.Shutdown(last); err != nil {
		srv.Close()
	}
}

// watch tells the service manager that the program turns.
func watch(ctx context.Context) {
	every, err := notify.SdWatchdogEnabled(false)
	if err != nil || every == 0 {
		return
	}
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(every / 2):
			notify.SdNotify(false, notify.SdNotifyWatchdog)
		}
	}
}

// draw reads a curve as it was sent, and gives lowest and highest of at most so many steps a channel.
func draw(k string, data []byte, points int) ([]kiln.Envelope, error) {
	var blocks []*codec.Block
	for len(data) > 0 {
		n, size := binary.Uvarint(data)
		if size <= 0 || n > uint64(len(data)-size) {
			return nil, fmt.Errorf("%w: it is cut short", codec.ErrCoded)
		}
		b, err := codec.DecodeBlock(data[size : size+int(n)])
		if err != nil {
			return nil, err
		}
		blocks, data = append(blocks, b), data[size+int(n):]
	}
	thin := kiln.NewDownsampler(nil, codec.EnvelopeStep)
	for _, b := range blocks {
		b.Thin(thin, len(b.Since))
	}
	lines := thin.Envelopes()
	for i, e := range lines {
		if n := len(e.After); points > 0 && n > points {
			lines[i] = e.Merge((n + points - 1) / points)
		}
	}
	return lines, nil
}
