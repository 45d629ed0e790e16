package api

import (
	"fmt"
	"time"

	"lidwright/api/chart"

	"lidwright/kiln"
)

// gapWords says of each gap of a firing what is known of it. Gaps below a minute are not worth
// a word; the drawing has them.
func gapWords(gaps []kiln.Gap) []string {
	var words []string
	for _, g := range gaps {
		why := map[string]string{"restart": " The program or the machine was started anew.", "unplugged": " The line was unplugged.", "quiet": " Nothing was heard on the line."}[g.Why]
		switch {
		case !g.Known:
			words = append(words, fmt.Sprintf("After %s a gap of unknown length: the machine was started anew and no clock could tell how long it had been off. If the clock comes to be certain, the length is filled in. Heat work over it is a range.", chart.HoursMinutes(g.After)))
		case g.For >= time.Minute:
			words = append(words, fmt.Sprintf("After %s a gap of %s in which no reading came.%s", chart.HoursMinutes(g.After), gapLength(g.For), why))
		}
	}
	return words
}

func gapLength(d time.Duration) string {
	if d < 2*time.Hour {
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return chart.HoursMinutes(d)
}
