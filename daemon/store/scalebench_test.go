package store

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
)

// BenchmarkScale tells how what the store is asked grows from a studio of ten years to ten times the user:
// 1,000 firings of two kilns and 5,000 bars with 20,000 readings, then 10,000 of twenty and 50,000 with
// 200,000. Each line is processor time, the least of twenty, and the exponent by which it grew: 0 is not at
// all, 1 as the record. What gives a page or the newest does not grow; what reads everything grows as the
// record.
func BenchmarkScale(b *testing.B) {
	for b.Loop() {
		small, large := scaled(b, 1), scaled(b, 10)
		fmt.Printf("%-20s %12s %12s %9s\n", "", "ten years", "ten times", "exponent")
		for i, one := range small {
			from, to := one.took, large[i].took
			exponent := math.Log10(to / from)
			fmt.Printf("%-20s %9.3f ms %9.3f ms %9.2f\n", one.name, from, to, exponent)
			b.ReportMetric(exponent, one.unit+"-exponent")
		}
	}
}

// asked is something that a store is asked, and the least processor time that it took, ms.
type asked struct {
	name, unit string
	took       float64
}

func scaled(b *testing.B, times int) (steps []asked) {
	ctx, folder := context.Background(), b.TempDir()
	s := must[*Store](b)(Open(ctx, folder))
	for i := range 1000 * times {
		m := firingOf(b, glaze, 0.1, uint64(i))
		of := kiln.KilnID(fmt.Sprintf("kiln-%d", i%(2*times)))
		f := m.whole(kiln.FiringID(uuid('f', i)), of, beginning(uint64(i)))
		f.Source = "import"
		if _, err := s.PutFiring(ctx, f, nil, i, usecase.Precondition{}, when); err != nil {
			b.Fatal(err)
		}
	}
	manyReadings(b, s, 20_000*times)
	n := 0
	add := func(name, unit string, ask func() (found, want int, err error)) {
		least := math.Inf(1)
		for range 20 {
			began := cpu()
			found, want, err := ask()
			least = min(least, (cpu()-began).Seconds()*1000)
			if err != nil || found != want {
				b.Fatalf("%s: %d, not %d: %v", name, found, want, err)
			}
		}
		steps = append(steps, asked{name, unit, least})
	}
	firings := func(name, unit string, w kiln.FiringFilter, want int) {
		add(name, unit, func() (int, int, error) {
			found, err := s.Firings(ctx, w)
			return len(found), want, err
		})
	}
	bars := func(name, unit string, w tiles.BarFilter, want int) {
		add(name, unit, func() (int, int, error) {
			found, err := s.Bars(ctx, w, oneProbe)
			return len(found), want, err
		})
	}
	firings("50 firings", "firings", kiln.FiringFilter{Limit: 50}, 50)
	firings("50 of a kiln", "kiln", kiln.FiringFilter{Kiln: "kiln-1", Limit: 50}, 50)
	bars("50 bars", "bars", tiles.BarFilter{Limit: 50}, 50)
	bars("50 of a clay", "clay", tiles.BarFilter{Clay: "tern", Limit: 50}, 50)
	bars("one bar", "bar", tiles.BarFilter{Code: "b01234"}, 1)
	bars("bars to measure", "waiting", tiles.BarFilter{Waiting: true, Limit: 50}, 50)
	add("50 loads", "loads", func() (int, int, error) {
		found, err := s.Loads(ctx, tiles.LoadFilter{Limit: 50})
		return len(found), 50, err
	})
	add("500 changes", "changes", func() (int, int, error) {
		found, err := s.Changes(ctx, int64(10_000*times), 500)
		return len(found), 500, err
	})
	add("newest change", "newest", func() (int, int, error) { _, err := s.LastChange(ctx); return 0, 0, err })
	add("one reading kept", "entry", func() (int, int, error) {
		n++
		fired := reading(1_000_000+n, "b01234", tiles.Fired, "87.60")
		_, err := s.PutReading(ctx, fired, later(time.Duration(n)*time.Second))
		return 0, 0, err
	})
	add("how far it came", "reached", func() (int, int, error) {
		_, err := reachedBy(ctx, s.read)
		return 0, 0, err
	})
	add("tally", "tally", func() (int, int, error) { _, err := s.Tally(ctx); return 0, 0, err })
	firings("all firings", "allfirings", kiln.FiringFilter{}, 1000*times)
	bars("all bars", "allbars", tiles.BarFilter{}, 5000*times)
	if err := s.Close(); err != nil {
		b.Fatal(err)
	}
	add("open", "open", func() (int, int, error) {
		s, err := Open(ctx, folder)
		if err == nil {
			err = s.Close()
		}
		return 0, 0, err
	})
	return steps
}
