package api

import (
	"slices"
	"testing"

	"lidwright/api/pages"
	"lidwright/api/wire"
)

// TestKilnsInOrder: over the limit, then hot and silent, then by heat; a cold one last.
func TestKilnsInOrder(t *testing.T) {
	card := func(name string, c float64, hot, fresh, over bool) pages.KilnCard {
		return pages.KilnCard{KilnNow: wire.KilnNow{Kiln: name, LastTemperatureC: &c, Hot: hot, Fresh: fresh,
			OverLimit: over}}
	}
	cards := []pages.KilnCard{
		card("cold and silent", 20, false, false, false), card("hot", 1200, true, true, false),
		card("silent at 400", 400, true, false, false), card("warm", 90, true, true, false),
		card("over", 300, true, true, true), card("silent at 900", 900, true, false, false),
	}
	slices.SortStableFunc(cards, hottestFirst)
	var order []string
	for _, c := range cards {
		order = append(order, c.Kiln)
	}
	if want := []string{"over", "silent at 900", "silent at 400", "hot", "warm",
		"cold and silent"}; !slices.Equal(order, want) {
		t.Errorf("%q", order)
	}
}
