package tiles

import (
	"fmt"
	"testing"
)

// First ask, everything anew. Goals on the two-core development machine: 8, 60 and 150 ms at the
// 99th percentile for 1, 2 and 3 lids. The narrow ledge with a fine step and a t is the worst.
func BenchmarkSizeLid(b *testing.B) {
	c := drawn()["narrow, careful, normal"]
	c.pair.Nu = 8
	for lids := 1; lids <= 3; lids++ {
		b.Run(fmt.Sprint(lids), func(b *testing.B) {
			d := UsualLids()
			q := c.q
			q.Body, q.Lids = BatchRef{"tern", "B"}, lids
			known, err := q.validated(d).Know(spreadPair(c.pair), LidFiring{}, Gone{})
			if err != nil {
				b.Fatal(err)
			}
			known.Part = &PartDifference{SD: 0.26}
			for b.Loop() {
				if _, err := SizeLid(q, d, known); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkStatedPair(b *testing.B) {
	part := StatedPart{rates(0.06, 0.07), Wet}
	for b.Loop() {
		StatedPair(part, part, 0.006, true, SameLoad)
	}
}
