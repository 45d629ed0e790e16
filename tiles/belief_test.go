package tiles

import "testing"

// The slips that people make: inches read as mm, ten times, a tenth. A usual length is not asked
// about. (Shares lost by stage: common practice, no source.)
func TestBelieve(t *testing.T) {
	bar := Bar{MarkLength: 100, Readings: []Reading{{Stage: Wet, Length: 100, Mark: 1}}}
	usual := map[Stage]Millimetre{Soft: 98.3, Leather: 96.5, Dry: 94.2, Biscuit: 93.7, Fired: 88.0}
	for stage, l := range usual {
		r := Reading{Stage: stage, Length: l}
		low, high, ok := r.Believe(bar)
		if !ok || r.Unusual || r.Outside || r.Question != "" || !(low < l && l < high) {
			t.Errorf("%s %v: %+v, believed %v to %v", stage, l, r, low, high)
		}
		for _, factor := range []Millimetre{25.4, 10, 0.1, 1 / 25.4} {
			slip := Reading{Stage: stage, Length: l * factor}
			if slip.Believe(bar); !slip.Unusual || !slip.Outside || slip.Question == "" || slip.Counts() {
				t.Errorf("%s times %v is not asked about: %+v", stage, factor, slip)
			}
		}
	}
	grown := Reading{Stage: Dry, Length: 100.5} // longer than wet, and within 1.01: asked, and the bench may confirm
	if grown.Believe(bar); !grown.Unusual || grown.Outside {
		t.Errorf("grown while drying: %+v", grown)
	}
	grown.Confirmed = &Act{}
	if !grown.Counts() {
		t.Error("a confirmed reading does not count")
	}
	wet := Reading{Stage: Wet, Length: 102} // marks cut a little wide
	if wet.Believe(Bar{MarkLength: 100}); wet.Unusual {
		t.Errorf("marks cut wide: %+v", wet)
	}
	if _, _, ok := (&Reading{Mass: &Mass{}}).Believe(bar); ok {
		t.Error("masses were judged by length")
	}
}
