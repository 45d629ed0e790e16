package daemon

import (
	"context"
	"maps"
	"net/http"
	"slices"
	"time"

	"lidwright/api/auth"
	"lidwright/config"
	"lidwright/daemon/store"
	"lidwright/kiln"
)

// fitPatience is how long a question to a file waits for the rates, which nobody has fitted before.
const fitPatience = 25 * time.Second

// ReadStore gives the answers to every question that the store of the settings alone can answer, as
// the daemon would give them at the moment that now tells; nil: that of the machine. Nothing is written, and
// no line is opened. Close it when done.
func ReadStore(ctx context.Context, cfg config.Config, version string,
	now func() kiln.Stamp) (answers http.Handler, done func(), err error) {
	clock, err := NewClock()
	if err != nil {
		return nil, nil, err
	}
	st, err := store.Read(ctx, cfg.Store.Folder)
	if err != nil {
		return nil, nil, err
	}
	named := len(cfg.Kilns)
	if cfg.Kilns, err = kilnsOf(ctx, st, cfg.Kilns); err != nil {
		st.Close()
		return nil, nil, err
	}
	d, err := newDaemon(cfg, version, clock, auth.Access{ReadingOpen: true})
	if err == nil {
		d.server.FromRecord = map[kiln.KilnID]bool{}
		for _, k := range cfg.Kilns[named:] {
			d.server.FromRecord[k.ID] = true
		}
		err = d.build(ctx, st)
	}
	if err != nil {
		st.Close()
		return nil, nil, err
	}
	if now != nil {
		d.Now = now
	}
	d.recorder.Now = d.Now
	d.shrink.patience = fitPatience
	handler, err := d.handler()
	if err != nil {
		st.Close()
		return nil, nil, err
	}
	fitting, stop := context.WithCancel(ctx)
	ended := make(chan struct{})
	go func() { defer close(ended); d.shrink.run(fitting) }()
	return handler, func() { stop(); <-ended; st.Close() }, nil
}

// kilnsOf are the kilns of the settings, and those that only the store knows: it may be that of
// another machine. Such a one has no line, and its control probe is the first that has heat work.
func kilnsOf(ctx context.Context, st *store.Store, known []config.Kiln) ([]config.Kiln, error) {
	firings, err := st.Firings(ctx, kiln.FiringFilter{})
	if err != nil {
		return nil, err
	}
	out := slices.Clone(known)
	for _, f := range firings {
		var control kiln.ChannelID
		for _, c := range slices.Sorted(maps.Keys(f.HeatWork)) {
			if c != kiln.ByHandChannel && control == "" {
				control = c
			}
		}
		if control == "" || slices.ContainsFunc(out, func(k config.Kiln) bool { return k.ID == f.Kiln }) {
			continue
		}
		k := config.DefaultKiln()
		k.ID, k.Control, k.Channels = f.Kiln, control, []config.Channel{{ID: control, Role: kiln.RoleProbe}}
		out = append(out, k)
	}
	return out, nil
}

// HasStore reports whether the settings name a folder with a store in it.
func HasStore(cfg config.Config) bool { return cfg.Store.Folder != "" && store.In(cfg.Store.Folder) }
