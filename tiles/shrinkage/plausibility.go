package shrinkage

import (
	"fmt"
	"math"
	"strings"

	"lidwright/tiles"
)

// usualShrink is what a bar has lost of its wet length at each stage, log-percent, and how far
// one may miss that (one sd): common practice, no source. It serves where the fit says nothing.
var usualShrink = map[tiles.Stage]struct{ mean, sd float64 }{
	tiles.Wet: {0, 1}, tiles.Soft: {1.8, 1.2}, tiles.Leather: {3.6, 1.5}, tiles.Dry: {6.0, 1.3}, tiles.Biscuit: {6.5, 1.6}, tiles.Fired: {11.2, 2.9},
}

// A length outside these shares of the wet one is kept, and counted by the owner alone.
const (
	leastLeft = 0.72
	mostLeft  = 1.01
	askBeyond = 4    // sds
	grewBy    = 2    // combined sds of the two readings by which a bar may be longer than a stage before
	agreeBy   = 2    // sds of one reading, of the coarser instrument, by which two of the same length may differ
	nearSlip  = 0.15 // of the expected length, within which a factor is called by its name
)

// Plausibility is what a length should be before it is read.
type Plausibility struct {
	Length    tiles.Millimetre // to be expected
	Low, High tiles.Millimetre // beyond these the reading is asked about
	From      string           // fit; bar: its other readings and what is usual; marks: as laid out, and what is usual
}

// readingSD is how far one reading of an instrument misses, in mm (one sd): 0.5 by a steel rule, 0.2 by a
// calliper in an ordinary hand. Common practice, no source.
func readingSD(instrument string, step tiles.Millimetre) float64 {
	if usualStep(instrument) >= 0.5 || step >= 0.5 {
		return 0.5
	}
	return 0.2
}

// Plausible says what the length of r, of bar b, should be: by the fit, where it has something to
// say, else by the bar's other readings and what clay usually loses. fit may be nil. It is false for
// masses.
func Plausible(b tiles.Bar, r tiles.Reading, fit *Fit) (Plausibility, bool) {
	if r.Mass != nil {
		return Plausibility{}, false
	}
	if fit != nil {
		if e, ok := fit.Expect(b, r); ok {
			sd := float64(e.SD)
			if own := readingSD(r.Instrument, r.Step); own > 0.2 { // a rule in an unsteady hand misses by more than its step tells
				sd = math.Hypot(sd, 100*own/float64(e.Length))
			}
			return plausibility(e.Length, sd, "fit"), true
		}
	}
	u := usualShrink[r.Stage]
	from, sd, said := b.MarkLength, math.Hypot(u.sd, usualShrink[tiles.Wet].sd), "marks"
	if from == 0 {
		from = tiles.UsualMarkLength
	}
	lost := u.mean
	for _, o := range b.Readings {
		if max(o.Mark, 1) != max(r.Mark, 1) || !o.Counts() || o.ID == r.ID && r.ID != "" {
			continue
		}
		v := usualShrink[o.Stage]
		if way := math.Sqrt(max(math.Abs(u.sd*u.sd-v.sd*v.sd), 1)); said == "marks" || way <= sd {
			from, sd, said, lost = o.Length, way, "bar", u.mean-v.mean
		}
	}
	own := 100 * math.Sqrt2 * readingSD(r.Instrument, r.Step) / float64(from)
	return plausibility(from*tiles.Millimetre(math.Exp(-lost/100)), math.Hypot(sd, own), said), true
}

func plausibility(l tiles.Millimetre, sd float64, from string) Plausibility {
	far := tiles.Millimetre(math.Exp(askBeyond * sd / 100))
	return Plausibility{l, l / far, l * far, from}
}

// Judge sees whether r, of bar b, can be believed and sets Unusual, Outside, EntryError and Question.
// fix is what was probably meant, as it would be typed; empty if there is no telling.
func Judge(b tiles.Bar, r *tiles.Reading, fit *Fit) (e Plausibility, fix string) {
	r.Unusual, r.Outside, r.EntryError, r.Question = false, false, "", ""
	e, ok := Plausible(b, *r, fit)
	if !ok {
		return e, ""
	}
	if wet := b.WetLengthOf(max(r.Mark, 1)); wet > 0 || r.Stage != tiles.Wet {
		if wet == 0 {
			wet = b.MarkLength
		}
		ratio := float64(r.Length / wet)
		r.Outside = ratio < leastLeft || ratio > mostLeft
	}
	before, grew := grew(b, *r)
	if !r.Outside && !grew && r.Length >= e.Low && r.Length <= e.High {
		return e, ""
	}
	r.Unusual = true
	about := fmt.Sprintf("about %s is to be expected", tiles.MM.Format(roundTo(e.Length, 0.1)))
	r.EntryError, fix = e.EntryError(r.Length, r.AsTyped, tiles.LengthUnit(r.Unit))
	switch {
	case fix != "":
		r.Question = fmt.Sprintf("Is %s right, or was %s meant? In mm, %s.", typed(*r), fix, about)
	case grew:
		r.EntryError = tiles.LongerThanBefore
		r.Question = fmt.Sprintf("Is %s right? It is longer than at %s (%s); %s.", typed(*r), before.Stage, tiles.MM.Format(roundTo(before.Length, 0.01)), about)
	case e.From == "fit":
		r.EntryError = tiles.FarFromClay
		r.Question = fmt.Sprintf("Is %s right? By the other bars of %s %s.", typed(*r), b.Clay, about)
	default:
		r.EntryError = tiles.FarFromUsual
		r.Question = fmt.Sprintf("Is %s right? Of %s apart %s.", typed(*r), tiles.MM.Format(b.MarkLength), about)
	}
	return e, fix
}

func typed(r tiles.Reading) string {
	if r.AsTyped == "" || strings.HasSuffix(r.AsTyped, r.Unit) || r.Unit == string(tiles.Inch32nd) {
		return tiles.MM.Format(r.Length)
	}
	return r.AsTyped + " " + r.Unit
}

func roundTo(l, step tiles.Millimetre) tiles.Millimetre {
	return tiles.Millimetre(math.Round(float64(l/step))) * step
}

// grew finds the stage of b before that r is longer than, by more than two combined sds of reading.
func grew(b tiles.Bar, r tiles.Reading) (before tiles.Reading, grew bool) {
	for _, o := range b.Readings {
		if max(o.Mark, 1) != max(r.Mark, 1) || !o.Counts() || !o.Stage.Before(r.Stage) {
			continue
		}
		if both := math.Hypot(readingSD(o.Instrument, o.Step), readingSD(r.Instrument, r.Step)); float64(r.Length-o.Length) > grewBy*both {
			before, grew = o, true
		}
	}
	return before, grew
}

// Agree reports whether two lengths are of the same stage between the same marks, and differ by no more
// than two sds of one reading: 0.4 mm by calliper, 1 mm where either was read by rule.
func Agree(a, b tiles.Reading) bool {
	if a.Mass != nil || b.Mass != nil || a.Stage != b.Stage || max(a.Mark, 1) != max(b.Mark, 1) {
		return false
	}
	sd := max(readingSD(a.Instrument, a.Step), readingSD(b.Instrument, b.Step))
	return math.Abs(float64(a.Length-b.Length)) <= agreeBy*sd+1e-9 // 100.9 and 100.5 are 0.4 apart
}

// Confirms finds the reading of b that r, judged and entered afresh, confirms: the newest that waits
// to be confirmed and agrees with r. It is false where there is none, and where r itself is for the owner.
func Confirms(b tiles.Bar, r tiles.Reading) (first tiles.Reading, ok bool) {
	if r.Outside {
		return first, false
	}
	for _, o := range b.Readings {
		if o.ID != r.ID && o.Needs() == "confirm" && Agree(o, r) {
			first, ok = o, true
		}
	}
	return first, ok
}

// Confirmed finds the reading of b that its reading r confirmed when it came; it is false if r
// confirmed none.
func Confirmed(b tiles.Bar, r tiles.Reading) (first tiles.Reading, ok bool) {
	for _, o := range b.Readings {
		if o.ID == r.ID {
			break
		}
		if c := o.Confirmed; c != nil && c.Why == tiles.ReadAgain && c.At.Equal(r.At) && Agree(o, r) {
			first, ok = o, true
		}
	}
	return first, ok
}

// EntryError names the mistake that brings the expected length to l, and gives what was probably meant,
// as it would be typed; both empty if there is none such, or l can be believed.
func (e Plausibility) EntryError(l tiles.Millimetre, asTyped string, unit tiles.LengthUnit) (s tiles.EntryError, meant string) {
	if l >= e.Low && l <= e.High {
		return "", ""
	}
	low, high := min(e.Low, e.Length*(1-nearSlip)), max(e.High, e.Length*(1+nearSlip))
	near := func(v tiles.Millimetre) bool { return v >= low && v <= high }
	plain := strings.TrimRight(strings.ToLower(asTyped), " \"cimn")
	switch {
	case near(l*25.4) && unit == tiles.MM:
		return tiles.InchAsMM, plain + " in"
	case near(l/25.4) && (unit == tiles.Inch || unit == tiles.Inch32nd):
		return tiles.MMAsInch, plain + " mm"
	case near(l * 25.4):
		return tiles.InchAsMM, tiles.MM.Format(roundTo(l*25.4, 0.01))
	case near(l / 25.4):
		return tiles.MMAsInch, tiles.MM.Format(roundTo(l/25.4, 0.01))
	case near(l / 10):
		return tiles.TenTimes, tiles.MM.Format(roundTo(l/10, 0.001))
	case near(l * 10):
		return tiles.Tenth, tiles.MM.Format(roundTo(l*10, 0.001))
	}
	for i := 0; i+1 < len(asTyped); i++ {
		j := i + 1
		if !isDigit(asTyped[j]) { // 49.35 and 94.35, and 93.45 typed as 94.35 across the point too
			j++
		}
		if j >= len(asTyped) || !isDigit(asTyped[i]) || !isDigit(asTyped[j]) || asTyped[i] == asTyped[j] {
			continue
		}
		swapped := []byte(asTyped)
		swapped[i], swapped[j] = swapped[j], swapped[i]
		if v, err := tiles.ParsePiece("length", string(swapped), unit); err == nil && v.Millimetre() >= e.Low && v.Millimetre() <= e.High {
			meant := string(swapped)
			if v.Unit == unit && !strings.HasSuffix(strings.ToLower(meant), string(unit)) && unit != tiles.Inch32nd {
				meant += " " + string(unit)
			}
			return tiles.DigitsSwapped, meant
		}
	}
	return "", ""
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }
