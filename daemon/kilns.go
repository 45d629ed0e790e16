package daemon

import (
	"context"
	"log/slog"

	"lidwright/api/usecase"
	"lidwright/config"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/tiles"
)

// renameKilns puts what was recorded under the former names of the settings' kilns under those that they
// have now. It goes before everything that reads of kilns: a firing that was open goes on under the new name.
func renameKilns(ctx context.Context, st *store.Store, cfg config.Config, at func() kiln.Stamp) error {
	recorded, err := st.RecordedKilns(ctx)
	if err != nil {
		return err
	}
	added, err := st.AddedKilns(ctx)
	if err != nil {
		return err
	}
	had := map[kiln.KilnID]bool{}
	for _, r := range recorded {
		had[r.ID] = true
	}
	for _, a := range added {
		had[a.ID] = true
	}
	for _, k := range cfg.Kilns {
		for _, was := range k.Was {
			if !had[kiln.KilnID(was)] {
				continue
			}
			moved, err := st.RenameKiln(ctx, kiln.KilnID(was), k.ID, at())
			if err != nil {
				return err
			}
			slog.Info("a kiln has another name", "was", was, "kiln", k.ID, "moved", moved.Words())
		}
	}
	return nil
}

// watchKiln has the recorder know a kiln, with what was set and what was fired so far.
func (d *Daemon) watchKiln(ctx context.Context, k kiln.Kiln) error {
	marks, err := d.store.KeepShuts(ctx, k.ID)
	if err != nil {
		return err
	}
	if len(marks) > 0 && marks[0].Mark > tiles.KeepShutMost {
		marks[0] = d.keepShutAtMost(ctx, marks[0])
	}
	if d.recorder.Zones[k.ID], err = d.zones(ctx, k); err != nil {
		return err
	}
	loads, err := d.store.Loads(ctx, tiles.LoadFilter{Kiln: string(k.ID), In: true})
	if err != nil {
		return err
	}
	d.recorder.Loads[k.ID] = usecase.PackedLoads(loads)
	if d.recorder.Past[k.ID], err = d.past(ctx, k.ID, k.Control); err != nil {
		return err
	}
	if len(marks) > 0 {
		k.KeepShut, k.KeepShutReason = marks[0].Mark, marks[0].Reason
	}
	d.recorder.Kilns = append(d.recorder.Kilns, k)
	return nil
}
