package config_test

import (
	"fmt"
	"time"

	"lidwright/config"
)

// Every mistake is told at once, with its line and what would be right.
func ExampleLoadText() {
	_, err := config.LoadText("lidwright.toml", "[firing]\nstart_above_c = 50\nend_below_c = 60\n", nil)
	fmt.Println(err)
	cfg, err := config.LoadText("lidwright.toml", "[firing]\nquiet_after = \"5m\"\n", nil)
	fmt.Println(cfg.Firing.QuietAfter, cfg.Firing.StartAboveC, err)
	// Output:
	// lidwright.toml:3: firing.end_below_c: is 60; must be lower than firing.start_above_c, 50
	// 5m0s 60 <nil>
}

// TOML v1.0.0, Basic strings: a quote and a backslash have a backslash before them.
func ExampleQuote() {
	fmt.Println(config.Quote(`the "blue" kiln`))
	// Output: "the \"blue\" kiln"
}

func ExampleIsName() {
	fmt.Println(config.IsName("big-blue"), config.IsName("Big Blue"))
	// Output: true false
}

// A span may pass midnight.
func ExampleSpan_Holds() {
	var night config.Span
	fmt.Println(night.UnmarshalText([]byte("22:00-07:00")))
	for _, hour := range []int{3, 12, 23} {
		fmt.Println(hour, night.Holds(time.Date(2026, 1, 15, hour, 0, 0, 0, time.UTC)))
	}
	// Output:
	// <nil>
	// 3 true
	// 12 false
	// 23 true
}

func ExampleTimeOfDay_UnmarshalText() {
	var at config.TimeOfDay
	fmt.Println(at.UnmarshalText([]byte("08:30")), at)
	fmt.Println(at.UnmarshalText([]byte("24:00")))
	// Output:
	// <nil> 08:30
	// must be a time of day as "08:00", from 00:00 to 23:59
}

// The machine's own name on the local network ends in .local (RFC 6762).
func ExampleListen_PublicURL() {
	fmt.Println(config.Listen{Address: ":8573"}.PublicURL("kilnroom"))
	// Output: http://kilnroom.local:8573
}
