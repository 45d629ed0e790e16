package api

import (
	"context"
	"fmt"
	"html"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/api/apitest"
	"lidwright/api/pages"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/tiles/lid"
)

// hearth is one kiln in a state of its own choosing.
type hearth struct {
	nobody
	live   kiln.Live
	firing kiln.Firing // under way; none without an id
}

func (h *hearth) Live() []kiln.Live { return []kiln.Live{h.live} }
func (h *hearth) LiveCurve(kiln.KilnID) (kiln.LiveCurve, bool) {
	return kiln.LiveCurve{Firing: h.firing}, h.firing.ID != ""
}
func (h *hearth) Tell(context.Context, kiln.Fact) (kiln.FiringID, error) { return "", nil }

// unasked works out no heat.
type unasked struct{ cold }

func (unasked) Again(context.Context, kiln.KilnID) {}

// silent tells nobody.
type silent struct{ Notices }

func (silent) Last(context.Context, int) ([]NoticeTold, error) { return nil, nil }
func (silent) Receivers() []string                             { return nil }

// inState is a kiln that reads t °C in a state.
func inState(state kiln.State, t kiln.Celsius) kiln.Live {
	return kiln.Live{Kiln: "blue", State: state, T: t, LastT: t, Hot: t > 60, Fresh: true, Limit: kiln.NoTemperature(), KeepShut: 80, Peak: kiln.NoTemperature()}
}

// cautionPlace is a page or print, and what must be seen on it.
type cautionPlace struct {
	place, path string
	live        kiln.Live
	firing      kiln.Firing
	hour        int
	want        []CautionNumber
	first       CautionNumber // of the cautions of the page; 0: any
	says        []string      // besides
	not         []CautionNumber
	drawing     bool // no page: without a foot of its own
}

// holds finds fault with a page in a language.
func (c cautionPlace) holds(t *testing.T, tongue, page string, say func(string) string) {
	t.Helper()
	if !c.drawing && !strings.Contains(page, say(Standing)) {
		t.Errorf("%s in %s: without the standing line", c.place, tongue)
	}
	if says := apitest.LeaveToOpen(page); says != "" {
		t.Errorf("%s in %s says %q", c.place, tongue, says)
	}
	firstAt := map[CautionNumber]int{}
	for _, n := range append(slices.Clone(c.want), c.first) {
		at := strings.Index(page, say(CautionText(n)))
		if n != 0 && at < 0 {
			t.Errorf("%s in %s, %s: without caution %d: %s", c.place, tongue, c.path, n, CautionText(n))
		}
		firstAt[n] = at
	}
	for _, n := range c.want {
		if c.first != 0 && n != c.first && firstAt[n] >= 0 && firstAt[n] < firstAt[c.first] {
			t.Errorf("%s in %s: caution %d stands before %d", c.place, tongue, n, c.first)
		}
	}
	for _, w := range c.says {
		if !strings.Contains(page, say(w)) {
			t.Errorf("%s in %s: does not say %q", c.place, tongue, w)
		}
	}
	for _, n := range c.not {
		if strings.Contains(page, say(CautionText(n))) {
			t.Errorf("%s in %s: caution %d has no business there", c.place, tongue, n)
		}
	}
}

// TestCautionsWhereTheyMustBeSeen holds every page against the table of the safety notes: which
// caution must be seen where, the first one named first where the table says first.
func TestCautionsWhereTheyMustBeSeen(t *testing.T) {
	h := &hearth{}
	now := kiln.Stamp{Boot: "test", Since: time.Hour, Wall: time.Date(2026, 2, 2, 12, 0, 0, 0, time.UTC), Trusted: true}
	st, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	s := &Server{Site: Site{Name: "studio", Zone: time.UTC, Units: "mm", Version: "9.9"}, Archive: st, Copies: noCopies{}, Kilns: h, Shrink: barless{st}, Heat: unasked{}, Notices: silent{},
		Kiln: map[kiln.KilnID]kiln.Kiln{"blue": {ID: "blue", Control: "1", KeepShut: 80, KeepShutReason: "thin ware, its maker's manual"}}, Wired: []Wired{{Kiln: "blue"}},
		Hot: func(context.Context, kiln.KilnID, time.Time, time.Time) (map[kiln.ChannelID]time.Duration, error) {
			return nil, nil
		},
		Lines: func() []Line { return nil }, Lids: lid.UsualDefaults(), Codes: "ABCDEFGHJKLNPQRTVWXY347", Now: func() kiln.Stamp { now.Since++; return now }, Ready: func() error { return nil },
		Store: func() (StoreHealth, error) { return StoreHealth{Free: 1e9}, nil }}
	handler, err := s.Handler()
	if err != nil {
		t.Fatal(err)
	}
	g := &studio{httptest.NewServer(handler), st, t}
	t.Cleanup(func() {
		g.Close()
		delete(fits, st)
		st.Close()
	})
	g.put("/v1/clays/tern", `{"name":"Tern stoneware","matures_cone":"6"}`, 201, nil)
	load, pot, verdict := g.id("l", 1), g.id("p", 1), g.id("v", 1)
	g.put("/v1/loads/"+load, `{"kiln":"blue","kind":"glaze","atmosphere":"reduction","heat_work_c":1222}`, 201, nil)
	g.put("/v1/pots/"+pot, `{"form":"jar","number":"1","collar_mm":[104.5],"opening_mm":92.5,"body":"tern/A","seat_glazed":true,"together":"in_place"}`, 201, nil)
	byHand := g.id("h", 1)
	g.put("/v1/firings/"+byHand, `{"source":"hand","kiln":"blue","kind":"glaze","atmosphere":"reduction","intended_cone":"6"}`, 201, nil)

	const hot = "hot"
	rising, burning := inState(kiln.Rising, 612), inState(kiln.Rising, 612)
	burning.OverLimit = true
	stuck := inState(kiln.Falling, 500)
	stuck.StillHot = true
	under := kiln.Firing{ID: kiln.FiringID(g.id("f", 1)), Kiln: "blue", Kind: kiln.Glaze, Status: kiln.Running, Atmosphere: kiln.Reduction, Peak: kiln.NoTemperature()}
	all := []CautionNumber{}
	for _, c := range Cautions {
		all = append(all, c.Number)
	}
	const aBoard = "?collar=104.5&opening=92.5&clay=tern&cone=6&seat_glazed=yes&together=in_place"
	grinding := []CautionNumber{CautionWetGrinding, CautionSilica, CautionNoSweeping, CautionEyes}
	set, err := pages.Load(time.UTC, func(string, float64) string { return "" })
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []cautionPlace{
		{place: "Home, cold", path: "/", not: []CautionNumber{CautionStayNear, CautionVentOn, CautionKeepShut, CautionGetOut}},
		{place: "Home, heating", path: "/", live: rising, want: []CautionNumber{CautionVentOn, CautionCOAlarm, CautionGetOut}, not: []CautionNumber{CautionStayNear, CautionKeepShut}},
		{place: "Home, near the top", path: "/", live: inState(kiln.Rising, 1100), want: []CautionNumber{CautionStayNear, CautionCOAlarm, CautionGetOut}, not: []CautionNumber{CautionVentOn}},
		{place: "Home, soaking", path: "/", live: inState(kiln.Soaking, 700), want: []CautionNumber{CautionStayNear, CautionGetOut}},
		{place: "Home, cooling", path: "/", live: inState(kiln.Falling, 400), want: []CautionNumber{CautionKeepShut, CautionCOAlarm, CautionGetOut}},
		{place: "Home, no reading", path: "/", live: inState(kiln.Quiet, 500), want: []CautionNumber{CautionQuiet, CautionGetOut}},
		{place: "Home, over the limit", path: "/", live: burning, want: []CautionNumber{CautionStuckRelay, CautionOverLimit, CautionOwnProtection, CautionCOAlarm, CautionGetOut}, first: CautionStuckRelay},
		{place: "Home, still hot", path: "/", live: stuck, want: []CautionNumber{CautionStuckRelay, CautionOverLimit, CautionGetOut}, first: CautionStuckRelay},
		{place: "Spyhole rising", path: "/spyhole/blue", live: rising, want: []CautionNumber{CautionStayNear, CautionVentOn, CautionCOAlarm, CautionGetOut, CautionGlare}, not: []CautionNumber{CautionNobodyThere, CautionBoneDry, CautionStuckRelay}},
		{place: "Spyhole rising, below 100", path: "/spyhole/blue", live: inState(kiln.Rising, 80), want: []CautionNumber{CautionStayNear, CautionVentOn, CautionCOAlarm, CautionGetOut, CautionBoneDry}, not: []CautionNumber{CautionGlare}},
		{place: "Spyhole holding", path: "/spyhole/blue", live: inState(kiln.Holding, 90), want: []CautionNumber{CautionStayNear, CautionVentOn, CautionCOAlarm, CautionGetOut, CautionBoneDry}},
		{place: "Spyhole soaking, at night", path: "/spyhole/blue", live: inState(kiln.Soaking, 1220), hour: 23, want: []CautionNumber{CautionStayNear, CautionVentOn, CautionCOAlarm, CautionGetOut, CautionNobodyThere, CautionStuckRelay, CautionGlare}},
		{place: "Spyhole rising, before six", path: "/spyhole/blue", live: rising, hour: 5, want: []CautionNumber{CautionStayNear, CautionVentOn, CautionCOAlarm, CautionGetOut, CautionNobodyThere}},
		{place: "Spyhole in reduction", path: "/spyhole/blue", live: rising, firing: under, want: []CautionNumber{CautionStayNear, CautionVentOn, CautionCOAlarm, CautionGetOut, CautionFuelKilns}},
		{place: "a firing in reduction", path: "/firing/" + byHand, want: []CautionNumber{CautionStayNear, CautionVentOn, CautionCOAlarm, CautionGetOut, CautionFuelKilns}},
		{place: "By hand", path: "/by-hand", want: []CautionNumber{CautionGlare, CautionStayNear, CautionVentOn, CautionCOAlarm, CautionGetOut, CautionFuelKilns}},
		{place: "Spyhole falling, glowing", path: "/spyhole/blue", live: inState(kiln.Falling, 800), want: []CautionNumber{CautionOneSpot, CautionKeepShut, CautionReachIn, CautionCOAlarm, CautionGetOut, CautionGlare}},
		{place: "Spyhole falling", path: "/spyhole/blue", live: inState(kiln.Falling, 400), want: []CautionNumber{CautionOneSpot, CautionKeepShut, CautionReachIn, CautionCOAlarm, CautionGetOut}, says: []string{"thin ware, its maker's manual"}, not: []CautionNumber{CautionGlare, CautionStuckRelay}},
		{place: "Spyhole still hot", path: "/spyhole/blue", live: stuck, want: []CautionNumber{CautionStuckRelay, CautionOverLimit, CautionOwnProtection, CautionOneSpot, CautionKeepShut}, first: CautionStuckRelay},
		{place: "Spyhole warm", path: "/spyhole/blue", live: inState(kiln.Warm, 70), want: []CautionNumber{CautionOneSpot, CautionKeepShut, CautionReachIn, CautionCOAlarm, CautionGetOut}, says: []string{"thin ware, its maker's manual"}},
		{place: "Spyhole quiet", path: "/spyhole/blue", live: inState(kiln.Quiet, 500), want: []CautionNumber{CautionQuiet, CautionOverLimit, CautionPowerCut}},
		{place: "Spyhole over the limit", path: "/spyhole/blue", live: burning, want: []CautionNumber{CautionStuckRelay, CautionOverLimit, CautionOwnProtection}, first: CautionStuckRelay},
		{place: "Unpack", path: "/unpack", want: beforeReachingIn},
		{place: "Unpack, a load", path: "/unpack/" + load, want: beforeReachingIn},
		{place: "packing list", path: "/load/" + load + "/packing", want: []CautionNumber{CautionWillFuse, CautionBoneDry, CautionPinhole, CautionHeavyShelves}, first: CautionWillFuse},
		{place: "start-of-firing check list", path: "/unpack/" + load, want: []CautionNumber{CautionBoneDry, CautionPinhole, CautionHeavyShelves, CautionStayNear, CautionVentOn, CautionCOAlarm, CautionGetOut, CautionClearance, CautionNoPlastics, CautionStuckRelay, CautionHotPlug, CautionFuelKilns}},
		{place: "Lid, seat glazed", path: "/lid" + aBoard, want: []CautionNumber{CautionWillFuse, CautionShrinkVaries}, first: CautionWillFuse},
		{place: "Lid, bare", path: "/lid?collar=104.5&opening=92.5&clay=tern&cone=6", want: []CautionNumber{CautionShrinkVaries}, not: []CautionNumber{CautionWillFuse}},
		{place: "A board", path: "/lid/board?galleries=104.5%3B92.5%0A104%3B92.5%0A105%3B92.5%0A104%3B92%0A105%3B93%0A104%3B92.5%0A105%3B92.5%0A104%3B92.5&clay=tern&cone=6&seat_glazed=yes&together=in_place", want: []CautionNumber{CautionWillFuse, CautionShrinkVaries}, first: CautionWillFuse},
		{place: "Sizes", path: "/sizes", want: []CautionNumber{CautionShrinkVaries}},
		{place: "Pot cards", path: "/pots", want: []CautionNumber{CautionShrinkVaries, CautionNotFoodSafe}},
		{place: "pot card", path: "/pot/" + pot, want: []CautionNumber{CautionWillFuse, CautionShrinkVaries, CautionNotFoodSafe}, first: CautionWillFuse},
		{place: "wet sheet", path: "/pot/" + pot + "/sheet", want: []CautionNumber{CautionShrinkVaries, CautionNotFoodSafe}},
		{place: "gauge", path: "/gauge?collar=104.5&opening=92.5&lid=102.5", want: []CautionNumber{CautionShrinkVaries, CautionNotFoodSafe}},
		{place: "gauge, the drawing alone", path: "/gauge.svg?collar=104.5&opening=92.5&lid=102.5", want: []CautionNumber{CautionShrinkVaries, CautionNotFoodSafe}, drawing: true},
		{place: "shrink rule", path: "/rule?clay=tern&cone=6", want: []CautionNumber{CautionShrinkVaries, CautionNotFoodSafe}},
		{place: "year sheet", path: "/year", want: []CautionNumber{CautionShrinkVaries, CautionNotFoodSafe}},
		{place: "Class", path: "/class", want: []CautionNumber{CautionClassroom, CautionStudents}},
		{place: "Settings", path: "/settings", want: append(slices.Clone(WiringCautions), CautionNudge, CautionKeepShut)},
		{place: "Clay, batches", path: "/clay/tern", want: []CautionNumber{CautionMixing}},
		{place: "door sheet", path: "/door/blue", want: all, says: []string{ElectricKilns, "9.9", "2026", "thin ware, its maker's manual"}},
		{place: "help", path: "/help/safety", want: all, says: []string{ElectricKilns, Checked, "9.9"}},
		{place: "Verdicts before any board", path: "/verdicts", not: grinding},
		{place: hot}, // from here on a lid was tight
		{place: "Verdicts after a tight one", path: "/verdicts", want: grinding, first: CautionWetGrinding},
		{place: "Lid after a tight one", path: "/lid?collar=104.5&opening=92.5&clay=tern&cone=6&form=jar", want: []CautionNumber{CautionWetGrinding, CautionEyes}},
	} {
		if c.place == hot {
			var kept verdictKeptJSON
			g.put("/v1/verdicts/"+verdict, `{"load":"`+load+`","form":"jar","body":"tern/A","counts":{"tight":2,"good":3}}`, 201, &kept)
			if strings.Join(kept.Cautions, " ") != lid.WetGrinding+" "+lid.EyeProtection {
				t.Errorf("a tight verdict: cautions %v", kept.Cautions)
			}
			continue
		}
		h.live, h.firing = c.live, c.firing
		if h.live.Kiln == "" {
			h.live = inState(kiln.Cold, 18)
		}
		hour := c.hour
		if hour == 0 {
			hour = 12
		}
		now.Wall = time.Date(2026, 2, 2, hour, 0, 0, 0, time.UTC)
		for _, tongue := range pages.Tongues {
			_, page := fetched(t, g.URL, c.path, "Cookie", speakCookie+"="+tongue.Tag+".mm.24")
			c.holds(t, tongue.Tag, html.UnescapeString(page), func(text string) string { return set.Say(tongue.Tag, text) })
		}
	}
	for _, path := range []string{"/metrics", "/v1/openapi.json", "/v1/now", "/lid/board", "/help", "/more", "/bars", "/clays", "/loads", "/kilns", "/speak", "/compare", "/verdicts/board"} {
		for _, tongue := range pages.Tongues {
			a, text := fetched(t, g.URL, path, "Cookie", speakCookie+"="+tongue.Tag+".mm.24")
			if a.StatusCode >= http.StatusInternalServerError {
				t.Errorf("%s in %s: %s", path, tongue.Tag, a.Status)
			}
			if says := apitest.LeaveToOpen(html.UnescapeString(text)); says != "" {
				t.Errorf("%s in %s says %q", path, tongue.Tag, says)
			}
		}
	}
	// The same of answers: ids, the one that must be first first.
	for path, want := range map[string][]string{
		"/v1/lid" + aBoard: {lid.WillFuse, lid.ShrinkVaries},
		"/v1/lids/board?galleries=104.5%3B92.5%0A104%3B92.5%0A105%3B92.5%0A104%3B92%0A105%3B93%0A104%3B92.5%0A105%3B92.5%0A104%3B92.5&clay=tern&cone=6&seat_glazed=yes&together=in_place": {lid.WillFuse, lid.ShrinkVaries},
		"/v1/size?fired=62&clay=tern&cone=6": {lid.ShrinkVaries},
	} {
		var a struct{ Cautions []string }
		g.get(path, http.StatusOK, &a)
		for i, id := range want {
			if at := strings.Index(fmt.Sprint(a.Cautions), id); at < 0 || i == 0 && a.Cautions[0] != id {
				t.Errorf("%s: cautions %v, want %v", path, a.Cautions, want)
			}
		}
	}
}
