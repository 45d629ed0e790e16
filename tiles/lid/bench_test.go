package lid

import (
	"fmt"
	"testing"

	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// First ask, everything anew. Goals on the two-core development machine: 8, 60 and 150 ms at the
// 99th percentile for 1, 2 and 3 lids. The narrow ledge with a fine step and a t is the worst.
func BenchmarkSizeLid(b *testing.B) {
	c := drawn()["narrow, careful, normal"]
	c.pair.Nu = 8
	for lids := 1; lids <= 3; lids++ {
		b.Run(fmt.Sprint(lids), func(b *testing.B) {
			d := UsualDefaults()
			asked := c.q
			asked.Body, asked.Lids = tiles.BatchRef{Clay: "tern", Batch: "B"}, lids
			q := checked(asked, d)
			known, err := q.Know(spreadPair(c.pair), Firing{}, shrinkage.SoFar{})
			if err != nil {
				b.Fatal(err)
			}
			known.Part = &Difference{SD: 0.26}
			for b.Loop() {
				if _, err := Size(*q, known); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkStatedPair(b *testing.B) {
	part := shrinkage.StatedPart{Rates: rates(0.06, 0.07), Stage: tiles.Wet}
	for b.Loop() {
		shrinkage.StatedPair(part, part, 0.006, true, shrinkage.SameLoad)
	}
}
