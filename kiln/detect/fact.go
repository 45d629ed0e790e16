package detect

import (
	"time"

	"lidwright/kiln"
	"lidwright/kiln/heatwork"
)

// FactKind says what a Fact tells.
type FactKind string

const (
	// the loads of this kiln that are neither unpacked nor called off: Loads
	LoadsKnown FactKind = "loads-known"
	// Load, Kind, Atmosphere are those of the open firing; no Load: it has none
	LoadJoined FactKind = "load-joined"
	Unpacked   FactKind = "unpacked" // tap on unpacked: Load is out of the kiln
	// Unpacked, NewFiring or StopRecording is taken back; Firing goes on, if one is named
	Undone    FactKind = "undone"
	NewFiring FactKind = "new-firing" // button: closes an open firing and begins one at once
	// button: closes the open firing; records only, controls nothing
	StopRecording FactKind = "stop-recording"
	KindTold      FactKind = "kind-told"  // a person says Kind, Atmosphere or both of the open firing
	MarkSet       FactKind = "mark-set"   // the kiln is kept shut above Mark now
	PastKnown     FactKind = "past-known" // what the firings of this kiln so far lead to expect: Past
)

// ByHand reports whether it begins or ends a record, or takes that back.
func (k FactKind) ByHand() bool {
	return k == NewFiring || k == StopRecording || k == Unpacked || k == Undone
}

// Fact is what a recorder cannot hear on the line and a person or the store tells it.
type Fact struct {
	Kiln kiln.KilnID // which kiln it is about
	What FactKind    // which of the other fields count
	At   kiln.Stamp  // when; the recorder's own Now if zero
	// NewFiring: the id made by whoever asks; "" lets the recorder make one. Undone
	Firing     kiln.FiringID
	Kind       kiln.Kind       // LoadJoined, KindTold, NewFiring; "" not told
	Atmosphere kiln.Atmosphere // likewise
	Load       string          // LoadJoined, Unpacked: id of the load
	Loads      []Load          // LoadsKnown
	Mark       kiln.Celsius    // MarkSet
	Past       Past            // PastKnown
}

// Load is a load that is packed for a kiln or in it.
type Load struct {
	ID         string          // of the load in the store
	Kind       kiln.Kind       // what it is packed for; "" not told
	Atmosphere kiln.Atmosphere // likewise
	Fired      bool            // a whole firing has had it, or has it now: another takes it as a reheat alone
}

// Past is what the firings of one kiln so far lead its detector to expect.
type Past struct {
	Usual      []Expected         // of each kind and atmosphere; a second one of a sort has a Name
	Kind       kiln.Kind          // of the last firing, "" if there was none
	Atmosphere kiln.Atmosphere    // of the last firing
	Probes     heatwork.Witnessed // what the cones tell of the probes that are fitted now

	falls   []Fall        // the quickest to each level
	ended   []kiln.Firing // those that were looked at
	control kiln.ChannelID
	said    []UsualSaid
}

// Expected is the usual firing of one kind and atmosphere, or, while none is settled, what the one or two
// so far let a detector expect.
type Expected struct {
	Settled    bool            // it is the usual firing
	Name       string          // of a second one of its kind, as people call it; "" of the first
	Pinned     bool            // its heat work was said by hand
	Kind       kiln.Kind       // of the firings that it is made of
	Atmosphere kiln.Atmosphere // likewise
	Top        kiln.Celsius    // median peak of the control channel
	HeatWork   kiln.Celsius    // median heat work; NaN if not known
	ToTop      time.Duration   // median hours to the top
	Holds      []kiln.Hold     // holds of the usual firings
	Cooling    time.Duration   // longest time from a peak to the end of the record
	IDs        []kiln.FiringID // of the firings that it is made of
	Of         int             // how many firings it is made of, at most four
	Works      []float64       // their heat works, °C, in no order
	Tops       []float64       // their times to the top, ns, in no order
	Beside     []kiln.Firing   // the last firings, where they lie beside it and near one another
	Last       kiln.Celsius    // heat work of the last firing of its sort, where that lies beside it; else 0
	Moved      bool            // it moved with four firings in a row, and nobody said so
}

// Expect is the usual firing of that kind and atmosphere; one of another atmosphere will do
// where there is none of this.
func (p Past) Expect(kind kiln.Kind, atmosphere kiln.Atmosphere) (Expected, bool) {
	var found Expected
	var ok bool
	// the first of each sort alone: one with a name is asked for by that
	for _, e := range p.Usual {
		if e.Kind != kind || e.Name != "" {
			continue
		}
		if e.Atmosphere == atmosphere {
			return e, true
		}
		if !ok {
			found, ok = e, true
		}
	}
	return found, ok
}

// GuessKind says which kind of firing a heat work of C °C was, where nobody told: the kind of
// this kiln whose usual heat work is nearest and within 40 °C, 15 °C of one that is not settled yet, the last
// firing's kind if two are; without any usual firing bisque from 920 to 1070 °C unless the last one was that,
// glaze above 1150 °C; else Other.
func GuessKind(c kiln.Celsius, past Past) kiln.Kind {
	const near = 15
	var best kiln.Kind
	var apart kiln.Celsius
	kinds := map[kiln.Kind]bool{}
	usual := false
	// the nearest usual heat work within reach, and which kinds are within reach at all
	for _, e := range past.Usual {
		if !e.HeatWork.Known() {
			continue
		}
		usual = true
		d := max(c-e.HeatWork, e.HeatWork-c)
		if !c.Known() || d > usualWithin || !e.Settled && d > near {
			continue
		}
		kinds[e.Kind] = true
		if best == "" || d < apart {
			best, apart = e.Kind, d
		}
	}
	// two kinds alike near: what was fired last is fired again; with a usual firing and none near it is
	// none of them
	switch {
	case len(kinds) > 1 && kinds[past.Kind]:
		return past.Kind
	case best != "":
		return best
	case usual || !c.Known():
		return kiln.Other
	case c >= 920 && c <= 1070 && past.Kind != kiln.Bisque:
		return kiln.Bisque
	case c > 1150:
		return kiln.Glaze
	}
	return kiln.Other
}
