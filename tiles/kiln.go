package tiles

import (
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// AddedKiln is a kiln without a line, as a person added it.
type AddedKiln struct {
	ID       kiln.KilnID // in small letters, unique on the site
	Fuel     string      // electric, gas, wood, other; empty: not said
	Revision int64       // counts its changes
}

// Fuels are what a kiln may burn.
func Fuels() []string { return []string{"electric", "gas", "wood", "other"} }

// Validate tells every fault of k.
func (k *AddedKiln) Validate() error {
	var f Faults
	f.name("kiln", string(k.ID))
	if k.Fuel != "" {
		OneOf(&f, "fuel", k.Fuel, Fuels()...)
	}
	return f.Err()
}

// Kiln is what the trade knows of k: it has no channel and no limit.
func (k AddedKiln) Kiln() kiln.Kiln {
	return kiln.Kiln{ID: k.ID, Fuel: k.Fuel, Limit: kiln.NoTemperature(), KeepShut: KeepShutUsual}
}

// RecordedKiln is how much the record has of a kiln.
type RecordedKiln struct {
	// as people call it
	ID kiln.KilnID
	// how many of each the record has
	Firings, Loads, Probes int
}

// Words says how much that is.
func (r RecordedKiln) Words() message.Message {
	var parts []message.Message
	for _, p := range []struct {
		n         int
		one, many message.Key
	}{{r.Firings, "1 firing", "{1} firings"}, {r.Loads, "1 load", "{1} loads"}, {r.Probes, "1 probe",
		"{1} probes"}} {
		if p.n > 0 {
			parts = append(parts, message.Count(p.n, p.one, p.many))
		}
	}
	if len(parts) == 0 {
		return message.New("no firing")
	}
	return message.Join(", ", parts...)
}

// What can be said of a usual firing.
const (
	UsualPinned   = "pin"     // its heat work is this until somebody releases it
	UsualReleased = "release" // it goes by the firings again
	UsualNew      = "new"     // the last firings, which lay beside it, are the usual one now
	UsualSecond   = "second"  // firings near this heat work are a second usual one, with a name
)

// UsualSaid is what a person said of a usual firing of a kiln, kind and atmosphere.
type UsualSaid struct {
	ID         string          // UUID
	Kiln       kiln.KilnID     // whose usual firing
	Kind       kiln.Kind       // with Atmosphere, of which sort
	Atmosphere kiln.Atmosphere // with Kind
	What       string          // one of the above
	Name       string          // of a second one, "cone 10"; empty: the first
	HeatWork   kiln.Celsius    // of pin and second; NaN of the others
	By         string          // maker's mark, or empty
	At         time.Time       // by the studio's clock
}

// Validate puts the texts of u into their usual form and tells every fault.
func (u *UsualSaid) Validate() error {
	var f Faults
	f.ID("id", &u.ID)
	f.name("kiln", string(u.Kiln))
	OneOf(&f, "kind", u.Kind, kiln.Bisque, kiln.Glaze, kiln.Once, kiln.Other)
	OneOf(&f, "atmosphere", u.Atmosphere, kiln.Oxidation, kiln.Reduction, kiln.UnknownAtmosphere)
	OneOf(&f, "what", u.What, UsualPinned, UsualReleased, UsualNew, UsualSecond)
	f.Text("name", &u.Name)
	switch u.What {
	case UsualPinned, UsualSecond:
		if !u.HeatWork.Known() {
			f.Add(Missing, "cone", "is needed, or heat_work_c")
		} else {
			f.Within("heat_work_c", float64(u.HeatWork))
		}
		if u.What == UsualSecond && u.Name == "" {
			f.Add(Missing, "name", "is needed: what this second one is called, as cone 10")
		}
	case UsualNew:
		if u.Name != "" {
			f.Add(OutOfRange, "name", "goes with a second one")
		}
	}
	f.Maker("by", &u.By)
	return f.Err()
}
