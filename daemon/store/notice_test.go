package store

import (
	"context"
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"lidwright/daemon/notice"
)

func TestNotices(t *testing.T) {
	ctx, s := context.Background(), openStore(t)
	put := func(id, event, state, kiln string, to ...string) {
		t.Helper()
		m := notice.Message{ID: id, Event: event, State: state, Kiln: kiln, At: "2026-02-01T22:10:05+01:00",
			Link: "/kiln/" + kiln, Says: "words " + id}
		body, _ := json.Marshal(m)
		if err := s.PutNotice(ctx, m, body, to); err != nil {
			t.Fatal(err)
		}
	}
	put("a", "kiln.quiet", "began", "big-blue", "phone", "hub")
	put("b", "kiln.quiet", "began", "little-red", "phone")
	put("c", "kiln.quiet", "cleared", "little-red", "phone")
	put("d", "firing.ended", "once", "big-blue")
	at := time.Date(2026, 2, 1, 22, 0, 0, 0, time.UTC)
	for _, err := range []error{s.TriedNotice(ctx, "a", "phone", notice.Sent, "204", at),
		s.TriedNotice(ctx, "a", "hub", notice.Waiting, "500", at), s.TriedNotice(ctx, "b", "phone",
			notice.GaveUp, "no answer", at)} {
		if err != nil {
			t.Fatal(err)
		}
	}
	waiting := must[[]notice.Delivery](t)(s.WaitingNotices(ctx))
	if len(waiting) != 2 || waiting[0].Notice != "a" || waiting[0].Receiver != "hub" ||
		waiting[0].Tries != 1 || waiting[1].Notice != "c" {
		t.Errorf("waiting: %+v", waiting)
	}
	standing := must[[]notice.Message](t)(s.StandingNotices(ctx))
	if len(standing) != 1 || standing[0].ID != "a" || standing[0].Says != "words a" {
		t.Errorf("standing: %+v", standing)
	}
	told := must[[]notice.Told](t)(s.Notices(ctx, 3))
	if len(told) != 3 || told[0].ID != "d" || told[2].ID != "b" || len(told[2].Fates) != 1 ||
		told[2].Fates[0].Outcome != notice.GaveUp {
		t.Errorf("told: %+v", told)
	}
	if !must[bool](t)(s.ToldSince(ctx, "firing.ended", "/kiln/big-blue", at.Add(-24*time.Hour))) ||
		must[bool](t)(s.ToldSince(ctx, "firing.ended", "/kiln/big-blue", at)) {
		t.Error("told at 21:10 UTC, and not after 22:00")
	}
	for i := range mostNotices {
		put(fmt.Sprint(i), "kiln.quiet", "once", "big-blue", "phone")
	}
	if all := must[[]notice.Told](t)(s.Notices(ctx, 5000)); len(all) != mostNotices ||
		all[len(all)-1].ID != "0" {
		t.Errorf("%d are kept", len(all))
	}
	if n := len(must[[]notice.Delivery](t)(s.WaitingNotices(ctx))); n != mostNotices {
		t.Errorf("%d deliveries wait; those of notices that are gone go too", n)
	}
}
