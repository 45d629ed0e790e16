package tiles

import (
	"time"

	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
)

// ConeSeen is a witness cone as it stood on its shelf. A fact: struck, never changed.
type ConeSeen struct {
	ID      string        // UUID
	Firing  kiln.FiringID // in which it stood
	Cone    string        // as written on it: "6"
	Series  string        // series of the cone, as in the table of cones: large_self_supporting
	Shelf   string        // "" where none was named
	Seen    string        // upright, leaning, down
	Tilt    float64       // degrees from upright, if Tilted
	Tilted  bool          // the tilt was given
	By      string        // maker's mark, or empty
	Struck  *Act          // nil: it counts
	At      time.Time     // when it was entered
	Trusted bool          // the clock could be trusted
}

// Validate puts the texts of c into their usual form and tells every fault. Whether the
// series holds the cone, the table of cones in kiln knows.
func (c *ConeSeen) Validate() error {
	var f Faults
	f.ID("id", &c.ID)
	f.ID("firing", (*string)(&c.Firing))
	if c.Cone == "" {
		f.Add(Missing, "cone", "is needed")
	} else if !seriesCone().MatchString(c.Cone) {
		f.Add(UnknownValue, "cone", "is no cone such as 06, 6 or 6a")
	}
	f.Needed("series", &c.Series)
	f.Text("shelf", &c.Shelf)
	OneOf(&f, "seen", c.Seen, "upright", "leaning", "down")
	if c.Tilted {
		f.Within("tilt_deg", c.Tilt)
	} else {
		c.Tilt = 0
	}
	f.Maker("by", &c.By)
	return f.Err()
}

// Note is something worth remembering of a firing; an incident is one that should not happen again.
type Note struct {
	ID       string        // UUID
	Firing   kiln.FiringID // of which
	Text     string        // never empty
	Happened string        // RFC 3339 time that it speaks of, or empty: when it was written
	Incident bool          // it should not happen again
	By       string        // maker's mark, or empty
	Struck   *Act          // nil: it stands
	At       time.Time     // when it was written
	Trusted  bool          // the clock could be trusted
}

// FiringWords puts the note of a firing and the mark of who told it into the form that texts are kept
// in. The error is Invalid.
func FiringWords(note, by *string) error {
	var f Faults
	f.Text("note", note)
	f.Maker("by", by)
	return f.Err()
}

// Validate puts the texts of n into their usual form and tells every fault.
func (n *Note) Validate() error {
	var f Faults
	f.ID("id", &n.ID)
	f.ID("firing", (*string)(&n.Firing))
	f.Needed("text", &n.Text)
	f.instant("at", n.Happened)
	f.Maker("by", &n.By)
	return f.Err()
}

// ProbeLife is one thermocouple, from its fitting to its removal.
type ProbeLife struct {
	ID      string         // UUID
	Kiln    kiln.KilnID    // in which it is fitted
	Channel kiln.ChannelID // on which it speaks
	Type    string         // letter: B E J K N R S T
	Class   int            // tolerance class, 1 or 2
	Fitted  string         // date
	Removed string         // date; empty: still there
	Note    string         // free text
}

// Validate puts the texts of p into their usual form and tells every fault.
func (p *ProbeLife) Validate() error {
	var f Faults
	f.ID("id", &p.ID)
	f.name("kiln", string(p.Kiln))
	f.Needed("channel", (*string)(&p.Channel))
	OneOf(&f, "type", p.Type, "B", "E", "J", "K", "N", "R", "S", "T")
	f.Within("class", float64(p.Class))
	if p.Fitted == "" {
		f.Add(Missing, "fitted_on", "is needed")
	}
	f.Date("fitted_on", p.Fitted)
	f.Date("removed_on", p.Removed)
	if p.Removed != "" && p.Removed < p.Fitted {
		f.Add(OutOfRange, "removed_on", "earlier than fitted_on")
	}
	f.Text("note", &p.Note)
	return f.Err()
}

// KeepShut is the temperature above which the site keeps a kiln shut. Below it nobody has leave to open:
// whoever is in charge decides.
type KeepShut struct {
	ID      string       // UUID
	Kiln    kiln.KilnID  // which kiln
	Mark    kiln.Celsius // °C, 20 to 200
	Reason  string       // needed over KeepShutUsual
	By      string       // maker's mark, or empty
	At      time.Time    // holds from then on
	Trusted bool         // the clock could be trusted
}

// Bounds of a KeepShut (own). KeepShutUsual is the highest that needs no reason: above about 50 °C a
// touch can burn (ISO 13732-1, memory: 51 °C at one minute).
const (
	KeepShutUsual kiln.Celsius = 50
	KeepShutLeast kiln.Celsius = 20
	KeepShutMost  kiln.Celsius = 200
)

// KeepShutRange says what may be set, and why no more.
const KeepShutRange message.Key = "must be a number from 20 to 200 °C: 50 unless there is a reason, and never over 200, where hot air and ware burn at once"

// Validate puts the texts of m into their usual form and tells every fault.
func (m *KeepShut) Validate() error {
	var f Faults
	f.ID("id", &m.ID)
	f.name("kiln", string(m.Kiln))
	if !(m.Mark >= KeepShutLeast && m.Mark <= KeepShutMost) { // nor is NaN
		f.Add(OutOfRange, "keep_shut_above_c", KeepShutRange)
	}
	f.Text("keep_shut_reason", &m.Reason)
	if m.Mark > KeepShutUsual && m.Reason == "" {
		f.Add(Missing, "keep_shut_reason",
			"is needed over 50 °C, where a touch can burn: who says so, and why")
	}
	f.Maker("by", &m.By)
	return f.Err()
}

// Tick is one line of the check list at the start of a firing, done or taken back.
type Tick struct {
	ID      string    // UUID
	Subject string    // UUID of the load or of the firing
	Item    string    // id of the caution that the line is about: caution-36
	Done    bool      // false: taken back
	By      string    // maker's mark, or empty
	At      time.Time // by the studio's clock
	Trusted bool      // the clock could be trusted
}

// CheckList is what is asked before a firing, as ids of cautions, in order.
func CheckList() []string {
	return []string{"caution-36", "caution-37", "caution-42", "caution-1", "caution-2", "caution-6",
		"caution-5", "caution-7", "caution-10", "caution-40", "caution-43", "caution-35"}
}

// Validate puts the texts of t into their usual form and tells every fault.
func (t *Tick) Validate() error {
	var f Faults
	f.ID("id", &t.ID)
	f.ID("subject", &t.Subject)
	OneOf(&f, "item", t.Item, CheckList()...)
	f.Maker("by", &t.By)
	return f.Err()
}

// Validate puts the texts of a into their usual form and tells every fault of a strike, a
// count (both need a reason) or a confirmation (which does not).
func (a *Act) Validate(needsWhy bool) error {
	var f Faults
	f.Maker("by", &a.By)
	f.Text("why", &a.Why)
	if needsWhy && a.Why == "" {
		f.Add(Missing, "why", "is needed: it stays beside what was struck or counted")
	}
	return f.Err()
}

// Maker checks a maker's mark: initials or a stamp, 1 to 8 characters.
func Maker(field, mark string) (string, error) {
	var f Faults
	f.Needed(field, &mark)
	return mark, f.Err()
}

// Reading is what the model of cones is told of c.
func (c ConeSeen) Reading() heatwork.ConeReading {
	return heatwork.ConeReading{ID: c.ID, Cone: c.Cone, Series: kiln.Series(c.Series), Shelf: c.Shelf,
		Seen: heatwork.Seen(c.Seen), Tilt: c.Tilt, Tilted: c.Tilted}
}

// ConeReadings are those of the cones that were not struck, by firing.
func ConeReadings(cones []ConeSeen) map[kiln.FiringID][]heatwork.ConeReading {
	out := map[kiln.FiringID][]heatwork.ConeReading{}
	for _, c := range cones {
		if c.Struck == nil {
			out[c.Firing] = append(out[c.Firing], c.Reading())
		}
	}
	return out
}
