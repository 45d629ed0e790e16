package store

import (
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/record"
)

// A firing whose record was stopped and taken up again lies in the store as one that was never stopped, what
// was heard meanwhile included; settled, it is as it ended. Each call may be made twice.
func TestStoppedFiring(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	m := firingOf(t, glaze, 0.1, 4)
	m.length = 2*time.Hour + 10*time.Minute
	all := m.samples("big-blue", beginning(1), 0, m.length)
	stop := 2 * time.Hour
	for _, id := range []kiln.FiringID{"undone", "settled"} {
		f := m.whole(id, kiln.KilnID(id+"-kiln"), beginning(1))
		heard := m.samples(f.Kiln, f.Began, 0, m.length)
		f.Over, f.Length = after(f.Began, stop-time.Second), stop-time.Second
		must[int](t)(s.BeginFiring(ctx, running(f), nil))
		put := func(from, to time.Duration) {
			for age := from; age < to; age += 5 * time.Second {
				if err := s.AppendCurve(ctx, id,
					heard[int(age/time.Second):int((age+5*time.Second)/time.Second)]); err != nil {
					t.Fatal(err)
				}
			}
		}
		put(0, stop)
		was := running(f)
		was.Number = 1
		said := record.Stopped{Firing: was, At: after(f.Began, stop), Instead: "other", Load: "load"}
		for range 2 {
			if err := s.StopFiring(ctx, f, said); err != nil {
				t.Fatal(err)
			}
		}
		put(stop, m.length)
		if n := len(must[[]kiln.Sample](t)(s.Samples(ctx, id))); n != int(stop/time.Second) {
			t.Errorf("%s: %d samples until it was stopped, want %v", id, n, stop)
		}
		left := must[[]record.Unfinished](t)(s.Unfinished(ctx))
		at := len(left) - 1
		if u := left[at]; u.Stopped == nil || u.Stopped.At != said.At || u.Stopped.Instead != "other" ||
			u.Stopped.Load != "load" || u.Firing.ID != id || u.Stopped.Firing.Number != 1 ||
			u.Stopped.Firing.Kind != f.Kind || u.Stopped.Firing.Status != kiln.Running {
			t.Errorf("%s: what is left open reads %+v, %+v", id, u.Firing, u.Stopped)
		}
		for range 2 {
			if id == "undone" {
				if err := s.ReopenFiring(ctx, was); err != nil {
					t.Fatal(err)
				}
			} else if err := s.SettleFiring(ctx, id); err != nil {
				t.Fatal(err)
			}
		}
	}
	left := must[[]record.Unfinished](t)(s.Unfinished(ctx))
	if len(left) != 1 || left[0].Stopped != nil || left[0].Firing.ID != "undone" ||
		len(left[0].Samples) != len(all) || !left[0].Firing.Over.Wall.IsZero() {
		t.Fatalf("left open: %+v", left)
	}
	if n := count(t, s, `SELECT count(*) FROM run JOIN firing ON firing.row = run.firing WHERE id = 'settled'`) + count(t, s, `SELECT count(*) FROM stopped`); n > 0 {
		t.Errorf("%d rows are left of what was settled", n)
	}
	if n := count(t, s, `SELECT count(*) FROM change WHERE kind = 'firing' AND op = 'correct' AND id = 'undone'`); n != 1 {
		t.Errorf("%d changes tell that it was taken back, want 1", n)
	}
	f := m.whole("undone", "undone-kiln", beginning(1))
	if err := s.EndFiring(ctx, f); err != nil {
		t.Fatal(err)
	}
	if n := len(must[[]kiln.Sample](t)(s.Samples(ctx, "undone"))); n != len(all) {
		t.Errorf("%d samples of the whole firing, want %d", n, len(all))
	}
	if n := count(t, s, `SELECT count(*) FROM run`) + 10*count(t, s, `SELECT count(*) FROM curve`) +
		100*count(t, s, `SELECT count(*) FROM envelope`); n != 220 {
		t.Errorf("%d: not every firing lies in one row", n)
	}
}
