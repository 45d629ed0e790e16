package analysis

import (
	"fmt"
	"math"
	"strings"
	"time"

	"lidwright/kiln"
)

// Standing says how well a limit is founded.
type Standing string

const (
	Published      Standing = "published"                   // read, or cited by something read; Source says which
	CommonPractice Standing = "common practice (no source)" // kilns and potters do so
	Own            Standing = "own choice"
	NoLimit        Standing = "" // a figure without a limit
)

// Remark is one figure of a firing in words: what it is, what is said about such figures
// and by whom. It informs; the potter decides.
type Remark struct {
	Figure   string   // which one: rate_last_100, quartz_down ...
	Says     string   // the figure in a sentence
	Limit    string   // what is advised, "" if nothing is
	Standing Standing // of the limit
	Source   string
	Caution  bool // the figure lies outside the limit
}

// FeatureLimits are the settings that remarks go by.
type FeatureLimits struct {
	// Rates that the published end points of large self-supporting cones cover; plaques have 60 to
	// 150 °C/h, small cones 300 alone.
	ChartLow, ChartHigh kiln.CelsiusPerHour
	Quartz              kiln.CelsiusPerHour // through 573 °C on the way down
	WarmUp              kiln.CelsiusPerHour // from 80 to 120 °C
	WarmUpBisque        kiln.CelsiusPerHour // the same of bisque, whose ware may be damp
	LongHold            time.Duration       // beyond it the credit of a hold is uncertain
}

// DefaultFeatureLimits are those that the documents name.
func DefaultFeatureLimits() FeatureLimits {
	return FeatureLimits{ChartLow: 15, ChartHigh: 150, Quartz: 50, WarmUp: 100, WarmUpBisque: 60, LongHold: time.Hour}
}

// Remarks tells the figures that the curve shows, in the order of a firing. Bisque has its
// burn-out told.
func (f Features) Remarks(kind kiln.Kind, lim FeatureLimits) []Remark {
	var all []Remark
	add := func(r Remark) { all = append(all, r) }
	if !f.Peak.Known() {
		return []Remark{{Figure: "peak", Says: "There is no curve, so nothing can be said of temperatures and rates."}}
	}
	add(Remark{Figure: "peak", Says: fmt.Sprintf("Peak %.0f °C, first reached after %s.", f.Peak, sayHours(f.PeakAfter))})
	add(Remark{Figure: "near_peak", Says: fmt.Sprintf("Within 10 °C of the peak for %s, within 50 °C for %s, within 100 °C for %s.",
		sayHours(f.Within10), sayHours(f.Within50), sayHours(f.Within100))})
	if known(f.WarmUp) {
		says := fmt.Sprintf("From 80 to 120 °C at %.0f °C/h", f.WarmUp)
		if f.DryingHold > 0 {
			says += ", held " + sayHours(f.DryingHold) + " up to 105 °C"
		}
		most, limit := lim.WarmUp, fmt.Sprintf("At most 60 to %.0f °C/h, and a hold for thick or damp ware.", lim.WarmUp)
		if kind == kiln.Bisque {
			most = lim.WarmUpBisque
			limit = fmt.Sprintf("At most %.0f °C/h for bisque, as %.0f is quick for damp ware, and a hold for thick or damp ware.", most, lim.WarmUp)
		}
		add(Remark{Figure: "warm_up", Says: says + ".", Standing: CommonPractice, Caution: f.WarmUp > most, Limit: limit})
	}
	if kind == kiln.Bisque && f.BurnOut > 0 {
		add(Remark{Figure: "burn_out", Says: fmt.Sprintf("%s from 300 to 900 °C.", capital(sayHours(f.BurnOut))), Standing: CommonPractice,
			Limit: "Slow and with the vent open; no figure found."})
	}
	if known(f.QuartzUp) {
		add(Remark{Figure: "quartz_up", Says: fmt.Sprintf("Up through 573 °C, where quartz grows, at %.0f °C/h.", f.QuartzUp)})
	}
	if known(f.LastHundred) {
		add(Remark{Figure: "rate_last_100", Says: fmt.Sprintf("The last 100 °C at %.0f °C/h.", f.LastHundred), Standing: Published,
			Limit:   fmt.Sprintf("The chart of large self-supporting cones covers %.0f to %.0f °C/h; outside it the model goes on alone.", lim.ChartLow, lim.ChartHigh),
			Source:  "cone manufacturer's chart of temperature equivalents: heating rate over the last 100 °C",
			Caution: f.LastHundred < lim.ChartLow || f.LastHundred > lim.ChartHigh})
	}
	all = append(all, f.holdRemarks(lim)...)
	if known(f.CoolTop) {
		add(Remark{Figure: "cool_top", Says: fmt.Sprintf("The first 100 °C down at %.0f °C/h; they still do heat work.", f.CoolTop)})
	}
	if known(f.CoolMiddle) {
		add(Remark{Figure: "cool_middle", Says: fmt.Sprintf("From 1000 to 700 °C at %.0f °C/h.", f.CoolMiddle)})
	}
	if known(f.QuartzDown) {
		add(Remark{Figure: "quartz_down", Says: fmt.Sprintf("Down through 573 °C, where quartz shrinks, at %.0f °C/h.", f.QuartzDown), Standing: Published,
			Limit:   fmt.Sprintf("At most %.0f °C/h is advised for sanitaryware; many kilns cool quicker and come to no harm (common practice, no source).", lim.Quartz),
			Source:  "Fortuna 2000 as cited by an encyclopaedia, unconfirmed",
			Caution: f.QuartzDown > lim.Quartz})
	}
	if known(f.CoolLower) {
		add(Remark{Figure: "cool_lower", Says: fmt.Sprintf("From 700 to 300 °C at %.0f °C/h.", f.CoolLower)})
	}
	if known(f.CristobaliteDown) {
		add(Remark{Figure: "cristobalite_down", Says: fmt.Sprintf("Down through 226 °C, where cristobalite shrinks, at %.0f °C/h.", f.CristobaliteDown),
			Standing: Published, Limit: "No limit of the rate was found; the inversion lies at 220 °C or a little above.",
			Source: "Dodd and Murfin 1994 as cited by an encyclopaedia (220 °C); 226 °C from memory"})
	}
	add(Remark{Figure: "degree_hours", Says: fmt.Sprintf("%.0f degree-hours above 20 °C: an index to compare firings of this kiln with.", f.DegreeHours)})
	return append(all, f.gapRemarks()...)
}

func (f Features) holdRemarks(lim FeatureLimits) []Remark {
	if len(f.Holds) == 0 {
		return nil
	}
	var said []string
	long := false
	for _, h := range f.Holds {
		said = append(said, fmt.Sprintf("%s at %.0f °C", sayHours(h.For), h.At))
		long = long || h.For > lim.LongHold && h.At >= f.Peak-100
	}
	r := Remark{Figure: "holds", Says: "Held " + strings.Join(said, ", ") + ".", Standing: Own, Caution: long,
		Limit: "A hold is 10 min or more within 6 °C; its ends lie on the slopes, so it reads up to 3 min long."}
	if long {
		r.Says += fmt.Sprintf(" What a hold of more than %s near the top adds is uncertain by a factor of 1 to 3; a witness cone would tell.", sayHours(lim.LongHold))
	}
	return []Remark{r}
}

func (f Features) gapRemarks() []Remark {
	var said []string
	if f.LongestGap > 0 {
		said = append(said, "The longest gap is "+sayHours(f.LongestGap)+".")
	}
	if f.GapUnknown {
		said = append(said, "One gap is of unknown length.")
	}
	if len(said) == 0 {
		return nil
	}
	if f.GapNearTop {
		said = append(said, "It lies where it matters, so the heat work is an estimate.")
	}
	return []Remark{{Figure: "gaps", Says: strings.Join(said, " "), Standing: Own, Caution: f.GapNearTop,
		Limit: "A gap of over 5 min within 150 °C of the peak makes the heat work an estimate."}}
}

func known(r kiln.CelsiusPerHour) bool { return !math.IsNaN(float64(r)) && !math.IsInf(float64(r), 0) }

// sayHours says a length of time: "35 min", "4 h", "12 h 20 min".
func sayHours(d time.Duration) string {
	m := int(math.Round(d.Minutes()))
	switch {
	case m < 60:
		return fmt.Sprintf("%d min", m)
	case m%60 == 0:
		return fmt.Sprintf("%d h", m/60)
	}
	return fmt.Sprintf("%d h %d min", m/60, m%60)
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
