package faults_test

import (
	"testing"
	"time"

	"lidwright/kiln"
)

// What is held aside is told as it reads, from when it jumped, and whether another unit of the controller
// explains it; it is told no more as soon as the probe is believed again.
func TestWhatIsHeldAside(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		jump func(kiln.Celsius) kiln.Celsius
		unit bool
	}{
		"in K":               {func(t kiln.Celsius) kiln.Celsius { return t + 273.15 }, true},
		"in °F":              {func(t kiln.Celsius) kiln.Celsius { return t*1.8 + 32 }, true},
		"higher by anything": {func(t kiln.Celsius) kiln.Celsius { return t + 150 }, false},
	} {
		l := newLine(t, time.Second, kiln.RoleProbe)
		curve := usual("20>900@120", 3)
		say := func(from, to time.Duration, as func(kiln.Celsius) kiln.Celsius) {
			for after := from; after < to; after += time.Second {
				l.say(as(curve.Reading(after)))
			}
		}
		asRead := func(t kiln.Celsius) kiln.Celsius { return t }
		say(0, 2*time.Hour, asRead)
		if a, held := l.judge.Aside("1"); held || a.Held() {
			t.Fatalf("%s: before it jumped %+v", name, a)
		}
		jumped := l.at
		say(2*time.Hour, 2*time.Hour+5*time.Minute, c.jump)
		a, held := l.judge.Aside("1")
		// the newest is judged by the next
		last := c.jump(curve.Reading(2*time.Hour + 5*time.Minute - 2*time.Second))
		if !held || !a.Held() || a.Unit != c.unit || a.Since.Since != jumped.Since || a.T < last-2 ||
			a.T > last+2 {
			t.Errorf("%s: %v, %+v; want %v since %v, by a unit %v", name, held, a, last, jumped.Since, c.unit)
		}
		say(2*time.Hour+5*time.Minute, 2*time.Hour+10*time.Minute, asRead)
		if a, held := l.judge.Aside("1"); held || l.lastFault(0) != kiln.Good {
			t.Errorf("%s: back again, and held aside %+v, %s", name, a, l.lastFault(0))
		}
	}
	l := newLine(t, time.Second, kiln.RoleProbe)
	if _, held := l.judge.Aside("9"); held {
		t.Error("a channel that there is none of is held aside")
	}
}

// A probe that stands still is told only where it moved before, and has stood for ten minutes; a channel of
// another role, or one that there is none of, never is.
func TestWhoIsStill(t *testing.T) {
	t.Parallel()
	l := newLine(t, time.Second, kiln.RoleProbe, kiln.RoleRoom)
	whole := usual("20>900@300 h300", 3)
	whole.Step, whole.Noise = 1, 0
	still := func(id kiln.ChannelID) bool { _, is := l.judge.Still(id); return is }
	for after := time.Duration(0); after < 5*time.Hour; after += time.Second {
		l.say(whole.Reading(after), 20)
		if after < 3*time.Hour && (still("1") || still("2")) {
			t.Fatalf("still at %v", after)
		}
	}
	if still("2") || still("9") {
		t.Error("the room, or no channel, is told")
	}
	// It came to its hold out of a climb and stands since, as a display in whole degrees does: that is told.
	// From one step to the next within the hold it is as still, and not told.
	if !still("1") {
		t.Error("a probe that climbed and stands since is not told")
	}
	for range 20 * 60 {
		l.say(901, 20)
	}
	if still("1") {
		t.Error("a probe that moved by a step in a hold is told")
	}
}

// A probe that read one value far off for a while is believed again as soon as it reads what the kiln should
// be at by then, and not while it reads anything between.
func TestBackFromAside(t *testing.T) {
	t.Parallel()
	l := newLine(t, time.Second, kiln.RoleProbe)
	curve := usual("20>1100@250", 3)
	say := func(from, to time.Duration, as func(kiln.Celsius) kiln.Celsius) {
		for after := from; after < to; after += time.Second {
			l.say(as(curve.Reading(after)))
		}
	}
	asRead := func(t kiln.Celsius) kiln.Celsius { return t }
	const broken, over = 90 * time.Minute, 110 * time.Minute
	say(0, broken, asRead)
	say(broken, over, func(kiln.Celsius) kiln.Celsius { return 900 })
	if a, held := l.judge.Aside("1"); !held || a.T != 900 || a.Unit {
		t.Fatalf("not held aside: %+v", a)
	}
	say(over, over+30*time.Second, func(t kiln.Celsius) kiln.Celsius { return 785 })
	if f := l.lastFault(0); f == kiln.Good {
		t.Error("a reading half way is believed")
	}
	say(over+30*time.Second, over+2*time.Minute, asRead)
	if a, held := l.judge.Aside("1"); held || l.lastFault(0) != kiln.Good {
		t.Errorf("back at %.0f °C, and %s, aside %+v", curve.Reading(over), l.lastFault(0), a)
	}
}

// A couple that falls by 15 K a second, reading by reading, as one does that is pulled out of a hot kiln, is
// believed on the way and where it comes to rest; one reading so far below is not.
func TestFallReadingByReading(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		falls int // readings
		back  bool
		want  bool // the last of them is believed
	}{"for 30 s": {30, false, true}, "one reading": {1, true, false}} {
		l := newLine(t, time.Second, kiln.RoleProbe)
		curve := usual("20>900@300 h60", 3)
		l.play(0, 3*time.Hour+30*time.Minute, curve)
		now := curve.Reading(3*time.Hour + 30*time.Minute)
		for range c.falls {
			now -= 15
			if c.falls == 1 {
				now -= 200
			}
			l.say(now)
		}
		if c.back {
			now += 215
		}
		for i := range 60 {
			l.say(now - kiln.Celsius(i%3)/10)
		}
		if f := l.lastFault(0); f != kiln.Good {
			t.Errorf("%s: at rest at %.0f °C it is %s", name, now, f)
		}
		f := l.faults(0)
		delete(f, kiln.Good)
		marked := 0
		for _, n := range f {
			marked += n
		}
		if c.want && marked > 3 || !c.want && marked != 1 {
			t.Errorf("%s: marked %v", name, f)
		}
	}
}

// A couple that was pulled out and put back, or a plug that was loose, reads as before within ten minutes of
// its fall; later such a jump is asked to explain itself. Own choice.
func TestBackFromAFall(t *testing.T) {
	t.Parallel()
	for seconds, want := range map[int]bool{599: true,
		600: false} { // from the last reading before the fall to the last one down there
		l := newLine(t, time.Second, kiln.RoleProbe)
		curve := usual("20>900@300 h60", 3)
		l.play(0, 3*time.Hour+30*time.Minute, curve)
		now := curve.Reading(3*time.Hour + 30*time.Minute)
		for range 30 {
			now -= 15
			l.say(now)
		}
		for i := range seconds - 30 {
			l.say(now - kiln.Celsius(i%3)/10)
		}
		for i := range 10 {
			l.say(now + 440 + kiln.Celsius(i%3)/10)
		}
		if good := l.lastFault(0) == kiln.Good; good != want {
			t.Errorf("back after %d s: believed %v", seconds, good)
		}
	}
}
