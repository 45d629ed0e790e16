package api

import (
	"context"
	"fmt"
	"html"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/api/apitest"
	"lidwright/api/caution"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
	"lidwright/tiles/lid"
)

// hearth is one kiln in a state of its own choosing.
type hearth struct {
	nobody
	live   record.Live
	firing kiln.Firing // under way; none without an id
}

func (h *hearth) Live() []record.Live { return []record.Live{h.live} }
func (h *hearth) LiveCurve(kiln.KilnID) (record.LiveCurve, bool) {
	return record.LiveCurve{Firing: h.firing}, h.firing.ID != ""
}
func (h *hearth) Tell(context.Context, detect.Fact) (kiln.FiringID, error) { return "", nil }

// unasked works out no heat.
type unasked struct{ cold }

func (unasked) Again(context.Context, kiln.KilnID) {}

// silent tells nobody.
type silent struct{ usecase.Notices }

func (silent) Last(context.Context, int) ([]usecase.NoticeTold, error) { return nil, nil }
func (silent) Receivers() []string                                     { return nil }

// inState is a kiln that reads t °C in a state.
func inState(state kiln.State, t kiln.Celsius) record.Live {
	return record.Live{Kiln: "blue", State: state, T: t, LastT: t, Hot: t > 60, Fresh: true,
		Limit: kiln.NoTemperature(), KeepShut: 80, Peak: kiln.NoTemperature()}
}

// cautionPlace is a page or print, and what must be seen on it.
type cautionPlace struct {
	place, path string
	live        record.Live
	firing      kiln.Firing
	hour        int
	want        []caution.Number
	first       caution.Number // of the cautions of the page; 0: any
	says        []string       // besides
	not         []caution.Number
	drawing     bool // no page: without a foot of its own
}

// foldedAway stands between the first sentence of a caution and what it goes on to say.
var foldedAway = regexp.MustCompile(`\s*<u [^>]*></u>\s*</span>\s*</summary>\s*<p>`)

// holds finds fault with a page in a language.
func (c cautionPlace) holds(t *testing.T, tongue, page string, l pages.Locale) {
	t.Helper()
	page = foldedAway.ReplaceAllString(page, " ")
	if !c.drawing && !strings.Contains(page, l.Say(caution.StandingLine)) {
		t.Errorf("%s in %s: without the standing line", c.place, tongue)
	}
	if says := apitest.LeaveToOpen(page); says != "" {
		t.Errorf("%s in %s says %q", c.place, tongue, says)
	}
	firstAt := map[caution.Number]int{}
	for _, n := range append(slices.Clone(c.want), c.first) {
		at := strings.Index(page, l.Tell(caution.Text(n)))
		if n != 0 && at < 0 {
			t.Errorf("%s in %s, %s: without caution %d: %s", c.place, tongue, c.path, n, caution.Text(n))
		}
		firstAt[n] = at
	}
	for _, n := range c.want {
		if c.first != 0 && n != c.first && firstAt[n] >= 0 && firstAt[n] < firstAt[c.first] {
			t.Errorf("%s in %s: caution %d stands before %d", c.place, tongue, n, c.first)
		}
	}
	for _, w := range c.says {
		if !strings.Contains(page, l.Say(w)) {
			t.Errorf("%s in %s: does not say %q", c.place, tongue, w)
		}
	}
	for _, n := range c.not {
		if strings.Contains(page, l.Tell(caution.Text(n))) {
			t.Errorf("%s in %s: caution %d has no business there", c.place, tongue, n)
		}
	}
}

// TestCautionsWhereTheyMustBeSeen holds every page against the table of the safety notes: which
// caution must be seen where, the first one named first where the table says first.
func TestCautionsWhereTheyMustBeSeen(t *testing.T) {
	h := &hearth{}
	now := kiln.Stamp{Boot: "test", Since: time.Hour, Wall: time.Date(2026, 2, 2, 12, 0, 0, 0, time.UTC),
		Trusted: true}
	st, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	s := &Server{Studio: &usecase.Studio{Site: usecase.Site{Name: "studio", Zone: time.UTC, Units: "mm",
		Version: "9.9"}, Archive: usecase.StorageOf(st), Copies: noCopies{}, Recorder: h, Shrink: barless{st},
		Heat: unasked{}, Notices: silent{},
		Kiln: map[kiln.KilnID]kiln.Kiln{"blue": {ID: "blue", Control: "1", KeepShut: 80,
			KeepShutReason: "thin ware, its maker's manual"}}, Wired: []usecase.Wired{{Kiln: "blue"}},
		Hot: func(context.Context, kiln.KilnID, time.Time, time.Time) (map[kiln.ChannelID]time.Duration,
			error) {
			return nil, nil
		},
		Lines: func() []usecase.Line { return nil }, LidDefaults: lid.UsualDefaults(),
		Codes: "ABCDEFGHJKLNPQRTVWXY347", Now: func() kiln.Stamp { now.Since++; return now },
		Ready: func() error { return nil },
		Store: func() (usecase.StoreHealth, error) { return usecase.StoreHealth{Free: 1e9}, nil }}}
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
	load, pot, result := g.id("l", 1), g.id("p", 1), g.id("v", 1)
	g.put("/v1/loads/"+load, `{"kiln":"blue","kind":"glaze","atmosphere":"reduction","heat_work_c":1222}`,
		201, nil)
	g.put("/v1/pots/"+pot, `{"form":"jar","number":"1","collar_mm":[104.5],"opening_mm":92.5,"body":"tern/A","seat_glazed":true,"together":"in_place"}`, 201, nil)
	byHand := g.id("h", 1)
	g.put("/v1/firings/"+byHand, `{"source":"hand","kiln":"blue","kind":"glaze","atmosphere":"reduction","intended_cone":"6"}`, 201, nil)

	const hot = "hot"
	rising, burning := inState(kiln.Rising, 612), inState(kiln.Rising, 612)
	burning.OverLimit = true
	stuck := inState(kiln.Falling, 500)
	stuck.StillHot = true
	under := kiln.Firing{ID: kiln.FiringID(g.id("f", 1)), Kiln: "blue", Kind: kiln.Glaze,
		Status: kiln.Running, Atmosphere: kiln.Reduction, Peak: kiln.NoTemperature()}
	all := []caution.Number{}
	for _, c := range caution.All {
		all = append(all, c.Number)
	}
	const aBoard = "?collar=104.5&opening=92.5&clay=tern&cone=6&seat_glazed=yes&together=in_place"
	grinding := []caution.Number{caution.WetGrinding, caution.Silica, caution.NoSweeping, caution.Eyes}
	set, err := pages.Load(time.UTC, func(string, float64) string { return "" })
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []cautionPlace{
		{place: "Home, cold", path: "/", not: []caution.Number{caution.StayNear, caution.VentOn,
			caution.KeepShut, caution.GetOut}},
		{place: "Home, heating", path: "/", live: rising,
			want: []caution.Number{caution.VentOn, caution.COAlarm, caution.GetOut},
			not:  []caution.Number{caution.StayNear, caution.KeepShut}},
		{place: "Home, near the top", path: "/", live: inState(kiln.Rising, 1100),
			want: []caution.Number{caution.StayNear, caution.COAlarm, caution.GetOut},
			not:  []caution.Number{caution.VentOn}},
		{place: "Home, soaking", path: "/", live: inState(kiln.Soaking, 700),
			want: []caution.Number{caution.StayNear, caution.GetOut}},
		{place: "Home, cooling", path: "/", live: inState(kiln.Falling, 400),
			want: []caution.Number{caution.KeepShut, caution.COAlarm, caution.GetOut}},
		{place: "Home, no reading", path: "/", live: inState(kiln.Quiet, 500),
			want: []caution.Number{caution.Quiet, caution.GetOut}},
		{place: "Home, over the limit", path: "/", live: burning,
			want: []caution.Number{caution.StuckRelay, caution.OverLimit, caution.OwnProtection,
				caution.COAlarm, caution.GetOut}, first: caution.StuckRelay},
		{place: "Home, still hot", path: "/", live: stuck,
			want:  []caution.Number{caution.StuckRelay, caution.OverLimit, caution.GetOut},
			first: caution.StuckRelay},
		{place: "Wall, over the limit", path: "/wall", live: burning,
			want: []caution.Number{caution.StuckRelay, caution.OverLimit, caution.OwnProtection,
				caution.COAlarm, caution.GetOut}, first: caution.StuckRelay},
		{place: "Wall, cold", path: "/wall/blue", not: []caution.Number{caution.StayNear, caution.KeepShut}},
		{place: "Spyhole rising", path: "/kiln/blue", live: rising,
			want: []caution.Number{caution.StayNear, caution.VentOn, caution.COAlarm, caution.GetOut,
				caution.Glare}, not: []caution.Number{caution.NobodyThere,
				caution.BoneDry, caution.StuckRelay}},
		{place: "Spyhole rising, below 100", path: "/kiln/blue", live: inState(kiln.Rising, 80),
			want: []caution.Number{caution.StayNear, caution.VentOn, caution.COAlarm, caution.GetOut,
				caution.BoneDry}, not: []caution.Number{caution.Glare}},
		{place: "Spyhole holding", path: "/kiln/blue", live: inState(kiln.Holding, 90),
			want: []caution.Number{caution.StayNear, caution.VentOn, caution.COAlarm,
				caution.GetOut, caution.BoneDry}},
		{place: "Spyhole soaking, at night", path: "/kiln/blue", live: inState(kiln.Soaking, 1220), hour: 23,
			want: []caution.Number{caution.StayNear, caution.VentOn, caution.COAlarm, caution.GetOut,
				caution.NobodyThere, caution.StuckRelay, caution.Glare}},
		{place: "Spyhole rising, before six", path: "/kiln/blue", live: rising, hour: 5,
			want: []caution.Number{caution.StayNear, caution.VentOn, caution.COAlarm,
				caution.GetOut, caution.NobodyThere}},
		{place: "Spyhole in reduction", path: "/kiln/blue", live: rising, firing: under,
			want: []caution.Number{caution.StayNear, caution.VentOn, caution.COAlarm,
				caution.GetOut, caution.FuelKilns}},
		{place: "a firing in reduction", path: "/firing/" + byHand, want: []caution.Number{caution.StayNear,
			caution.VentOn, caution.COAlarm, caution.GetOut, caution.FuelKilns}},
		{place: "By hand", path: "/by-hand", want: []caution.Number{caution.Glare, caution.StayNear,
			caution.VentOn, caution.COAlarm, caution.GetOut, caution.FuelKilns}},
		{place: "Spyhole falling, glowing", path: "/kiln/blue", live: inState(kiln.Falling, 800),
			want: []caution.Number{caution.OneSpot, caution.KeepShut, caution.ReachIn, caution.COAlarm,
				caution.GetOut, caution.Glare}},
		{place: "Spyhole falling", path: "/kiln/blue", live: inState(kiln.Falling, 400),
			want: []caution.Number{caution.OneSpot, caution.KeepShut, caution.ReachIn, caution.COAlarm,
				caution.GetOut}, says: []string{"thin ware, its maker's manual"},
			not: []caution.Number{caution.Glare, caution.StuckRelay}},
		{place: "Spyhole still hot", path: "/kiln/blue", live: stuck,
			want: []caution.Number{caution.StuckRelay, caution.OverLimit, caution.OwnProtection,
				caution.OneSpot, caution.KeepShut}, first: caution.StuckRelay},
		{place: "Spyhole warm", path: "/kiln/blue", live: inState(kiln.Warm, 70),
			want: []caution.Number{caution.OneSpot, caution.KeepShut, caution.ReachIn, caution.COAlarm,
				caution.GetOut}, says: []string{"thin ware, its maker's manual"}},
		{place: "Spyhole quiet", path: "/kiln/blue", live: inState(kiln.Quiet, 500),
			want: []caution.Number{caution.Quiet, caution.OverLimit, caution.PowerCut}},
		{place: "Spyhole over the limit", path: "/kiln/blue", live: burning,
			want:  []caution.Number{caution.StuckRelay, caution.OverLimit, caution.OwnProtection},
			first: caution.StuckRelay},
		{place: "Bars", path: "/bars", want: caution.BeforeReachingIn},
		{place: "a load", path: "/load/" + load, want: caution.BeforeReachingIn},
		{place: "packing list", path: "/load/" + load + "/packing",
			want:  []caution.Number{caution.WillFuse, caution.BoneDry, caution.Pinhole, caution.HeavyShelves},
			first: caution.WillFuse},
		{place: "start-of-firing check list", path: "/load/" + load, want: []caution.Number{caution.BoneDry,
			caution.Pinhole, caution.HeavyShelves, caution.StayNear, caution.VentOn, caution.COAlarm,
			caution.GetOut, caution.Clearance, caution.NoPlastics, caution.StuckRelay,
			caution.HotPlug, caution.FuelKilns}},
		{place: "Lid, seat glazed", path: "/lid" + aBoard,
			want: []caution.Number{caution.WillFuse, caution.ShrinkVaries}, first: caution.WillFuse},
		{place: "Lid, bare", path: "/lid?collar=104.5&opening=92.5&clay=tern&cone=6",
			want: []caution.Number{caution.ShrinkVaries}, not: []caution.Number{caution.WillFuse}},
		{place: "A board", path: "/lid/board?galleries=104.5%3B92.5%0A104%3B92.5%0A105%3B92.5%0A104%3B92%0A105%3B93%0A104%3B92.5%0A105%3B92.5%0A104%3B92.5&clay=tern&cone=6&seat_glazed=yes&together=in_place", want: []caution.Number{caution.WillFuse, caution.ShrinkVaries}, first: caution.WillFuse},
		{place: "Sizes", path: "/sizes", want: []caution.Number{caution.ShrinkVaries}},
		{place: "Pot cards", path: "/pots",
			want: []caution.Number{caution.ShrinkVaries, caution.NotFoodSafe}},
		{place: "pot card", path: "/pot/" + pot,
			want:  []caution.Number{caution.WillFuse, caution.ShrinkVaries, caution.NotFoodSafe},
			first: caution.WillFuse},
		{place: "wet sheet", path: "/pot/" + pot + "/sheet",
			want: []caution.Number{caution.ShrinkVaries, caution.NotFoodSafe}},
		{place: "gauge", path: "/gauge?collar=104.5&opening=92.5&lid=102.5",
			want: []caution.Number{caution.ShrinkVaries, caution.NotFoodSafe}},
		{place: "gauge, the drawing alone", path: "/gauge.svg?collar=104.5&opening=92.5&lid=102.5",
			want: []caution.Number{caution.ShrinkVaries, caution.NotFoodSafe}, drawing: true},
		{place: "shrink rule", path: "/rule?clay=tern&cone=6",
			want: []caution.Number{caution.ShrinkVaries, caution.NotFoodSafe}},
		{place: "year sheet", path: "/year",
			want: []caution.Number{caution.ShrinkVaries, caution.NotFoodSafe}},
		{place: "Class", path: "/class", want: []caution.Number{caution.Classroom, caution.Students}},
		{place: "Settings", path: "/settings", want: append(slices.Clone(caution.Wiring),
			caution.Nudge, caution.KeepShut)},
		{place: "Clay, batches", path: "/clay/tern", want: []caution.Number{caution.Mixing}},
		{place: "door sheet", path: "/door/blue", want: all, says: []string{caution.ElectricKilns, "9.9",
			"2026", "thin ware, its maker's manual"}},
		{place: "help", path: "/help/safety", want: all, says: []string{caution.ElectricKilns,
			caution.Checked, "9.9"}},
		{place: "LidResults before any board", path: "/lid-results", not: grinding},
		{place: hot}, // from here on a lid was tight
		{place: "LidResults after a tight one", path: "/lid-results", want: grinding,
			first: caution.WetGrinding},
		{place: "Lid after a tight one", path: "/lid?collar=104.5&opening=92.5&clay=tern&cone=6&form=jar",
			want: []caution.Number{caution.WetGrinding, caution.Eyes}},
	} {
		if c.place == hot {
			var kept wire.LidResultKept
			g.put("/v1/lid-results/"+result,
				`{"load":"`+load+`","form":"jar","body":"tern/A","counts":{"tight":2,"good":3}}`, 201, &kept)
			if strings.Join(kept.Cautions, " ") != lid.WetGrinding+" "+lid.EyeProtection {
				t.Errorf("a tight one: cautions %v", kept.Cautions)
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
			c.holds(t, tongue.Tag, html.UnescapeString(page), set.Locale(pages.Speak{Tongue: tongue.Tag}))
		}
	}
	for _, path := range []string{"/metrics", "/v1/openapi.json", "/v1/now", "/lid/board", "/help", "/more",
		"/bars/all", "/clays", "/loads", "/kilns", "/speak", "/compare", "/lid-results/board"} {
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

// Cautions tell their temperatures in the reader's unit: 50 °C are 122 °F, 100 °C are 212 °F, a difference of
// 80 °C is one of 144 °F (1 °C is 1.8 °F wide, 0 °C is 32 °F: the definition; NIST SP 811, B.8).
func TestCautionsInFahrenheit(t *testing.T) {
	celsius, fahrenheit := message.Reader{}, message.Reader{Fahrenheit: true}
	for n, want := range map[caution.Number][2]string{
		caution.HotWalls: {"pass 100 °C:", "pass 212 °F:"},
		caution.KeepShut: {"Above about 50 °C a touch", "Above about 122 °F a touch"},
		caution.ColdBars: {"at 80 °C over.", "at 144 °F over."},
		caution.BoneDry:  {"below 100 °C:", "below 212 °F:"},
	} {
		for i, reader := range []message.Reader{celsius, fahrenheit} {
			if says := caution.Text(n).Render(reader); !strings.Contains(says, want[i]) {
				t.Errorf("caution %d: %q", n, says)
			}
		}
	}
	for _, c := range caution.All {
		if says := c.Text.Render(fahrenheit); strings.Contains(says, "°C") {
			t.Errorf("caution %d to a reader of °F: %q", c.Number, says)
		}
	}
}
