// Package kiln is the trade of the fire: temperatures, curves, firings, heat work and
// cones. It is pure: it opens nothing, asks no clock and knows no database. Whatever
// happened and when is handed in.
//
// It does not read a serial line (kiln/source does) and does not control a kiln
// (nothing does).
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
