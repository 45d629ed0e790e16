package pages

import (
	"fmt"
	"html/template"
)

// lidFuncs write the figures of pages about lids and years.
var lidFuncs = template.FuncMap{
	"points": func(v any) string { return figure("%+.2f", v, 100) }, // a ratio as points of shrink
	"held":   held,
}

// held says how often our own ranges held; empty before there is anything to tell by.
func held(held, of int) string {
	if of == 0 {
		return ""
	}
	return fmt.Sprintf("our ranges held %d times of %d", held, of)
}
