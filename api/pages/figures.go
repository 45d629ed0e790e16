package pages

import (
	"fmt"
	"html/template"
	"math"
	"reflect"
)

// lidFuncs write the figures of pages about lids and years.
var lidFuncs = template.FuncMap{
	"points":  func(v any) string { return figure("%+.2f", v, 100) }, // a ratio as points of shrink
	"held":    held,
	"celsius": celsius,
}

// celsius writes a temperature of any type; a dash where there is none.
func celsius(v any) string {
	if f := reflect.ValueOf(v); f.Kind() == reflect.Float64 && !math.IsNaN(f.Float()) {
		return fmt.Sprintf("%.0f", f.Float())
	}
	return "–"
}

// held says how often our own ranges held; empty before there is anything to tell by.
func held(held, of int) string {
	if of == 0 {
		return ""
	}
	return fmt.Sprintf("our ranges held %d times of %d", held, of)
}
