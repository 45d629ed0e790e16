package tiles

import "math"

// Shrink that is already gone in a soft or leather-hard piece.
const (
	companionSD     = 0.35 // another bar, as thick and under the same cover; a thin one dries first (assumed)
	companionWallSD = 0.24 // a piece cut from a wall of the same throwing (assumed)
	weighedSD       = 0.3  // by loss of mass (assumed)
	moistDensity    = 1.95 // of plastic clay, g per cubic centimetre (from memory)
)

// GoneByRatio is a stated share of the wet length that has gone.
func GoneByRatio(leather Ratio) Gone {
	return Gone{Known: true, H: LogPercent(-100 * math.Log1p(-float64(leather))), SD: statedGoneSD}
}

// GoneByMass takes the water that left for shrink: by volume as much as was lost, a third of
// it in length (shrinkage water leaves first, pore water after without shrink). wet and now
// are grams of one piece when thrown and now.
func GoneByMass(wet, now float64) Gone {
	return Gone{Known: true, H: LogPercent(100 * (wet - now) / wet * moistDensity / 3), SD: weighedSD}
}

// GoneByBar is what a companion bar has shrunk since its marks were cut wet: wet and now are
// its two lengths, sd that of one reading on a mark length of wet, forming how it was made.
func GoneByBar(wet, now, sd Millimetre, forming Forming) Gone {
	read, piece := 100*float64(sd/wet), companionSD
	if forming == CutWall {
		piece = companionWallSD
	}
	return Gone{Known: true, H: LogPercent(-100 * math.Log(float64(now/wet))), SD: LogPercent(math.Sqrt(2*read*read + piece*piece))}
}
