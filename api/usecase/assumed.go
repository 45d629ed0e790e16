package usecase

import (
	"context"
	"math"
	"slices"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// What is assumed of a firing that nobody told (own).
const (
	assumedSD   = 25.0 // °C, one sd
	assumedNear = 60.0 // °C from the cone on the bag within which a usual glaze firing is taken for it
)

// Assumed is what each clay's bisque and fired lengths count at where nobody told which firing they came out
// of: the usual firing of the kiln that the clay's last bars came from, else of the main kiln, else of any;
// else the cone on the bag, and 1000 °C for a bisque. A usual glaze far from the cone on the bag is not meant
// for the clay.
func (s Clays) Assumed(ctx context.Context) (map[tiles.ClayID]tiles.Assumed, error) {
	g, err := s.Snapshot(ctx)
	if err != nil {
		return nil, err
	}
	clays, err := g.Archive.Clays(ctx)
	if err != nil {
		return nil, err
	}
	out := make(map[tiles.ClayID]tiles.Assumed, len(clays))
	for _, c := range clays {
		clay := Matured(c.Clay)
		var a tiles.Assumed
		if a.Bisque, err = g.Lids().assumed(ctx, clay, kiln.Bisque); err != nil {
			return nil, err
		}
		if a.Fired, err = g.Lids().assumed(ctx, clay, kiln.Glaze); err != nil {
			return nil, err
		}
		out[c.ID] = a
	}
	return out, nil
}

// assumed is what is assumed of a firing of that kind for a clay.
func (s Lids) assumed(ctx context.Context, clay tiles.Clay, kind kiln.Kind) (tiles.Assumption, error) {
	own, err := s.kilnOf(ctx, clay.ID)
	if err != nil {
		return tiles.Assumption{}, err
	}
	asked := map[kiln.KilnID]bool{}
	for _, k := range slices.Concat([]kiln.KilnID{own, s.MainKiln()}, s.KilnNames()) {
		if _, known := s.KilnNamed(k); !known || asked[k] {
			continue
		}
		asked[k] = true
		m, err := s.meant(ctx, FiringAsk{Kind: kind, Kiln: k, Heat: kiln.NoTemperature()}, clay)
		if err != nil {
			return tiles.Assumption{}, err
		}
		far := kind != kiln.Bisque && clay.Matures.Known() &&
			math.Abs(float64(m.Work-clay.Matures)) > assumedNear
		if m.From == "usual" && !far {
			return tiles.Assumption{Work: m.Work, SD: assumedSD,
				Says: message.New("your usual {1} in {2}", kind, k)}, nil
		}
	}
	switch {
	case kind == kiln.Bisque:
		return tiles.Assumption{Work: bagBisqueC, SD: assumedSD,
			Says: message.New("a bisque to {1}", kiln.Celsius(bagBisqueC))}, nil
	case clay.Matures.Known():
		return tiles.Assumption{Work: clay.Matures, SD: assumedSD,
			Says: message.New("cone {1} on the bag", clay.MaturesCone)}, nil
	}
	return tiles.Assumption{Work: kiln.NoTemperature()}, nil
}
