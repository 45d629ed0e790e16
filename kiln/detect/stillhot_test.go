package detect

import (
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/kilntest"
)

// A kiln that climbs again after its end, climbs on from the hold at its usual top, or stays hot half as long
// again as it usually takes to cool (12 h at least) is still hot; one that cools, is held as usual or is
// opened is not. Limits are our own.
func TestWhatIsStillHot(t *testing.T) {
	usual := Expected{Of: 4, Top: 1222, ToTop: 9 * time.Hour, Cooling: 10 * time.Hour,
		Holds: []kiln.Hold{{At: 1222, For: 20 * time.Minute, After: 8 * time.Hour}, {At: 1040,
			For: time.Hour, After: 10 * time.Hour}}}
	quick := usual
	quick.Cooling = 4 * time.Hour
	noHold := usual
	noHold.Holds = nil
	held := func(at kiln.Celsius) Expected {
		e := usual
		e.Holds = []kiln.Hold{{At: at, For: 20 * time.Minute, After: 8 * time.Hour}}
		return e
	}
	for name, c := range map[string]struct {
		usual Expected
		line  string
		want  bool
	}{
		"it cools":                     {usual, "20>1222@150 h20 off", false},
		"it climbs from 900":           {usual, "20>1222@150 h20 >900@200 >960@60", true},
		"by 11 °C":                     {usual, "20>1222@150 h20 >400@200 >411@60 >300@200", true},
		"by 6 °C":                      {usual, "20>1222@150 h20 >400@200 >406@60 >300@200", false},
		"by 11 °C below 250":           {usual, "20>1222@150 h20 >200@200 >211@60 >150@200", false},
		"by 16 °C below 250":           {usual, "20>1222@150 h20 >200@200 >216@60 >150@200", true},
		"to its hold in cooling":       {usual, "20>1222@150 h20 >1030@200 >1045@60 >600@200", false},
		"where no hold is usual":       {noHold, "20>1222@150 h20 >1030@200 >1045@60 >600@200", true},
		"on from its hold":             {usual, "20>1222@60 h20 >1245@60", true},
		"a little on from it":          {usual, "20>1222@60 h20 >1224@60 off", false},
		"on where none is held":        {noHold, "20>1222@60 h20 >1245@60", false},
		"a puff above its hold":        {usual, "20>1222@60 h20 >1230@240 off", false},
		"on from 8 °C below the top":   {held(1214), "20>1222@60 h20 >1245@60", true},
		"from a hold further below it": {held(1213.4), "20>1222@60 h20 >1245@60", false},
		"back after it was opened":     {usual, "20>1222@150 h20 >425@200 >395@1800 >420@60 >300@200", false},
		"a gust above 400 °C": {usual, "20>1222@150 h20 >430@200 >400.5@1800 >425@60 >300@200",
			true},
		"hot for 18 h":                 {usual, "20>1222@150 h20 >600@200 h900", true},
		"hot for 14 h":                 {usual, "20>1222@150 h20 >600@200 h640 off", false},
		"where it cools in four, 14 h": {quick, "20>1222@150 h20 >600@200 h640 off", true},
		"11 h":                         {quick, "20>1222@150 h20 >600@200 h460 off", false},
		"of a firing short of its top": {usual, "20>1000@150 h20 >600@200 h900", false},
		"below 200 °C":                 {usual, "20>1222@150 h20 >195@300 h900", false},
		"where nothing is usual":       {Expected{}, "20>1222@150 h20 >600@200 h900", false},
		"a climb where nothing is":     {Expected{}, "20>1222@150 h20 >600@200 h60 >660@60", true},
		"before it was hot":            {usual, "20>300@150 >200@100 h180 >260@60", false},
		"before its end, a dip":        {Expected{}, "20>900@150 >840@200 >900@100", false},
	} {
		s, err := parseShape("1 | - | " + c.line + " | |")
		if err != nil {
			t.Fatal(err)
		}
		d, so := NewDetector(kilntest.BigBlue, DefaultRules(), Past{}), false
		var w StillHot
		s.play(trial{every: 10}, func(sample kiln.Sample) {
			d.Add(sample)
			w.Look(d, c.usual)
			so = so || w.So()
		}, func(FactKind) {}, func(int) {})
		if so != c.want {
			t.Errorf("%s: still hot %v", name, so)
		}
		if w.Attended(); w.So() {
			t.Errorf("%s: somebody is at it, and it is still hot", name)
		}
	}
}
