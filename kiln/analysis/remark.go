package analysis

import (
	"math"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// Standing says how well a limit is founded.
type Standing string

const (
	// read, or cited by something read; Source says which
	Published      Standing = "published"
	CommonPractice Standing = "common practice (no source)" // kilns and potters do so
	Own            Standing = "own choice"
	NoLimit        Standing = "" // a figure without a limit
)

// Remark is one figure of a firing in words: what it is, what is said about such figures
// and by whom. It informs; the potter decides.
type Remark struct {
	Figure   string          // which one: rate_last_100, quartz_down ...
	Says     message.Message // the figure in a sentence
	Limit    message.Message // what is advised, "" if nothing is
	Standing Standing        // of the limit
	Source   message.Message // of the limit; empty where nobody published it
	Caution  bool            // the figure lies outside the limit
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
	return FeatureLimits{ChartLow: 15, ChartHigh: 150, Quartz: 50, WarmUp: 100, WarmUpBisque: 60,
		LongHold: time.Hour}
}

// Remarks tells the figures that the curve shows, in the order of a firing. Bisque has its
// burn-out told.
func (f Features) Remarks(kind kiln.Kind, lim FeatureLimits) []Remark {
	var all []Remark
	// each figure is left out where the curve does not show it
	add := func(r Remark) { all = append(all, r) }
	if !f.Peak.Known() {
		return []Remark{{Figure: "peak", Says: message.New("There is no curve, so nothing can be said of temperatures and rates.")}}
	}
	add(Remark{Figure: "peak", Says: message.New("Peak {1}, first reached after {2}.", f.Peak,
		kiln.Span(f.PeakAfter))})
	add(Remark{Figure: "near_peak", Says: message.New("Within {1} of the peak for {2}, within {3} for {4}, within {5} for {6}.",
		kiln.Warmer(10), kiln.Span(f.Within10), kiln.Warmer(50), kiln.Span(f.Within50), kiln.Warmer(100),
		kiln.Span(f.Within100))})
	if known(f.WarmUp) {
		says := message.New("From {1} to {2} at {3}.", kiln.Figure(80), kiln.Celsius(120), f.WarmUp)
		if f.DryingHold > 0 {
			says = message.New("From {1} to {2} at {3}, held {4} up to {5}.", kiln.Figure(80),
				kiln.Celsius(120), f.WarmUp,
				kiln.Span(f.DryingHold), kiln.Celsius(105))
		}
		most := lim.WarmUp
		limit := message.New("At most {1} to {2}, and a hold for thick or damp ware.", kiln.RateFigure(60),
			most)
		if kind == kiln.Bisque {
			most = lim.WarmUpBisque
			limit = message.New("At most {1} for bisque, as {2} is quick for damp ware, and a hold for thick or damp ware.",
				most, kiln.RateFigure(lim.WarmUp))
		}
		add(Remark{Figure: "warm_up", Says: says, Standing: CommonPractice, Caution: f.WarmUp > most,
			Limit: limit})
	}
	if kind == kiln.Bisque && f.BurnOut > 0 {
		add(Remark{Figure: "burn_out", Says: message.New("{1} from {2} to {3}.", kiln.Span(f.BurnOut),
			kiln.Figure(300), kiln.Celsius(900)),
			Standing: CommonPractice, Limit: message.New("Slow and with the vent open; no figure found.")})
	}
	if known(f.QuartzUp) {
		add(Remark{Figure: "quartz_up", Says: message.New("Up through {1}, where quartz grows, at {2}.",
			kiln.Celsius(quartzInversion), f.QuartzUp)})
	}
	if known(f.LastHundred) {
		add(Remark{Figure: "rate_last_100",
			Says: message.New("The last {1} at {2}.", kiln.Warmer(100), f.LastHundred), Standing: Published,
			Limit: message.New("The chart of large self-supporting cones covers {1} to {2}; outside it the model goes on alone.",
				kiln.RateFigure(lim.ChartLow), lim.ChartHigh),
			Source:  message.New("cone manufacturer's chart of temperature equivalents: heating rate over the last 100 °C"),
			Caution: f.LastHundred < lim.ChartLow || f.LastHundred > lim.ChartHigh})
	}
	all = append(all, f.holdRemarks(lim)...)
	all = append(all, f.coolingRemarks(lim)...)
	add(Remark{Figure: "degree_hours", Says: message.New("{1} degree-hours above 20 °C: an index to compare firings of this kiln with.",
		message.Number{Value: f.DegreeHours})})
	return append(all, f.gapRemarks()...)
}

// coolingRemarks tells the rates on the way down: the first 100 °C, which still do heat work, the two
// inversions at which a body changes its length, and the stretches between.
func (f Features) coolingRemarks(lim FeatureLimits) []Remark {
	var all []Remark
	add := func(r Remark) { all = append(all, r) }
	if known(f.CoolTop) {
		add(Remark{Figure: "cool_top", Says: message.New("The first {1} down at {2}; they still do heat work.", kiln.Warmer(100), f.CoolTop)})
	}
	if known(f.CoolMiddle) {
		add(Remark{Figure: "cool_middle", Says: message.New("From {1} to {2} at {3}.", kiln.Figure(1000),
			kiln.Celsius(700), f.CoolMiddle)})
	}
	if known(f.QuartzDown) {
		add(Remark{Figure: "quartz_down", Standing: Published,
			Says: message.New("Down through {1}, where quartz shrinks, at {2}.",
				kiln.Celsius(quartzInversion), f.QuartzDown),
			Limit: message.New("At most {1} is advised for sanitaryware; many kilns cool quicker and come to no harm (common practice, no source).",
				lim.Quartz),
			Source:  message.New("Fortuna 2000 as cited by an encyclopaedia, unconfirmed"),
			Caution: f.QuartzDown > lim.Quartz})
	}
	if known(f.CoolLower) {
		add(Remark{Figure: "cool_lower", Says: message.New("From {1} to {2} at {3}.", kiln.Figure(700),
			kiln.Celsius(300), f.CoolLower)})
	}
	if known(f.CristobaliteDown) {
		add(Remark{Figure: "cristobalite_down", Standing: Published,
			Says: message.New("Down through {1}, where cristobalite shrinks, at {2}.",
				kiln.Celsius(cristobaliteInversion), f.CristobaliteDown),
			Limit: message.New("No limit of the rate was found; the inversion lies at {1} or a little above.",
				kiln.Celsius(220)),
			Source: message.New("Dodd and Murfin 1994 as cited by an encyclopaedia (220 °C); 226 °C from memory")})
	}
	return all
}

// holdRemarks tells the holds in one remark. A long one within 100 °C of the peak is a caution: what it
// adds is uncertain.
func (f Features) holdRemarks(lim FeatureLimits) []Remark {
	if len(f.Holds) == 0 {
		return nil
	}
	var said []message.Message
	long := false
	for _, h := range f.Holds {
		said = append(said, message.New("{1} at {2}", kiln.Span(h.For), h.At))
		long = long || h.For > lim.LongHold && h.At >= f.Peak-100
	}
	says := message.New("Held {1}.", message.Join(", ", said...))
	if long {
		says = message.Join(" ", says, message.New("What a hold of more than {1} near the top adds is uncertain by a factor of 1 to 3; "+
			"a witness cone would tell.", kiln.Span(lim.LongHold)))
	}
	return []Remark{{Figure: "holds", Says: says, Standing: Own, Caution: long,
		Limit: message.New("A hold is 10 min or more within {1}; its ends lie on the slopes, so it reads up to 3 min long.", kiln.Warmer(6))}}
}

// gapRemarks tells the longest gap, and whether one lies where it matters.
func (f Features) gapRemarks() []Remark {
	var said []message.Message
	if f.LongestGap > 0 {
		said = append(said, message.New("The longest gap is {1}.", kiln.Span(f.LongestGap)))
	}
	if f.GapUnknown {
		said = append(said, message.New("One gap is of unknown length."))
	}
	if len(said) == 0 {
		return nil
	}
	if f.GapNearTop {
		said = append(said, message.New("It lies where it matters, so the heat work is an estimate."))
	}
	return []Remark{{Figure: "gaps", Says: message.Join(" ", said...), Standing: Own, Caution: f.GapNearTop,
		Limit: message.New("A gap of over 5 min within {1} of the peak makes the heat work an estimate.",
			kiln.Warmer(150))}}
}

// known reports whether a rate is a number.
func known(r kiln.CelsiusPerHour) bool { return !math.IsNaN(float64(r)) && !math.IsInf(float64(r), 0) }
