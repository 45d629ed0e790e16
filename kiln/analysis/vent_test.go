package analysis

import (
	"slices"
	"testing"
	"time"

	"lidwright/kiln"
)

// Each row is a minute of a contact: 1 on, 0 off, b both, - nothing heard.
func TestVentOffs(t *testing.T) {
	for minutes, want := range map[string][]VentOff{
		"1111":         nil,
		"":             nil,
		"1011":         nil, // a bounce
		"0000":         {{0, 4 * time.Minute}},
		"1001":         {{time.Minute, 2 * time.Minute}},
		"100b001":      {{time.Minute, 2 * time.Minute}, {4 * time.Minute, 2 * time.Minute}},
		"100--001":     {{time.Minute, 2 * time.Minute}, {5 * time.Minute, 2 * time.Minute}},
		"10-0":         nil, // a minute on each side of what nobody heard
		"110000000000": {{2 * time.Minute, 10 * time.Minute}},
	} {
		e := kiln.Envelope{Channel: "vent", Step: time.Minute}
		for i, m := range minutes {
			for _, v := range map[rune][]kiln.Celsius{'1': {1}, '0': {0}, 'b': {0, 1}}[m] {
				e.Put(time.Duration(i)*time.Minute, v)
			}
		}
		if got := VentOffs(e); !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", minutes, got, want)
		}
	}
}
