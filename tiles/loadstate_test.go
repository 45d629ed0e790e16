package tiles_test

import (
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
)

var opened = time.Date(2026, 1, 12, 8, 0, 0, 0, time.UTC)

// firing began so many hours after the load was opened, passed its peak eight hours later and ended after
// twenty.
func firing(after int, status kiln.Status, peak kiln.Celsius) kiln.Firing {
	f := kiln.Firing{ID: kiln.FiringID(rune('a' + after)), Status: status, Peak: peak,
		Began: kiln.Stamp{Wall: opened.Add(time.Duration(after) * time.Hour)}}
	if status != kiln.Running || peak > 0 {
		f.PeakAfter = 8 * time.Hour
	}
	if status != kiln.Running {
		f.Over.Wall = f.Began.Wall.Add(20 * time.Hour)
	}
	return f
}

// TestStateOfALoad walks through the life of a load.
func TestStateOfALoad(t *testing.T) {
	none := kiln.NoTemperature()
	for name, c := range map[string]struct {
		load tiles.KeptLoad
		want tiles.LoadState
		open bool
	}{
		"new": {tiles.KeptLoad{Load: tiles.Load{Stated: none}}, tiles.LoadPacking, true},
		"being fired": {tiles.KeptLoad{Load: tiles.Load{Stated: none,
			Firings: []kiln.Firing{firing(1, kiln.Running, 0)}}}, tiles.LoadFiring, false},
		"fired": {tiles.KeptLoad{Load: tiles.Load{Stated: none,
			Firings: []kiln.Firing{firing(1, kiln.Ended, 1222)}}, Waiting: 2}, tiles.LoadFired, false},
		"candled": {tiles.KeptLoad{Load: tiles.Load{Stated: none,
			Firings: []kiln.Firing{firing(1, kiln.Ended, 95)}}}, tiles.LoadPacked, true},
		"candled and fired": {tiles.KeptLoad{Load: tiles.Load{Stated: none,
			Firings: []kiln.Firing{firing(1, kiln.Ended, 95), firing(30, kiln.Ended, 1222)}}},
			tiles.LoadFired, false},
		"broken off": {tiles.KeptLoad{Load: tiles.Load{Stated: none,
			Firings: []kiln.Firing{firing(1, kiln.Incomplete, 900)}}}, tiles.LoadPacked, true},
		"fired again": {tiles.KeptLoad{Load: tiles.Load{Stated: none,
			Firings: []kiln.Firing{firing(1, kiln.Ended, 1222), firing(30, kiln.Running, 0)}}},
			tiles.LoadFiring, false},
		"stated": {tiles.KeptLoad{Load: tiles.Load{Stated: 1222}, Waiting: 1},
			tiles.LoadFired, false},
		"elsewhere": {tiles.KeptLoad{Load: tiles.Load{Stated: none,
			Firings: []kiln.Firing{{ID: "x", Peak: none}}}}, tiles.LoadFired, false},
		"logged by hand": {tiles.KeptLoad{Load: tiles.Load{Stated: none,
			Firings: []kiln.Firing{{ID: "x", Source: "hand", Status: kiln.Ended, Peak: 400}}}},
			tiles.LoadFired, false},
		"out": {tiles.KeptLoad{Load: tiles.Load{Stated: none, Unpacked: opened}, Waiting: 1},
			tiles.LoadUnpacked, false},
		"all measured": {tiles.KeptLoad{Load: tiles.Load{Stated: none, Unpacked: opened}}, tiles.LoadDone,
			false},
		"called off": {tiles.KeptLoad{Load: tiles.Load{Stated: none, CalledOff: opened}},
			tiles.LoadCalledOff, false},
	} {
		if got := c.load.State(); got != c.want || c.load.IsOpen() != c.open {
			t.Errorf("%s: %s, open %v, want %s, %v", name, got, c.load.IsOpen(), c.want, c.open)
		}
	}
}

// TestReadingUnpacks holds which reading says that a load is out: one of the stage that the load gives, after
// its peak. It does not while the kiln still heats, and not where nobody fired the load.
func TestReadingUnpacks(t *testing.T) {
	at := func(hours int) time.Time { return opened.Add(time.Duration(hours) * time.Hour) }
	glaze := func(fs ...kiln.Firing) tiles.KeptLoad {
		return tiles.KeptLoad{Load: tiles.Load{Kind: kiln.Glaze, Stated: kiln.NoTemperature(), Opened: opened,
			Firings: fs}, Waiting: 1}
	}
	stated := glaze()
	stated.Stated = 1222
	bisque := glaze(firing(1, kiln.Ended, 1000))
	bisque.Kind = kiln.Bisque
	out := glaze(firing(1, kiln.Ended, 1222))
	out.Unpacked = at(22)
	for name, c := range map[string]struct {
		load  tiles.KeptLoad
		stage tiles.Stage
		at    time.Time
		want  bool
	}{
		"after the end": {glaze(firing(1, kiln.Ended, 1222)), tiles.Fired, at(40), true},
		"between peak and end": {glaze(firing(1, kiln.Running, 1222)),
			tiles.Fired, at(12), true},
		"while it heats":  {glaze(firing(1, kiln.Running, 0)), tiles.Fired, at(5), false},
		"before the peak": {glaze(firing(1, kiln.Ended, 1222)), tiles.Fired, at(5), false},
		"of another stage": {glaze(firing(1, kiln.Ended, 1222)),
			tiles.Biscuit, at(40), false},
		"bisque":                   {bisque, tiles.Biscuit, at(40), true},
		"fired length of a bisque": {bisque, tiles.Fired, at(40), false},
		"never fired":              {glaze(), tiles.Fired, at(40), false},
		"candled":                  {glaze(firing(1, kiln.Ended, 95)), tiles.Fired, at(40), false},
		"stated":                   {stated, tiles.Fired, at(1), true},
		"out already":              {out, tiles.Fired, at(40), false},
		"while it is fired again": {glaze(firing(1, kiln.Ended, 1222), firing(30, kiln.Running, 0)),
			tiles.Fired, at(33), false},
		"between the firing and the reheat": {glaze(firing(1, kiln.Ended, 1222),
			firing(30, kiln.Ended, 1222)), tiles.Fired, at(25), false},
	} {
		if got := c.load.UnpackedBy(tiles.Reading{Stage: c.stage, At: c.at}); got != c.want {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

// TestReheatLeavesOutWhatWasMeasured: a bar that was read after the first firing of a load was out of the
// kiln when the load was fired again; its sister, read only after that, went through both.
func TestReheatLeavesOutWhatWasMeasured(t *testing.T) {
	heat := func(id kiln.FiringID, from int) tiles.Heat {
		began := opened.Add(time.Duration(from) * time.Hour)
		return tiles.Heat{Load: "14", Firing: id, Kind: kiln.Glaze, Status: kiln.Ended, Work: 1222,
			Began: began, Peak: began.Add(8 * time.Hour), At: began.Add(20 * time.Hour)}
	}
	first, again := heat("a", 1), heat("b", 30)
	for _, c := range []struct {
		read int
		out  bool
	}{{25, true}, {60, false}} {
		b := tiles.Bar{Firings: []tiles.Heat{first},
			Readings: []tiles.Reading{{ID: "r", Stage: tiles.Fired, Length: 87.6,
				At: opened.Add(time.Duration(c.read) * time.Hour)}}}
		if got := b.TakenOut(again); got != c.out {
			t.Errorf("read after %d h: out %v, want %v", c.read, got, c.out)
		}
		if b.TakenOut(first) {
			t.Error("out of its first firing")
		}
	}
}
