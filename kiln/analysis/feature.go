// Package analysis is what a firing tells once it is laid out as a curve: peak, holds, rates of its parts and
// remarks on them, how firings differ, trends over a year, what is usual, and when a cooling kiln will be
// down to a temperature. In flow curves and firings; out flow figures, each with its words.
//
// It stores nothing and judges no reading.
package analysis

import (
	"math"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/heatwork"
)

// Features is what one channel's curve tells of a firing beside its heat work. A rate or a
// time that the curve does not show, because the firing never went there or was not heard
// there, is NaN or 0. Rates of cooling are positive.
type Features struct {
	Peak      kiln.Celsius  // highest running median of five points of 10 s; NaN without a curve
	PeakAfter time.Duration // age of the first point within 3 °C of it: the top
	Over      time.Duration // age of the last point

	Within10, Within50, Within100 time.Duration // heard that close to the peak

	LastHundred kiln.CelsiusPerHour // over the 100 °C that end 3 °C below the peak
	Holds       []kiln.Hold         // in order
	WarmUp      kiln.CelsiusPerHour // from 80 to 120 °C
	DryingHold  time.Duration       // longest hold up to 105 °C on the way up
	QuartzUp    kiln.CelsiusPerHour // through 573 °C, from 553 to 593
	BurnOut     time.Duration       // from 300 to 900 °C on the way up

	CoolTop          kiln.CelsiusPerHour // the first 100 °C down, from 3 °C below the peak on
	CoolMiddle       kiln.CelsiusPerHour // from 1000 to 700 °C
	QuartzDown       kiln.CelsiusPerHour // through 573 °C
	CoolLower        kiln.CelsiusPerHour // from 700 to 300 °C
	CristobaliteDown kiln.CelsiusPerHour // through 226 °C, from 246 to 206

	// DegreeHours is the area under the heard part of the curve above 20 °C, in °C h: an index
	// to compare firings of one kiln with, and no energy.
	DegreeHours float64

	LongestGap time.Duration // of the known ones
	GapUnknown bool          // there is a gap of unknown length
	// a gap over 5 min, or of unknown length, begins or ends within 150 °C of the peak
	GapNearTop bool
}

// Temperatures at which a body changes its length, °C, and half the band that a rate is
// taken over.
const (
	// alpha to beta quartz; from memory of mineralogy handbooks, named by every source read
	quartzInversion       = 573
	cristobaliteInversion = 226 // from memory; 220 in Dodd and Murfin 1994 as cited by an encyclopaedia
	inversionBand         = 20
)

// FeaturesOf works out the features of one channel.
func FeaturesOf(c kiln.Curve, channel kiln.ChannelID) Features {
	nan := kiln.CelsiusPerHour(math.NaN())
	f := Features{Peak: kiln.NoTemperature(), LastHundred: nan, WarmUp: nan, QuartzUp: nan, CoolTop: nan,
		CoolMiddle: nan, QuartzDown: nan,
		CoolLower: nan, CristobaliteDown: nan}
	p := featurePoints(c, channel)
	if len(p) == 0 {
		return f
	}
	// the peak, and the first point within 3 °C of it, which is called the top
	at, peak := featureTop(p)
	first := 0
	for p[first].t < peak-3 {
		first++
	}
	f.Peak, f.PeakAfter, f.Over = kiln.Celsius(peak), hoursToDuration(p[first].hours),
		hoursToDuration(p[len(p)-1].hours)
	f.Within10, f.Within50, f.Within100 = hoursToDuration(hoursAbove(p, peak-10)),
		hoursToDuration(hoursAbove(p, peak-50)), hoursToDuration(hoursAbove(p, peak-100))

	// rates of bands on the way up and on the way down; a band above the peak has none
	up, down := p[:at+1], p[at:]
	rate := func(p []featurePoint, from, to float64) kiln.CelsiusPerHour {
		if math.Max(from, to) > peak {
			return nan
		}
		return kiln.CelsiusPerHour(math.Abs(to-from) / between(p, from, to))
	}
	f.LastHundred = rate(up, peak-103, peak-3)
	f.WarmUp = rate(up, 80, 120)
	f.QuartzUp = rate(up, quartzInversion-inversionBand, quartzInversion+inversionBand)
	if h := between(up, 300, 900); h > 0 {
		f.BurnOut = hoursToDuration(h)
	}
	f.CoolTop = rate(down, peak-3, peak-103)
	f.CoolMiddle = rate(down, 1000, 700)
	f.QuartzDown = rate(down, quartzInversion+inversionBand, quartzInversion-inversionBand)
	f.CoolLower = rate(down, 700, 300)
	f.CristobaliteDown = rate(down, cristobaliteInversion+inversionBand, cristobaliteInversion-inversionBand)

	// holds; the longest at up to 105 °C before the top dries the ware
	f.Holds = featureHolds(p, at)
	for _, h := range f.Holds {
		if h.At <= 105 && h.After < f.PeakAfter {
			f.DryingHold = max(f.DryingHold, h.For)
		}
	}
	// the area by trapezia, without what was not heard
	for i := 1; i < len(p); i++ {
		if !p[i].gap {
			f.DegreeHours += math.Max(0, (p[i-1].t+p[i].t)/2-20) * (p[i].hours - p[i-1].hours)
		}
	}
	f.gaps(c, channel)
	return f
}

// gaps looks at the gaps of the curve, and at how hot the channel was on either side.
func (f *Features) gaps(c kiln.Curve, channel kiln.ChannelID) {
	column := c.Column(channel)
	for _, g := range c.Gaps {
		hottest := kiln.NoTemperature()
		for i, t := range column {
			if !t.Known() {
				continue
			}
			if c.After[i] <= g.After {
				hottest = t
				continue
			}
			if !(t <= hottest) {
				hottest = t
			}
			break
		}
		if !g.Known {
			f.GapUnknown = true
		} else {
			f.LongestGap = max(f.LongestGap, g.For)
		}
		if (!g.Known || g.For > heatwork.GapToMark) && hottest >= f.Peak-heatwork.GapNearPeak {
			f.GapNearTop = true
		}
	}
}
