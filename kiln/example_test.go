package kiln_test

import (
	"fmt"
	"time"

	"lidwright/kiln"
)

// BIPM, The International System of Units, 9th edition, 2.3.1: t/°C = T/K - 273.15.
func ExampleCelsius_Kelvin() {
	fmt.Println(kiln.Celsius(1000).Kelvin())
	// Output: 1273.15
}

// What is not known is NaN, never zero.
func ExampleCelsius_Known() {
	fmt.Println(kiln.Celsius(0).Known(), kiln.NoTemperature().Known())
	// Output: true false
}

// Worked by hand: of an even number it is the mean of the two in the middle.
func ExampleMedian() {
	fmt.Println(kiln.Median([]float64{3, 9, 1}), kiln.Median([]float64{4, 1, 3, 2}))
	// Output: 3 2.5
}

// Between two starts of the machine no time is known; within one the clock on the wall does not matter.
func ExampleStamp_Sub() {
	began := kiln.Stamp{Boot: "one", Since: 10 * time.Minute}
	took, known := kiln.Stamp{Boot: "one", Since: 25 * time.Minute}.Sub(began)
	fmt.Println(took, known)
	_, known = kiln.Stamp{Boot: "two", Since: time.Minute}.Sub(began)
	fmt.Println(known)
	// Output:
	// 15m0s true
	// false
}

// Three periods of the line without a reading are a gap, and never less than a minute.
func ExampleKiln_GapAfter() {
	fmt.Println(kiln.Kiln{Every: time.Second}.GapAfter(), kiln.Kiln{Every: 30 * time.Second}.GapAfter())
	// Output: 1m0s 1m30s
}

func ExampleKiln_Probe() {
	k := kiln.Kiln{Control: "1", Shelves: map[string]kiln.ChannelID{"top": "2"}}
	fmt.Println(k.Probe("top"), k.Probe("middle"))
	// Output: 2 1
}

// NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1: 90 % of a normal distribution lie within 1.645
// standard deviations of its mean.
func ExampleHeatWork_SD() {
	fmt.Printf("%.1f °C\n", kiln.HeatWork{C: 1222, Low: 1222 - 16.45, High: 1222 + 16.45}.SD())
	// Output: 10.0 °C
}

// A curve is made of samples; its peak is the highest reading of a channel.
func ExampleResample() {
	var samples []kiln.Sample
	for i, t := range []kiln.Celsius{900, 950, 1000, 990} {
		samples = append(samples, kiln.Sample{Kiln: "big-blue", At: kiln.Stamp{Boot: "one",
			Since: time.Duration(i) * time.Minute},
			Values: []kiln.Value{{Channel: "1", T: t}}})
	}
	peak, after := kiln.Resample(samples, []kiln.ChannelID{"1"}, 2*time.Minute).Top("1")
	fmt.Println(peak, after)
	// Output: 1000 2m0s
}
