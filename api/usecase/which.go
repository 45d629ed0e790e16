package usecase

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// whichFiring is where a bar is put once somebody told which firing a length of it came out of.
type whichFiring struct {
	load   tiles.Load // without a number where it is new; the bar is not in it yet
	from   string     // id of the load that it lay in by what was told before; empty: none
	stated bool       // the heat is told of a load that is there, and all its bars
	attach bool       // the firing is told of a load that is there, and all its bars
	heat   tiles.Heat
}

// which finds out where b must lie for r to count at the firing or cone that w tells. Nothing is kept.
func (s Bars) which(ctx context.Context, b tiles.Bar, r tiles.Reading, w wire.WhichFiring) (whichFiring,
	error) {
	field := "firing"
	if w.Firing == "" {
		field = "cone"
	}
	refused := func(kind string, why message.Key, args ...any) error {
		return &tiles.Invalid{Field: field, Type: kind, Why: message.New(why, args...)}
	}
	kind := kiln.Glaze
	switch {
	case w.Firing != "" && w.Cone != "":
		return whichFiring{}, refused(tiles.GivenTwice, "a firing and a cone say the same thing: give one")
	case r.Stage == tiles.Biscuit:
		kind = kiln.Bisque
	case r.Stage != tiles.Fired || r.Mass != nil:
		return whichFiring{}, refused(tiles.OutOfRange, "is of a bisque or fired length alone")
	}
	if w.Cone == "" {
		return s.whichNamed(ctx, b, r, w.Firing, refused)
	}
	work, err := heatwork.MainConeScale().Parse(w.Cone)
	if err != nil {
		return whichFiring{}, coneProblem("cone", err)
	}
	// A minute before, so that a length read at once comes after it. Lengths of one day and cone are taken
	// for one load.
	at := r.At.Add(-time.Minute)
	out := whichFiring{heat: tiles.Heat{Kind: kind, Work: work, At: at}}
	open, ok, err := s.unfiredOf(ctx, b, r.Stage, "")
	if err != nil {
		return out, err
	}
	if ok {
		out.load, out.stated = open, true
		out.load.Stated = work
	} else {
		day := at.In(s.Site.Zone).Format(time.DateOnly)
		out.load, err = s.loadOr(ctx, tiles.Load{ID: toldID(fmt.Sprintf("%s %.0f %s",
			kind, float64(work), day)),
			Kind: kind, Atmosphere: s.Site.atmosphere(), Stated: work, Opened: at,
			Note: "cone told with a length"})
	}
	out.heat.Load = out.load.ID
	out.leaves(b, r)
	return out, err
}

// whichNamed is which for a firing by its id or name, or the last one of the kiln that the clay's bars come
// from.
func (s Bars) whichNamed(ctx context.Context, b tiles.Bar, r tiles.Reading, name string,
	refused func(kind string, why message.Key, args ...any) error) (whichFiring, error) {
	f, err := s.firingNamed(ctx, b, r, name)
	if err != nil {
		return whichFiring{}, err
	}
	passed := f.PeakPassed()
	switch sort := tiles.Measures(f.Kind); {
	case f.ID == "":
		return whichFiring{}, refused("unknown-firing",
			"no firing {1} is known here. Its name is as big-blue/8; where none is known, tell the cone that it reached", name)
	case sort != "" && sort != r.Stage:
		return whichFiring{}, refused(tiles.OutOfRange, "{1} is a {2} firing, and this is a {3} length",
			f.Name(), f.Kind, r.Stage)
	case passed.IsZero() || passed.After(r.At):
		return whichFiring{}, refused(tiles.OutOfRange, "{1} had not passed its peak when {2} was measured",
			f.Name(), b.Code)
	}
	out := whichFiring{heat: tiles.Heat{Kind: f.Kind, Kiln: f.Kiln, Firing: f.ID, Status: f.Status,
		Began: f.Began.Wall, At: cmp.Or(f.Over.Wall, passed), Peak: passed, Work: kiln.NoTemperature()}}
	if h, ok := f.WorkOn(s.Channel(f.Kiln, ""), ""); ok && f.Whole() {
		out.heat.Work, out.heat.ExtraSD = h.C, h.SD()
	}
	loads, err := s.Archive.Loads(ctx, tiles.LoadFilter{})
	if err != nil {
		return out, err
	}
	at := slices.IndexFunc(loads, func(l tiles.KeptLoad) bool {
		return l.CalledOff.IsZero() && slices.ContainsFunc(l.Firings,
			func(g kiln.Firing) bool { return g.ID == f.ID })
	})
	open, ok, err := s.unfiredOf(ctx, b, r.Stage, f.Kiln)
	switch {
	case err != nil:
		return out, err
	case at >= 0:
		out.load = loads[at].Load
	case ok:
		out.load, out.attach = open, true
	default:
		kind := f.Kind
		if tiles.Measures(kind) == "" {
			kind = map[tiles.Stage]kiln.Kind{tiles.Biscuit: kiln.Bisque, tiles.Fired: kiln.Glaze}[r.Stage]
		}
		out.load, err = s.loadOr(ctx, tiles.Load{ID: toldID("firing " + string(f.ID)), Kiln: f.Kiln,
			Kind: kind, Atmosphere: f.Atmosphere, Firing: f.ID, Stated: kiln.NoTemperature(),
			Opened: f.Began.Wall, Note: "firing told with a length"})
	}
	out.heat.Load = out.load.ID
	out.leaves(b, r)
	return out, err
}

// leaves finds the load that gave r its heat by what was told of it before, so that another answer takes its
// place.
func (w *whichFiring) leaves(b tiles.Bar, r tiles.Reading) {
	if h, ok := b.Hottest(r); ok && h.Load != w.load.ID && tiles.Measures(h.Kind) == r.Stage {
		w.from = h.Load
	}
}

// toldID makes the same id of the same answer, so that bars of one firing come into one load.
func toldID(text string) string {
	return uuid.NewSHA1(uuid.NameSpaceURL, []byte("lidwright told: "+text)).String()
}

// loadOr is the load of that id as it is kept, else l.
func (s Bars) loadOr(ctx context.Context, l tiles.Load) (tiles.Load, error) {
	kept, err := s.Archive.Loads(ctx, tiles.LoadFilter{ID: l.ID})
	if err == nil && len(kept) > 0 {
		return kept[0].Load, nil
	}
	return l, err
}

// unfiredOf is the load of b that nobody fired as far as is known and that gives the stage; of that kiln,
// where one is named. It is false where there is none such, or several.
func (s Bars) unfiredOf(ctx context.Context, b tiles.Bar, stage tiles.Stage, of kiln.KilnID) (only tiles.Load,
	ok bool, err error) {
	for _, h := range b.Firings {
		if !h.Unfired() || tiles.Measures(h.Kind) != stage || of != "" && h.Kiln != of {
			continue
		}
		l, err := s.Archive.Load(ctx, h.Load)
		if err != nil || ok {
			return only, false, err
		}
		only, ok = l.Load, len(l.Firings) == 0
	}
	return only, ok, nil
}

// firingNamed finds a firing by its id, its name (big-blue/8, big-blue/last) or as the last one of the kiln
// that the clay's last bars came from. Its id is empty where there is none.
func (s Bars) firingNamed(ctx context.Context, b tiles.Bar, r tiles.Reading, name string) (f kiln.Firing,
	err error) {
	of, number, parted := strings.Cut(name, "/")
	if name == "last" {
		number = "last"
		k, err := s.Lids().kilnOf(ctx, b.Clay)
		if err != nil {
			return f, err
		}
		of = string(k)
	} else if !parted {
		of = ""
	}
	all, err := s.Archive.Firings(ctx, kiln.FiringFilter{Kiln: kiln.KilnID(of)})
	if err != nil {
		return f, err
	}
	for _, f := range all { // the newest first
		sort := tiles.Measures(f.Kind)
		switch {
		case string(f.ID) == name, number != "" && number != "last" && f.Name() == of+" "+number:
			return f, nil
		case number == "last" && (sort == "" || sort == r.Stage) && f.Whole() && !f.PeakPassed().After(r.At):
			return f, nil
		}
	}
	return f, nil
}

// placed puts b where the answer says that it lay.
func (s Bars) placed(ctx context.Context, b tiles.Bar, r tiles.Reading, w whichFiring) error {
	l := w.load
	var err error
	switch {
	case w.stated:
		kept, loadErr := s.Archive.Load(ctx, l.ID)
		if err = loadErr; err == nil {
			_, err = s.Archive.PutLoad(ctx, l, Precondition{Revision: kept.Revision}, s.Now())
		}
	case w.attach:
		_, err = s.Loads().Attach(ctx, l.ID, w.heat.Firing)
	case b.WasIn(l.ID):
	case !l.CalledOff.IsZero(): // it was emptied before
		if err = s.Archive.PutBackLoad(ctx, l.ID, r.By, s.Now()); err == nil {
			err = s.Archive.PlaceBars(ctx, []tiles.BarMove{{Bar: b.Code, From: w.from, To: l.ID}}, s.Now())
		}
	case l.Number != 0:
		err = s.Archive.PlaceBars(ctx, []tiles.BarMove{{Bar: b.Code, From: w.from, To: l.ID}}, s.Now())
	default:
		l.Bars = []tiles.Placed{{Bar: b.Code}}
		if err = s.Archive.KeepSheet(ctx, tiles.Taken{Loads: []tiles.Load{l}}, s.Now(), nil); err == nil &&
			w.from != "" {
			err = s.Archive.PlaceBars(ctx, []tiles.BarMove{{Bar: b.Code, From: w.from}}, s.Now())
		}
	}
	if err != nil {
		return err
	}
	if w.from != "" {
		if err := s.emptied(ctx, w.from, r.By); err != nil {
			return err
		}
	}
	s.Shrink.Touch()
	s.Loads().TellLoads(ctx, l.Kiln)
	return nil
}

// emptied calls a load of told heat off that no bar lies in any more.
func (s Bars) emptied(ctx context.Context, id, by string) error {
	l, err := s.Archive.Load(ctx, id)
	if err != nil || len(l.Bars) > 0 || l.Kiln != "" {
		return err
	}
	return s.Archive.CallOffLoad(ctx, id, by, s.Now())
}

// TellFiring says which firing, or what cone, a length that is kept came out of, and gives the reading as it
// stands then.
func (s Bars) TellFiring(ctx context.Context, p wire.ReadingPath, w wire.WhichFiring) (wire.Reading, error) {
	b, err := s.Bar(ctx, p.BarPath)
	if err != nil {
		return wire.Reading{}, err
	}
	at := slices.IndexFunc(b.Readings, func(r tiles.Reading) bool { return r.ID == p.ID })
	if at < 0 {
		return wire.Reading{}, tiles.ErrNoReading
	}
	r := b.Readings[at]
	if w.Cone == "" && w.Firing == "" {
		return wire.Reading{}, &tiles.Invalid{Field: "firing", Type: tiles.Missing,
			Why: message.New("is needed: its name, as big-blue/8 or last; or a cone")}
	}
	which, err := s.which(ctx, b, r, w)
	if err == nil {
		err = s.placed(ctx, b, r, which)
	}
	if err != nil {
		return wire.Reading{}, err
	}
	if b, err = s.Bar(ctx, p.BarPath); err != nil {
		return wire.Reading{}, err
	}
	if err := s.Loads().ReadOut(ctx, b, r); err != nil {
		return wire.Reading{}, err
	}
	return s.SettledReading(ctx, b, r), nil
}

// WhichAsked are the firings that a length can have come out of, the newest first.
func (s Bars) WhichAsked(ctx context.Context, b tiles.Bar, r tiles.Reading, most int) ([]kiln.Firing, error) {
	all, err := s.Archive.Firings(ctx, kiln.FiringFilter{})
	if err != nil {
		return nil, err
	}
	var out []kiln.Firing
	for _, f := range all {
		passed := f.PeakPassed()
		if sort := tiles.Measures(f.Kind); (sort == "" || sort == r.Stage) && f.Whole() && !passed.IsZero() &&
			!passed.After(r.At) && len(out) < most {
			out = append(out, f)
		}
	}
	return out, nil
}
