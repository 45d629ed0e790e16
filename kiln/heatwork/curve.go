package heatwork

import (
	"math"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// Parts of the range of a heat work, °C (one sd) or a share.
const (
	modelSD   = 3    // fit and table against cones of one batch (own choice)
	holdShare = 0.25 // of what was gained from the top on (own choice): a factor 1 to 3 in doubt

	// Beyond the rates that nearly every cone has a published end point for, each e-fold adds so much: on the
	// slow side as end points at 15 °C/h that the fit never saw lie off it (TestEndPointsLeftOut: rms 5.4
	// °C), on the fast side, of which no table of these cones tells, a little more (own choice).
	slowestTold, fastestTold = 60, 150 // °C/h
	slowSD, fastSD           = 3.25, 4 // °C an e-fold of the rate
)

// rateSD is what a climb at a rate in °C/h adds to the doubt of a heat work; nothing for a rate that is not
// known.
func rateSD(rate float64) float64 {
	switch {
	case rate <= 0:
		return 0
	case rate < slowestTold:
		return slowSD * math.Log(slowestTold/rate)
	// a climb at once, without a rate, counts as 10,000 °C/h
	case rate > fastestTold:
		return fastSD * math.Log(min(rate, 1e4)/fastestTold)
	}
	return 0
}

// ConeText is the cone text, "6+0.1", "below 022", "14 or more"; empty where it is not known.
func ConeText(w kiln.HeatWork) string {
	if math.IsNaN(w.Position) {
		return ""
	}
	return MainConeScale().Text(w.Position)
}

// ConeWords is the cone in words, "a tenth of the way from cone 6 to 7"; "not known", with what cones that
// all stood upright tell, "not known: below cone 5".
func ConeWords(w kiln.HeatWork) message.Message {
	l := MainConeScale()
	switch {
	case !math.IsNaN(w.Position):
		return l.Words(w.Position)
	case !w.High.Known():
		return message.New("not known")
	}
	return message.New("not known: below cone {1}",
		wholeConeLabel(max(0, int(math.Ceil(l.Position(w.High))))))
}

// CurveHeatWork works out the heat work of one channel of a whole firing, with bias added
// to every reading. A curve without the channel, or with fewer than two good readings of it,
// tells nothing.
func CurveHeatWork(c kiln.Curve, channel kiln.ChannelID, limit, bias kiln.Celsius) kiln.HeatWork {
	g := NewHeatGauge(MainConeScale(), limit)
	g.Bias = bias
	g.Play(c, channel)
	return g.HeatWork()
}

// Play hands a whole curve to the gauge. A gap of the curve whose length is not known is
// joined as such; the others show in the ages.
func (g *HeatGauge) Play(c kiln.Curve, channel kiln.ChannelID) {
	column := c.Column(channel)
	gap := 0
	for i, t := range column {
		if !t.Known() {
			continue
		}
		after := c.After[i]
		unknown := false
		// all gaps since the last good reading: one of unknown length makes the whole silence unknown
		for ; gap < len(c.Gaps) && c.Gaps[gap].After <= after; gap++ {
			unknown = unknown || !c.Gaps[gap].Known
		}
		if unknown {
			g.Rejoin(after, t)
			continue
		}
		g.Add(after, t)
	}
}

// heatWorkOf makes a heat work from a value and its sd, for those that come from no curve.
func heatWorkOf(c kiln.Celsius, sd float64, from string) kiln.HeatWork {
	return heatWorkAround(c, kiln.Celsius(kiln.Z90*sd), from)
}

// heatWorkAround makes a heat work from a value and half its 90 % range.
func heatWorkAround(c, half kiln.Celsius, from string) kiln.HeatWork {
	l := MainConeScale()
	w := kiln.NoHeatWork(from)
	w.Position = l.Position(c)
	if w.Position >= 0 {
		w.C, w.Low, w.High = c, c-half, c+half
	}
	return w
}
