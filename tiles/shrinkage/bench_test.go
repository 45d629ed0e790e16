package shrinkage_test

import (
	"fmt"
	"runtime"
	"testing"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/tilestest"

	"gonum.org/v1/gonum/mat"

	"lidwright/tiles/shrinkage"
)

func BenchmarkFit(b *testing.B) {
	for _, n := range []int{50, 500, 5000} {
		m := tilestest.Large(20, n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := m.Studio.Fit(b.Context(), nil); err != nil {
					b.Fatal(err)
				}
			}
		})
		before, err := m.Studio.Fit(b.Context(), nil)
		if err != nil {
			b.Fatal(err)
		}
		b.Run(fmt.Sprint(n, "/warm"), func(b *testing.B) {
			for b.Loop() {
				if _, err := m.Studio.Fit(b.Context(), before); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkAddBar works one new bar into a fit. Beside it, as a yardstick, a dense Cholesky
// factorisation of as many columns as the fit has.
func BenchmarkAddBar(b *testing.B) {
	for _, n := range []int{50, 500, 2000, 5000} {
		m := tilestest.Large(20, n)
		f, err := m.Studio.Fit(b.Context(), nil)
		if err != nil {
			b.Fatal(err)
		}
		fresh := m.Bars[n-1]
		fresh.ID, fresh.Code = "bar-x", "X"
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := f.With(fresh); err != nil {
					b.Fatal(err)
				}
			}
		})
		q := f.Columns()
		b.Run(fmt.Sprintf("%d/dense-cholesky-%d", n, q), func(b *testing.B) {
			a := mat.NewSymDense(q, nil)
			for i := range q {
				for j := i; j < q; j++ {
					a.SetSym(i, j, 1/float64(1+j-i))
				}
				a.SetSym(i, i, float64(q))
			}
			var c mat.Cholesky
			for b.Loop() {
				if !c.Factorize(a) {
					b.Fatal("not positive definite")
				}
			}
		})
	}
}

// BenchmarkFitMemory tells the heap that a fit of 5,000 bars keeps, its bars apart.
func BenchmarkFitMemory(b *testing.B) {
	m := tilestest.Large(20, 5000)
	var before, after runtime.MemStats
	var f *shrinkage.Fit
	for b.Loop() {
		f = nil
		runtime.GC()
		runtime.ReadMemStats(&before)
		var err error
		if f, err = m.Studio.Fit(b.Context(), nil); err != nil {
			b.Fatal(err)
		}
		runtime.GC()
		runtime.ReadMemStats(&after)
	}
	b.ReportMetric(float64(after.HeapAlloc-before.HeapAlloc)/1e6, "MB-kept")
	runtime.KeepAlive(f)
}

func BenchmarkShrinkage(b *testing.B) {
	for _, n := range []int{50, 500, 5000} {
		m := tilestest.Large(20, n)
		f, err := m.Studio.Fit(b.Context(), nil)
		if err != nil {
			b.Fatal(err)
		}
		a := shrinkage.Ask{BatchRef: tiles.BatchRef{Clay: "tern", Batch: "B0"}, Stage: tiles.Wet, Work: 1222,
			WorkSD: 6, BisqueWork: 1000, Kind: kiln.Glaze}
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				if _, err := f.Rate(a, tiles.Fired); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(fmt.Sprint("Pair/", n), func(b *testing.B) {
			for b.Loop() {
				if _, err := f.Pair(a, a, shrinkage.InPlace); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkHostileBar fits twelve bars, one of which was read 1,009 times over: by one maker, by as many.
func BenchmarkHostileBar(b *testing.B) {
	for name, by := range map[string]func(int) string{"one": func(int) string { return "KT" },
		"many": func(i int) string { return fmt.Sprint("M", i) }} {
		s := measuredOften(1006, by, sometimesOff)
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := s.Fit(b.Context(), nil); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
