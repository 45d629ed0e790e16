package api

import (
	"context"
	"fmt"

	"lidwright/kiln"
	"lidwright/kiln/record"
	"lidwright/tiles/shrinkage"
)

// shelvesJSON is how much the shelves of a kiln differ, by the bars that lay on them.
type shelvesJSON struct {
	Kiln    string      `json:"kiln"`
	Shelves []shelfJSON `json:"shelves" doc:"Hottest first; none where no load had bars on two shelves"`
	Apart   *float64    `json:"apart_c" doc:"Heat work from the coolest to the hottest, °C"`
	Likely  []*float64  `json:"apart_likely_c" doc:"90 % range; below 0 it cannot be told which is hotter"`
	OnLidMM *float64    `json:"on_lid_mm" doc:"What that does to a lid of 100 mm whose pot stands on the other shelf"`
	Loads   int         `json:"loads" doc:"That had bars on two shelves or more"`
	Says    string      `json:"says" doc:"Where to pack a pot and its lid"`
}

type shelfJSON struct {
	Shelf string   `json:"shelf"`
	MoreC *float64 `json:"more_c" doc:"Heat work above the mean of the shelves, °C"`
	SDC   *float64 `json:"sd_c"`
	Bars  int      `json:"bars"`
}

type ShelvesPath struct {
	Kiln string `path:"kiln"`
}

func (s *Server) getShelves(ctx context.Context, in *ShelvesPath) (*body[shelvesJSON], error) {
	k := kiln.KilnID(in.Kiln)
	if _, ours := s.Kiln[k]; !ours {
		return nil, s.problemFrom(ctx, fmt.Errorf("%s: %w", k, record.ErrNoKiln))
	}
	j, err := s.shelves(ctx, k)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[shelvesJSON]{j}, nil
}

func (s *Server) shelves(ctx context.Context, k kiln.KilnID) (shelvesJSON, error) {
	j := shelvesJSON{Kiln: string(k), Shelves: []shelfJSON{}, Likely: []*float64{},
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
		j.Shelves = append(j.Shelves, shelfJSON{h.Shelf, rounded(h.More, 1), rounded(h.SD, 1), h.Bars})
	}
	j.Apart, j.Likely, j.OnLidMM, j.Loads = rounded(sp.Apart, 1), []*float64{rounded(sp.Low, 1), rounded(sp.High, 1)}, lengthMM(sp.OnLid), sp.Loads
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
