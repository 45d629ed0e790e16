package api

import (
	"lidwright/api/usecase"
	"lidwright/kiln"
)

// firing reads kind, atmosphere, heat and kiln.
func (r *reader) firing() usecase.FiringAsk {
	a := usecase.FiringAsk{Kind: kiln.Kind(r.word("kind", "bisque", "glaze", "once", "other")), Heat: kiln.NoTemperature()}
	if a.Kind == "" {
		a.Kind = kiln.Glaze
	}
	a.Atmosphere = kiln.Atmosphere(r.word("atmosphere", "oxidation", "reduction", "unknown"))
	k, _ := r.text("kiln")
	a.Kiln = kiln.KilnID(k)
	if h, ok := r.heat(); ok {
		a.Heat = h
	}
	return a
}
