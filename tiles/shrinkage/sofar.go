package shrinkage

import (
	"math"

	"lidwright/tiles"
)

// Shrink that is already gone in a soft or leather-hard piece.
const (
	CompanionSD     = 0.35 // another bar, as thick and under the same cover; a thin one dries first (assumed)
	companionWallSD = 0.24 // a piece cut from a wall of the same throwing (assumed)
	weighedSD       = 0.3  // by loss of mass (assumed)
	moistDensity    = 1.95 // of plastic clay, g per cubic centimetre (from memory)
)

// SoFarByRatio is a stated share of the wet length that has gone.
func SoFarByRatio(leather tiles.Ratio) SoFar {
	return SoFar{Known: true, H: tiles.LogPercent(-100 * math.Log1p(-float64(leather))), SD: statedGoneSD}
}

// SoFarByMass takes the water that left for shrink: by volume as much as was lost, a third of
// it in length (shrinkage water leaves first, pore water after without shrink). wet and now
// are grams of one piece when thrown and now.
func SoFarByMass(wet, now float64) SoFar {
	return SoFar{Known: true, H: tiles.LogPercent(100 * (wet - now) / wet * moistDensity / 3), SD: weighedSD}
}

// SoFarByBar is what a companion bar has shrunk since its marks were cut wet: wet and now are
// its two lengths, sd that of one reading on a mark length of wet, forming how it was made.
func SoFarByBar(wet, now, sd tiles.Millimetre, forming tiles.Forming) SoFar {
	read, piece := 100*float64(sd/wet), CompanionSD
	if forming == tiles.CutWall {
		piece = companionWallSD
	}
	return SoFar{Known: true, H: tiles.LogPercent(-100 * math.Log(float64(now/wet))),
		SD: tiles.LogPercent(math.Sqrt(2*read*read + piece*piece))}
}
