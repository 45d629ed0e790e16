package heatwork

import (
	"cmp"
	"math"
	"slices"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// What is taken of a probe before its cones tell (own choices; re-estimate from a site's own
// readings once it has 20).
const (
	probeDriftSD     = 0.3  // °C a firing, of a new probe
	probeStepSD      = 0.3  // °C a firing, of the bias beside its drift
	probeDriftStepSD = 0.02 // °C a firing, of the drift
	probeReach       = 150  // °C from where cones were read that the bias holds
	probeLowest      = 800  // °C below which there is none
	noChance         = 1e-6 // a bound less likely than that is a contradiction
	noticeBias       = 8    // °C
)

// FiredCones is one firing of a probe's life with the cones that stood on its shelf.
type FiredCones struct {
	Firing kiln.FiringID // whose cones these are
	// heat work of the uncorrected curve; NaN if there is no curve or it stayed below 022
	AsIndicated kiln.Celsius
	OwnSD       float64       // its own doubt, °C (one sd): kiln.HeatWork.OwnSD
	Readings    []ConeReading // in any order
}

// ProbeBias is what the cones have told of a probe by the end of one firing: true minus
// indicated near the top, and how that drifts.
type ProbeBias struct {
	Firing  kiln.FiringID // by whose end this was known; "" before the first, and of Next
	Bias    kiln.Celsius  // to be added to what the probe says
	BiasSD  float64       // °C
	Drift   float64       // °C a firing
	DriftSD float64       // °C a firing
	Cones   int           // readings counted so far in this life
	Low     kiln.Celsius  // lowest and highest heat work at which cones were read; NaN before the first
	High    kiln.Celsius  // NaN before the first
	Remarks []ConeRemark  // on the cones of this firing

	start float64 // sd of a new probe
	known probeState
}

// ConeRemark is what a reading of this firing asks or says beside its value.
type ConeRemark struct {
	Reading string // its ID
	// a sentence; empty where a bound lies so far on the true side that it tells nothing
	Says    message.Message
	Counted bool // the reading is in the bias all the same
	// HeatAlone: the firing has no whole curve, so that the cone tells its heat work and nothing of the
	// probe.
	HeatAlone bool
}

// NewProbeBias is what is known of a probe without cones: nothing but the tolerance of its
// type and class near the top, taken as one sd.
func NewProbeBias(tolerance kiln.Celsius) ProbeBias {
	start := float64(tolerance)
	if !(start > 0) {
		start = unknownTolerance
	}
	b := ProbeBias{Low: kiln.NoTemperature(), High: kiln.NoTemperature(), start: start}
	b.learn(newProbeState(start))
	return b
}

// unknownTolerance is that of a type K couple of class 2 at 1200 °C (IEC 60584 as suppliers'
// tables have it: 0.0075 t), taken for a probe of unknown type.
const unknownTolerance = 9

// Refilter works out, from all firings of one life of a probe in order of time and the cones on
// its shelf, what was known of it after each. A struck reading is left out by the caller; the
// rest is worked out anew. tolerance is the couple's class at 1200 °C, NaN or 0 if unknown.
func Refilter(l *ConeScale, tolerance kiln.Celsius, fired []FiredCones) []ProbeBias {
	out := make([]ProbeBias, 0, len(fired))
	now := NewProbeBias(tolerance)
	for i, f := range fired {
		if i > 0 {
			now = now.Next()
		}
		now.Firing, now.Remarks = f.Firing, nil
		now.read(l, f)
		out = append(out, now)
	}
	return out
}

// Next is what is expected of the probe in the firing after: it has drifted.
func (b ProbeBias) Next() ProbeBias {
	b.learn(b.known.next())
	b.Firing, b.Remarks = "", nil
	return b
}

// read takes in the cones of one firing, in the order of the ladder.
func (b *ProbeBias) read(l *ConeScale, f FiredCones) {
	type said struct {
		ConeSays
		id string
	}
	var all []said
	for _, r := range f.Readings {
		// a reading that cannot be used, or has no curve beside it, is told and left out
		s, err := l.ReadCone(r)
		if err != nil {
			b.Remarks = append(b.Remarks, ConeRemark{Reading: r.ID, Says: coneSays(err)})
			continue
		}
		if !f.AsIndicated.Known() {
			b.Remarks = append(b.Remarks, ConeRemark{Reading: r.ID, HeatAlone: true,
				Says: message.New("This firing has no whole curve that reached cone {1}, so {2} tells its heat work and nothing of the probe.", rungLabels[0], s.Words)})
			continue
		}
		s.OwnSD = math.Hypot(s.OwnSD, f.OwnSD)
		all = append(all, said{s, r.ID})
	}
	// one order whatever the entries' order, so that the same cones give the same bits
	slices.SortStableFunc(all, func(a, c said) int {
		return cmp.Or(cmp.Compare(a.Cone.Position, c.Cone.Position), cmp.Compare(a.C, c.C),
			cmp.Compare(a.id, c.id))
	})
	// one after the other, each judged by what is known with those before it
	for _, s := range all {
		counted, why := b.take(l, s.ConeSays, f.AsIndicated)
		if counted {
			b.Cones++
			if !(b.Low <= s.C) {
				b.Low = s.C
			}
			if !(b.High >= s.C) {
				b.High = s.C
			}
		}
		if !why.IsZero() || !counted {
			b.Remarks = append(b.Remarks, ConeRemark{Reading: s.id, Says: why, Counted: counted})
		}
	}
	// then all at once, with those of the firings before
	if len(all) > 0 {
		b.learn(b.known.settled())
	}
}

// take counts one reading, a value or a bound, unless it contradicts what is known.
func (b *ProbeBias) take(l *ConeScale, s ConeSays, indicated kiln.Celsius) (counted bool,
	why message.Message) {
	// where this cone puts the bias: its heat work less the indicated one
	o := coneSeen{s: float64(s.Cone.S), end: float64(s.End - indicated), from: s.From, to: s.To,
		own: s.OwnSD * s.OwnSD, wide: 1}
	off, sd, beyond := b.known.now.expects(o)
	// too far for any probe; a bound that tells nothing; one that contradicts; a value that is doubted
	// and weighs a ninth
	switch {
	case math.Abs(off) > math.Max(coneFarOff, coneQuestioned*sd):
		return false, farOff(l, s, indicated)
	case s.Side != ConeAt && beyond < noChance:
		return false, message.Message{} // far on the true side: nothing is learned
	case s.Side != ConeAt && beyond > 1-noChance:
		return false, message.Sentence(message.New("{1} contradicts what was read before it, so it does not count: look at the entries of this pack.", s.Words))
	case s.Side == ConeAt && math.Abs(off) > coneQuestioned*sd:
		why = message.Sentence(message.New(either(off > 0,
			"{1} says {2} more than was expected of this probe: sure? It counts for little.",
			"{1} says {2} less than was expected of this probe: sure? It counts for little."), s.Words,
			kiln.Warmer(math.Abs(off))))
		o.wide = 9
	}
	b.learn(b.known.seeing(o))
	return true, why
}

// learn takes over what is known by now.
func (b *ProbeBias) learn(s probeState) {
	b.known = s
	b.Bias, b.Drift = kiln.Celsius(s.now.at[0]), s.now.at[1]
	b.BiasSD, b.DriftSD = math.Sqrt(s.now.cov[0][0]), math.Sqrt(s.now.cov[1][1])
}

// farOff says that a reading is so far from the curve that one of the two is something else.
func farOff(l *ConeScale, s ConeSays, indicated kiln.Celsius) message.Message {
	says := message.Sentence(message.New("{1} and the curve lie {2} apart, which no probe explains, so it does not count.",
		s.Words, kiln.Warmer(math.Abs(float64(s.C-indicated)))))
	if other := l.MistakenCone(s.Cone.Label, indicated); other != "" {
		return message.Join(" ", says, message.New("Was it {1} and not {2}?", other, s.Cone.Label))
	}
	return says
}

// Likely is the 90 % range of the bias.
func (b ProbeBias) Likely() (low, high kiln.Celsius) {
	half := kiln.Celsius(kiln.Z90 * b.BiasSD)
	return b.Bias - half, b.Bias + half
}

// For is the bias to be added to every sample of a firing that indicated heatWork, and its
// sd. Far from where cones were read, and below 800 °C, none is known: 0, with the doubt of a
// new probe.
func (b ProbeBias) For(heatWork kiln.Celsius) (bias, sd kiln.Celsius) {
	if !b.Tells(heatWork) {
		return 0, kiln.Celsius(b.start)
	}
	return b.Bias, kiln.Celsius(b.BiasSD)
}

// Tells reports whether cones near that heat work told of the probe.
func (b ProbeBias) Tells(heatWork kiln.Celsius) bool {
	return b.Cones > 0 && heatWork >= probeLowest && heatWork >= b.Low-probeReach &&
		heatWork <= b.High+probeReach
}

// Notable says that the probe is off by more than 8 °C and more than two sds. A notice
// follows when it was so in two firings one after the other.
func (b ProbeBias) Notable() bool {
	off := math.Abs(float64(b.Bias))
	return b.Cones > 0 && off > noticeBias && off > 2*b.BiasSD
}

// NotableTwice says whether a notice is due: notable after each of the last two firings.
func NotableTwice(after []ProbeBias) bool {
	n := len(after)
	return n >= 2 && after[n-1].Notable() && after[n-2].Notable()
}

// Says tells bias and drift in a sentence: "Your probe reads 9 °C low (likely 4 to 14, from 3
// cones) and drifts 0.2 °C lower a firing (likely 0.1 higher to 0.5 lower)."
func (b ProbeBias) Says() message.Message { return message.Stopped(b.says(message.New("Your probe"))) }

// SaysOf is Says of one of several probes, as a part of a sentence.
func (b ProbeBias) SaysOf(channel kiln.ChannelID) message.Message {
	return b.says(message.New("probe {1}", channel))
}

// says is the sentence without its stop. A negative bias is told as its size, the ends of the range
// turned round with it.
func (b ProbeBias) says(probe message.Message) message.Message {
	if b.Cones == 0 {
		return message.New("No cone has told of this probe yet; a new one of its type and class may be {1} off near the top.", kiln.Warmer(b.start))
	}
	cones := message.Count(b.Cones, "{1} cone", "{1} cones")
	lo, hi := b.Likely()
	high := b.Bias < 0
	if high {
		lo, hi = -hi, -lo
	}
	off := math.Round(math.Abs(float64(b.Bias)))
	bare := func(by kiln.Celsius) kiln.Difference {
		return kiln.Difference{By: math.Abs(float64(by)), Bare: true}
	}
	var reads message.Message
	switch { // a sign would have to be thought about: an end on the other side is named by its side
	case off == 0 && high:
		reads = message.New("{1} reads true (likely {2} low to {3} high, from {4})", probe,
			bare(lo), bare(hi), cones)
	case off == 0:
		reads = message.New("{1} reads true (likely {2} low to {3} high, from {4})", probe,
			bare(hi), bare(lo), cones)
	case high && lo < 0:
		reads = message.New("{1} reads {2} high (likely {3} low to {4} high, from {5})",
			probe, kiln.Warmer(off),
			bare(lo), bare(hi), cones)
	case high:
		reads = message.New("{1} reads {2} high (likely {3} to {4}, from {5})", probe, kiln.Warmer(off),
			bare(lo), bare(hi), cones)
	case lo < 0:
		reads = message.New("{1} reads {2} low (likely {3} high to {4} low, from {5})",
			probe, kiln.Warmer(off),
			bare(lo), bare(hi), cones)
	default:
		reads = message.New("{1} reads {2} low (likely {3} to {4}, from {5})", probe, kiln.Warmer(off),
			bare(lo), bare(hi), cones)
	}
	return b.drifts(reads)
}

// drifts adds to a sentence how the bias moves by the firing: a bias that rises means a probe that reads ever
// lower.
func (b ProbeBias) drifts(reads message.Message) message.Message {
	drift, half := math.Abs(b.Drift), kiln.Z90*b.DriftSD
	by := func(c float64, bare bool) kiln.Difference {
		return kiln.Difference{By: math.Abs(c), Places: 1, Bare: bare}
	}
	switch lower := b.Drift >= 0; {
	case drift < 0.05: // is told as 0.0
		return message.New("{1} and shows no drift (likely at most {2} a firing, either way)", reads,
			by(drift+half, false))
	case drift < half:
		return message.New(either(lower, "{1} and drifts {2} lower a firing (likely {3} higher to {4} lower)",
			"{1} and drifts {2} higher a firing (likely {3} lower to {4} higher)"), reads, by(drift, false),
			by(drift-half, true), by(drift+half, true))
	default:
		return message.New(either(lower, "{1} and drifts {2} lower a firing (likely {3} to {4})",
			"{1} and drifts {2} higher a firing (likely {3} to {4})"), reads, by(drift, false),
			by(drift-half, true), by(drift+half, true))
	}
}
