package tiles

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
)

// faulty are the fields of a form that were found at fault.
func faulty(err error) string {
	var all InvalidFields
	var one *Invalid
	var names []string
	switch {
	case errors.As(err, &all):
		for _, f := range all {
			names = append(names, f.Field)
		}
	case errors.As(err, &one):
		names = append(names, one.Field)
	}
	return strings.Join(names, " ")
}

const anID = "0193c0c1-0000-7000-8000-000000000001"

// Each form is taken as it should be, and each fault is told beside its field.
func TestFaultsOfForms(t *testing.T) {
	ref := BatchRef{"tern", "B"}
	parents := func(n int) (all []BatchRef) {
		for i := range n {
			all = append(all, BatchRef{"tern", BatchID(fmt.Sprintf("A%d", i))})
		}
		return all
	}
	mix := func(shares []Ratio, parents ...BatchRef) *Batch {
		return &Batch{BatchRef: ref, Kind: Blend, Parents: parents, Shares: shares}
	}
	bar := func(change func(*Bar)) *Bar {
		b := &Bar{Code: "BQ7", ID: anID, BatchRef: ref, Forming: Rolled}
		change(b)
		return b
	}
	note := func(at string) *Note {
		return &Note{ID: anID, Firing: kiln.FiringID(anID), Text: "the elements are new", Happened: at}
	}
	probe := func(class int, fitted, removed string) *ProbeLife {
		return &ProbeLife{ID: anID, Kiln: "big-blue", Channel: "1", Type: "K", Class: class, Fitted: fitted,
			Removed: removed}
	}
	for name, c := range map[string]struct {
		form interface{ Validate() error }
		want string
	}{
		"a mix of 20":         {mix(nil, parents(20)...), ""},
		"a mix of 21":         {mix(nil, parents(21)...), "parents"},
		"parts of both":       {mix([]Ratio{.4, .6}, parents(2)...), ""},
		"parts of one of two": {mix([]Ratio{1}, parents(2)...), "parents"},
		"its own parent":      {mix(nil, ref), "parents"},
		"a parent twice": {mix(nil, BatchRef{"tern", "A"}, BatchRef{"tern", "A"}),
			"parents"},
		"a bar":                               {bar(func(*Bar) {}), ""},
		"a bar without a code":                {bar(func(b *Bar) { b.Code = "" }), "bar"},
		"a note":                              {note("2026-03-01T08:00:00Z"), ""},
		"a note of no moment":                 {note("yesterday"), "at"},
		"a probe":                             {probe(2, "2026-03-01", ""), ""},
		"a probe of class 1":                  {probe(1, "2026-03-01", "2026-03-01"), ""},
		"a probe of class 3":                  {probe(3, "2026-03-01", ""), "class"},
		"a probe fitted on no day":            {probe(2, "2026-02-30", ""), "fitted_on"},
		"a probe fitted nobody knows when":    {probe(2, "", ""), "fitted_on"},
		"a probe taken out before it came in": {probe(2, "2026-03-02", "2026-03-01"), "removed_on"},
	} {
		if got := faulty(c.form.Validate()); got != c.want {
			t.Errorf("%s: at fault %q, want %q", name, got, c.want)
		}
	}
	b := bar(func(*Bar) {})
	if err := b.Validate(); err != nil || b.MarkLength != 100 {
		t.Errorf("the usual marks: %v mm, %v", b.MarkLength, err)
	}
}

// The parts of a mix are told in any unit, count as shares, and are written so that they read the same again.
func TestParentsWrittenAndShared(t *testing.T) {
	texts := []string{"tern/A=3", "wren/A=1"}
	parents, shares, err := ParseParents("parents", texts)
	b := Batch{Parents: parents, Shares: shares}
	if err != nil || b.Share(0) != 0.75 || b.Share(1) != 0.25 {
		t.Fatalf("%v %v", shares, err)
	}
	again, same, err := ParseParents("parents", b.ParentTexts())
	if err != nil || fmt.Sprint(again, same) != fmt.Sprint(parents, shares) {
		t.Errorf("read back %v %v, want %v %v: %v", again, same, parents, shares, err)
	}
	if b.Shares = nil; b.Share(1) != 0.5 {
		t.Errorf("of two without parts each is a half, not %v", b.Share(1))
	}
	for _, bad := range []string{"tern/A=0", "tern/A=-1", "tern/A=1000001", "tern/A=x", "tern/A=NaN"} {
		if _, _, err := ParseParents("parents", []string{bad, "wren/A=1"}); faulty(err) == "" {
			t.Errorf("%s was taken", bad)
		}
	}
	if _, shares, err := ParseParents("parents", []string{"tern/A=1000000", "wren/A=12,5%"}); err != nil ||
		len(shares) != 2 {
		t.Errorf("%v %v", shares, err)
	}
}

// A length whose firing nobody tells counts at an assumed heat: a bisque one as of a bisque, a fired one as
// of a glaze firing, and none as soon as a firing is there that it can have come out of.
func TestAssumedHeat(t *testing.T) {
	at := time.Date(2026, 3, 1, 18, 0, 0, 0, time.UTC)
	of := func(stage Stage) Reading { return Reading{ID: "r", Stage: stage, Length: 90, At: at} }
	bar := func(enough bool, firings ...Heat) Bar {
		b := Bar{BatchRef: BatchRef{"tern", "A"}, Firings: firings}
		b.Assumed.Bisque = Assumption{Work: 1000, SD: 20, Enough: enough}
		b.Assumed.Fired = Assumption{Work: 1222, SD: 8, Enough: enough}
		return b
	}
	waits := func(kind kiln.Kind, began time.Time) Heat {
		return Heat{Load: "l", Kind: kind, Began: began, Work: kiln.NoTemperature(), Status: kiln.Running}
	}
	for name, c := range map[string]struct {
		bar   Bar
		stage Stage
		ok    bool
		kind  kiln.Kind
		work  kiln.Celsius
	}{
		"bisque":             {bar(false), Biscuit, true, kiln.Bisque, 1000},
		"fired":              {bar(false), Fired, true, kiln.Glaze, 1222},
		"dry":                {bar(false), Dry, false, "", 0},
		"others tell enough": {bar(true), Fired, false, "", 0},
		"a glaze firing goes on": {bar(false, waits(kiln.Glaze, at.Add(-time.Hour))), Fired, false,
			"", 0},
		"one that began when it was read": {bar(false, waits(kiln.Glaze, at)), Fired, false, "", 0},
		"one that began after it": {bar(false, waits(kiln.Glaze, at.Add(time.Second))), Fired, true,
			kiln.Glaze, 1222},
		"one that began nobody knows when": {bar(false, waits(kiln.Glaze, time.Time{})), Fired,
			false, "", 0},
		"a bisque goes on, it is fired": {bar(false, waits(kiln.Bisque, at.Add(-time.Hour))), Fired, true,
			kiln.Glaze, 1222},
		"a firing of another kind": {bar(false, waits(kiln.Other, at.Add(-time.Hour))), Fired, false,
			"", 0},
		"a glaze firing, it is bisque's": {bar(false, waits(kiln.Glaze, at.Add(-time.Hour))), Biscuit, true,
			kiln.Bisque, 1000},
	} {
		h, ok := c.bar.HeatFor(of(c.stage))
		if ok != c.ok || ok && (h.Kind != c.kind || h.Work != c.work || !h.Assumed) {
			t.Errorf("%s: %v %+v, want %v %s %v", name, ok, h, c.ok, c.kind, c.work)
		}
	}
}

// A clay may be what a supplier sells: by its number where both have one, else by its name, however it is
// written.
func TestClayMayBe(t *testing.T) {
	c := Clay{Name: "Tern Stone-ware", MakerCode: "T 12"}
	for _, x := range []struct {
		number, name string
		want         bool
	}{{"t-12", "another", true}, {"13", "tern stoneware", false}, {"", "TERN STONEWARE, coarse", true},
		{"", "stoneware", true}, {"", "ter", false}, {"", "wren", false}, {"", "", false}} {
		if got := c.MayBe(x.number, x.name); got != x.want {
			t.Errorf("%q %q: %v", x.number, x.name, got)
		}
	}
	if (Clay{Name: "Tern"}).MayBe("12", "owls and terns") != true || (Clay{Name: "Ter"}).MayBe("", "tern") {
		t.Error("a name is told by four letters")
	}
}

// Cones of a bag are cones that there are.
func TestConesOfAClay(t *testing.T) {
	for cone, want := range map[string]string{"": "", "6": "", "6x": "matures_cone"} {
		c := Clay{ID: "tern", Name: "Tern", MaturesCone: cone}
		if got := faulty(c.Validate()); got != want {
			t.Errorf("cone %q: at fault %q", cone, got)
		}
	}
	for id, want := range map[ClayID]string{"tern-2": "", "": "clay", "Tern": "clay",
		ClayID(strings.Repeat("a", 33)): "clay"} {
		c := Clay{ID: id, Name: "Tern"}
		if got := faulty(c.Validate()); got != want {
			t.Errorf("id %q: at fault %q", id, got)
		}
	}
}

// A mix is made of what is there, and of nothing that was made of it, however far back; a family that already
// goes round is walked through once.
func TestFamilies(t *testing.T) {
	a, b, c, d := BatchRef{"tern", "A"}, BatchRef{"tern", "B"}, BatchRef{"tern", "C"}, BatchRef{"wren", "D"}
	for name, x := range map[string]struct {
		of      BatchRef
		parents []BatchRef
		known   map[BatchRef][]BatchRef
		want    string
	}{
		"of two":            {c, []BatchRef{a, b}, map[BatchRef][]BatchRef{a: nil, b: {a}}, ""},
		"of one not known":  {c, []BatchRef{a, d}, map[BatchRef][]BatchRef{a: nil}, "parents"},
		"of its own child":  {a, []BatchRef{c}, map[BatchRef][]BatchRef{a: nil, b: {a}, c: {b}}, "parents"},
		"goes round itself": {d, []BatchRef{a}, map[BatchRef][]BatchRef{a: {b}, b: {a}}, ""},
	} {
		if got := faulty(Batch{BatchRef: x.of, Parents: x.parents}.Family(x.known)); got != x.want {
			t.Errorf("%s: at fault %q, want %q", name, got, x.want)
		}
	}
}
