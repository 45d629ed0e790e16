package tiles_test

import (
	"math"
	"slices"
	"testing"

	"lidwright/tiles"
)

// Parents are told in any unit of parts, all or none of them, and come back as they were told.
func TestParents(t *testing.T) {
	for _, c := range []struct {
		texts  []string
		shares []float64
		bad    bool
	}{
		{texts: []string{"tern/A", "wren/B"}},
		{texts: []string{"tern/A=2", "wren/B=1"}, shares: []float64{2. / 3, 1. / 3}},
		{texts: []string{"tern/A=70%", "wren/B=30%"}, shares: []float64{0.7, 0.3}},
		{texts: []string{"tern/A=0,5", "wren/B=1.5"}, shares: []float64{0.25, 0.75}},
		{texts: []string{"tern/A=2", "wren/B"}, bad: true},
		{texts: []string{"tern/A=0", "wren/B=1"}, bad: true},
		{texts: []string{"tern/A=-1"}, bad: true},
		{texts: []string{"tern/A=NaN"}, bad: true},
		{texts: []string{"tern/A="}, bad: true},
		{texts: []string{"Tern/A=1"}, bad: true},
	} {
		refs, shares, err := tiles.ParseParents("parents", c.texts)
		if (err != nil) != c.bad {
			t.Errorf("%q: %v", c.texts, err)
		}
		if c.bad {
			continue
		}
		if len(shares) != len(c.shares) {
			t.Errorf("%q: %v", c.texts, shares)
		}
		for i, want := range c.shares {
			if math.Abs(float64(shares[i])-want) > 1e-12 {
				t.Errorf("%q: %v, want %v", c.texts, shares, c.shares)
			}
		}
		b := tiles.Batch{Parents: refs, Shares: shares}
		refs2, shares2, err := tiles.ParseParents("parents", b.ParentTexts())
		if err != nil || !slices.Equal(refs2, refs) || len(shares2) != len(shares) {
			t.Errorf("%q comes back as %q", c.texts, b.ParentTexts())
		}
		for i := range shares {
			if math.Abs(float64(shares2[i]-shares[i])) > 1e-5 {
				t.Errorf("%q comes back as %q", c.texts, b.ParentTexts())
			}
		}
	}
}
