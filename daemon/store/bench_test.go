package store

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

var (
	day  = time.Date(2026, 1, 9, 9, 0, 0, 0, time.UTC)
	when = kiln.Stamp{Boot: "first", Since: time.Minute, Wall: day, Trusted: true}
)

func later(d time.Duration) kiln.Stamp {
	s := when
	s.Since += d
	s.Wall = s.Wall.Add(d)
	return s
}

// uuid makes an id from a word and a number; the tests need no randomness.
func uuid(word byte, n int) string { return fmt.Sprintf("0193a0b0-0000-7000-80%02x-%012x", word, n) }

func openStore(t testing.TB) *Store {
	t.Helper()
	s, err := Open(context.Background(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func must[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

var tern = tiles.Clay{ID: "tern", Name: "Tern stoneware", MaturesCone: "6", Stated: 0.12, Grog: "fine"}

func batchB() tiles.Batch {
	return tiles.Batch{BatchRef: tiles.BatchRef{Clay: "tern", Batch: "B"}, Kind: tiles.Bought,
		Stamp: "2025-11", Arrived: "2026-01-08", Open: true}
}

func bar(code tiles.Code, n int) tiles.Bar {
	return tiles.Bar{Code: code, ID: uuid('b', n), BatchRef: tiles.BatchRef{Clay: "tern", Batch: "B"},
		Forming: tiles.ThrownRing, MarkLength: 100, Marks: 2, MadeOn: "2026-01-09", By: "KT"}
}

func reading(n int, code tiles.Code, stage tiles.Stage, mm string) tiles.Reading {
	l, err := tiles.ParsePiece("length", mm, tiles.MM)
	if err != nil {
		panic(err)
	}
	return tiles.Reading{ID: uuid('r', n), Bar: code, Mark: 1, Stage: stage, Length: l.Millimetre(),
		AsTyped: l.Typed, Unit: string(l.Unit), Instrument: "calliper", Step: 0.01, By: "KT"}
}

// furnish puts a clay, a batch and bars into s.
func furnish(t testing.TB, s *Store, codes ...tiles.Code) {
	t.Helper()
	ctx := context.Background()
	must[tiles.PutResult](t)(s.PutClay(ctx, tern, usecase.Precondition{}, when))
	must[tiles.PutResult](t)(s.PutBatch(ctx, batchB(), usecase.Precondition{}, when))
	for i, code := range codes {
		must[tiles.PutResult](t)(s.PutBar(ctx, bar(code, i+1), usecase.Precondition{}, when))
	}
}

func oneProbe(kiln.KilnID, string) kiln.ChannelID { return "1" }

// manyReadings fills s with n readings of n/4 bars in loads of 20, straight into the tables:
// the lists do not care how they came there.
func manyReadings(b *testing.B, s *Store, n int) {
	b.Helper()
	ctx := context.Background()
	furnish(b, s)
	for _, statement := range []string{
		`CREATE TEMP TABLE n AS WITH RECURSIVE c(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM c WHERE i < ?) SELECT i FROM c`,
		`INSERT INTO change (kind, op, id, at_ms, trusted, boot, body) SELECT 'reading', 'put', printf('r%07d', i), 1768000000000 + i, 1, 'first', '{"by":"KT"}' FROM n`,
		`INSERT INTO bar SELECT printf('b%05d', i), printf('id%05d', i), 'tern', 'B', 'rolled', 100, 1, '', 'KT', 0, '', '', 1 FROM n WHERE i <= ?/4`,
		`INSERT INTO load (id, number, kiln, kind, atmosphere, packed_by, note, opened, unpacked_ms, rev) SELECT printf('l%05d', i), i, 'big-blue', 'glaze', 'oxidation', 'KT', '', 1, 1768000000000, 1 FROM n WHERE i <= ?/80`,
		`INSERT INTO load_bar SELECT printf('l%05d', 1 + (i - 1) / 20), printf('b%05d', i), 'middle', 1, i > 60 FROM n WHERE i <= ?/80*20`,
		`INSERT INTO reading (id, bar, seq, mark, stage, length_mm, as_typed, unit, instrument, step_mm, by, queued_s, unusual, outside, slip, question)
			SELECT printf('r%07d', i), printf('b%05d', 1 + (i - 1) / 4), i + 2, 1, CASE i % 4 WHEN 1 THEN 'wet' WHEN 2 THEN 'dry' WHEN 3 THEN 'bisque' ELSE 'fired' END, 94.35, '94.35', 'mm', 'calliper', 0.01, 'KT', 0, 0, 0, '', '' FROM n WHERE i <= ?`,
	} {
		args := []any{n}
		if statement[:22] == "INSERT INTO change (ki" {
			args = nil
		}
		if _, err := s.writer.ExecContext(ctx, statement, args...); err != nil {
			b.Fatal(statement, err)
		}
	}
	b.ResetTimer()
}

func BenchmarkListBars(b *testing.B) {
	s := openStore(b)
	manyReadings(b, s, 100_000)
	for name, w := range map[string]tiles.BarFilter{
		"all": {Limit: 50}, "clay": {Clay: "tern", Limit: 50}, "last": {After: "b24900", Limit: 50},
		"waiting": {Waiting: true, Limit: 50}, "load": {Load: "l00900"}, "one": {Code: "b12345"},
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				bars, err := s.Bars(context.Background(), w, oneProbe)
				if err != nil || len(bars) == 0 {
					b.Fatal(len(bars), err)
				}
			}
		})
	}
}

func BenchmarkListLoads(b *testing.B) {
	s := openStore(b)
	manyReadings(b, s, 100_000)
	for name, w := range map[string]tiles.LoadFilter{"all": {Limit: 50},
		"waiting": {Waiting: true, Limit: 50}, "kiln": {Kiln: "big-blue", Limit: 50}} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				loads, err := s.Loads(context.Background(), w)
				if err != nil || len(loads) == 0 {
					b.Fatal(len(loads), err)
				}
			}
		})
	}
}

// BenchmarkStudio reads everything that a fit rests on.
func BenchmarkStudio(b *testing.B) {
	s := openStore(b)
	manyReadings(b, s, 100_000)
	for b.Loop() {
		bars, err := s.Bars(context.Background(), tiles.BarFilter{}, oneProbe)
		if err != nil || len(bars) != 25_000 {
			b.Fatal(len(bars), err)
		}
	}
}

func BenchmarkChanges(b *testing.B) {
	s := openStore(b)
	manyReadings(b, s, 100_000)
	for b.Loop() {
		changes, err := s.Changes(context.Background(), 50_000, 500)
		if err != nil || len(changes) != 500 {
			b.Fatal(len(changes), err)
		}
	}
}

// BenchmarkEntry is one reading, from the call to the answer: on the card with FULL sync.
func BenchmarkEntry(b *testing.B) {
	s := openStore(b)
	manyReadings(b, s, 100_000)
	n := 0
	var worst time.Duration
	for b.Loop() {
		n++
		began := time.Now()
		if _, err := s.PutReading(context.Background(), reading(1_000_000+n, "b12345", tiles.Fired, "87.60"),
			later(time.Duration(n)*time.Second)); err != nil {
			b.Fatal(err)
		}
		worst = max(worst, time.Since(began))
	}
	b.ReportMetric(float64(worst.Microseconds())/1000, "worst-ms")
}

func BenchmarkFindPot(b *testing.B) {
	s := openStore(b)
	furnish(b, s)
	rng := rand.New(rand.NewPCG(1, 1))
	forms := []string{"teapot 0.9 l", "casserole", "jar", "butter dish"}
	for i := range 10_000 {
		if _, err := s.writer.Exec(`
			INSERT INTO pot (id, mark, number, form, seat, seat_glazed, together, collar_mm, collar_stage, body_clay, body_batch, made_on, note, words, rev)
			VALUES (?, 'KT', ?, ?, 'inset', 0, '', '[104.5]', 'wet', 'tern', 'B', '2026-01-15', '', ?, 1)`,
			uuid('p', i), fmt.Sprint(i), forms[rng.IntN(4)], potWords("KT", fmt.Sprint(i), forms[i%4],
				"2026-01-15")); err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		pots, err := s.Pots(context.Background(), lid.PotFilter{Find: "kt 4321", Limit: 50})
		if err != nil || len(pots) != 1 {
			b.Fatal(len(pots), err)
		}
	}
}
