package record

import (
	"testing"
	"testing/synctest"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/faults"
	"lidwright/kiln/kilntest"
)

// A reading that the judge holds back for the next one is kept when none comes: when the line has
// been silent for as long as a reading is fresh, and when the recorder ends.
func TestHeldReadingsAreKept(t *testing.T) {
	for _, c := range []struct {
		name string
		end  func(g *rig)
	}{
		{"silence", func(g *rig) { g.silence(31 * time.Second) }},
		{"the end", func(g *rig) {}},
	} {
		synctest.Test(t, func(t *testing.T) {
			log := newMemoryLog()
			g := newRig(t, log, boot("a", kilntest.Winter, true))
			g.ramp(20, 300, 400)
			id := g.live().Firing
			if id == "" {
				t.Fatal("no firing")
			}
			g.second(355) // 55 K in a second: held back
			before := g.live().Good
			g.pass(time.Second)
			g.ticks <- time.Time{} // the second is over
			synctest.Wait()
			if n := g.live().Good; n != before {
				t.Fatalf("%s: the reading was not held back", c.name)
			}
			at := g.clock().Since - time.Second
			c.end(g)
			if c.name == "silence" {
				synctest.Wait()
				if n := g.live().Faulty[kiln.Unbelievable]; n != 1 {
					t.Errorf("after the silence %v", g.live().Faulty)
				}
			}
			if err := g.stop(); err != nil {
				t.Fatal(err)
			}
			log.mu.Lock()
			defer log.mu.Unlock()
			samples := log.samples[id]
			last := samples[len(samples)-1]
			if last.At.Since != at || last.Values[0].T != 355 || last.Values[0].Fault != kiln.Unbelievable {
				t.Errorf("%s: the last sample kept is %v; want 355 °C at %v, unbelievable", c.name, last, at)
			}
		})
	}
}

// The zones' history can be read from what is kept of each minute: it is that of the judge that
// heard every reading, within what the middle of a minute's lowest and highest hides.
func TestZonesOfMinutes(t *testing.T) {
	k := kiln.Kiln{ID: "big-blue", Control: "1", Every: time.Second,
		Channels: []kiln.Channel{{ID: "1", Role: kiln.RoleProbe}, {ID: "2", Role: kiln.RoleProbe}}}
	j := faults.NewFaultDetector(k, nil)
	minutes := []kiln.Envelope{{Channel: "1", Step: time.Minute}, {Channel: "2", Step: time.Minute}}
	say := func(after time.Duration, control kiln.Celsius) {
		second := control - 12 - control/100
		j.Assess(kiln.Sample{Kiln: k.ID, At: kiln.Stamp{Boot: "a", Since: time.Hour + after},
			Values: []kiln.Value{{Channel: "1", T: control}, {Channel: "2", T: second}}})
		minutes[0].Put(after, control)
		minutes[1].Put(after, second)
	}
	after := time.Duration(0)
	for ; after < 5*time.Hour; after += time.Second {
		say(after, 20+kiln.Celsius(after.Hours()*200))
	}
	for ; after < 15*time.Hour; after += time.Second {
		say(after, 1020-kiln.Celsius((after.Hours()-5)*100))
	}
	heard, read := j.ZonePast(), faults.ZonesOf(k, minutes)
	if len(heard) < 18 || len(read) != len(heard) {
		t.Fatalf("%d bands heard, %d read", len(heard), len(read))
	}
	for i := range heard {
		a, b := heard[i], read[i]
		if a.From != b.From || a.Rising != b.Rising || a.Firings != 1 || b.Firings != 1 ||
			a.Mean-b.Mean > 0.2 || b.Mean-a.Mean > 0.2 {
			t.Errorf("heard %v, read %v", a, b)
		}
	}
	if twice := faults.ZonesOf(k, minutes, minutes); twice[0].Firings != 2 {
		t.Errorf("two firings: %v", twice[0])
	}
}

// What was seen of a firing before a restart counts with what is seen of it after.
func TestZonesJoin(t *testing.T) {
	k := kiln.Kiln{ID: "big-blue", Control: "1", Every: time.Second,
		Channels: []kiln.Channel{{ID: "1", Role: kiln.RoleProbe}, {ID: "2", Role: kiln.RoleProbe}}}
	whole, before, after := faults.NewFaultDetector(k, nil), faults.NewFaultDetector(k,
		nil), faults.NewFaultDetector(k, nil)
	for i := range 4 * 3600 {
		control := 20 + kiln.Celsius(i)/16
		s := kiln.Sample{Kiln: k.ID, At: kiln.Stamp{Boot: "a",
			Since: time.Hour + time.Duration(i)*time.Second},
			Values: []kiln.Value{{Channel: "1", T: control},
				{Channel: "2", T: control - kiln.Celsius(i)/1000}}}
		whole.Zones.See(s)
		if i < 3*3600 {
			before.Zones.See(s)
		} else {
			after.Zones.See(s)
		}
	}
	after.Zones.Join(&before.Zones)
	if whole.Zones.Probes[0].N != after.Zones.Probes[0].N || !after.Zones.Hot {
		t.Errorf("%v\n%v", whole.Zones.Probes[0].N, after.Zones.Probes[0].N)
	}
}
