package chart

import (
	"fmt"
	"html"
)

// Bar draws a shrink bar as it is made: its code underlined, and its two lines with their distance.
type Bar struct {
	Code  string
	Apart string // over the distance of the lines, with its unit
	Title string // the same in a sentence
}

// SVG draws it.
func (d Bar) SVG() string {
	return fmt.Sprintf(`<svg viewBox="0 0 358 132" width="358" height="132" role="img" aria-label="%s">`+
		`<path class="dim" d="M56 12v20M302 12v20M56 22h92M210 22h92"/><text x="179" y="27" text-anchor="middle" class="tb">%s</text>`+
		`<rect class="clay" x="16" y="44" width="326" height="72" rx="4"/><path class="line" d="M56 44v72M302 44v72"/>`+
		`<g class="scratched"><text x="179" y="92" text-anchor="middle">%s</text><path class="line" d="M144 101h70"/></g></svg>`,
		html.EscapeString(d.Title), html.EscapeString(d.Apart), html.EscapeString(d.Code))
}
