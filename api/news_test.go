package api

import (
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
)

// What is news of clays and probes: a batch that differs from the one before, for as long as it
// does; a rate that moved, for a day and a half; one that is stale, after a year; a probe that cones
// found off in two firings one after the other.
func TestStudioNews(t *testing.T) {
	s := newCrowd(t, 20)
	c := s.Archive.ClayStore.(*crowd)
	at := func(days int) []string {
		t.Helper()
		s.Now = func() kiln.Stamp {
			return kiln.Stamp{Wall: noon.Add(time.Duration(days)*24*time.Hour + time.Hour), Trusted: true}
		}
		news, err := s.Clays().StudioNews(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		var out []string
		for _, n := range news {
			if strings.HasSuffix(n.Says.String(), ".") || n.Says.String() == "" || n.Data == nil {
				t.Errorf("%+v", n)
			}
			t.Log(n.Event, n.Link, n.Says)
			out = append(out, n.Event+" "+n.Link)
		}
		return out
	}
	shifted := "batch.shifted /clay/clay-019?batch=B"
	if got := at(60); !slices.Equal(got, []string{shifted}) {
		t.Errorf("two months on: %v", got)
	}
	if got := at(3); !slices.Equal(got, []string{"rate.moved /clay/clay-019", shifted}) {
		t.Errorf("when the bars came out: %v", got)
	}
	if got := at(500); !slices.Equal(got, []string{"rate.stale /clay/clay-019",
		"rate.stale /clay/clay-018", shifted}) {
		t.Errorf("more than a year later: %v", got)
	}
	c.packs = 6
	if got := at(60); !slices.Equal(got, []string{shifted, "probe.bias /kiln/kiln-1",
		"probe.bias /kiln/kiln-2", "probe.bias /kiln/kiln-3", "probe.bias /kiln/kiln-4"}) {
		t.Errorf("after six packs of cones: %v", got)
	}
}
