package collector

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"lidwright/api/collectorpages"
	"lidwright/api/wire"
	"lidwright/daemon/store"
)

// factsAtOnce is how many facts are read from the database in one go.
const factsAtOnce = 2000

// sentOf is the record of a studio as it was sent.
func sentOf(ctx context.Context, db collectorpages.Kept, site collectorpages.Site) (sent store.Sent,
	err error) {
	sent = store.Sent{Site: site.ID, Life: site.Life,
		Facts: func(ctx context.Context, after int64) ([]wire.PushFact, error) {
			return db.Facts(ctx, site.ID, site.Life, after, factsAtOnce)
		},
		Curve: func(ctx context.Context, firing string) ([]byte, error) {
			return db.Curve(ctx, site.ID, site.Life, firing)
		}}
	if sent.Boots, err = db.Boots(ctx, site.ID, site.Life); err != nil {
		return sent, err
	}
	sent.Firings, err = db.Firings(ctx, site.ID, site.Life, 0)
	return sent, err
}

// Carry writes the carry file of a studio out of what it sent: another machine takes it in as if its own card
// had never been lost. Raw lines of the kiln are in none. left names what this version has no place for.
func (o Owner) Carry(ctx context.Context, site, path, version string) (m store.CarryManifest,
	left []string, err error) {
	one, err := o.Site(ctx, site)
	if err != nil {
		return m, nil, err
	}
	folder, err := os.MkdirTemp(filepath.Dir(path), ".carry")
	if err != nil {
		return m, nil, fmt.Errorf("make the record again beside %s: %w", path, err)
	}
	defer os.RemoveAll(folder)
	s, err := store.Settings{Version: version}.Open(ctx, folder)
	if err != nil {
		return m, nil, err
	}
	defer s.Close()
	sent, err := sentOf(ctx, o, one)
	if err != nil {
		return m, nil, err
	}
	r, err := store.Replay(ctx, s, sent)
	if err != nil {
		return m, nil, err
	}
	m, err = store.SaveCarry(ctx, folder, path, version, time.Now())
	return m, r.Left, err
}
