package shrinkage_test

import (
	"testing"

	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
	"lidwright/tiles/tilestest"
)

// BenchmarkJudge judges a fired length of a bar that was read three times before, at a site of 500 bars.
func BenchmarkJudge(b *testing.B) {
	m := tilestest.Large(6, 500)
	f, err := m.Studio.Fit(b.Context(), nil)
	if err != nil {
		b.Fatal(err)
	}
	var bar tiles.Bar
	for len(bar.Readings) < 4 {
		bar = m.NextBar(0, 0)
	}
	r := bar.Readings[3]
	bar.Readings = bar.Readings[:3]
	for b.Loop() {
		again := r
		shrinkage.Judge(bar, &again, f)
	}
}
