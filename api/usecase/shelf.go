package usecase

import (
	"context"
	"fmt"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles/shrinkage"
)

func (s Kilns) Shelves(ctx context.Context, k kiln.KilnID) (wire.Shelves, error) {
	j := wire.Shelves{Kiln: string(k), Shelves: []wire.Shelf{}, Likely: []*float64{},
		Says: "Pack a pot and its lid on one shelf. How the shelves differ is not known: lay a bar on each of two in one load, and name the shelf."}
	fit, _, err := s.Shrink.Fit(ctx)
	if err != nil {
		return j, err
	}
	sp, ok := fit.Shelves(k)
	if !ok {
		return j, nil
	}
	for _, h := range sp.Shelves {
		j.Shelves = append(j.Shelves, wire.Shelf{Shelf: h.Shelf, MoreC: Rounded(h.More, 1), SDC: Rounded(h.SD, 1), Bars: h.Bars})
	}
	j.Apart, j.Likely, j.OnLidMM, j.Loads = Rounded(sp.Apart, 1), []*float64{Rounded(sp.Low, 1), Rounded(sp.High, 1)}, LengthMM(sp.OnLid), sp.Loads
	j.Says = packingAdvice(sp)
	return j, nil
}

// packingAdvice says where to pack a pot and its lid.
func packingAdvice(sp shrinkage.Shelves) string {
	hot, cool := sp.Shelves[0].Shelf, sp.Shelves[len(sp.Shelves)-1].Shelf
	if sp.Low <= 0 {
		return fmt.Sprintf("Pack a pot and its lid on one shelf. The bars do not tell yet which of %s and %s is hotter.", hot, cool)
	}
	return fmt.Sprintf("Pack a pot and its lid on one shelf: %s fires %.0f °C of heat work hotter than %s, likely %.0f to %.0f, and a lid of 100 mm fired there comes out %.1f mm smaller.", hot, sp.Apart, cool, sp.Low, sp.High, sp.OnLid)
}
