package heatwork

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// Seen says in a word how a witness cone stood, where its tilt was not measured.
type Seen string

const (
	Upright Seen = "upright"
	Leaning Seen = "leaning"
	Down    Seen = "down"
)

// ConeReading is a witness cone as it stood on its shelf after a firing.
type ConeReading struct {
	ID     string      // of the entry; "" for the cone of a sitter
	Cone   string      // as pressed into it
	Series kiln.Series // "" is the main one
	Shelf  string      // "" where none was named
	Seen   Seen        // "" where Tilted
	Tilt   float64     // degrees of the tip's side from upright, 0 to 180; counts before Seen
	Tilted bool        // Tilt was told
}

// ConeSays is what a reading tells of the heat work at its place.
type ConeSays struct {
	Cone     Cone            // the rung of the main series with its label
	Side     ConeSide        // whether C is a value or a bound
	C        kiln.Celsius    // the heat work, or the bound of it
	SD       float64         // one sd of C, from reading the tilt and from cone to cone, °C
	End      kiln.Celsius    // heat work at the end point of this cone, by its series
	From, To float64         // tilts, degrees, that what was told stands for; infinite: open to that side
	OwnSD    float64         // the part of SD that no reader brings: from cone to cone, and of the series
	Words    message.Message // "cone 6 at 45°", "cone 6 upright"
}

// ConeSide says whether a reading is a value or a bound.
type ConeSide int

const (
	ConeAt    ConeSide = iota // the heat work was C
	ConeUnder                 // upright: it was less than C
	ConeOver                  // down: it was more than C
)

// The reading of a cone. The lean is taken as that of a viscous body: dtheta/dphi goes with
// sin theta, from 8° (as cones are set) at phi = 0 to 90° at phi = 1 (own derivation,
// unpublished; ln tan 4° = -2.66).
const (
	coneLeanLog    = 2.66
	coneLeast      = 25.0 // degrees: less is upright
	coneMost       = 95.0 // degrees: more is down
	coneEye        = 5.0  // degrees by which a tilt is misread by eye, one sd (own choice)
	coneHabit      = 6.0  // degrees that one reader always reads too much or too little, one sd (own choice)
	coneToCone     = 3.0  // °C, one sd between cones of a box (own choice)
	coneSmallSD    = 8.0  // °C more for a small cone: the model lies 11 °C under that table at 300 °C/h
	coneFarOff     = 75.0 // °C from what was expected that no probe and no reading explains
	coneQuestioned = 4.0  // sds beyond which a reading asks "sure?"
)

// leanPhi is how much of its work a cone at a tilt in degrees has seen: 1 at 90°.
func leanPhi(tilt float64) float64 {
	return 1 + math.Log(math.Tan(tilt*math.Pi/360))/coneLeanLog
}

// leanWork is the log of the work that a cone at a tilt in degrees has seen, and its slope a degree. Beyond
// where the law of the lean holds it goes on straight, so that two tilts never stand for the same work.
func leanWork(tilt float64) (log, slope float64) {
	held := min(max(tilt, 9), 170)
	phi := leanPhi(held)
	slope = math.Pi / 180 / (coneLeanLog * math.Sin(held*math.Pi/180) * phi)
	return math.Log(phi) + slope*(tilt-held), slope
}

// leanTilt is the tilt in degrees of a cone that has seen exp(log) of its work.
func leanTilt(log float64) float64 {
	return 2 * math.Atan(math.Exp(coneLeanLog*(math.Exp(log)-1))) * 180 / math.Pi
}

// ReadCone turns a reading into heat work. The error is a *ConeError that says in words why a
// cone cannot be used.
func (l *ConeScale) ReadCone(r ConeReading) (ConeSays, error) {
	// which cone, how far its series lies off the main one, and how it stood
	c, err := l.Cone(r.Cone)
	if err != nil {
		return ConeSays{}, err
	}
	shift, extra, err := l.seriesShift(c, r.Series)
	if err != nil {
		return ConeSays{}, err
	}
	tilt, words, err := r.stood(c)
	if err != nil {
		return ConeSays{}, err
	}
	says := ConeSays{Cone: c, Words: words, End: c.Tau + shift, From: coneLeast, To: coneMost,
		OwnSD: math.Hypot(coneToCone, extra)}
	// a tilt in steps stands for half a step to both sides, evenly: its sd is that half over the root of
	// 3
	eye, field := coneEye, 0.0
	half := 0.0 // to either side of a tilt that was told
	if r.Tilted {
		half = tiltStep(tilt) / 2
		eye = math.Hypot(eye, half/math.Sqrt(3))
	}
	at := tilt
	switch { // all that is called upright, or down, has one edge: how far beyond it nobody reads well
	case tilt < coneLeast:
		says.Side, says.From, at = ConeUnder, math.Inf(-1), coneLeast
		says.To = firstStep(coneLeast, 2*half) - half
	case tilt > coneMost:
		says.Side, says.To, at = ConeOver, math.Inf(1), coneMost
		says.From = firstStep(coneMost, 2*half) - half
	case r.Tilted:
		says.From, says.To = tilt-half, tilt+half
	}
	// the work at that tilt in e-folds, which S turns into °C
	log, perDegree := leanWork(at)
	switch {
	case says.Side == ConeOver:
		log = 0 // taken as phi = 1
	case !r.Tilted && r.Seen == Leaning:
		log, field = leaningWork()
	}
	says.C = says.End + c.S*kiln.Celsius(log)
	// independent doubts add as squares: the box, the reader's habit, the eye, the word "leaning"
	s := float64(c.S)
	says.SD = math.Sqrt(square(says.OwnSD) + square(s)*(square(perDegree*coneHabit)+
		square(perDegree*eye)+square(field)))
	return says, nil
}

// firstStep is the first tilt from edge on that is told in such steps; edge itself without steps.
func firstStep(edge, step float64) float64 {
	if step == 0 {
		return edge
	}
	return step * math.Ceil(edge/step)
}

// tiltStep is the step to which a tilt was told, by its own digits: 15°, 5° or 1°.
func tiltStep(tilt float64) float64 {
	for _, step := range []float64{15, 5} {
		if math.Mod(tilt, step) == 0 {
			return step
		}
	}
	return 1
}

// square is x times x.
func square(x float64) float64 { return x * x }

const leaningMiddle = (coneLeast + coneMost) / 2 // degrees

// leaningWork is the mean and the sd of the log of the work that a cone has seen which somebody called
// leaning: anywhere from 25° to 95° alike.
func leaningWork() (mean, sd float64) {
	const parts = 70
	var sum, squares float64
	for i := range parts {
		l := math.Log(leanPhi(coneLeast + (coneMost-coneLeast)*(float64(i)+0.5)/parts))
		sum, squares = sum+l/parts, squares+l*l/parts
	}
	return sum, math.Sqrt(squares - sum*sum)
}

// stood is the tilt that a reading stands for, in words too.
func (r ConeReading) stood(c Cone) (tilt float64, words message.Message, err error) {
	if r.Tilted {
		if !(r.Tilt >= 0 && r.Tilt <= 180) {
			return 0, message.Message{}, &ConeError{Text: r.Cone,
				Why: message.New("A tilt of {1}° cannot be: upright is 0, level is 90, hanging down is 180.",
					fmt.Sprintf("%g", r.Tilt))}
		}
		if r.Seen == Upright && r.Tilt > coneMost || r.Seen == Down && r.Tilt < coneLeast {
			return 0, message.Message{}, &ConeError{Text: r.Cone,
				Why: message.New("Cone {1} cannot be both {2} and at {3}°.", c.Label, r.Seen,
					fmt.Sprintf("%g", r.Tilt))}
		}
		return r.Tilt, message.New("cone {1} at {2}", c.Label, fmt.Sprintf("%g°", r.Tilt)), nil
	}
	switch r.Seen {
	case Upright:
		return 0, message.New("cone {1} upright", c.Label), nil
	case Leaning:
		return leaningMiddle, message.New("cone {1} leaning", c.Label), nil
	case Down:
		return 180, message.New("cone {1} down", c.Label), nil
	}
	return 0, message.Message{}, &ConeError{Text: r.Cone,
		Why: message.New("How cone {1} stood was not told: upright, leaning, down, or its tilt.", c.Label)}
}

// seriesShift is how far cones of a series end above those of the model at the same rate
// (mean over the rates that their table has), and what sd that adds.
func (l *ConeScale) seriesShift(c Cone, series kiln.Series) (shift kiln.Celsius, extraSD float64, err error) {
	if series == "" || series == SeriesSelfSupporting {
		return 0, 0, nil
	}
	var sum kiln.Celsius
	n := 0
	var has []string
	known, rated := false, false
	// how far the published end points of this series lie above the model, at the rates of the table
	for _, e := range coneTable() {
		if e.Series != series {
			continue
		}
		known = true
		if e.Rate == 0 {
			continue
		}
		rated = true
		if !slices.Contains(has, e.Cone) {
			has = append(has, e.Cone)
		}
		if e.Cone == c.Label {
			sum += e.At - l.EndPoint(c, e.Rate)
			n++
		}
	}
	// no such series, one without rates, or none of this cone
	e := &ConeError{Text: string(series), Series: true}
	switch {
	case !known:
		e.Why = message.New("No series of cones is called {1}.", strconv.Quote(string(series)))
		e.Nearest = string(SeriesSelfSupporting)
	case !rated:
		e.Why = message.New("Cones of the European (Seger) ladder ({1}) cannot be turned into heat work: at what rates their end points hold is not known here, and cones of one number end up to {2} apart.", series, segerApart)
	case n == 0:
		e.Why = message.New("The table of {1} has no cone {2}; it has {3} to {4}.", series, c.Label, has[0],
			has[len(has)-1])
	default:
		if series == SeriesSmall {
			extraSD = coneSmallSD
		}
		return sum / kiln.Celsius(n), extraSD, nil
	}
	return 0, 0, e
}

// MistakenCone gives the cone that was probably meant where a reading lies far off what the
// curve says: 6 for 06 and 06 for 6, "" if that is no better.
func (l *ConeScale) MistakenCone(label string, heatWork kiln.Celsius) string {
	t := tidyCone(label)
	other := "0" + t
	if strings.HasPrefix(t, "0") {
		other = t[1:]
	}
	c, err := l.Cone(label)
	o, err2 := l.Cone(other)
	if err != nil || err2 != nil || !heatWork.Known() {
		return ""
	}
	if math.Abs(float64(o.Tau-heatWork)) < coneFarOff && math.Abs(float64(c.Tau-heatWork)) > coneFarOff {
		return o.Label
	}
	return ""
}

// SeenAt is the word for a tilt in degrees.
func SeenAt(tilt float64) Seen {
	switch {
	case tilt < coneLeast:
		return Upright
	case tilt > coneMost:
		return Down
	}
	return Leaning
}

// Render is the word for s in the reader's language.
func (s Seen) Render(r message.Reader) string { return r.Word(string(s)) }
