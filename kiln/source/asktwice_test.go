package source

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"lidwright/kiln"
)

// Plain columns without a checksum under garbage: a number that garbage happened to look like is not
// believed, and after it the kiln is heard again from its second line on.
func TestFirstValueAfterGarbageIsAskedTwice(t *testing.T) {
	n := scaled(3_000_000, 10_000_000)
	for _, kind := range []string{"any", "printable"} {
		data := noise(kind, "crc16", n, rand.New(rand.NewPCG(8, uint64(len(kind)))))
		s := columnsOn("x")
		s.Kilns[0].Every = 1
		s.Kilns[0].Channels = append(s.Kilns[0].Channels, Channel{ID: "2", Role: kiln.RoleProbe, From: "2",
			Unit: "c", Scale: 1, Linearised: true})
		phantoms, taken := 0, 0
		heard := listenTo(t, s, append(data, "\n812.5,790.1\n812.6,790.2\n812.7,790.3\n"...),
			func(smp kiln.Sample) {
				if v, _ := smp.Value("1"); v.Fault == kiln.Good && v.T > 812 && v.T < 813 {
					taken++
				} else if v.Fault == kiln.Good {
					phantoms++
				}
			})
		t.Logf("%s: %d bytes, %d garbled lines, %d phantoms, %d of 3 good lines taken", kind, n,
			heard.Kilns[0].Garbled, phantoms, taken)
		// Of lines made of digits and commas alone two in a row may agree: one in 10,000 is left.
		if phantoms > 0 && (kind == "any" || phantoms > int(heard.Kilns[0].Garbled)/10000) {
			t.Errorf("%s: %d phantoms", kind, phantoms)
		}
		if taken != 2 {
			t.Errorf("%s: %d of the last 3 lines taken; want all but the first", kind, taken)
		}
	}
}

// Decimal commas from the first line on, where the settings take two columns for two probes: no value
// that a number was cut into is kept, and the reason is told.
func TestDecimalCommasAreNotKept(t *testing.T) {
	var lines strings.Builder
	for i := range 1200 {
		a := 200 + float64(i)
		lines.WriteString(strings.ReplaceAll(fmt.Sprintf("%.1f;%.1f\n", a, a-20), ".", ","))
	}
	for _, c := range []struct {
		name, text string
		two        bool
	}{{"two numbers", strings.ReplaceAll(lines.String(), ";", ","), true},
		{"one number", strings.ReplaceAll(lines.String(), ";", "\n"), true}} {
		s := columnsOn("x")
		s.Kilns[0].Every = 1
		s.Kilns[0].Channels = append(s.Kilns[0].Channels, Channel{ID: "2", Role: kiln.RoleProbe, From: "2",
			Unit: "c", Scale: 1, Linearised: true})
		kept := 0
		heard := listenTo(t, s, []byte(c.text), func(smp kiln.Sample) { kept += len(smp.Values) })
		if kept > 0 {
			t.Errorf("%s: %d values kept", c.name, kept)
		}
		if said := strings.Join(heard.Words(), "\n"); !strings.Contains(said, "decimal_comma = true") {
			t.Errorf("%s: not told: %s", c.name, said)
		}
	}
}
