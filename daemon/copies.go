package daemon

import (
	"context"
	"fmt"
	"path/filepath"
	"time"

	"lidwright/api/usecase"
	"lidwright/config"
	"lidwright/daemon/store"
)

// copies are those of a store, for who asks over HTTP. One that is being made is given up when stopping is
// closed; nil: never.
type copies struct {
	store    *store.Store
	stopping <-chan struct{}
}

// Make makes a copy now; false where the newest has everything. A stop of the daemon ends it.
func (c copies) Make(ctx context.Context) (bool, error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	go func() {
		select {
		case <-c.stopping:
			stop()
		case <-ctx.Done():
		}
	}()
	return c.store.Copy(ctx)
}

// List are the copies that are there, in both places.
func (c copies) List() ([]usecase.CopyKept, error) {
	kept, err := c.store.Copies()
	return keptOf(kept), err
}

// WithForgotten are the copies that still have the mark of a forgotten maker, and files that were moved
// aside and may have it, by their names alone.
func (c copies) WithForgotten(ctx context.Context) ([]usecase.CopyKept, []string, error) {
	kept, aside, err := c.store.WithForgotten(ctx)
	for i := range aside {
		aside[i] = filepath.Base(aside[i])
	}
	return keptOf(kept), aside, err
}

// Renew takes the marks of forgotten makers out of the copies, and gives how many had one.
func (c copies) Renew(ctx context.Context) (int, error) { return c.store.RenewCopies(ctx) }

// RenewCopies takes the marks of forgotten makers out of the copies of the store of the settings, while no
// daemon runs.
func RenewCopies(ctx context.Context, cfg config.Config, version string) (n int, err error) {
	s, err := opened(ctx, cfg, version)
	if err != nil {
		return 0, err
	}
	defer s.Close()
	return s.RenewCopies(ctx)
}

func keptOf(kept []store.CopyKept) []usecase.CopyKept {
	all := make([]usecase.CopyKept, len(kept))
	for i, k := range kept {
		all[i] = usecase.CopyKept{Name: filepath.Base(k.Path), Folder: filepath.Dir(k.Path), At: k.At,
			Bytes: k.Bytes, Second: k.Second}
	}
	return all
}

// Running reports whether a daemon has the store of the settings open.
func Running(cfg config.Config) bool { return store.InUse(cfg.Store.Folder) }

// MakeCopy copies the store of the settings while no daemon runs, and lists what copies there are.
// made is false where the newest has everything.
func MakeCopy(ctx context.Context, cfg config.Config, version string) (made bool,
	all []usecase.CopyKept, err error) {
	s, err := opened(ctx, cfg, version)
	if err != nil {
		return false, nil, err
	}
	defer s.Close()
	made, err = s.Copy(ctx)
	if err == nil {
		all, err = copies{store: s}.List()
	}
	return made, all, err
}

// opened opens the store of the settings while no daemon runs.
func opened(ctx context.Context, cfg config.Config, version string) (*store.Store, error) {
	clock, err := NewClock()
	if err != nil {
		return nil, err
	}
	s, err := store.Settings{Now: clock.Now, Copies: cfg.Copy.Keep, Second: cfg.Copy.Target,
		Version: version}.Open(ctx, cfg.Store.Folder)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrCannotStart, err)
	}
	return s, nil
}

// openedBeside opens it also while a daemon runs.
func openedBeside(ctx context.Context, cfg config.Config, version string) (*store.Store, error) {
	if !Running(cfg) {
		return opened(ctx, cfg, version)
	}
	clock, err := NewClock()
	if err != nil {
		return nil, err
	}
	return store.Beside(ctx, cfg.Store.Folder, cfg.Copy.Target, cfg.Copy.Keep, clock.Now)
}

// RestoreCopy puts a copy, or the newest good one of a folder, in the place of the store of the
// settings. What was there is moved aside and kept. No daemon may run.
func RestoreCopy(ctx context.Context, cfg config.Config, from string) (copied string,
	aside []string, err error) {
	if err := makeFolder(cfg.Store.Folder); err != nil {
		return "", nil, err
	}
	return store.Restore(ctx, cfg.Store.Folder, from, time.Now())
}

// ListCopies lists the copies of the store of the settings, newest first. It opens no store.
func ListCopies(_ context.Context, cfg config.Config) ([]usecase.CopyKept, error) {
	kept, err := store.CopiesOf(cfg.Store.Folder, cfg.Copy.Target)
	return keptOf(kept), err
}
