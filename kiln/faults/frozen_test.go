package faults_test

import (
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/faults"
)

// A display that stands still is told, whatever its pace and its steps: as frozen where that cannot
// be an accident, else as a probe that is still though it moved before, of which nothing is taken out.
func TestFrozenIsTold(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name        string
		every       time.Duration
		step, noise kiln.Celsius
		probes      int
		hold        bool
		fault       bool // marked; else still
	}{
		{"a display in whole degrees, each second", time.Second, 1, 0.15, 1, false, false},
		{"one without noise", time.Second, 0.1, 0, 1, false, false},
		{"all three probes at once", time.Second, 0.1, 0.15, 3, false, true},
		{"all three at once in a hold", time.Second, 0.1, 0.15, 3, true, true},
		{"all three in whole degrees", time.Second, 1, 0.15, 3, false, false},
		{"one probe each four seconds", 4 * time.Second, 0.1, 0.15, 1, false, true},
		{"each ten seconds", 10 * time.Second, 0.1, 0.15, 1, false, false},
	} {
		l := newLine(t, c.every, make([]kiln.Role, c.probes)...)
		curve := usual("20>900@250 h120", 9)
		curve.Step, curve.Noise = c.step, c.noise
		for i := range l.kiln.Channels {
			l.kiln.Channels[i].Role = kiln.RoleProbe
		}
		l.judge = faults.NewFaultDetector(l.kiln, nil)
		from := 2 * time.Hour
		if c.hold {
			from = 4 * time.Hour
		}
		said := make([]kiln.Celsius, c.probes)
		for after := time.Duration(0); after < from+15*time.Minute; after += c.every {
			for i := range said {
				own := curve
				own.Seed, own.Off = uint64(i), kiln.Celsius(7*i)
				said[i] = own.Reading(min(after, from))
			}
			l.say(said...)
			if _, still := l.judge.Still("1"); still && after < from {
				t.Fatalf("%s: still at %v, before it froze", c.name, after)
			}
		}
		for i := range l.kiln.Channels {
			since, still := l.judge.Still(channelName(i))
			if frozen := l.lastFault(i) == kiln.Frozen; frozen != c.fault ||
				!c.hold && (!still || since.Since > time.Hour+from) {
				t.Errorf("%s, probe %d: after a quarter of an hour %q, still %v since %v", c.name, i+1,
					l.lastFault(i), still, since.Since)
			}
		}
	}
}

// A probe that shows 12 % of what the others rise is told within the hour, and one that lags as far
// as zones of a kiln do is not.
func TestProbeThatReadsAPartOfTheRise(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		share kiln.Celsius
		bad   bool
	}{{0.12, true}, {0.05, true}, {0.6, false}, {0.4, false}} {
		l := newLine(t, 2*time.Second, kiln.RoleProbe, kiln.RoleProbe, kiln.RoleProbe)
		curve := usual("20>1100@150 off>100/4", 4)
		for after := time.Duration(0); after < curve.Programme.Length(); after += l.kiln.Every {
			full := curve.Reading(after)
			l.say(full, full-15, 20+c.share*(full-20))
			if after == 2*time.Hour+30*time.Minute && (l.lastFault(2) == kiln.Shorted) != c.bad {
				t.Errorf("%v of the rise: at %.0f °C %q", c.share, full, l.lastFault(2))
			}
		}
		if f := l.faults(2); !c.bad && len(f) > 1 || c.bad && f[kiln.Good] > 9000 {
			t.Errorf("%v of the rise: %v", c.share, f)
		}
		for i := range 2 {
			if f := l.faults(i); len(f) > 1 {
				t.Errorf("beside %v of the rise probe %d: %v", c.share, i+1, f)
			}
		}
	}
}
