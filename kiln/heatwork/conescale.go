package heatwork

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// rungCount is the number of rungs: 36 whole cones, 022 to 14, and the two half cones.
const rungCount = 38

// gasConstant in kJ/(mol K): CODATA 2018, exact.
const gasConstant = 8.314462618e-3

// ConeScale is the cones from 022 to 14 with the kinetics fitted to their published end
// points. Each cone c softens on its own: dphi/dt = exp(-(E/R)(1/T - 1/tau))/t, T in kelvin, and is
// down when phi reaches 1. A ConeScale never changes once made and may be shared.
type ConeScale struct {
	cones [rungCount]Cone
	tauK  [rungCount]float64 // tau in kelvin
	k     [rungCount]float64 // E/R in kelvin; E is apparent, no constant of the material
	hours [rungCount]float64 // time at tau that is worth a whole ramp at 60 °C/h
}

// MainConeScale is the ladder of the main series, worked out from the embedded table at first
// use.
func MainConeScale() *ConeScale { return mainLadder() }

var mainLadder = sync.OnceValue(func() *ConeScale {
	l, err := newConeScale(coneTable())
	if err != nil {
		panic("kiln: embedded cones.csv: " + err.Error()) // tested with the program
	}
	return l
})

// newConeScale fits the ladder to the end points of the main series in ends; the others are
// left alone. It refuses a table whose cones would change places at 60 °C/h.
func newConeScale(ends []ConeEnd) (*ConeScale, error) {
	tau, s, err := fitLadder(ends)
	if err != nil {
		return nil, err
	}
	l := new(ConeScale)
	for i := range rungCount {
		// a scale that is not monotonic could not be read backwards
		if i > 0 && tau[i] <= tau[i-1] {
			return nil, fmt.Errorf("the table of cones puts cone %s at %.1f °C, not above cone %s at %.1f °C; look for a mistyped end point",
				rungLabels[i], tau[i], rungLabels[i-1], tau[i-1])
		}
		l.cones[i] = Cone{Label: rungLabels[i], Position: rungPosition(i), Tau: kiln.Celsius(tau[i]),
			S: kiln.Celsius(s[i])}
		// E/R from the slope of the end point by ln of the rate at tau: dT/dln r = T²/(E/R + 2T)
		tk := kiln.Celsius(tau[i]).Kelvin()
		l.tauK[i] = tk
		l.k[i] = tk*tk/s[i] - 2*tk
		// so many hours at tau do as much as the whole way up at 60 °C/h
		l.hours[i] = rampIntegral(l.k[i], tk) / 60
	}
	return l, nil
}

// rampIntegral is the integral of exp(-k(1/x - 1/t)) over x from 0 to t, in kelvin: the
// asymptotic series of the exponential integral, good to 120/(k/t)^4, under 1e-4 here.
func rampIntegral(k, t float64) float64 {
	x := k / t
	return t * t / k * (1 - 2/x + 6/(x*x) - 24/(x*x*x))
}

// Cones gives the rungs from least to most heat work, half cones included.
func (l *ConeScale) Cones() []Cone { return append([]Cone(nil), l.cones[:]...) }

// Cone finds a cone by its label, "06", "6", "5.5", also written "cone 6". The error is a
// *ConeError that says in words what is wrong.
func (l *ConeScale) Cone(label string) (Cone, error) {
	i, err := coneIndex(label)
	if err != nil {
		return Cone{}, err
	}
	return l.cones[i], nil
}

// Energy is the apparent activation energy of a cone in kJ/mol: a constant of the fit and of
// no material.
func (l *ConeScale) Energy(c Cone) float64 {
	tk := c.Tau.Kelvin()
	return gasConstant * (tk*tk/float64(c.S) - 2*tk)
}

// EndPoint is where the model puts the end point of c at a steady rate, in °C. It holds for
// 10 to 600 °C/h; the published table covers 15 to 150. NaN for a rate that is not above 0.
func (l *ConeScale) EndPoint(c Cone, rate kiln.CelsiusPerHour) kiln.Celsius {
	i, err := coneIndex(c.Label)
	if err != nil || !(rate > 0) || math.IsInf(float64(rate), 1) {
		return kiln.NoTemperature()
	}
	// ln phi(t) = ln(integral/(rate hours)) - k(1/t - 1/tau) is nearly straight in t: Newton.
	k, tk := l.k[i], l.tauK[i]
	t := tk + float64(c.S)*math.Log(float64(rate)/60)
	for range 50 {
		f := math.Log(rampIntegral(k, t)/(float64(rate)*l.hours[i])) - k*(1/t-1/tk)
		step := f / (k/(t*t) + 2/t)
		t -= step
		if math.Abs(step) < 1e-10 {
			break
		}
	}
	return kiln.Celsius(t - 273.15)
}

// Position is the place on the ladder of a heat work in °C: 0 at 022 to 35 at 14, which is
// as far as it goes; between -1 and 0 below 022.
func (l *ConeScale) Position(heatWork kiln.Celsius) float64 {
	c := &l.cones
	// below the first rung: by the width of the first step, no further than one whole cone
	if !(heatWork >= c[0].Tau) {
		if !heatWork.Known() {
			return -1
		}
		return math.Max(-1, float64((heatWork-c[0].Tau)/(c[1].Tau-c[0].Tau)))
	}
	// between two rungs by the straight line in °C; half cones are rungs too
	for i := 1; i < rungCount; i++ {
		if heatWork < c[i].Tau {
			a, b := c[i-1], c[i]
			return a.Position + (b.Position-a.Position)*float64((heatWork-a.Tau)/(b.Tau-a.Tau))
		}
	}
	return c[rungCount-1].Position
}

// HeatWorkAt is the heat work in °C at a place on the ladder. Below 022 it goes on in a
// straight line; callers who must not show that ask whether the place is below 0.
func (l *ConeScale) HeatWorkAt(position float64) kiln.Celsius {
	c := &l.cones
	for i := 1; i < rungCount; i++ {
		if position < c[i].Position {
			a, b := c[i-1], c[i]
			return a.Tau + (b.Tau-a.Tau)*kiln.Celsius((position-a.Position)/(b.Position-a.Position))
		}
	}
	return c[rungCount-1].Tau
}

// Text is the short text of a place on the ladder: the last whole cone passed and tenths of
// the way to the next, "6+0.1". Tenths stop at 0.9, so that no cone is named before it is
// passed.
func (l *ConeScale) Text(position float64) string {
	cone, tenths, at := coneTenths(position)
	if at != "" {
		return at
	}
	return fmt.Sprintf("%s+0.%d", cone, tenths)
}

// Words says a place on the ladder in words: "a tenth of the way from cone 6 to 7", "cone 6". A third of the
// way is not a third of the bend.
func (l *ConeScale) Words(position float64) message.Message {
	cone, tenths, at := coneTenths(position)
	switch {
	case !(position >= 0):
		return message.New("below {1}", rungLabels[0])
	case at != "":
		return message.New("{1} or more", rungLabels[rungCount-1])
	case tenths == 0:
		return message.New("cone {1}", cone)
	}
	return message.New(ways[tenths], cone, wholeConeLabel(int(position)+1))
}

// ways are the tenths of the way from one cone to the next in words.
var ways = [10]message.Key{1: "a tenth of the way from cone {1} to {2}",
	2: "a fifth of the way from cone {1} to {2}",
	3: "a third of the way from cone {1} to {2}", 4: "less than half of the way from cone {1} to {2}",
	5: "half of the way from cone {1} to {2}", 6: "more than half of the way from cone {1} to {2}",
	7: "two thirds of the way from cone {1} to {2}", 8: "four fifths of the way from cone {1} to {2}",
	9: "nearly all of the way from cone {1} to {2}"}

// coneTenths cuts a place into the last whole cone passed and tenths; at the ends of the
// ladder it is a text alone.
func coneTenths(position float64) (cone string, tenths int, at string) {
	switch {
	case !(position >= 0):
		return "", 0, "below 022"
	case position >= 35:
		return "", 0, "14 or more"
	}
	whole := math.Floor(position)
	return wholeConeLabel(int(whole)), min(9, int(math.Round(10*(position-whole)))), ""
}

// Parse reads a cone text, "06", "6+0.1", "cone 6", "5.5", and gives its heat work in °C.
// The error is a *ConeError.
func (l *ConeScale) Parse(text string) (kiln.Celsius, error) {
	t := tidyCone(text)
	label, tenths, cut := strings.Cut(t, "+")
	c, err := l.Cone(label)
	if err != nil {
		return kiln.NoTemperature(), err
	}
	if !cut {
		return c.Tau, nil
	}
	// tenths stand behind whole cones alone: 5.5+0.2 is no way that anybody tells
	part, err := strconv.ParseFloat(strings.TrimSpace(tenths), 64)
	if err != nil || !(part >= 0 && part < 1) || c.Position != math.Floor(c.Position) {
		return kiln.NoTemperature(), &ConeError{Text: text, Nearest: c.Label,
			Why: message.New("{1} is no place on the ladder: after the plus stands the share of the way to the next cone, 0.0 to 0.9.", strconv.Quote(text))}
	}
	if part > 0 && c.Position >= 35 {
		return kiln.NoTemperature(), &ConeError{Text: text, Nearest: "14",
			Why: message.New("The ladder ends at cone 14; there is no way beyond to be told in tenths.")}
	}
	return l.HeatWorkAt(c.Position + part), nil
}
