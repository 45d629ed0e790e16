package detect

import (
	"testing"
	"time"

	"lidwright/kiln"
)

// A probe that slipped out of a hot kiln reads the room: it is told with the notice that the kiln cooled.
func TestCooledTooSoon(t *testing.T) {
	var quick Past
	quick.Fell([]Fall{{To: 100, After: 3 * time.Hour}})
	for _, c := range []struct {
		name string
		past Past
		line string
		want bool
	}{
		{"a kiln of which nothing is known cools in 18 h", Past{}, "20>1222@150 h10 off", false},
		{"or in two", Past{}, "20>1222@150 h10 >40@600 h30", true},
		{"one that did so before", quick, "20>1222@150 h10 >40@380 h30", false},
		{"a low firing", Past{}, "20>500@150 h10 >40@600 h30", false},
	} {
		told := 0
		for _, e := range hearing(t, kiln.Glaze, c.past, c.line) {
			if e.What == CooledDown {
				if told++; e.TooSoon != c.want {
					t.Errorf("%s: too soon %v", c.name, e.TooSoon)
				}
			}
		}
		if told != 1 {
			t.Errorf("%s: told %d times", c.name, told)
		}
	}
}

// Of several probes the hottest says whether the kiln is down: one that slipped out reads cold.
func TestHottestProbeSaysWhetherItIsDown(t *testing.T) {
	k := kiln.Kiln{ID: "big-blue", Control: "1", Limit: 1290, KeepShut: 50, Every: 5 * time.Second,
		Channels: []kiln.Channel{{ID: "1", Role: kiln.RoleProbe}, {ID: "2", Role: kiln.RoleProbe},
			{ID: "vent", Role: kiln.RoleVent}}}
	d := NewDetector(k, DefaultRules(), Past{})
	at := kiln.Stamp{Boot: "a", Since: time.Minute, Wall: time.Unix(1767225600, 0), Trusted: true}
	down := 0
	play := func(hours float64, control, other func(h float64) float64) {
		for h := 0.0; h < hours; h += 5.0 / 3600 {
			at.Since += 5 * time.Second
			at.Wall = at.Wall.Add(5 * time.Second)
			down += count(d.Add(kiln.Sample{Kiln: k.ID, At: at,
				Values: []kiln.Value{{Channel: "1", T: kiln.Celsius(control(h))},
					{Channel: "2", T: kiln.Celsius(other(h))}, {Channel: "vent", T: 90}}}), CooledDown)
		}
	}
	up := func(h float64) float64 { return 20 + 300*h }
	play(4, up, up)
	play(2, func(h float64) float64 { return max(1220-1190*h, 30) },
		func(h float64) float64 { return 1220 - 200*h })
	if down != 0 {
		t.Fatal("down, though the other probe reads 800 °C")
	}
	play(5, func(float64) float64 { return 30 }, func(h float64) float64 { return max(820-200*h, 30) })
	if down != 1 {
		t.Errorf("told %d times that it is down", down)
	}
}
