package api

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

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
	return kiln.Live{Kiln: "blue", State: state, T: t, LastT: t, Hot: t > 60, Fresh: true, Limit: kiln.NoTemperature(), Unpacking: 80, Peak: kiln.NoTemperature()}
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
		Kiln: map[kiln.KilnID]kiln.Kiln{"blue": {ID: "blue", Control: "1", Unpacking: 80, UnpackingReason: "thin ware, its maker's manual"}}, Wired: []Wired{{Kiln: "blue"}},
		Hot: func(context.Context, kiln.KilnID, time.Time, time.Time) (map[kiln.ChannelID]time.Duration, error) {
			return nil, nil
		},
		Lines: func() []Line { return nil }, Lids: lid.UsualDefaults(), Codes: "ABCDEFGHJKLNPQRTVWXY347", Now: func() kiln.Stamp { now.Since++; return now }, Ready: func() error { return nil }}
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
	under := kiln.Firing{ID: kiln.FiringID(g.id("f", 1)), Kiln: "blue", Kind: kiln.Glaze, Status: kiln.Running, Atmosphere: kiln.Reduction, Peak: kiln.NoTemperature()}
	all := []int{}
	for _, c := range Cautions {
		all = append(all, c.Number)
	}
	const aBoard = "?collar=104.5&opening=92.5&clay=tern&cone=6&seat_glazed=yes&together=in_place"
	grinding := []int{23, 21, 22, 38}
	for _, c := range []struct {
		place, path string
		live        kiln.Live
		firing      kiln.Firing
		hour        int
		want        []int
		first       int      // of the cautions of the page; 0: any
		says        []string // besides
		not         []int
		drawing     bool // no page: without a foot of its own
	}{
		{place: "Wareboard, hot", path: "/", live: rising, want: []int{1 + now.Wall.YearDay()%11}},
		{place: "Spyhole rising", path: "/spyhole/blue", live: rising, want: []int{1, 2, 6}, not: []int{11, 36}},
		{place: "Spyhole rising, below 100", path: "/spyhole/blue", live: inState(kiln.Rising, 80), want: []int{1, 2, 6, 36}},
		{place: "Spyhole holding", path: "/spyhole/blue", live: inState(kiln.Holding, 90), want: []int{1, 2, 6, 36}},
		{place: "Spyhole soaking, at night", path: "/spyhole/blue", live: inState(kiln.Soaking, 1220), hour: 23, want: []int{1, 2, 6, 11}},
		{place: "Spyhole rising, before six", path: "/spyhole/blue", live: rising, hour: 5, want: []int{1, 2, 6, 11}},
		{place: "Spyhole in reduction", path: "/spyhole/blue", live: rising, firing: under, want: []int{1, 2, 6, 35}},
		{place: "a firing in reduction", path: "/firing/" + byHand, want: []int{1, 2, 6, 35}},
		{place: "By hand", path: "/by-hand", want: []int{1, 2, 6, 35}},
		{place: "Spyhole falling", path: "/spyhole/blue", live: inState(kiln.Falling, 400), want: []int{16, 17, 18, 6}, says: []string{"thin ware, its maker&#39;s manual"}},
		{place: "Spyhole warm", path: "/spyhole/blue", live: inState(kiln.Warm, 70), want: []int{16, 17, 18, 6}, says: []string{"thin ware, its maker&#39;s manual"}},
		{place: "Spyhole quiet", path: "/spyhole/blue", live: inState(kiln.Quiet, 500), want: []int{13, 14}},
		{place: "Spyhole over the limit", path: "/spyhole/blue", live: burning, want: []int{14, 15}},
		{place: "Unpack", path: "/unpack", want: []int{16, 18, 19, 20}},
		{place: "Unpack, a load", path: "/unpack/" + load, want: []int{16, 18, 19, 20}},
		{place: "packing list", path: "/load/" + load + "/packing", want: []int{39, 36, 37}, first: 39},
		{place: "start-of-firing check list", path: "/unpack/" + load, want: []int{36, 37, 1, 2, 6, 7, 10, 35}},
		{place: "Lid, seat glazed", path: "/lid" + aBoard, want: []int{39, 34}, first: 39},
		{place: "Lid, bare", path: "/lid?collar=104.5&opening=92.5&clay=tern&cone=6", want: []int{34}, not: []int{39}},
		{place: "A board", path: "/lid/board?galleries=104.5%3B92.5%0A104%3B92.5%0A105%3B92.5%0A104%3B92%0A105%3B93%0A104%3B92.5%0A105%3B92.5%0A104%3B92.5&clay=tern&cone=6&seat_glazed=yes&together=in_place", want: []int{39, 34}, first: 39},
		{place: "Sizes", path: "/sizes", want: []int{34}},
		{place: "Pot cards", path: "/pots", want: []int{34, 33}},
		{place: "pot card", path: "/pot/" + pot, want: []int{39, 34, 33}, first: 39},
		{place: "wet sheet", path: "/pot/" + pot + "/sheet", want: []int{34, 33}},
		{place: "gauge", path: "/gauge?collar=104.5&opening=92.5&lid=102.5", want: []int{34, 33}},
		{place: "gauge, the drawing alone", path: "/gauge.svg?collar=104.5&opening=92.5&lid=102.5", want: []int{34, 33}, drawing: true},
		{place: "shrink rule", path: "/rule?clay=tern&cone=6", want: []int{34, 33}},
		{place: "year sheet", path: "/year", want: []int{34, 33}},
		{place: "Class", path: "/class", want: []int{31, 32}},
		{place: "Settings", path: "/settings", want: []int{26, 27, 28, 30, 35, 12, 17}},
		{place: "Clay, batches", path: "/clay/tern", want: []int{24}},
		{place: "door sheet", path: "/door/blue", want: all, says: []string{ElectricKilns, "9.9", "Mon 2 Feb 2026", "thin ware, its maker&#39;s manual"}},
		{place: "help", path: "/help/safety", want: all, says: []string{ElectricKilns, "9.9"}},
		{place: "Verdicts before any board", path: "/verdicts", not: grinding},
		{place: hot}, // from here on a lid was tight
		{place: "Verdicts after a tight one", path: "/verdicts", want: grinding, first: 23},
		{place: "Lid after a tight one", path: "/lid?collar=104.5&opening=92.5&clay=tern&cone=6&form=jar", want: []int{23, 38}},
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
		page := g.get(c.path, http.StatusOK, nil)
		plain := strings.NewReplacer("&#34;", `"`, "&#39;", "'", "&amp;", "&").Replace(page)
		if !c.drawing && !strings.Contains(plain, Standing) {
			t.Errorf("%s: without the standing line", c.place)
		}
		firstAt := map[int]int{}
		for _, n := range append(c.want, c.first) {
			at := strings.Index(plain, CautionText(n))
			if n != 0 && at < 0 {
				t.Errorf("%s, %s: without caution %d: %s", c.place, c.path, n, CautionText(n))
			}
			firstAt[n] = at
		}
		for _, n := range c.want {
			if c.first != 0 && n != c.first && firstAt[n] >= 0 && firstAt[n] < firstAt[c.first] {
				t.Errorf("%s: caution %d stands before %d", c.place, n, c.first)
			}
		}
		for _, w := range c.says {
			if !strings.Contains(page, w) {
				t.Errorf("%s: does not say %q", c.place, w)
			}
		}
		for _, n := range c.not {
			if strings.Contains(plain, CautionText(n)) {
				t.Errorf("%s: caution %d has no business there", c.place, n)
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
