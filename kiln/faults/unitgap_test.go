package faults_test

import (
	"testing"
	"time"

	"lidwright/kiln"
)

// A kiln that went on by itself while nothing was heard may come to stand where another unit would put
// it. Whether the first readings after are as old as the last before (a line keeps what nobody reads and
// gives it to the next who listens) or none is, its true ones are believed within twelve minutes.
func TestKilnThatMovedInAGapIsBelieved(t *testing.T) {
	t.Parallel()
	const before = 88.2
	for _, there := range []struct {
		name string
		now  kiln.Celsius
	}{
		{"1.8 t + 32", before*1.8 + 32}, {"(t - 32) / 1.8", (before - 32) / 1.8},
		{"t + 273.15", before + 273.15},
	} {
		for _, c := range []struct {
			name   string
			gap    time.Duration
			recall bool // the program began anew meanwhile
			boot   bool // the machine too, and its clock is not to be trusted
			none   bool // nothing is known from before
			stale  int  // old readings that come first
		}{
			{"after a restart, old bytes first", 50 * time.Minute, true, false, false, 3},
			{"after a restart", 50 * time.Minute, true, false, false, 0},
			{"after a restart of the machine, old bytes first", 0, true, true, false, 3},
			{"after a restart of the machine", 0, true, true, false, 0},
			{"nothing known, old bytes first", 0, false, false, true, 3},
			{"after a stop, old bytes first", 50 * time.Minute, false, false, false, 3},
			{"after a silence of a quarter of an hour", 14 * time.Minute, false, false, false, 0},
		} {
			for _, every := range []time.Duration{time.Second, 10 * time.Second} {
				l := newLine(t, every, kiln.RoleProbe)
				switch {
				case c.recall:
					l.judge.Recall("1", before, l.at)
				case !c.none:
					for i := 20 * time.Minute; i > 0; i -= every {
						l.say(before - kiln.Celsius(60*i.Hours()))
					}
				}
				l.pass(c.gap)
				if c.boot {
					l.at = kiln.Stamp{Boot: "b", Since: 8 * time.Second, Wall: time.Unix(0, 0).UTC()}
				}
				for i := range c.stale {
					l.say(before + kiln.Celsius(i)/10)
				}
				began := l.at.Since
				for l.at.Since < began+12*time.Minute {
					l.say(there.now + kiln.Celsius(250*(l.at.Since-began).Hours()))
				}
				if f := l.lastFault(0); f != kiln.Good {
					t.Errorf("%s, %s, every %v: %.1f °C is %s", there.name, c.name, every, there.now, f)
				}
			}
		}
	}
}

// A controller that was switched to another unit is held for as long as it lasts where no kiln can have
// got there by itself, whatever gap came before: none, one of a restart, one that was long ago.
func TestUnitChangedAfterAShortGapIsHeld(t *testing.T) {
	t.Parallel()
	for _, to := range []func(kiln.Celsius) kiln.Celsius{
		func(t kiln.Celsius) kiln.Celsius { return t*1.8 + 32 },
		func(t kiln.Celsius) kiln.Celsius { return t + 273.15 },
	} {
		for _, c := range []struct {
			name string
			// of readings in the old unit, of silence, of such readings again
			before, gap, after time.Duration
		}{{"at once after a restart", 0, 20 * time.Second, 0},
			{"soon after a restart", 0, 20 * time.Second, 5 * time.Second},
			{"with no gap", 20 * time.Minute, 0, 0},
			{"over a silence", 20 * time.Minute, 4 * time.Minute, 0},
			{"soon after a silence", 0, 4 * time.Minute, 2 * time.Minute},
			{"long after a long silence", 0, time.Hour, 20 * time.Minute}} {
			l := newLine(t, time.Second, kiln.RoleProbe)
			began := l.at.Since
			now := func() kiln.Celsius { return 400 + kiln.Celsius(100*(l.at.Since-began).Hours()) }
			l.judge.Recall("1", 400, l.at)
			say := func(until time.Duration) {
				for l.at.Since < until {
					l.say(now())
				}
			}
			say(began + c.before)
			l.pass(c.gap)
			switched := l.at.Since + c.after
			say(switched)
			for l.at.Since < switched+time.Hour {
				l.say(to(now()))
			}
			if f := l.faults(0); f[kiln.UnitChanged] != 3600 {
				t.Errorf("%s, to %.0f: %v; want 3600 marked", c.name, to(400), f)
			}
		}
	}
}
