package tiles

import (
	"slices"
	"time"

	"lidwright/kiln"
)

// LoadState is where a load is in its life.
type LoadState string

// The life of a load, in order.
const (
	LoadPacking LoadState = "packing" // the next firing of its kiln takes it
	// a firing broke off or was a candling: it is packed, not fired yet
	LoadPacked    LoadState = "packed"
	LoadFiring    LoadState = "firing"     // its firing goes on
	LoadFired     LoadState = "fired"      // a whole firing ended, or its heat work was stated
	LoadUnpacked  LoadState = "unpacked"   // it is out of the kiln, with bars to measure
	LoadDone      LoadState = "done"       // unpacked, and every bar measured or set aside
	LoadCalledOff LoadState = "called_off" // nobody fired it, and nobody will
)

// State is where the load is in its life.
func (l KeptLoad) State() LoadState {
	running := slices.ContainsFunc(l.Firings, func(f kiln.Firing) bool { return f.Status == kiln.Running })
	switch {
	case !l.CalledOff.IsZero():
		return LoadCalledOff
	case !l.Unpacked.IsZero() && l.Waiting == 0:
		return LoadDone
	case !l.Unpacked.IsZero():
		return LoadUnpacked
	case running:
		return LoadFiring
	case l.WasFired():
		return LoadFired
	case len(l.Firings) > 0:
		return LoadPacked
	}
	return LoadPacking
}

// WasFired reports whether a whole firing of l ended, one that is not known here, or its heat work was
// stated.
func (l Load) WasFired() bool {
	return slices.ContainsFunc(l.Firings, func(f kiln.Firing) bool { return f.Whole() || f.Status == "" }) ||
		len(l.Firings) == 0 && l.Stated.Known() && l.Stated != 0
}

// IsOpen reports whether the next firing of its kiln may take l.
func (l KeptLoad) IsOpen() bool {
	s := l.State()
	return s == LoadPacking || s == LoadPacked
}

// UnpackedBy reports whether a reading says that l is out of the kiln: it is of the stage that l gives, and
// was read after the peak of its firing was passed. A load that nobody fired no reading unpacks.
func (l KeptLoad) UnpackedBy(r Reading) bool {
	if s := l.State(); s != LoadFiring && s != LoadFired || r.Mass != nil || Measures(l.Kind) != r.Stage {
		return false
	}
	// the last of its firings must have passed its peak before the length was read
	var passed time.Time
	for _, f := range l.Firings {
		switch at := f.PeakPassed(); {
		case f.Status == kiln.Running && at.IsZero():
			return false // it still heats
		case at.After(passed):
			passed = at
		}
	}
	if len(l.Firings) == 0 {
		passed = l.Opened // of stated heat
	}
	return !passed.IsZero() && r.At.After(passed)
}

// WasIn reports whether a firing of that load is among those of b.
func (b Bar) WasIn(load string) bool {
	return slices.ContainsFunc(b.Firings, func(h Heat) bool { return h.Load == load })
}

// TakenOut reports whether b was out of the kiln when the firing h of its load began: it was read at the
// stage that the load gives after an earlier firing of the load, and before h. Such a bar has no part in a
// reheat.
func (b Bar) TakenOut(h Heat) bool {
	for _, o := range b.Firings {
		if o.Load != h.Load || o.Firing == h.Firing || o.Passed().IsZero() || !o.Passed().Before(h.Began) {
			continue
		}
		for _, r := range b.Readings {
			if r.Struck == nil && r.Mass == nil && r.Stage == Measures(h.Kind) &&
				r.At.After(o.Passed()) && r.At.Before(h.Began) {
				return true
			}
		}
	}
	return false
}
