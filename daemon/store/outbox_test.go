package store

import (
	"context"
	"database/sql"
	"testing"
	"time"

	"lidwright/api/wire"
)

// TestOutbox holds what a collector is told of firings, and that a cursor is no news to anybody.
func TestOutbox(t *testing.T) {
	ctx := t.Context()
	s := must[*Store](t)(Open(ctx, fullSite(t, 1)))
	defer s.Close()
	o := Outbox{s}
	const there = "https://collector.example"
	if life, have, err := o.Sent(ctx, there); life != "" || have != 0 || err != nil {
		t.Fatalf("of a collector that has nothing: %q, %d, %v", life, have, err)
	}
	news, written := s.News(), s.Written()
	mark := wire.FiringMark{ID: uuid(1, 2), Revision: 2, Curve: 77}
	if err := o.Save(ctx, there, "a life", 12, true, []wire.FiringMark{mark}, when); err != nil {
		t.Fatal(err)
	}
	select {
	case <-news:
		t.Error("a cursor is told as news")
	default:
	}
	if s.Written() != written {
		t.Error("a cursor makes answers old that were kept")
	}
	life, have, err := o.Sent(ctx, there)
	marks := must[[]wire.FiringMark](t)(o.SentFirings(ctx, there))
	if err != nil || life != "a life" || have != 12 || len(marks) != 1 || marks[0] != mark {
		t.Fatalf("read back: %q, %d, %v, %v", life, have, marks, err)
	}
	if err := o.Save(ctx, there, "a life", 13, true, nil, when); err != nil {
		t.Fatal(err)
	}
	if marks := must[[]wire.FiringMark](t)(o.SentFirings(ctx, there)); len(marks) != 0 {
		t.Errorf("anew, and %v stay", marks)
	}

	f, curve, err := o.SentFiring(ctx, uuid(1, 2))
	if err != nil {
		t.Fatal(err)
	}
	var kept []byte
	if err := s.read.QueryRow(`SELECT data FROM curve`).Scan(&kept); err != nil ||
		string(kept) != string(curve) {
		t.Errorf("the curve is sent as %d bytes and kept as %d: %v", len(curve), len(kept), err)
	}
	if f.Status != "ended" || f.Number != 1 || f.OverAt == nil || len(f.Summary) == 0 {
		t.Errorf("the firing is sent as %+v", f)
	}
	if f, curve, err := o.SentFiring(ctx, uuid(1, 3)); err != nil || f.Status != "running" ||
		f.OverAt != nil || len(curve) == 0 {
		t.Errorf("the firing under way is sent as %+v with %d bytes: %v", f, len(curve), err)
	}
	// One that was logged by hand has no curve, and is sent all the same.
	if err := s.write(ctx, func(tx *sql.Tx) error {
		_, err := tx.Exec(`DELETE FROM curve`)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if f, curve, err := o.SentFiring(ctx, uuid(1, 2)); err != nil || f.Number != 1 || len(curve) != 0 {
		t.Errorf("without a curve it is sent as %+v with %d bytes: %v", f, len(curve), err)
	}
	if _, _, err := o.SentFiring(ctx, uuid(1, 99)); err == nil {
		t.Error("a firing that is not there is sent")
	}
}

// TestFeedTellsAll holds from outside what whoever follows the record needs: recorded firings, clocks put
// right and forgotten makers come as changes with a number of their own, each with its running of the
// machine.
func TestFeedTellsAll(t *testing.T) {
	ctx := context.Background()
	s := must[*Store](t)(Open(ctx, fullSite(t, 1)))
	defer s.Close()
	if _, err := s.ForgetMaker(ctx, "KT", later(time.Hour)); err != nil {
		t.Fatal(err)
	}
	seen, last := map[string]bool{}, int64(0)
	for _, c := range must[[]kindOp](t)(changesOf(ctx, s)) {
		seen[c.what] = true
		if c.boot == "" || c.seq <= last {
			t.Errorf("change %d after %d is of the running %q", c.seq, last, c.boot)
		}
		last = c.seq
	}
	for _, want := range []string{"firing begin", "firing end", "reading forget", "bar forget"} {
		if !seen[want] {
			t.Errorf("the feed has no %s: %v", want, seen)
		}
	}
	if id, life, err := s.Site(ctx); err != nil || id == "" || life == "" {
		t.Errorf("site %q, life %q: %v", id, life, err)
	}
}

type kindOp struct {
	seq        int64
	what, boot string
}

func changesOf(ctx context.Context, s *Store) (out []kindOp, err error) {
	all, err := s.Changes(ctx, 0, 10_000)
	for _, c := range all {
		out = append(out, kindOp{c.Seq, c.Kind + " " + c.Op, c.Boot})
	}
	return out, err
}
