package analysis

import (
	"math"
	"slices"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/message"
)

// Usually says how a firing compares with the usual one of its kiln, kind and atmosphere.
type Usually struct {
	Known bool            // there is a usual firing to compare with
	Usual bool            // heat work and hours both lie within the bounds; false where Known is
	Says  message.Message // one sentence without a full stop, "usual; gap 10 min"
}

// SayUsual compares a finished firing with the usual one, where there is one. It is usual if its heat work is
// within 8 °C and its hours to the top within 10 % (own choice); where the firings that make the usual one
// differ much among themselves the bounds follow them, up to three times as wide, so that a restless kiln is
// not told of every time. Cooling is not compared.
func SayUsual(f kiln.Firing, control kiln.ChannelID, e detect.Expected) Usually {
	// gaps are told in any case
	gaps := gapsOf(f)
	w, has := f.Work(control)
	heat := has && w.C.Known() && e.HeatWork.Known()
	hours := f.ToTop > 0 && e.ToTop > 0
	if !e.Settled || !heat && !hours {
		return Usually{Says: message.Join("; ", message.New("no usual firing to compare with yet"), gaps)}
	}
	// each measure that lies outside its bound, in words
	var said []message.Message
	if more := w.C - e.HeatWork; heat && math.Abs(float64(more)) > usualBound(usualHeat, e.Works, e.Of) {
		said = append(said, moreHeat(more))
	}
	if longer := f.ToTop - e.ToTop; hours &&
		math.Abs(float64(longer)) > usualBound(usualHours*float64(e.ToTop), e.Tops, e.Of) {
		said = append(said, message.New(oneOf(longer > 0, "{1} longer to the top", "{1} shorter to the top"),
			minutes(longer.Abs())))
	}
	if len(said) == 0 {
		return Usually{Known: true, Usual: true, Says: message.Join("; ", message.New("usual"), gaps)}
	}
	differs := message.New("{1} than usual", message.Join(", ", said...))
	return Usually{Known: true, Says: message.Join("; ", differs, gaps)}
}

// usualBound is how far a firing may lie from the median of the last few and still be usual.
// Student's t for three degrees of freedom leaves 1 in 40 outside 3.18 sds on either of the two
// measures together with the doubt of the median itself (a quarter more variance for four).
func usualBound(fixed float64, past []float64, of int) float64 {
	const (
		times  = 4.2 // t at 98.75 % with 3 degrees of freedom: 1 in 40 for each of two measures
		widest = 3
	)
	few := 1 + 1/float64(of)
	if len(past) < detect.UsualOf {
		return fixed * math.Sqrt(few/1.25)
	}
	mean, sum := 0.0, 0.0
	for _, x := range past {
		mean += x / float64(len(past))
	}
	for _, x := range past {
		sum += (x - mean) * (x - mean)
	}
	sd := math.Sqrt(sum / float64(len(past)-1))
	return min(max(times*sd*math.Sqrt(few), fixed), widest*fixed)
}

// UsualBand is what lies under a live curve: the lowest and highest of the usual curves at equal
// time since their first rise, where at least two of them were heard, or the one there is. Steps
// are those of the coarsest curve. ok is false if there is nothing to draw.
func UsualBand(curves []kiln.Envelope) (band kiln.Envelope, ok bool) {
	curves = slices.DeleteFunc(slices.Clone(curves), func(e kiln.Envelope) bool {
		return len(e.After) == 0 || e.Step <= 0
	})
	if len(curves) == 0 {
		return kiln.Envelope{}, false
	}
	band = kiln.Envelope{Channel: curves[0].Channel}
	for _, e := range curves {
		band.Step = max(band.Step, e.Step)
	}
	type slot struct {
		low, high kiln.Celsius
		heard     int
	}
	var slots []slot
	// each step's span over all curves, and which curves were heard in it, one bit each
	for n, e := range curves {
		for i, after := range e.After {
			k := int(after / band.Step)
			for len(slots) <= k {
				slots = append(slots, slot{low: kiln.Celsius(math.Inf(1)), high: kiln.Celsius(math.Inf(-1))})
			}
			s := &slots[k]
			s.low, s.high = min(s.low, e.Low[i]), max(s.high, e.High[i])
			s.heard |= 1 << min(n, 62)
		}
	}
	for k, s := range slots {
		// a single bit: one curve alone is no band where there are several
		one := s.heard&(s.heard-1) == 0
		if s.heard == 0 || one && len(curves) > 1 {
			continue
		}
		band.After = append(band.After, time.Duration(k)*band.Step)
		band.Low, band.High = append(band.Low, s.low), append(band.High, s.high)
	}
	return band, len(band.After) > 0
}
