package store

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/tiles"
)

// fullSite is a store with rows in every table that is carried. word makes its ids; its names are
// the same for every word.
func fullSite(t testing.TB, word byte) (folder string) {
	t.Helper()
	ctx, folder := context.Background(), t.TempDir()
	s := must[*Store](t)(Open(ctx, folder))
	defer s.Close()
	must[string](t)(s.SiteID(ctx, uuid(word, 1)))
	m := firingOf(t, glaze, 0.1, uint64(word))
	f := m.whole(kiln.FiringID(uuid(word, 2)), "big-blue", beginning(1))
	samples := m.samples(f.Kiln, f.Began, 0, 90*time.Minute)
	samples[77].Raw, samples[77].Values[0].Fault = "=cmd|' /C calc'!A0", kiln.Break
	play(t, s, f, samples, 600)
	open := m.whole(kiln.FiringID(uuid(word, 3)), "little-red", beginning(1))
	must[int](t)(s.BeginFiring(ctx, running(open), samples[:40]))

	odd := "  =1+2, \"quoted\",\r\nsecond line\n'third"
	c := tern
	c.Name = "-12 %" + odd
	must[tiles.PutResult](t)(s.PutClay(ctx, c, usecase.Precondition{}, when))
	must[tiles.PutResult](t)(s.PutBatch(ctx, batchB(), usecase.Precondition{}, when))
	child := batchB()
	child.BatchRef.Batch, child.Kind, child.Parents, child.Shares =
		"R", "reclaim", []tiles.BatchRef{batchB().BatchRef}, []tiles.Ratio{1}
	must[tiles.PutResult](t)(s.PutBatch(ctx, child, usecase.Precondition{}, when))
	for i, code := range []tiles.Code{"BQ7", "BQ4"} {
		b := bar(code, 100*int(word)+i)
		b.ID, b.Note = uuid(word, 10+i), odd
		must[tiles.PutResult](t)(s.PutBar(ctx, b, usecase.Precondition{}, when))
	}
	for i, stage := range []tiles.Stage{tiles.Wet, tiles.Dry, tiles.Fired} {
		r := reading(i, "BQ7", stage, fmt.Sprint(100-3.1*float64(i)))
		r.ID = uuid(word, 20+i)
		must[tiles.PutResult](t)(s.PutReading(ctx, r, when))
	}
	at := later(time.Minute)
	for _, err := range []error{s.StrikeReading(ctx, "BQ7", uuid(word, 20), "KT", "@wrong mark", at),
		s.ConfirmReading(ctx, "BQ7", uuid(word, 21), "KT", "", at)} {
		if err != nil {
			t.Fatal(err)
		}
	}
	load := tiles.Load{ID: uuid(word, 30), Kiln: "big-blue", Kind: kiln.Glaze, Atmosphere: kiln.Oxidation,
		PackedBy: "KT", Bars: []tiles.Placed{{Bar: "BQ7", Shelf: "top"}}}
	must[tiles.PutResult](t)(s.PutLoad(ctx, load, usecase.Precondition{}, when))
	if err := s.AttachLoad(ctx, load.ID, f.ID, at); err != nil {
		t.Fatal(err)
	}
	p := potCard(1)
	p.ID = uuid(word, 40)
	must[tiles.PutResult](t)(s.PutPot(ctx, p, usecase.Precondition{}, when))
	v := lidBoard(1)
	v.ID, v.Load, v.Pots = uuid(word, 50), load.ID, []string{p.ID}
	must[tiles.PutResult](t)(s.PutLidResult(ctx, v, when))
	must[tiles.PutResult](t)(s.PutCone(ctx,
		tiles.ConeSeen{ID: uuid(word, 60), Firing: f.ID, Cone: "6",
			Series: string(heatwork.SeriesSelfSupporting), Shelf: "top", Seen: "down", By: "KT"}, when))
	must[tiles.PutResult](t)(s.PutNote(ctx, tiles.Note{ID: uuid(word, 70), Firing: f.ID, Text: odd, By: "KT"},
		when))
	must[tiles.PutResult](t)(s.PutTick(ctx,
		tiles.Tick{ID: uuid(word, 80), Subject: load.ID, Item: "caution-36", Done: true}, when))
	must[tiles.PutResult](t)(s.PutProbe(ctx,
		tiles.ProbeLife{ID: uuid(word, 90), Kiln: "big-blue", Channel: "1", Type: "K", Class: 2,
			Fitted: "2026-01-01"}, usecase.Precondition{}, when))
	must[tiles.PutResult](t)(s.PutKeepShut(ctx,
		tiles.KeepShut{ID: uuid(word, 95), Kiln: "big-blue", Mark: 95, Reason: "thin ware"}, when))
	must[tiles.PutResult](t)(s.PutKiln(ctx,
		tiles.AddedKiln{ID: kiln.KilnID(fmt.Sprintf("old-gas-%d", word)), Fuel: "gas"},
		usecase.Precondition{}, when))
	must[tiles.RecordedKiln](t)(s.RenameKiln(ctx, kiln.KilnID(fmt.Sprintf("old-gas-%d", word)),
		kiln.KilnID(fmt.Sprintf("gas-%d", word)), when))
	must[tiles.PutResult](t)(s.PutUsual(ctx,
		tiles.UsualSaid{ID: uuid(word, 96), Kiln: "big-blue", Kind: kiln.Glaze, Atmosphere: kiln.Oxidation,
			What: tiles.UsualPinned, HeatWork: 1222}, when))
	if err := (Outbox{s}).SaveClayBodies(ctx,
		[]wire.KeptBody{{Clay: string(tern.ID), Body: wire.CatalogueBody{ID: uuid(word, 97),
			Name: odd, Cone: "6", MaturesC: 1222}, Told: &wire.PoolAnswer{Model: "1", MaturesC: 1222,
			Studios: 41, Made: day, Prior: []byte{1, 2}}}}); err != nil {
		t.Fatal(err)
	}
	for _, table := range carryTables {
		var n int
		if err := s.read.QueryRow(`SELECT count(*) FROM ` + table).Scan(&n); err != nil || n == 0 {
			t.Fatalf("the site for the test has no %s: %v", table, err)
		}
	}
	return folder
}

// everything is each row of each carried table as text.
func everything(t *testing.T, s *Store) map[string][]string {
	t.Helper()
	all := map[string][]string{}
	for _, table := range carryTables {
		columns := must[[]carryColumn](t)(carryColumns(t.Context(), s.read, "main", table))
		err := eachRow(t.Context(), s.read, table, columns, func(v []any) error {
			all[table] = append(all[table], fmt.Sprintf("%#v", slices.Clone(v)))
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return all
}

func freeCode(used map[tiles.Code]bool) (tiles.Code, error) {
	for _, c := range []tiles.Code{"AA3", "AA4", "AA7", "AAB"} {
		if !used[c] {
			return c, nil
		}
	}
	return "", errors.New("none is free")
}

// saved is a carry file of the site in folder.
func saved(t *testing.T, folder string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "site.zip")
	must[CarryManifest](t)(SaveCarry(t.Context(), folder, path, "test", day))
	return path
}

// TestCarryNamesEveryTable: a table that comes is carried, or it is said why not.
func TestCarryNamesEveryTable(t *testing.T) {
	s := openStore(t)
	rows := must2(s.read.QueryContext(t.Context(),
		`SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite%'`))
	var name string
	have := must[[]string](t)(collect(rows, "tables", func(n *string) error { return rows.Scan(n) }))
	for _, name = range have {
		if slices.Contains(carryTables, name) == slices.Contains(carryLeft, name) {
			t.Errorf("table %s: is it carried, or does it stay at home?", name)
		}
	}
	if len(have) != len(carryTables)+len(carryLeft) {
		t.Errorf("%d tables, %d carried and %d left", len(have), len(carryTables), len(carryLeft))
	}
}

func must2[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// TestCarryWhole: a site taken in by an empty store is that site, to the last bit; so is what that
// one saves again. Taken in once more nothing comes, and as CSV anything else reads it too.
func TestCarryWhole(t *testing.T) {
	home := fullSite(t, 1)
	path := saved(t, home)
	ctx := t.Context()
	s := openStore(t)
	must[string](t)(s.SiteID(ctx, uuid(9, 9)))
	c, err := s.TakeCarry(ctx, path, nil, true, freeCode)
	if err != nil || !c.Whole || c.New["reading"] != 3 || c.New["firing"] != 2 {
		t.Fatalf("asked what it would bring: %+v, %v", c, err)
	}
	if n := must[int64](t)(s.LastChange(ctx)); n != 0 {
		t.Fatalf("only asked, and it came: %d changes", n)
	}
	must[Carried](t)(s.TakeCarry(ctx, path, nil, false, freeCode))
	old := must[*Store](t)(Open(ctx, home))
	defer old.Close()
	want, got := everything(t, old), everything(t, s)
	for _, table := range carryTables {
		if len(want[table]) == 0 || !slices.Equal(want[table], got[table]) {
			t.Errorf("table %s:\n%v\n%v", table, want[table], got[table])
		}
	}
	for _, f := range must[[]kiln.Firing](t)(old.Firings(ctx, kiln.FiringFilter{})) {
		a, b := must[[]kiln.Sample](t)(old.Samples(ctx, f.ID)), must[[]kiln.Sample](t)(s.Samples(ctx, f.ID))
		if fmt.Sprint(a) != fmt.Sprint(b) || len(a) == 0 {
			t.Errorf("the curve of %s is another: %d and %d samples", f.ID, len(a), len(b))
		}
	}
	c = must[Carried](t)(s.TakeCarry(ctx, path, nil, false, freeCode))
	if len(c.New) != 0 || c.Whole {
		t.Errorf("the second time came %v", c.New)
	}
	z := must[*zip.ReadCloser](t)(zip.OpenReader(path))
	defer z.Close()
	for _, table := range carryTables {
		r := must[io.ReadCloser](t)(z.Open(table + ".csv"))
		if rows, err := csv.NewReader(r).ReadAll(); err != nil || len(rows) != len(want[table])+1 {
			t.Errorf("%s.csv: %d rows, %v", table, len(rows), err)
		}
		r.Close()
	}
}

// TestCarryFollows: what a site said after its carry file was taken in comes with the next; where
// both went on, it is refused.
func TestCarryFollows(t *testing.T) {
	home := fullSite(t, 1)
	ctx := t.Context()
	s := openStore(t)
	must[Carried](t)(s.TakeCarry(ctx, saved(t, home), nil, false, freeCode))
	old := must[*Store](t)(Open(ctx, home))
	r := reading(0, "BQ4", tiles.Wet, "100")
	r.ID = uuid(1, 29)
	must[tiles.PutResult](t)(old.PutReading(ctx, r, when))
	old.Close()
	c := must[Carried](t)(s.TakeCarry(ctx, saved(t, home), nil, false, freeCode))
	if c.New["reading"] != 1 || c.New["change"] != 1 || len(c.Renamed) != 0 {
		t.Errorf("what came after: %v %v", c.New, c.Renamed)
	}
	old = must[*Store](t)(Open(ctx, home))
	must[tiles.PutResult](t)(old.PutClay(ctx, tiles.Clay{ID: "dunlin", Name: "there"},
		usecase.Precondition{}, when))
	old.Close()
	must[tiles.PutResult](t)(s.PutClay(ctx, tiles.Clay{ID: "dunlin", Name: "here"},
		usecase.Precondition{}, when))
	before := everything(t, s)
	if _, err := s.TakeCarry(ctx, saved(t, home), nil, false, freeCode); !errors.Is(err, ErrApart) {
		t.Errorf("both went on: %v", err)
	}
	for table, rows := range everything(t, s) {
		if !slices.Equal(rows, before[table]) {
			t.Errorf("table %s changed", table)
		}
	}
}

// TestCarryOfAnotherSite: names that are taken get new ones, everywhere they stand, and are told;
// nothing of ours changes; a second time nothing comes.
func TestCarryOfAnotherSite(t *testing.T) {
	ctx := t.Context()
	s := must[*Store](t)(Open(ctx, fullSite(t, 1)))
	defer s.Close()
	path := saved(t, fullSite(t, 2))
	before := everything(t, s)
	c := must[Carried](t)(s.TakeCarry(ctx, path, nil, false, freeCode))
	want := []Renamed{{"clay", "tern", "tern-2"}, {"kiln", "big-blue", "big-blue-2"},
		{"bar", "BQ4", "AA3"}, {"bar", "BQ7", "AA4"}}
	if !slices.Equal(c.Renamed, want) || c.Left != 1 || c.New["reading"] != 3 ||
		c.New["firing"] != 1 || c.New["site"] != 0 {
		t.Errorf("renamed %v, left %d, new %v", c.Renamed, c.Left, c.New)
	}
	after := everything(t, s)
	for _, table := range carryTables {
		for _, row := range before[table] {
			if !slices.Contains(after[table], row) {
				t.Errorf("table %s: a row of ours changed: %s", table, row)
			}
		}
	}
	bars := must[[]tiles.KeptBar](t)(s.Bars(ctx, tiles.BarFilter{Clay: "tern-2"}, oneProbe))
	if len(bars) != 2 || len(bars[1].Readings) != 3 || bars[1].Readings[0].Struck == nil ||
		len(bars[1].Firings) != 1 {
		t.Errorf("bars of the other site: %+v", bars)
	}
	f := must[kiln.Firing](t)(s.Firing(ctx, kiln.FiringID(uuid(2, 2))))
	if f.Kiln != "big-blue-2" || len(must[[]kiln.Sample](t)(s.Samples(ctx, f.ID))) != 5400 {
		t.Errorf("firing of the other site: %+v", f)
	}
	for _, ch := range must[[]tiles.Change](t)(s.Changes(ctx, int64(len(before["change"])), 500)) {
		if strings.Contains(string(ch.Body), `"tern"`) || strings.Contains(string(ch.Body), "tern/") ||
			strings.Contains(string(ch.Body), "BQ7") || strings.Contains(string(ch.Body), `"big-blue"`) ||
			ch.ID == "tern" || ch.ID == "BQ7" {
			t.Errorf("an old name in the record: %s %s %s", ch.Kind, ch.ID, ch.Body)
		}
	}
	// Whoever sends a bar of it again is told that it is known.
	b := bars[1].Bar
	if k := must[tiles.PutResult](t)(s.PutBar(ctx, b, usecase.Precondition{}, when)); k.New {
		t.Error("the same bar said again counts as new")
	}
	again := must[Carried](t)(s.TakeCarry(ctx, path, nil, false, freeCode))
	if len(again.New) != 0 {
		t.Errorf("the second time came %v", again.New)
	}
	// One kiln with two loggers, and one clay: they keep their names, and count on.
	s = must[*Store](t)(Open(ctx, fullSite(t, 3)))
	defer s.Close()
	c = must[Carried](t)(s.TakeCarry(ctx, path, []string{"kiln big-blue", "clay tern"}, false, freeCode))
	if f := must[kiln.Firing](t)(s.Firing(ctx, kiln.FiringID(uuid(2, 2)))); f.Kiln != "big-blue" ||
		f.Number != 2 || len(c.Renamed) != 2 {
		t.Errorf("firing %s %d, renamed %v", f.Kiln, f.Number, c.Renamed)
	}
}

// TestCarryRefused: what is cut short, changed, or something else is refused in words, and nothing
// of it is kept.
func TestCarryRefused(t *testing.T) {
	ctx := t.Context()
	whole := must[[]byte](t)(os.ReadFile(saved(t, fullSite(t, 1))))
	s := openStore(t)
	folder := t.TempDir()
	refused := func(what string, data []byte, want error) {
		t.Helper()
		path := filepath.Join(folder, "x.zip")
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := s.TakeCarry(ctx, path, nil, false, freeCode); !errors.Is(err, want) {
			t.Errorf("%s: %v", what, err)
		}
		if n := must[int64](t)(s.LastChange(ctx)); n != 0 {
			t.Fatalf("%s: some of it was kept", what)
		}
		if left, _ := filepath.Glob(filepath.Join(s.folder, carryTemp+"*")); len(left) > 0 {
			t.Errorf("%s: %v is left over", what, left)
		}
	}
	rng := rand.New(rand.NewPCG(3, 8))
	for range rounds(12, 300) {
		refused("cut short", whole[:rng.IntN(len(whole))], ErrCarry)
		other := bytes.Clone(whole)
		at := rng.IntN(len(other))
		other[at] ^= 1 << rng.IntN(8)
		path := filepath.Join(folder, "y.zip")
		os.WriteFile(path, other, 0o600)
		// A bit may lie where a zip keeps what nobody reads, such as a date; then it is whole.
		if _, err := s.TakeCarry(ctx, path, nil, true, freeCode); err != nil && !errors.Is(err, ErrCarry) &&
			!errors.Is(err, ErrNewer) {
			t.Errorf("bit at %d: %v", at, err)
		}
	}
	refused("a text", []byte("holiday pictures"), ErrCarry)
	var foreign bytes.Buffer
	z := zip.NewWriter(&foreign)
	w := must2(z.Create("manifest.json"))
	io.WriteString(w, `{"name":"something else"}`)
	z.Close()
	refused("a zip of something else", foreign.Bytes(), ErrCarry)
	foreign.Reset()
	z = zip.NewWriter(&foreign)
	w = must2(z.Create("manifest.json"))
	io.WriteString(w, `{"lidwright_carry":1,"schema":99,"version":"v9","files":[]}`)
	z.Close()
	refused("one of a newer program", foreign.Bytes(), ErrNewer)
}

// TestCSV: what is written reads back, and a reader that follows RFC 4180 reads the same.
func TestCSV(t *testing.T) {
	for _, text := range []string{"", " ", "=1+2", "+", "-3", "@x", "\t", "'", "''x", "a,b", `"`, "a\r\nb",
		"\r", "\n", "ä½", "plain"} {
		if unguard(guardText(text)) != text {
			t.Errorf("%q comes back as %q", text, unguard(guardText(text)))
		}
		if strings.ContainsRune("=+-@\t", []rune(guardText(text) + "x")[0]) {
			t.Errorf("%q is a formula still", text)
		}
	}
}

// TestCarryOfWhatOthersTold: what other studios told of a clay comes with a whole site, and the yes to
// telling them of it counts no more. Into another record it does not come, and that is told; one of the same
// site keeps what it has.
func TestCarryOfWhatOthersTold(t *testing.T) {
	ctx, home := t.Context(), fullSite(t, 1)
	old := must[*Store](t)(Open(ctx, home))
	_, life, err := Outbox{old}.Site(ctx)
	if err != nil {
		t.Fatal(err)
	}
	kept := must[[]wire.KeptBody](t)(Outbox{old}.ClayBodies(ctx))
	kept[0].YesLife, kept[0].Sent = life, "what was sent"
	if err := (Outbox{old}).SaveClayBodies(ctx, kept); err != nil {
		t.Fatal(err)
	}
	old.Close()
	path := saved(t, home)
	fresh := openStore(t)
	must[Carried](t)(fresh.TakeCarry(ctx, path, nil, false, freeCode))
	got := must[[]wire.KeptBody](t)(Outbox{fresh}.ClayBodies(ctx))
	_, now, err := Outbox{fresh}.Site(ctx)
	if err != nil || len(got) != 1 || got[0].Told == nil || got[0].Told.Studios != 41 ||
		!got[0].Told.Made.Equal(day) {
		t.Fatalf("on the new machine: %+v, %v", got, err)
	}
	if got[0].YesLife == "" || got[0].YesLife == now || got[0].Sent != "what was sent" {
		t.Errorf("the yes is of %q, the record of %q; sent was %q", got[0].YesLife, now, got[0].Sent)
	}
	got[0].Told.Studios = 43
	if err := (Outbox{fresh}).SaveClayBodies(ctx, got); err != nil {
		t.Fatal(err)
	}
	c := must[Carried](t)(fresh.TakeCarry(ctx, path, nil, false, freeCode))
	if again := must[[]wire.KeptBody](t)(Outbox{fresh}.ClayBodies(ctx)); c.Others != 0 || len(again) != 1 ||
		again[0].Told.Studios != 43 {
		t.Errorf("taken in once more: %d left, %+v", c.Others, again)
	}
	other := must[*Store](t)(Open(ctx, fullSite(t, 2)))
	defer other.Close()
	c = must[Carried](t)(other.TakeCarry(ctx, path, nil, false, freeCode))
	if its := must[[]wire.KeptBody](t)(Outbox{other}.ClayBodies(ctx)); c.Others != 1 || len(its) != 1 ||
		its[0].Body.ID != uuid(2, 97) {
		t.Errorf("into another record: %d left, %+v", c.Others, its)
	}
}
