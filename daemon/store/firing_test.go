package store

import (
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/daemon/store/codec"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/record"
	"lidwright/tiles"
)

func count(t testing.TB, s *Store, query string) (n int) {
	t.Helper()
	if err := s.read.QueryRow(query).Scan(&n); err != nil {
		t.Fatal(query, err)
	}
	return n
}

// TestFiringIsKept records two kilns at once in batches of five seconds, and holds that all that
// was heard is there, in the same order, before the end and after it.
func TestFiringIsKept(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	m := firingOf(t, glaze, 0.1, 1)
	m.length = 2*time.Hour + 7*time.Minute
	blue, red := m.whole("blue", "big-blue", beginning(1)), m.whole("red", "little-red",
		after(beginning(1), time.Minute))
	preroll := m.samples("big-blue", blue.Began, 0, 5*time.Minute)
	if n := must[int](t)(s.BeginFiring(ctx, running(blue), preroll)); n != 1 {
		t.Errorf("the first firing of a kiln has number %d", n)
	}
	if n := must[int](t)(s.BeginFiring(ctx, running(blue), preroll)); n != 1 {
		t.Errorf("said again it has number %d", n)
	}
	must[int](t)(s.BeginFiring(ctx, running(red), nil))
	heard := map[kiln.FiringID][]kiln.Sample{"blue": preroll}
	noted, written := s.Noted(), s.Written()
	for age := 5 * time.Minute; age < m.length; age += 5 * time.Second {
		for _, f := range []kiln.Firing{blue, red} {
			batch := m.samples(f.Kiln, f.Began, age, min(age+5*time.Second, m.length))
			heard[f.ID] = append(heard[f.ID], batch...)
			for range 1 + int(age/time.Second)%2 { // every other one is said again: its answer was lost
				if err := s.AppendCurve(ctx, f.ID, batch); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	if s.Noted() != noted || s.Written() == written {
		t.Errorf("readings count as noted (%d more) or not as written (%d more)",
			s.Noted()-noted, s.Written()-written)
	}
	if n := count(t, s, `SELECT count(*) FROM run WHERE sealed`); n != 4 {
		t.Errorf("%d hours of two kilns are sealed, want 4", n)
	}
	if n := count(t, s, `SELECT sum(rows) FROM run WHERE NOT sealed`); n >= 2*sealAfter {
		t.Errorf("%d samples are not sealed", n)
	}
	check := func(when string) {
		t.Helper()
		for id, want := range heard {
			got := must[[]kiln.Sample](t)(s.Samples(ctx, id))
			if !same(want, got) || !slices.EqualFunc(want, got,
				func(a, b kiln.Sample) bool { return a.At.Wall.Equal(b.At.Wall) }) {
				t.Errorf("%s: %d samples of %s came back as %d others", when, len(want), id, len(got))
			}
		}
	}
	check("under way")
	left := must[[]record.Unfinished](t)(s.Unfinished(ctx))
	if len(left) != 2 || !same(left[0].Samples, heard[left[0].Firing.ID]) || left[0].Firing.Number != 1 {
		t.Errorf("left open: %d firings", len(left))
	}
	for range 2 {
		for _, f := range []kiln.Firing{blue, red} {
			if err := s.EndFiring(ctx, f); err != nil {
				t.Fatal(err)
			}
		}
		check("over")
	}
	if n := count(t, s, `SELECT count(*) FROM run`) + 10*count(t, s, `SELECT count(*) FROM curve`); n != 20 {
		t.Errorf("%d: not every firing lies in one row", n)
	}
	got := must[kiln.Firing](t)(s.Firing(ctx, "blue"))
	want := blue
	want.Number = 1
	if fmt.Sprintf("%+v", got) != fmt.Sprintf("%+v", want) {
		t.Errorf("the summary came back as\n%+v\nwant\n%+v", got, want)
	}
	if left := must[[]record.Unfinished](t)(s.Unfinished(ctx)); len(left) != 0 {
		t.Errorf("%d are left open", len(left))
	}
	if n := must[int](t)(s.BeginFiring(ctx, running(m.whole("blue2", "big-blue", beginning(2))),
		nil)); n != 2 {
		t.Errorf("the second firing of a kiln has number %d", n)
	}
}

func TestNoSuchFiring(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	sample := []kiln.Sample{{At: when}}
	_, e1 := s.Firing(ctx, "x")
	_, e2 := s.Samples(ctx, "x")
	_, e3 := s.Curve(ctx, "x", nil, time.Minute)
	_, _, e4 := s.Envelopes(ctx, "x", nil, time.Minute, 0)
	_, e5 := s.Revision(ctx, "x")
	for i, err := range []error{e1, e2, e3, e4, e5, s.AppendCurve(ctx, "x", sample),
		s.EndFiring(ctx, kiln.Firing{ID: "x"}),
		s.SayFiring(ctx, "x", kiln.FiringAnnotation{Note: "n"}, when), s.SetHeatWork(ctx, "x", nil, nil)} {
		if !errors.Is(err, kiln.ErrNoFiring) {
			t.Errorf("call %d: %v", i, err)
		}
	}
}

// TestCurveIsLaid holds that whoever loads a curve cannot tell rows from blocks, and that the
// stored envelope says what the readings say.
func TestCurveIsLaid(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	m := firingOf(t, glaze, 0.1, 3)
	m.length = 3*time.Hour + 20*time.Minute
	f := m.whole("f", "big-blue", beginning(1))
	samples := m.samples("big-blue", f.Began, 0, m.length)
	samples = slices.Delete(samples, 4000, 4500) // unplugged
	for i := 6000; i < len(samples); i++ {       // the machine started anew, 40 s later
		at := &samples[i].At
		at.Boot, at.Since, at.Wall = "another", at.Since-99*time.Hour, at.Wall.Add(40*time.Second)
	}
	samples[100].Values[1].Fault = kiln.Spike
	samples[200].Values = samples[200].Values[:1]
	f.Over = samples[len(samples)-1].At
	f.Gaps = kiln.Resample(samples, []kiln.ChannelID{"1"}, time.Minute).Gaps
	if len(f.Gaps) != 1 || !f.Gaps[0].Known {
		t.Fatalf("gaps %v", f.Gaps)
	}
	all := []kiln.ChannelID{"1", "2", "3"}
	want := kiln.Resample(samples, all, time.Minute)
	check := func(when string) {
		t.Helper()
		got := must[kiln.Curve](t)(s.Curve(ctx, "f", all, time.Minute))
		if fmt.Sprint(got) != fmt.Sprint(want) { // NaN is not equal to itself, but prints the same
			t.Errorf("%s: another curve", when)
		}
		if got := must[kiln.Curve](t)(s.Curve(ctx, "f", nil,
			time.Minute)); fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%s: another curve if no channel is named", when)
		}
		if got := must[kiln.Curve](t)(s.Curve(ctx, "f", all[2:],
			time.Minute)); !reflect.DeepEqual(got.Channels, all[2:]) ||
			fmt.Sprint(got) != fmt.Sprint(kiln.Resample(samples, all[2:], time.Minute)) {
			t.Errorf("%s: another curve of channel 3", when)
		}
		for _, q := range []struct {
			step   time.Duration
			points int
		}{{time.Second, 0}, {90 * time.Second, 0}, {time.Minute, 0},
			{5 * time.Minute, 0}, {0, 50}, {0, 800}} {
			got, gaps, err := s.Envelopes(ctx, "f", all[1:2], q.step, q.points)
			if err != nil || len(got) != 1 {
				t.Fatal(got, err)
			}
			e := want.Thin("2", q.step)
			if q.points > 0 {
				e = want.Thin("2", time.Minute).Points(q.points)
			}
			if !reflect.DeepEqual(got[0], e) {
				t.Errorf("%s: another envelope for %+v", when, q)
			}
			if when == "over" && !reflect.DeepEqual(gaps, f.Gaps) {
				t.Errorf("gaps %v", gaps)
			}
		}
		if got, _, _ := s.Envelopes(ctx, "f", nil, time.Minute, 0); len(got) != 3 {
			t.Errorf("%s: %d envelopes", when, len(got))
		}
	}
	must[int](t)(s.BeginFiring(ctx, running(f), nil))
	for batch := range slices.Chunk(samples, 700) {
		if err := s.AppendCurve(ctx, "f", batch); err != nil {
			t.Fatal(err)
		}
	}
	check("under way")
	if err := s.EndFiring(ctx, f); err != nil {
		t.Fatal(err)
	}
	check("over")
	if _, err := s.writer.Exec(`UPDATE envelope SET data = zeroblob(100)`); err != nil {
		t.Fatal(err)
	}
	check("over") // a damaged envelope is made from the curve
}

// TestOver: samples heard after the end are no part of the firing.
func TestOver(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	m := firingOf(t, glaze, 0.1, 3)
	f := m.whole("f", "big-blue", beginning(1))
	f.Over = after(f.Began, time.Hour)
	f.StandIn = kiln.StandIn{Probe: "2", For: "1", After: 20 * time.Minute}
	play(t, s, f, m.samples("big-blue", f.Began, 0, 2*time.Hour), 1000)
	if back := must[kiln.Firing](t)(s.Firing(ctx, "f")); back.StandIn != f.StandIn {
		t.Errorf("the probe that spoke reads back as %+v", back.StandIn)
	}
	if n := len(must[[]kiln.Sample](t)(s.Samples(ctx, "f"))); n != 3601 {
		t.Errorf("%d samples, want 3601", n)
	}
	if e, _, err := s.Envelopes(ctx, "f", nil, time.Minute, 0); err != nil || len(e[0].After) != 61 {
		t.Errorf("%d minutes, %v", len(e[0].After), err)
	}
}

// TestDamagedStretch: a block that does not read back shows as a gap and is told; the rest is there.
func TestDamagedStretch(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	m := firingOf(t, glaze, 0.1, 3)
	f := m.whole("f", "big-blue", beginning(1))
	must[int](t)(s.BeginFiring(ctx, running(f), nil))
	samples := m.samples("big-blue", f.Began, 0, 4*time.Hour-time.Minute)
	for batch := range slices.Chunk(samples, 60) {
		if err := s.AppendCurve(ctx, "f", batch); err != nil {
			t.Fatal(err)
		}
	}
	// An hour that is sealed, and a minute that is not.
	for _, row := range []string{`(SELECT min(row) FROM run WHERE sealed)`,
		`(SELECT max(row) - 3 FROM run)`} {
		if _, err := s.writer.Exec(`UPDATE run SET data = CAST(substr(data, 1, 60) || x'00' || substr(data, 62) AS BLOB) WHERE row = ` + row); err != nil {
			t.Fatal(err)
		}
	}
	want := len(samples) - 3600 - 60
	if left := must[[]record.Unfinished](t)(s.Unfinished(ctx)); len(left) != 1 ||
		len(left[0].Samples) != want {
		t.Errorf("%d samples are left, want %d", len(left[0].Samples), want)
	}
	if err := s.EndFiring(ctx, f); err != nil {
		t.Fatal(err)
	}
	c := must[kiln.Curve](t)(s.Curve(ctx, "f", nil, time.Minute))
	if len(c.After) != want || len(c.Gaps) != 1 || c.Gaps[0].For != 61*time.Second {
		// the first hour is missing at the start, where it leaves no gap
		t.Errorf("%d rows, want %d; gaps %v", len(c.After), want, c.Gaps)
	}
	if h := must[Health](t)(s.Health()); len(h.Trouble) != 1 || !strings.Contains(h.Trouble[0].String(),
		"2 damaged stretches") {
		t.Errorf("told: %q", h.Trouble)
	}
}

// TestClockComesToBeTrusted: a boot in 1970 is put right as soon as the clock can be trusted, in
// the firing under way and in one that is over; nothing else moves.
func TestClockComesToBeTrusted(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	m := firingOf(t, glaze, 0.1, 3)
	m.length = time.Hour
	wrong := kiln.Stamp{Boot: "new", Since: time.Minute, Wall: time.Unix(60, 0).UTC()}
	over := m.whole("over", "big-blue", wrong)
	play(t, s, over, m.samples("big-blue", wrong, 0, time.Hour), 900)
	open := m.whole("open", "big-blue", after(wrong, 2*time.Hour))
	must[int](t)(s.BeginFiring(ctx, running(open), nil))
	if err := s.AppendCurve(ctx, "open", m.samples("big-blue", open.Began, 0, time.Minute)); err != nil {
		t.Fatal(err)
	}
	before := must[int64](t)(s.Revision(ctx, "over"))
	right := m.samples("big-blue", open.Began, time.Minute, 2*time.Minute)
	for i := range right {
		right[i].At.Wall, right[i].At.Trusted = day.Add(right[i].At.Since), true
	}
	for range 2 {
		if err := s.AppendCurve(ctx, "open", right); err != nil {
			t.Fatal(err)
		}
	}
	for id, since := range map[kiln.FiringID]time.Duration{"over": time.Minute,
		"open": time.Minute + 2*time.Hour} {
		f := must[kiln.Firing](t)(s.Firing(ctx, id))
		if !f.Began.Trusted || !f.Began.Wall.Equal(day.Add(since)) {
			t.Errorf("%s began %v, trusted %v", id, f.Began.Wall, f.Began.Trusted)
		}
		for _, smp := range must[[]kiln.Sample](t)(s.Samples(ctx, id)) {
			if !smp.At.Trusted || !smp.At.Wall.Equal(day.Add(smp.At.Since)) {
				t.Fatalf("%s: a sample of %v stands at %v", id, smp.At.Since, smp.At.Wall)
			}
		}
	}
	if f := must[kiln.Firing](t)(s.Firing(ctx, "over")); !f.Over.Wall.Equal(day.Add(61*time.Minute)) ||
		f.Length != time.Hour {
		t.Errorf("it was over %v after %v", f.Over.Wall, f.Length)
	}
	if now := must[int64](t)(s.Revision(ctx, "over")); now != before+1 {
		t.Errorf("revision %d after %d", now, before)
	}
	// Whoever writes the old stamp again, at its end or at another beginning, does not bring it back.
	open.Over = after(open.Began, 3*time.Minute)
	if err := s.EndFiring(ctx, open); err != nil {
		t.Fatal(err)
	}
	must[int](t)(s.BeginFiring(ctx, running(m.whole("late", "little-red", after(wrong, 3*time.Hour))), nil))
	for id, since := range map[kiln.FiringID]time.Duration{"open": time.Minute + 2*time.Hour,
		"late": time.Minute + 3*time.Hour} {
		if f := must[kiln.Firing](t)(s.Firing(ctx, id)); !f.Began.Trusted ||
			!f.Began.Wall.Equal(day.Add(since)) ||
			id == "open" && (!f.Over.Trusted || !f.Over.Wall.Equal(day.Add(since+3*time.Minute))) {
			t.Errorf("written again: %s from %v to %v", id, f.Began, f.Over)
		}
	}
	if list := must[[]kiln.Firing](t)(s.Firings(ctx,
		kiln.FiringFilter{Before: day.Add(time.Hour)})); len(list) != 1 || list[0].ID != "over" {
		t.Errorf("the list goes by %d firings of the old times", len(list))
	}
}

// TestGapComesToBeKnown: two boots without a trusted clock leave a gap of unknown length in a
// firing that is over; once both are trusted the stored envelope follows the curve.
func TestGapComesToBeKnown(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	m := firingOf(t, glaze, 0.1, 3)
	first := kiln.Stamp{Boot: "first", Since: time.Minute, Wall: day, Trusted: true}
	second := kiln.Stamp{Boot: "second", Since: time.Minute, Wall: day.AddDate(-1, 0, 0)}
	samples := append(m.samples("big-blue", first, 0, time.Hour),
		m.samples("big-blue", second, time.Hour, 2*time.Hour)...)
	f := m.whole("f", "big-blue", first)
	f.Over = samples[len(samples)-1].At
	play(t, s, f, samples, 1000)
	if e, _, err := s.Envelopes(ctx, "f", nil, time.Minute, 0); err != nil || len(e[0].After) != 120 {
		t.Fatalf("%d minutes, %v", len(e[0].After), err)
	}
	// It turns out that the second boot began three hours after the first.
	if err := s.Trust(ctx, kiln.Stamp{Boot: "second", Since: 10 * time.Hour,
		Wall: day.Add(13*time.Hour - time.Minute), Trusted: true}); err != nil {
		t.Fatal(err)
	}
	e, _, err := s.Envelopes(ctx, "f", nil, time.Minute, 0)
	c := must[kiln.Curve](t)(s.Curve(ctx, "f", nil, time.Minute))
	if err != nil || len(e) != 3 || !reflect.DeepEqual(e[0], c.Thin("1", time.Minute)) || len(c.Gaps) != 1 ||
		!c.Gaps[0].Known || c.Gaps[0].For < 2*time.Hour {
		t.Errorf("the envelope does not follow the curve with its gaps %v: %v", c.Gaps, err)
	}
}

// TestFactsAreRighted: what people entered before the clock was trusted is put right with it.
func TestFactsAreRighted(t *testing.T) {
	wrong := kiln.Stamp{Boot: "b", Since: time.Minute, Wall: time.Unix(60, 0).UTC()}
	s := must[*Store](t)(Settings{Now: func() kiln.Stamp { return wrong }}.Open(t.Context(), t.TempDir()))
	defer s.Close()
	must[tiles.PutResult](t)(s.PutClay(t.Context(), tern, usecase.Precondition{}, after(wrong, time.Hour)))
	if err := s.Trust(t.Context(), kiln.Stamp{Boot: "b", Since: 2 * time.Hour, Wall: day.Add(2 * time.Hour),
		Trusted: true}); err != nil {
		t.Fatal(err)
	}
	changes := must[[]tiles.Change](t)(s.Changes(t.Context(), 0, 9))
	if len(changes) != 2 || !changes[0].Trusted || !changes[0].At.Equal(day.Add(time.Hour+time.Minute)) {
		t.Errorf("the clay was entered %+v", changes)
	}
}

func TestSaidOfAFiring(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	m := firingOf(t, glaze, 0.1, 3)
	f := m.whole("f", "big-blue", beginning(1))
	f.Status = kiln.Incomplete
	play(t, s, f, m.samples("big-blue", f.Began, 0, time.Minute), 60)
	for range 2 {
		if err := s.SayFiring(ctx, "f", kiln.FiringAnnotation{Kind: kiln.Bisque}, when); err != nil {
			t.Fatal(err)
		}
	}
	for _, said := range []kiln.FiringAnnotation{{Atmosphere: kiln.Reduction, Note: "a draught"},
		{Status: kiln.Ended, By: "KT"}} {
		if err := s.SayFiring(ctx, "f", said, when); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.EndFiring(ctx, f); err != nil { // said again by the recorder: the person has the last word
		t.Fatal(err)
	}
	got := must[kiln.Firing](t)(s.Firing(ctx, "f"))
	if got.Kind != kiln.Bisque || got.KindFrom != detect.FromFact || got.Atmosphere != kiln.Reduction ||
		got.Note != "a draught" || got.Status != kiln.Ended {
		t.Errorf("kept as %+v", got)
	}
	said := 0
	for _, c := range must[[]tiles.Change](t)(s.Changes(ctx, 0, 99)) {
		if c.Op == "put" {
			said++
		}
	}
	if said != 3 {
		t.Errorf("%d things were said, want 3", said)
	}
	for w, n := range map[kiln.FiringFilter]int{{Status: kiln.Ended}: 1, {Status: kiln.Incomplete}: 0,
		{Kind: kiln.Bisque}: 1, {Kind: kiln.Glaze}: 0, {Kiln: "little-red"}: 0,
		{Atmosphere: kiln.Reduction, Kiln: "big-blue"}: 1} {
		if got := len(must[[]kiln.Firing](t)(s.Firings(ctx, w))); got != n {
			t.Errorf("%+v lets %d pass, want %d", w, got, n)
		}
	}
}

func TestFiringByHand(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	f := firingOf(t, glaze, 0.1, 3).whole("f", "big-blue", beginning(1))
	f.Source, f.Peak = "hand", kiln.NoTemperature()
	f.HeatWork = map[kiln.ChannelID]kiln.HeatWork{"1": {C: 1220, From: kiln.FromSitter}}
	said := map[string]string{"sitter": "6"}
	kept := must[tiles.PutResult](t)(s.PutFiring(ctx, f, nil, said, usecase.Precondition{}, when))
	if again := must[tiles.PutResult](t)(s.PutFiring(ctx, f, nil, said, usecase.Precondition{},
		when)); !kept.New || again.New || again.Revision != kept.Revision {
		t.Errorf("kept as %+v, then %+v", kept, again)
	}
	if got := must[kiln.Firing](t)(s.Firing(ctx, "f")); got.Source != "hand" || got.Number != 1 ||
		got.HeatWork["1"].C != 1220 {
		t.Errorf("kept as %+v", got)
	}
	if c := must[kiln.Curve](t)(s.Curve(ctx, "f", nil, time.Minute)); len(c.After) != 0 {
		t.Errorf("it has a curve of %d rows", len(c.After))
	}
	if e, _, err := s.Envelopes(ctx, "f", nil, 0, 100); err != nil || len(e) != 0 {
		t.Errorf("%d envelopes, %v", len(e), err)
	}
	// Now with a typed curve.
	var typed []kiln.Sample
	for hour := range 5 {
		typed = append(typed, kiln.Sample{Kiln: "big-blue", At: after(f.Began, time.Duration(hour)*time.Hour),
			Values: []kiln.Value{{Channel: "1", T: kiln.Celsius(200 * hour)}}})
	}
	if _, err := s.PutFiring(ctx, f, typed, "other", usecase.Precondition{Revision: 99},
		when); !errors.Is(err, tiles.ErrChanged) {
		t.Errorf("a revision that is not there: %v", err)
	}
	must[tiles.PutResult](t)(s.PutFiring(ctx, f, typed, "other",
		usecase.Precondition{Revision: kept.Revision}, when))
	if c := must[kiln.Curve](t)(s.Curve(ctx, "f", nil, 2*time.Hour)); len(c.After) != 5 || len(c.Gaps) != 0 {
		t.Errorf("typed curve: %+v", c)
	}
	heard := f
	heard.ID, heard.Source, heard.Status = "heard", "serial", kiln.Running
	must[int](t)(s.BeginFiring(ctx, heard, nil))
	heard.Source, heard.Status = "hand", kiln.Ended
	if _, err := s.PutFiring(ctx, heard, nil, "x", usecase.Precondition{}, when); !errors.Is(err,
		tiles.ErrIDUsed) {
		t.Errorf("over one that was heard: %v", err)
	}
	heard.ID, heard.Source = "no", "serial"
	if _, err := s.PutFiring(ctx, heard, nil, "x", usecase.Precondition{}, when); err == nil {
		t.Error("a serial firing came by hand")
	}
}

func TestHeatWorkOfAnotherModel(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	m := firingOf(t, glaze, 0.1, 3)
	for i, model := range []string{"0", kiln.HeatWorkModel, "0"} {
		f := m.whole(kiln.FiringID(fmt.Sprint(i)), "big-blue", beginning(uint64(i)))
		w := f.HeatWork["2"]
		w.Model = model
		f.HeatWork["2"] = w
		play(t, s, f, nil, 1)
	}
	stale := must[[]kiln.FiringID](t)(s.StaleHeatWork(ctx, kiln.HeatWorkModel))
	if !slices.Equal(stale, []kiln.FiringID{"0", "2"}) {
		t.Fatalf("of another model: %v", stale)
	}
	works := map[kiln.ChannelID]kiln.HeatWork{"1": {C: 1223, From: kiln.FromCurve, Model: kiln.HeatWorkModel}}
	corrected := map[kiln.Place]kiln.HeatWork{{Channel: "1"}: {C: 1232, Bias: 9, BiasSD: 2.5,
		From: kiln.FromCurve, Model: kiln.HeatWorkModel},
		{Channel: "1", Shelf: "top"}: {C: 1228, Bias: 5, BiasSD: 3, From: kiln.FromCurve,
			Model: kiln.HeatWorkModel}}
	if err := s.SetHeatWork(ctx, "2", works, corrected); err != nil {
		t.Fatal(err)
	}
	if f := must[kiln.Firing](t)(s.Firing(ctx, "2")); f.HeatWork["1"].C != 1223 || len(f.HeatWork) != 1 ||
		!maps.Equal(f.Corrected, corrected) || f.Peak != 1222.4 {
		t.Errorf("kept as %+v", f)
	}
	if stale := must[[]kiln.FiringID](t)(s.StaleHeatWork(ctx, kiln.HeatWorkModel)); len(stale) != 1 {
		t.Errorf("of another model: %v", stale)
	}
}

// TestRawLines: lines of readings that were not good are kept, bounded, and let go.
func TestRawLines(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	m := firingOf(t, glaze, 0.1, 3)
	f := m.whole("f", "big-blue", beginning(1))
	must[int](t)(s.BeginFiring(ctx, running(f), nil))
	samples := m.samples("big-blue", f.Began, 0, time.Hour)
	for i := range samples {
		samples[i].Raw = strings.Repeat("x", 500) + "\xff"
	}
	samples[0].Raw = "T1=----"
	for batch := range slices.Chunk(samples, 5) {
		if err := s.AppendCurve(ctx, "f", batch); err != nil {
			t.Fatal(err)
		}
	}
	lines := must[[]string](t)(s.RawLines(ctx, "f"))
	size := 0
	for _, l := range lines {
		size += len(l)
	}
	if len(lines) < 100 || size > mostLines || lines[0] != "360000.000\tT1=----" {
		t.Errorf("%d lines, %d bytes, the first %q", len(lines), size, lines[0])
	}
	if n := strings.Count(lines[1], "x"); n != 256 {
		t.Errorf("%d bytes of a long line are kept, want 256", n)
	}
	if err := s.DropRawLines(ctx, f.Began.Wall); err != nil ||
		len(must[[]string](t)(s.RawLines(ctx, "f"))) == 0 {
		t.Errorf("lines went too early: %v", err)
	}
	if err := s.DropRawLines(ctx, f.Began.Wall.AddDate(0, 0, 31)); err != nil ||
		len(must[[]string](t)(s.RawLines(ctx, "f"))) != 0 {
		t.Errorf("lines did not go: %v", err)
	}
}

// TestSealFails: where an hour cannot be sealed the call says so and nothing of it stays half done; said
// again once it can, everything is there once.
func TestSealFails(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	m := firingOf(t, glaze, 0.1, 4)
	m.length = 90 * time.Minute
	f := m.whole("f", "big-blue", beginning(1))
	must[int](t)(s.BeginFiring(ctx, running(f), nil))
	sealing := func(fails bool) {
		t.Helper()
		what := `DROP TRIGGER no_room`
		if fails {
			what = `CREATE TRIGGER no_room BEFORE INSERT ON run WHEN NEW.sealed BEGIN SELECT RAISE(ABORT, 'no room'); END`
		}
		if _, err := s.writer.ExecContext(ctx, what); err != nil {
			t.Fatal(err)
		}
	}
	said := func(call func() error, want []kiln.Sample) {
		t.Helper()
		sealing(true)
		before := must[[]kiln.Sample](t)(s.Samples(ctx, "f"))
		if err := call(); err == nil || !strings.Contains(err.Error(), "no room") {
			t.Errorf("an hour that cannot be sealed: %v", err)
		}
		if now := must[[]kiln.Sample](t)(s.Samples(ctx, "f")); !same(before, now) {
			t.Errorf("%d samples were there, and are %d others", len(before), len(now))
		}
		sealing(false)
		if err := call(); err != nil {
			t.Error(err)
		}
		if now := must[[]kiln.Sample](t)(s.Samples(ctx, "f")); !same(want, now) {
			t.Errorf("said again there are %d samples, want %d", len(now), len(want))
		}
	}
	all := m.samples("big-blue", f.Began, 0, m.length)
	if err := s.AppendCurve(ctx, "f", all[:3000]); err != nil {
		t.Fatal(err)
	}
	said(func() error { return s.AppendCurve(ctx, "f", all[3000:4000]) }, all[:4000])
	if err := s.AppendCurve(ctx, "f", all[4000:]); err != nil {
		t.Fatal(err)
	}
	said(func() error { return s.EndFiring(ctx, f) }, all)
	if got := must[kiln.Firing](t)(s.Firing(ctx, "f")); got.Status != f.Status {
		t.Errorf("the firing is %s", got.Status)
	}
}

// TestSealedSizes holds the curve's bytes at the goals, counted and not timed.
func TestSealedSizes(t *testing.T) {
	for _, c := range []struct {
		step kiln.Celsius
		most float64 // bytes a sample
	}{{0.1, 0.37}, {0.25, 0.23}, {1, 0.14}} {
		m := firingOf(t, glaze, c.step, 1)
		size, n := 0, 0
		for from := time.Duration(0); from < m.length; from += time.Hour {
			block := codec.Encode(m.samples("k", beginning(1), from, min(from+time.Hour, m.length)), true)
			size += len(block)
			n += 3 * int((min(from+time.Hour, m.length)-from)/time.Second)
		}
		t.Logf("in steps of %v °C: %.4f bytes a sample, %.3f of the least", c.step, float64(size)/float64(n),
			float64(size)/float64(n)/m.entropy())
		if got := float64(size) / float64(n); got > c.most || got < m.entropy() {
			t.Errorf("in steps of %v °C: %.4f bytes a sample, want at most %v; at least %.4f are needed",
				c.step, got, c.most, m.entropy())
		}
	}
}
