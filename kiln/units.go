// Package kiln has the nouns of the fire: temperatures, stamps, samples, curves, firings, heat work and what
// people say of them. Its rooms work with them: thermocouple (emf to temperature), faults (which readings
// cannot be true), detect (when a firing begins and ends), heatwork (cones), record (the recorder), analysis
// (what a firing tells), source (the serial line), practice (a kiln that is not there).
//
// It is pure: it opens nothing, asks no clock and knows no database. Whatever happened and when is handed
// in. It does not control a kiln; nothing does.
package kiln

import "math"

// Celsius is a temperature on the ITS-90 scale, in °C. NaN means that there is no
// temperature: a broken couple, a missing reading, a firing below the first cone.
type Celsius float64

// NoTemperature is what stands where a temperature is not known.
func NoTemperature() Celsius { return Celsius(math.NaN()) }

// Known reports whether t is a temperature at all.
func (t Celsius) Known() bool { return !math.IsNaN(float64(t)) && !math.IsInf(float64(t), 0) }

// Kelvin is t above absolute zero, in kelvin.
func (t Celsius) Kelvin() float64 { return float64(t) + 273.15 }

// CelsiusPerHour is a rate of heating (above 0) or cooling (below 0).
type CelsiusPerHour float64

// FlatRate is how many °C/h a kiln that is said to stay level may still rise or fall (own).
const FlatRate = 15.0
