package collector

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"lidwright/api/collectorpages"
	"lidwright/daemon/store"
)

// ReadStore answers questions to a record in a folder, as the program beside a kiln answers them; done lets
// the folder go. Nothing is written.
type ReadStore func(ctx context.Context, folder string) (answers http.Handler, done func(), err error)

const (
	mostMirrors = 4               // records that are open at once; the one not asked longest goes first
	mirrorFor   = 5 * time.Second // that what is shown may be behind what arrived
)

// mirrors are records of studios, made again of what they sent in a folder that is no one's but this
// program's, and read by the same code as on their own machines. They can be thrown away at any time.
type mirrors struct {
	db      collectorpages.Kept
	site    func(ctx context.Context, id string) (collectorpages.Site, error)
	read    ReadStore
	version string
	now     func() time.Time

	mu     sync.Mutex // guards the fields below
	folder string     // "" until the first is made
	open   map[string]*mirror
}

// mirror is one of them.
type mirror struct {
	mu      sync.RWMutex // held for reading while a question is answered
	folder  string
	site    collectorpages.Site // as it was when the record was made
	looked  time.Time
	used    time.Time // guarded by that of the mirrors
	answers http.Handler
	done    func()
}

// of gives what answers for a studio, brought up to what arrived; release lets it go.
func (m *mirrors) of(ctx context.Context, id string) (answers http.Handler, release func(), err error) {
	one, err := m.pick(id)
	if err != nil {
		return nil, nil, err
	}
	one.mu.RLock()
	if one.answers != nil && m.now().Sub(one.looked) < mirrorFor {
		return one.answers, one.mu.RUnlock, nil
	}
	one.mu.RUnlock()
	one.mu.Lock()
	err = m.refresh(ctx, id, one)
	one.mu.Unlock()
	if err != nil {
		return nil, nil, err
	}
	one.mu.RLock()
	if one.answers == nil { // it was closed meanwhile
		one.mu.RUnlock()
		return nil, nil, collectorpages.ErrBusy
	}
	return one.answers, one.mu.RUnlock, nil
}

// pick finds the mirror of a studio, and makes room for a new one.
func (m *mirrors) pick(id string) (*mirror, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.folder == "" {
		folder, err := os.MkdirTemp("", "lidwright-collect")
		if err != nil {
			return nil, fmt.Errorf("make a place for records that are looked at: %w", err)
		}
		m.folder, m.open = folder, map[string]*mirror{}
	}
	one := m.open[id]
	if one == nil {
		for len(m.open) >= mostMirrors {
			var all []string
			for other := range m.open {
				all = append(all, other)
			}
			oldest := slices.MinFunc(all, func(a, b string) int {
				return m.open[a].used.Compare(m.open[b].used)
			})
			m.open[oldest].close()
			delete(m.open, oldest)
		}
		one = &mirror{folder: filepath.Join(m.folder, id)}
		m.open[id] = one
	}
	one.used = m.now()
	return one, nil
}

// refresh brings a mirror up to what arrived, unless it is so far.
func (m *mirrors) refresh(ctx context.Context, id string, one *mirror) error {
	if one.answers != nil && m.now().Sub(one.looked) < mirrorFor {
		return nil // somebody else did meanwhile
	}
	site, err := m.site(ctx, id)
	if err != nil {
		return err
	}
	if one.answers != nil && one.site.Life == site.Life && one.site.Have == site.Have {
		one.looked = m.now()
		return nil
	}
	one.shut()
	err = m.replay(ctx, one.folder, site)
	if errors.Is(err, store.ErrAnew) {
		os.RemoveAll(one.folder)
		err = m.replay(ctx, one.folder, site)
	}
	if err != nil {
		os.RemoveAll(one.folder) // and from the beginning the next time
		return err
	}
	if one.answers, one.done, err = m.read(context.WithoutCancel(ctx), one.folder); err != nil {
		one.answers = nil
		return err
	}
	one.site, one.looked = site, m.now()
	return nil
}

func (m *mirrors) replay(ctx context.Context, folder string, site collectorpages.Site) error {
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	s, err := store.Settings{Version: m.version}.Open(ctx, folder)
	if err != nil {
		return err
	}
	sent, err := sentOf(ctx, m.db, site)
	if err == nil {
		_, err = store.Replay(ctx, s, sent)
	}
	return cmp.Or(err, s.Close())
}

// shut ends the answers of a mirror, whose lock is held.
func (one *mirror) shut() {
	if one.answers != nil {
		one.done()
		one.answers, one.done = nil, nil
	}
}

func (one *mirror) close() {
	one.mu.Lock()
	defer one.mu.Unlock()
	one.shut()
	os.RemoveAll(one.folder)
}

// close throws all of them away.
func (m *mirrors) close() {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, one := range m.open {
		one.close()
	}
	if m.folder != "" {
		os.RemoveAll(m.folder)
	}
	m.open = map[string]*mirror{}
}
