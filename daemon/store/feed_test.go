package store

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
)

// follower keeps what the record of changes told it, and nothing else: it never looks at a table.
type follower struct {
	life  string
	have  int64
	facts []tiles.Change
}

// follow takes what is new, as the feed says it is to be taken.
func (f *follower) follow(t *testing.T, s *Store) (fresh []tiles.Change) {
	t.Helper()
	_, life, err := s.Site(t.Context())
	if err != nil || life == "" {
		t.Fatalf("life %q, %v", life, err)
	}
	if life != f.life {
		*f = follower{life: life}
	}
	for _, c := range must[[]tiles.Change](t)(s.Changes(t.Context(), f.have, 500)) {
		f.have = c.Seq
		f.facts = append(f.facts, c)
		fresh = append(fresh, c)
		switch {
		case c.Op == "forget":
			var gone forgotten
			if err := json.Unmarshal([]byte(c.Body), &gone); err != nil {
				t.Fatal(err)
			}
			for _, b := range gone.Blanked {
				f.blank(t, b)
			}
		case c.Kind == "boot":
			var right bootRighted
			if err := json.Unmarshal([]byte(c.Body), &right); err != nil {
				t.Fatal(err)
			}
			for i := range f.facts {
				if f.facts[i].Boot == c.ID && !f.facts[i].Trusted {
					f.facts[i].At, f.facts[i].Trusted =
						f.facts[i].At.Add(time.Duration(right.ByMS)*time.Millisecond), true
				}
			}
		}
	}
	return fresh
}

func (f *follower) blank(t *testing.T, b blanked) {
	t.Helper()
	for i := range f.facts {
		if f.facts[i].Seq != b.Seq {
			continue
		}
		var body map[string]any
		if err := json.Unmarshal([]byte(f.facts[i].Body), &body); err != nil {
			t.Fatal(err)
		}
		body[b.Member] = ""
		text, _ := json.Marshal(body)
		f.facts[i].Body = string(text)
	}
}

// holds compares what the follower has with what the record says by now.
func (f *follower) holds(t *testing.T, s *Store) {
	t.Helper()
	f.follow(t, s)
	all := must[[]tiles.Change](t)(s.Changes(t.Context(), 0, 500))
	if len(all) != len(f.facts) {
		t.Fatalf("the follower has %d changes of %d", len(f.facts), len(all))
	}
	for i, c := range all {
		got := f.facts[i]
		if !sameSaying([]byte(got.Body), []byte(c.Body)) || !sameSaying([]byte(c.Body), []byte(got.Body)) {
			t.Errorf("change %d: the follower has\n%s\nthe record\n%s", c.Seq, got.Body, c.Body)
		}
		if got.Body = c.Body; got != c {
			t.Errorf("change %d: the follower has\n%+v\nthe record\n%+v", c.Seq, got, c)
		}
	}
}

// TestFollowed follows a record by its changes alone, change by change, while a firing begins before
// the clock is set, ends, has its times put right and its heat work worked out anew, and a maker is
// forgotten: what the follower has is what the record says, and every revision of the firing was told.
func TestFollowed(t *testing.T) {
	ctx := t.Context()
	wrong := kiln.Stamp{Boot: "b", Since: time.Minute, Wall: time.Unix(60, 0).UTC()}
	s := must[*Store](t)(Settings{Now: func() kiln.Stamp { return wrong }}.Open(ctx, t.TempDir()))
	defer s.Close()
	must[string](t)(s.SiteID(ctx, uuid('s', 1)))
	var f follower
	f.follow(t, s)
	m := firingOf(t, glaze, 0.1, 1)
	fired := m.whole(kiln.FiringID(uuid('f', 1)), "big-blue", wrong)
	must[int](t)(s.BeginFiring(ctx, running(fired), nil))
	told := f.follow(t, s)
	if len(told) != 1 || told[0].Kind != "firing" || told[0].Op != "begin" || told[0].ID != uuid('f', 1) ||
		told[0].Boot != "b" || told[0].Trusted {
		t.Fatalf("a firing began, and the feed says %+v", told)
	}
	furnish(t, s, "BQ7")
	r := reading(1, "BQ7", tiles.Fired, "87.60")
	r.By = "QX7Z"
	must[tiles.PutResult](t)(s.PutReading(ctx, r, after(wrong, time.Hour)))
	f.follow(t, s)
	if err := s.EndFiring(ctx, fired); err != nil {
		t.Fatal(err)
	}
	f.follow(t, s)
	if err := s.Trust(ctx, kiln.Stamp{Boot: "b", Since: 2 * time.Hour, Wall: day.Add(2 * time.Hour),
		Trusted: true}); err != nil {
		t.Fatal(err)
	}
	told = f.follow(t, s)
	if !slices.ContainsFunc(told, func(c tiles.Change) bool {
		return c.Kind == "firing" && c.Op == "correct" && strings.Contains(c.Body,
			`"began_at":"2026-01-09T09:01:00Z"`)
	}) {
		t.Errorf("the firing's times were put right, and the feed says %+v", told)
	}
	f.holds(t, s)
	works := map[kiln.ChannelID]kiln.HeatWork{"1": {C: 1219.5, Low: 1215, High: 1224,
		From: kiln.FromCurve, Model: "x"}}
	if err := s.SetHeatWork(ctx, fired.ID, works, nil); err != nil {
		t.Fatal(err)
	}
	if told = f.follow(t, s); len(told) != 1 || !strings.Contains(told[0].Body,
		`"heat_work_c":{"1":1219.5}`) {
		t.Errorf("the heat work is another, and the feed says %+v", told)
	}
	must[int](t)(s.ForgetMaker(ctx, "QX7Z", when))
	f.holds(t, s)
	for _, c := range f.facts {
		if strings.Contains(c.Body, "QX7Z") {
			t.Errorf("the follower still has the mark: %s", c.Body)
		}
	}
	var seen []int64
	for _, c := range f.facts {
		var b firingTold
		if c.Kind == "firing" && json.Unmarshal([]byte(c.Body), &b) == nil {
			seen = append(seen, b.Revision)
		}
	}
	last := must[int64](t)(s.Revision(ctx, fired.ID))
	for rev := int64(1); rev <= last; rev++ {
		if !slices.Contains(seen, rev) {
			t.Errorf("revision %d of %d of the firing was never told: %v", rev, last, seen)
		}
	}
}
