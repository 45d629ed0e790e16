package kiln

import (
	"slices"
	"time"
)

// KilnID names a kiln, as in the settings: [a-z0-9-], such as big-blue.
type KilnID string

// ChannelID names one channel of a kiln, as in the settings: "1", "room".
type ChannelID string

// Role says what a channel is good for.
type Role string

const (
	RoleProbe Role = "probe" // a thermocouple in the chamber: has a curve and heat work
	RoleRoom  Role = "room"  // the air of the room
	RoleVent  Role = "vent"  // a contact on the vent, 1 on and 0 off
	RoleOther Role = "other"
)

// Fault says why a value is no temperature to reckon with; Good is the empty one. A faulty
// value is stored as what it is and never enters a peak, heat work or a fit.
type Fault string

const (
	Good         Fault = ""
	Break        Fault = "breakvalue"    // open circuit: full scale, 0.0, NaN, text, 0x7FFF and their like
	Spike        Fault = "spike"         // one reading far off both of its neighbours
	Frozen       Fault = "frozen"        // the same to the last digit for too long
	Reversed     Fault = "reversed"      // below the room, or falling while the others rise
	Shorted      Fault = "shorted"       // reads about the room while it cannot be
	UnitChanged  Fault = "unit-changed"  // jumped to 1.8 times and 32, or back
	Disagrees    Fault = "disagrees"     // channels of one kiln that no longer agree
	BelowRange   Fault = "below-range"   // type B below 250 °C and the like: a state, not a defect
	NotConverted Fault = "not-converted" // cold junction missing or out of its range
	Unbelievable Fault = "unbelievable"  // no kiln does that: outside -50 to 1850 °C, or too fast
)

// Value is what one channel said at one moment.
type Value struct {
	Channel ChannelID // one that the settings have, else the value is kept and not judged
	T       Celsius   // NaN if the channel gave no number
	Fault   Fault     // Good if T can be reckoned with
}

// Sample is what came off the wire at one moment: all channels of one kiln that spoke.
type Sample struct {
	Kiln   KilnID
	At     Stamp   // when the line was read, or the tick of the record that it was put on
	Values []Value // never more than one a channel, in the order of the settings
	Raw    string  // the line as it came, kept only where a value is not good
}

// Value is what channel said, and whether it said anything.
func (s Sample) Value(channel ChannelID) (Value, bool) {
	for _, v := range s.Values {
		if v.Channel == channel {
			return v, true
		}
	}
	return Value{T: NoTemperature()}, false
}

// Channel is one channel of a kiln as the settings have it.
type Channel struct {
	// as in the settings; unique within the kiln
	ID   ChannelID
	Role Role
}

// Kiln is what the trade needs to know of one kiln from the settings.
type Kiln struct {
	ID             KilnID               // as in the settings, or as a person called it
	Fuel           string               // electric, gas, wood, other; "" where nobody said
	Channels       []Channel            // in the order of the settings
	Control        ChannelID            // the channel whose curve is the firing's
	Limit          Celsius              // a notice when passed, no more; NaN where none was set
	KeepShut       Celsius              // the site keeps it shut above this
	KeepShutReason string               // who says so, and why; "" up to 50 °C
	Shelves        map[string]ChannelID // probe whose heat a bar of that shelf had; others: Control
	Every          time.Duration        // how often it speaks or is asked; 0 means each second
}

// GapAfter is how long nothing good must be heard to make a gap: 60 s or three periods, the
// longer.
func (k Kiln) GapAfter() time.Duration { return max(60*time.Second, 3*k.Every) }

// StaleAfter is how long a reading is fresh: three periods, at least 30 s.
func (k Kiln) StaleAfter() time.Duration { return max(30*time.Second, 3*k.Every) }

// Probe is the channel whose heat work a bar on shelf had.
func (k Kiln) Probe(shelf string) ChannelID {
	if c, ok := k.Shelves[shelf]; ok {
		return c
	}
	return k.Control
}

// WithFault is s with one value marked; the values of s itself stay as they are.
func (s Sample) WithFault(i int, fault Fault) Sample {
	s.Values = append([]Value(nil), s.Values...)
	s.Values[i].Fault = fault
	return s
}

// With is s with one value more, in its place in the order of the settings; values of
// channels that the settings do not have stay, after the others.
func (s Sample) With(k Kiln, more Value) Sample {
	values := make([]Value, 0, len(s.Values)+1)
	for _, c := range k.Channels {
		if c.ID == more.Channel {
			values = append(values, more)
		} else if v, ok := s.Value(c.ID); ok {
			values = append(values, v)
		}
	}
	for _, v := range s.Values {
		if !k.Has(v.Channel) {
			values = append(values, v)
		}
	}
	s.Values = values
	return s
}

// Has reports whether the kiln has a channel of that id.
func (k Kiln) Has(id ChannelID) bool {
	return slices.ContainsFunc(k.Channels, func(c Channel) bool { return c.ID == id })
}
