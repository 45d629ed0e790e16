package detect

import (
	"slices"
	"time"

	"lidwright/kiln"
)

// How the detector bins what it hears (own choices): medians of 10 s, kept for 12 h; the slope is
// that of the last 10 min and is known once ten bins span 5 min.
const (
	BinLength  = 10 * time.Second
	ringLength = 12 * time.Hour
	slopeOver  = 10 * time.Minute
	slopeLeast = 5 * time.Minute
	slopeBins  = 10
)

// bin is the median of the good readings of 10 s, channel by channel.
type bin struct {
	at  kiln.Stamp     // of the middle one of its good control readings
	age time.Duration  // on the detector's axis
	t   kiln.Celsius   // of the probe that speaks
	all []kiln.Celsius // of every channel in the order of the settings; NaN where none was good
}

// ring holds the bins of the last 12 h, also with no firing open: a firing's first points.
type ring struct {
	width int // channels
	bins  []bin
	whole time.Duration // no gap of unknown length since

	open    bool
	boot    kiln.BootID
	slot    int64 // which 10 s of that boot
	stamps  []moment
	control []float64
	values  [][]float64
}

// slotOf numbers the 10 s of a boot that a stamp lies in.
func slotOf(at kiln.Stamp) int64 { return int64(at.Since / BinLength) }

// closes reports whether at lies after the open bin.
func (r *ring) closes(at kiln.Stamp) bool {
	return r.open && (at.Boot != r.boot || slotOf(at) != r.slot)
}

// add puts the good readings of s into the open bin.
func (r *ring) add(s kiln.Sample, k kiln.Kiln, speaks kiln.ChannelID, age time.Duration) {
	if !r.open {
		r.open, r.boot, r.slot = true, s.At.Boot, slotOf(s.At)
		if r.values == nil {
			r.values = make([][]float64, r.width)
		}
		r.stamps, r.control = r.stamps[:0], r.control[:0]
		for i := range r.values {
			r.values[i] = r.values[i][:0]
		}
	}
	for i, c := range k.Channels {
		v, ok := s.Value(c.ID)
		if !ok || v.Fault != kiln.Good || !v.T.Known() {
			continue
		}
		r.values[i] = append(r.values[i], float64(v.T))
		if c.ID == speaks {
			r.stamps = append(r.stamps, moment{s.At, age})
			r.control = append(r.control, float64(v.T))
		}
	}
}

// close makes a bin of what was added; there is none if the control channel said nothing good.
func (r *ring) close() (b bin, ok bool) {
	r.open = false
	if len(r.control) == 0 {
		return bin{}, false
	}
	middle := r.stamps[len(r.stamps)/2]
	b = bin{at: middle.at, age: middle.age, t: kiln.Celsius(kiln.Median(r.control)),
		all: make([]kiln.Celsius, r.width)}
	for i, v := range r.values {
		b.all[i] = kiln.Celsius(kiln.Median(v))
	}
	return b, true
}

// keep makes b the newest bin and lets go of those over 12 h old.
func (r *ring) keep(b bin) {
	r.bins = append(r.bins, b)
	old := 0
	for r.bins[old].age < b.age-ringLength {
		old++
	}
	r.bins = r.bins[old:]
}

// since gives the bins from age on.
func (r *ring) since(age time.Duration) []bin {
	i, _ := slices.BinarySearchFunc(r.bins, age, func(b bin, t time.Duration) int { return int(b.age - t) })
	return r.bins[i:]
}

// slope is the least squares line through the bins of the last 10 min, in °C/h.
func (r *ring) slope() (perHour float64, ok bool) {
	if len(r.bins) < slopeBins {
		return 0, false
	}
	newest := r.bins[len(r.bins)-1]
	bins := r.since(max(r.whole, newest.age-slopeOver))
	if len(bins) < slopeBins || newest.age-bins[0].age < slopeLeast {
		return 0, false
	}
	// about the newest bin, so that the sums stay small
	var sx, sy, sxx, sxy float64
	for _, b := range bins {
		x, y := (b.age - newest.age).Hours(), float64(b.t-newest.t)
		sx, sy, sxx, sxy = sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	n := float64(len(bins))
	return (n*sxy - sx*sy) / (n*sxx - sx*sx), true
}

// mean is that of the control channel over the 10 min before the newest bin, not before from.
func (r *ring) mean(from time.Duration) float64 {
	newest := r.bins[len(r.bins)-1]
	sum, n := 0.0, 0
	for _, b := range r.since(max(from, newest.age-slopeOver)) {
		sum, n = sum+float64(b.t), n+1
	}
	if n == 0 {
		return float64(newest.t)
	}
	return sum / float64(n)
}

// steady is the median of the newest five bins, so that one bin makes no peak.
func (r *ring) steady() kiln.Celsius {
	var last [5]float64
	n := 0
	for i := max(0, len(r.bins)-5); i < len(r.bins); i++ {
		last[n], n = float64(r.bins[i].t), n+1
	}
	return kiln.Celsius(kiln.Median(last[:n]))
}

// lowest is the least of the values of the last 12 h; the zero one has none.
type lowest struct {
	rising []agedT // from the lowest on, each later one higher
}

// agedT is a temperature, °C, with its age.
type agedT struct {
	age time.Duration
	t   float64
}

func (l *lowest) add(age time.Duration, t float64) {
	n := len(l.rising)
	for n > 0 && l.rising[n-1].t >= t {
		n--
	}
	l.rising = append(l.rising[:n], agedT{age, t})
	old := 0
	for l.rising[old].age < age-ringLength {
		old++
	}
	l.rising = l.rising[old:]
}

// value is the least of the last 12 h; ok is false if there is none.
func (l *lowest) value() (t float64, ok bool) {
	if len(l.rising) == 0 {
		return 0, false
	}
	return l.rising[0].t, true
}

// timer tells how long something has been so.
type timer struct {
	on    bool
	since moment
}

// hold goes on while so is true and starts anew when it is not; it gives how long.
func (t *timer) hold(so bool, b bin) time.Duration {
	if !so {
		t.on = false
		return -1
	}
	if !t.on {
		t.on, t.since = true, moment{b.at, b.age}
	}
	return b.age - t.since.age
}
