package shrinkage

import (
	"math"
	"slices"
	"strings"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// Judgement is what is thought of a length before it is kept.
type Judgement struct {
	Belief  Plausibility // what was to be expected, and within what
	Fix     string       // what was probably meant, as it would be typed; empty if there is no telling
	Earlier *Doubt       // the length of before that does not go with the others; nil: none
}

// Doubt is an earlier length that the clay and the other lengths of its bar contradict.
type Doubt struct {
	// the earlier one
	Reading tiles.Reading
	// what it should be by the others
	Expected tiles.Millimetre
	// what is asked about it
	Question message.Message
}

// Judge sees whether r, of bar b, can be believed and sets Unusual, Outside, EntryError and Question. Where
// r goes with all the other lengths but one of before, that one is doubted and r is not.
func Judge(b tiles.Bar, r *tiles.Reading, fit *Fit) (j Judgement) {
	r.Unusual, r.Outside, r.EntryError, r.Question = false, false, "", message.Message{}
	var ok bool
	if j.Belief, ok = Plausible(b, *r, fit); !ok {
		return j
	}
	// of less than 72 % or more than 101 % of the wet length only the owner decides
	if wet := b.WetLengthOf(max(r.Mark, 1)); wet > 0 || r.Stage != tiles.Wet {
		if wet == 0 {
			wet = b.MarkLength
		}
		ratio := float64(r.Length / wet)
		r.Outside = ratio < leastLeft || ratio > mostLeft
	}
	// an earlier length may be the wrong one; then r is judged without it
	if !r.Outside {
		if j.Earlier = doubted(b, *r, fit, j.Belief); j.Earlier != nil && j.Earlier.Reading.Counts() {
			j.Belief, _ = Plausible(without(b, j.Earlier.Reading), *r, fit)
			b = without(b, j.Earlier.Reading)
		}
	}
	// clay does not grow, and a length of before the firing was not fired
	before, grew := longer(fit, b, *r)
	var early message.Message
	if stage := j.Belief.notFiredYet(r.Length); !grew && stage != "" {
		early = notYet(b, *r, stage)
	}
	if !r.Outside && !grew && early.IsZero() && j.Belief.holds(r.Length) {
		return j
	}
	// asked about: which mistake it looks like, and what was meant
	r.Unusual = true
	if early.IsZero() {
		r.EntryError, j.Fix = j.Belief.EntryError(r.Length, r.AsTyped, tiles.LengthUnit(r.Unit))
	}
	r.Question = j.question(b, r, fit, before, grew, early)
	return j
}

// question is what is asked about r, and names its mistake where nothing else does.
func (j Judgement) question(b tiles.Bar, r *tiles.Reading, fit *Fit, before tiles.Reading, grew bool,
	early message.Message) message.Message {
	mm := func(l, step tiles.Millimetre) tiles.Measured { return tiles.MM.Of(roundTo(l, step)) }
	about := mm(j.Belief.Length, 0.1)
	switch {
	case !early.IsZero():
		r.EntryError = tiles.NotFiredYet
		return message.New("Is {1} right? {2} About {3} is to be expected.", typed(*r), early, about)
	case grew && j.Fix != "":
		return message.New("Is {1} right, or was {2} meant? It is longer than at {3} ({4}).", typed(*r),
			j.Fix,
			before.Stage, mm(before.Length, 0.01))
	case j.Fix != "":
		return message.New("Is {1} right, or was {2} meant? In mm, about {3} is to be expected.", typed(*r),
			j.Fix,
			about)
	case grew:
		r.EntryError = tiles.LongerThanBefore
		return message.New("Is {1} right? It is longer than at {2} ({3}); about {4} is to be expected.",
			typed(*r),
			before.Stage, mm(before.Length, 0.01), about)
	case j.Belief.From == "fit" && fit.firedBars(b.Clay) > 0:
		r.EntryError = tiles.FarFromClay
		return message.New("Is {1} right? By the other bars of {2} about {3} is to be expected.", typed(*r),
			b.Clay,
			about)
	}
	r.EntryError = tiles.FarFromUsual
	return message.New("Is {1} right? Of {2} apart about {3} is to be expected.", typed(*r),
		tiles.MM.Of(b.MarkLength),
		about)
}

// OfAnother finds among the other bars of a load the one whose length l, which cannot be believed of bar b,
// most likely is: it has that very length at the stage of r, or it waits for one and l lies within an sd of
// what is expected of it. It is false where there is none, or two.
func OfAnother(load []tiles.Bar, b tiles.Bar, r tiles.Reading, fit *Fit) (other tiles.Code, ok bool) {
	for _, o := range load {
		if o.Code == b.Code {
			continue
		}
		has, is := false, false
		for _, x := range o.Readings {
			if x.Stage == r.Stage && x.Mass == nil && x.Struck == nil {
				has, is = true, is || x.Length == r.Length
			}
		}
		if e, known := Plausible(o, r, fit); !has && known && math.Abs(e.sds(r.Length)) <= 1 {
			is = true
		}
		if is && ok {
			return "", false
		}
		if is {
			other, ok = o.Code, true
		}
	}
	return other, ok
}

// AskAnother makes the question about r that it may be the length of another bar.
func (j Judgement) AskAnother(r *tiles.Reading, other tiles.Code) {
	r.EntryError = tiles.AnotherBar
	r.Question = message.New("Is {1} right, or is it that of bar {2}? About {3} is to be expected.",
		typed(*r), other,
		tiles.MM.Of(roundTo(j.Belief.Length, 0.1)))
}

// typed is a length as it was typed, with its unit.
func typed(r tiles.Reading) string {
	if r.AsTyped == "" || strings.HasSuffix(r.AsTyped, r.Unit) || r.Unit == string(tiles.Inch32nd) {
		return tiles.MM.Format(r.Length)
	}
	return r.AsTyped + " " + r.Unit
}

// roundTo is a length to a multiple of step, mm.
func roundTo(l, step tiles.Millimetre) tiles.Millimetre {
	return tiles.Millimetre(math.Round(float64(l/step))) * step
}

// without is b as if r had never been entered.
func without(b tiles.Bar, r tiles.Reading) tiles.Bar {
	b.Readings = slices.DeleteFunc(slices.Clone(b.Readings), func(o tiles.Reading) bool {
		return o.ID == r.ID
	})
	return b
}

// longer finds the stage of b before that r is longer than, by more than two combined sds of reading: those
// that are usual, or that the bars of the site tell, where they are wider.
func longer(f *Fit, b tiles.Bar, r tiles.Reading) (before tiles.Reading, grew bool) {
	for _, o := range b.Readings {
		if max(o.Mark, 1) != max(r.Mark, 1) || !o.Counts() || !o.Stage.Before(r.Stage) {
			continue
		}
		if both := math.Hypot(readingSDIn(f, o),
			readingSDIn(f, r)); float64(r.Length-o.Length) > grewBy*both {
			before, grew = o, true
		}
	}
	return before, grew
}

// readingSDIn is the sd of one reading, mm: that of its instrument, or what the bars of the site tell where
// that is wider. f may be nil.
func readingSDIn(f *Fit, r tiles.Reading) float64 {
	sd := readingSD(r.Instrument, r.Step)
	if f == nil {
		return sd
	}
	return max(sd, math.Exp(f.solved.Theta[thetaReading]))
}

// Whether a length was read before the firing it is told of (own; found in made-up studios).
const (
	leastStep    = 1.0 // log-percent that the firing should take off; below, nobody could see it
	mayBeEarlier = 3   // sds within which a length must lie of what the bar had before
	likelierBy   = 2.0 // by which its log density must be higher there
	firstByLess  = 0.3 // by which it may be lower there while the clay has no fired bar
)

// early is what a fired length would be if it was read at a stage before.
type early struct {
	stage tiles.Stage
	at    Plausibility
	by    float64 // how much likelier it must be there
}

// beforeFiring is what the clay and the other readings of b let expect of r at dry and at bisque, where the
// firing should have taken enough off.
func (f *Fit) beforeFiring(b tiles.Bar, r tiles.Reading, fired Plausibility) (out []early) {
	if r.Stage != tiles.Fired {
		return nil
	}
	by := likelierBy
	if f.firedBars(b.Clay) == 0 {
		by = -firstByLess
	}
	for _, stage := range []tiles.Stage{tiles.Dry, tiles.Biscuit} {
		s := r
		s.Stage, s.ID = stage, r.ID+" "+string(stage)
		if e, ok := Plausible(b, s, f); ok && 100*math.Log(float64(e.Length/fired.Length)) >= leastStep {
			out = append(out, early{stage, e, by})
		}
	}
	return out
}

// notFiredYet is the stage before the firing that the fired length l rather belongs to; empty where it does
// not.
func (e Plausibility) notFiredYet(l tiles.Millimetre) tiles.Stage {
	stage, best := tiles.Stage(""), math.Inf(-1)
	for _, o := range e.early {
		likely := o.at.likelihood(l)
		if math.Abs(o.at.sds(l)) <= mayBeEarlier && likely-e.likelihood(l) >= o.by && likely > best {
			stage, best = o.stage, likely
		}
	}
	return stage
}

// narrow lowers High to where a length is rather one of before the firing.
func (e *Plausibility) narrow() {
	const steps = 200
	for i := range steps {
		if l := e.Low + (e.High-e.Low)*tiles.Millimetre(i)/steps; e.notFiredYet(l) != "" {
			e.High = l
			return
		}
	}
}

// notYet says that the fired length r is rather one of a stage before.
func notYet(b tiles.Bar, r tiles.Reading, stage tiles.Stage) message.Message {
	for _, o := range b.Readings {
		if o.Stage == stage && max(o.Mark, 1) == max(r.Mark, 1) && o.Counts() {
			return message.New("It equals its {1} length ({2}): is it fired yet?", stage,
				tiles.MM.Of(roundTo(o.Length, 0.01)))
		}
	}
	return message.New("That is a {1} length: is it fired yet?", stage)
}

// What is taken for the heat of a firing that nothing is known of yet (own).
const (
	assumedBisque = kiln.Celsius(1000)
	assumedSD     = 25.0 // °C, one sd
)

// assumedHeat is the firing that r is taken to be measured after where none is known: as hot as the clay was
// fired as a rule, else where it matures.
func (f *equations) assumedHeat(b tiles.Bar, r tiles.Reading) tiles.Heat {
	h := tiles.Heat{Load: "assumed for " + string(b.Code), Kind: kiln.Glaze, ExtraSD: assumedSD, At: r.At,
		Work: kiln.Celsius(f.clay(b.Clay).matures)}
	if tested := f.tested[b.Clay].tested; len(tested) > 0 {
		h.Work = kiln.Celsius(tested[len(tested)/2])
	}
	if r.Stage == tiles.Biscuit {
		h.Kind, h.Work = kiln.Bisque, assumedBisque
	}
	return h
}

// What it takes to doubt an earlier length rather than the one just read (own).
const (
	tellApart    = 1.2 // times as many sds off
	farByItself  = 4.5 // sds off, where the one just read can be believed beside it
	justReadName = "the one just read"
)

// doubted finds the earlier length of b that r and the others contradict: of all lengths between the marks
// the farthest from what the rest lets expect, with which r is out of belief and without which it is not. One
// that waits to be confirmed is doubted wherever it is out of belief and r is not. own is what is believed of
// r.
func doubted(b tiles.Bar, r tiles.Reading, fit *Fit, own Plausibility) (worst *Doubt) {
	waits := slices.ContainsFunc(b.Readings, func(o tiles.Reading) bool { return o.Needs() == "confirm" })
	// all goes together
	if own.From != "fit" || len(b.Readings) < 2 || !waits && math.Abs(own.sds(r.Length)) < 1 {
		return nil
	}
	r.ID = justReadName
	with := b
	with.Readings = append(slices.Clip(b.Readings), r)
	far := tellApart * math.Abs(own.sds(r.Length))
	// each length between the same marks, by what all the others with r let expect
	for _, o := range b.Readings {
		if max(o.Mark, 1) != max(r.Mark, 1) || o.Mass != nil || o.Stage == r.Stage ||
			!o.Counts() && o.Needs() != "confirm" {
			continue
		}
		e, ok := Plausible(with, o, fit)
		if !ok || e.From != "fit" || e.holds(o.Length) || math.Abs(e.sds(o.Length)) < far {
			continue
		}
		if !o.Counts() && !own.holds(r.Length) || o.Counts() && own.holds(r.Length) &&
			math.Abs(e.sds(o.Length)) < farByItself {
			continue
		}
		// without it r must go with what is left
		if alone, ok := Plausible(without(b, o), r, fit); !ok || alone.From != "fit" ||
			!alone.holds(r.Length) {
			continue
		}
		far = math.Abs(e.sds(o.Length))
		worst = &Doubt{Reading: o, Expected: e.Length, Question: message.New(
			"Was {1} right at {2}? With {3} at {4} about {5} is to be expected.",
			typed(o), o.Stage, typed(r), r.Stage, tiles.MM.Of(roundTo(e.Length, 0.1)))}
	}
	return worst
}
