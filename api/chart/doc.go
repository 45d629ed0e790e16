// Package chart draws what the pages show as SVG: a firing over its hours (Curve), a clay's shrinkage over
// heat work (Shrinkage), and a pot's rim and its lid cut through (Section).
//
// In flow envelopes, points of a shrink curve and sections, as the trade works them out; out comes one svg
// element with its title, to be set into a page. Colours and strokes are classes of the one style sheet, so
// that a dark page and a print draw the same picture. What somebody typed is escaped here.
//
// It is ours, and no charting library, because a page is read on a phone beside a kiln, often without a net:
// a curve of two days takes about 12 kB, no script, and the words beside it say the same to whoever cannot
// see it. It reckons nothing: scales are rounded, values are not smoothed, and a gap stays a gap.
package chart
