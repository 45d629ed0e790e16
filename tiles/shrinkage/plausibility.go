package shrinkage

import (
	"math"
	"strings"

	"lidwright/tiles"
)

// usualShrink is what a bar has lost of its wet length at each stage, log-percent, and how far
// one may miss that (one sd): common practice, no source. It serves where the fit says nothing.
var usualShrink = map[tiles.Stage]struct{ mean, sd float64 }{
	tiles.Wet: {0, 1}, tiles.Soft: {1.8, 1.2}, tiles.Leather: {3.6, 1.5}, tiles.Dry: {6.0, 1.3},
	tiles.Biscuit: {6.5, 1.6}, tiles.Fired: {11.2, 2.9},
}

// A length outside these shares of the wet one is kept, and counted by the owner alone.
const (
	leastLeft = 0.72
	mostLeft  = 1.01
	grewBy    = 2 // combined sds of the two readings by which a bar may be longer than a stage before
	// sds of one reading, of the coarser instrument, by which two of the same length may differ
	agreeBy  = 2
	nearSlip = 0.15 // of the expected length, within which a factor is called by its name
)

// askBeyond is how many sds below and above what is expected a length is asked about: the fewer fired bars of
// its clay, the less is taken without a word. The first fired length of a clay is asked about sooner where it
// is short, for clays that shrink much are rarer than the handbook has them; dry and bisque lengths later,
// for there little can be mistaken (own; TestQuestionsOfUnlikeStudios holds how often a true length is asked
// about).
func askBeyond(firedBars int, stage tiles.Stage) (below, above float64) {
	switch {
	case firedBars < 3 && stage != tiles.Fired:
		return 3, 3
	case firedBars == 0:
		return firstShort, 2.8
	case firedBars < 3:
		return 2.5, 2.5
	case firedBars < 10:
		return 3, 3
	}
	return 4, 4
}

const firstShort = 1.9 // sds

// askBeyondUsual is the same without a fit, where usualShrink speaks for all clays.
const askBeyondUsual = 3.5

// Plausibility is what a length should be before it is read.
type Plausibility struct {
	Length    tiles.Millimetre // to be expected
	Low, High tiles.Millimetre // beyond these the reading is asked about
	// fit; bar: its other readings and what is usual; marks: as laid out, and what is usual
	From string

	sd    float64 // log-percent, the reading's own error in it
	early []early // of a fired length: what it would be if it was read before the firing
}

// sds is how many sds l is longer than expected.
func (e Plausibility) sds(l tiles.Millimetre) float64 {
	return 100 * math.Log(float64(l/e.Length)) / e.sd
}

// holds reports whether l can be believed.
func (e Plausibility) holds(l tiles.Millimetre) bool { return l >= e.Low && l <= e.High }

// likelihood is the log density of l, log-percent.
func (e Plausibility) likelihood(l tiles.Millimetre) float64 {
	z := e.sds(l)
	return -z*z/2 - math.Log(e.sd)
}

// readingSD is how far one reading of an instrument misses, in mm (one sd): 0.5 by a steel rule, 0.2 by a
// calliper in an ordinary hand. Common practice, no source.
func readingSD(instrument string, step tiles.Millimetre) float64 {
	if usualStep(instrument) >= 0.5 || step >= 0.5 {
		return 0.5
	}
	return 0.2
}

// Plausible says what the length of r, of bar b, should be: by the clay and the bar's other readings
// together, where the fit has something to say, else by the bar's other readings and what clay usually loses.
// fit may be nil. It is false for masses.
func Plausible(b tiles.Bar, r tiles.Reading, fit *Fit) (Plausibility, bool) {
	if r.Mass != nil {
		return Plausibility{}, false
	}
	if fit != nil {
		if e, ok := fit.Expect(b, r); ok {
			sd := float64(e.SD)
			// a rule in an unsteady hand misses by more than its step tells
			if own := readingSD(r.Instrument, r.Step); own > 0.2 {
				sd = math.Hypot(sd, 100*own/float64(e.Length))
			}
			below, above := askBeyond(fit.firedBars(b.Clay), r.Stage)
			p := plausibility(e.Length, sd, below, above, "fit")
			p.early = fit.beforeFiring(b, r, p)
			p.narrow()
			return p, true
		}
	}
	// without a fit: from the marks as laid out, or the other reading of this bar that tells most
	u := usualShrink[r.Stage]
	from, sd, said := b.MarkLength, usualShrink[tiles.Wet].sd, "marks"
	if r.Stage != tiles.Wet { // as laid out, and what is lost since
		sd = math.Hypot(u.sd, sd)
	}
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
	return plausibility(from*tiles.Millimetre(math.Exp(-lost/100)), math.Hypot(sd, own), askBeyondUsual,
		askBeyondUsual, said), true
}

// plausibility is the range about l, from below to above sds on the log scale.
func plausibility(l tiles.Millimetre, sd, below, above float64, from string) Plausibility {
	times := func(sds float64) tiles.Millimetre { return tiles.Millimetre(math.Exp(sds * sd / 100)) }
	return Plausibility{Length: l, Low: l / times(below), High: l * times(above), From: from, sd: sd}
}

// firedBars is how many bars of a clay have a fired length that has a say.
func (f *equations) firedBars(id tiles.ClayID) (n int) {
	for ref, seen := range f.batches {
		if ref.Clay == id {
			n += seen.bars
		}
	}
	return n
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
func (e Plausibility) EntryError(l tiles.Millimetre, asTyped string,
	unit tiles.LengthUnit) (s tiles.EntryError, meant string) {
	if l >= e.Low && l <= e.High {
		return "", ""
	}
	low, high := min(e.Low, e.Length*(1-nearSlip)), max(e.High, e.Length*(1+nearSlip))
	near := func(v tiles.Millimetre) bool { return v >= low && v <= high }
	plain := strings.TrimRight(strings.ToLower(asTyped), " \"cimn")
	// another unit or a slipped point, near enough to what was to be expected
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
	if meant := e.swapped(asTyped, unit); meant != "" {
		return tiles.DigitsSwapped, meant
	}
	if meant := e.oneDigit(asTyped, unit); meant != "" {
		return tiles.DigitWrong, meant
	}
	return "", ""
}

// swapped is what was typed with two digits beside one another the other way round, where that can be
// believed.
func (e Plausibility) swapped(asTyped string, unit tiles.LengthUnit) string {
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
		if meant, ok := e.believes(string(swapped), unit); ok {
			return meant
		}
	}
	return ""
}

// oneDigit is what was typed with the next digit of the tens or hundreds, where just one such can well be
// believed: 87.7 for 97.7. Of the digits behind them several could be meant.
func (e Plausibility) oneDigit(asTyped string, unit tiles.LengthUnit) (only string) {
	e.Low, e.High = (e.Low+e.Length)/2, (e.High+e.Length)/2
	whole := strings.IndexFunc(asTyped, func(c rune) bool { return c < '0' || c > '9' })
	if whole < 0 {
		whole = len(asTyped)
	}
	for i := range max(whole-1, 0) {
		for _, d := range []byte{asTyped[i] - 1, asTyped[i] + 1} {
			if !isDigit(d) || i == 0 && d == '0' {
				continue
			}
			other := []byte(asTyped)
			other[i] = d
			meant, ok := e.believes(string(other), unit)
			if ok && only != "" {
				return ""
			}
			if ok {
				only = meant
			}
		}
	}
	return only
}

// believes reports whether text is a length that can be believed, and gives it with its unit.
func (e Plausibility) believes(text string, unit tiles.LengthUnit) (meant string, ok bool) {
	v, err := tiles.ParsePiece("length", text, unit)
	if err != nil || v.Millimetre() < e.Low || v.Millimetre() > e.High {
		return "", false
	}
	if v.Unit == unit && !strings.HasSuffix(strings.ToLower(text), string(unit)) && unit != tiles.Inch32nd {
		text += " " + string(unit)
	}
	return text, true
}

// isDigit reports whether c is one.
func isDigit(c byte) bool { return c >= '0' && c <= '9' }
