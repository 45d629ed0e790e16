package api

import (
	"lidwright/api/usecase"
	"lidwright/tiles"
)

// Values keep their full precision until they are written; here, once, they are rounded:
// lengths to 2 figures after the point, ratios to 4, °C to 1. What is not known is null.

func lengthMM4(l tiles.Millimetre) *float64 { return usecase.Rounded(float64(l), 4) }
