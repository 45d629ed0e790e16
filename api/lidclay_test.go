package api

import (
	"context"
	"fmt"
	"math"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// workshop is an invented studio with two clays, the bars of both, a third clay without any, and four
// glaze firings to 1222 °C of heat work.
type workshop struct {
	nobody
	bars    []tiles.Bar
	firings []kiln.Firing
}

var noon = time.Date(2026, 1, 10, 12, 0, 0, 0, time.UTC)

func (workshop) Clays(context.Context) ([]tiles.KeptClay, error) {
	var all []tiles.KeptClay
	for _, c := range []tiles.Clay{{ID: "tern", Name: "Tern stoneware", MaturesCone: "6"},
		{ID: "wren", Name: "Wren porcelain", MaturesCone: "6"},
		{ID: "rook", Name: "Rook", MaturesCone: "6"}, {ID: "bare", Name: "Bare"}} {
		all = append(all, tiles.KeptClay{Clay: c})
	}
	return all, nil
}

func (w workshop) Clay(ctx context.Context, id tiles.ClayID) (tiles.KeptClay, error) {
	all, _ := w.Clays(ctx)
	for _, c := range all {
		if c.ID == id {
			return c, nil
		}
	}
	return tiles.KeptClay{}, tiles.ErrNoClay
}

func (workshop) Batches(context.Context) ([]tiles.KeptBatch, error) {
	var all []tiles.KeptBatch
	for i, r := range []tiles.BatchRef{{Clay: "tern", Batch: "B"}, {Clay: "tern", Batch: "A"},
		{Clay: "wren", Batch: "A"}, {Clay: "rook", Batch: "A"}, {Clay: "bare", Batch: "A"}} {
		all = append(all, tiles.KeptBatch{Batch: tiles.Batch{BatchRef: r, Kind: tiles.Bought, Open: true,
			Made: noon.Add(time.Duration(i) * time.Hour)}})
	}
	return all, nil
}

func (w workshop) Bar(_ context.Context, code tiles.Code, _ usecase.Channels) (tiles.KeptBar, error) {
	for _, b := range w.bars {
		if b.Code == code {
			return tiles.KeptBar{Bar: b}, nil
		}
	}
	return tiles.KeptBar{}, tiles.ErrNoBar
}

func (w workshop) Firings(context.Context, kiln.FiringFilter) ([]kiln.Firing, error) {
	return w.firings, nil
}

func (w workshop) Fit(context.Context) (*shrinkage.Fit, time.Time, error) {
	s := shrinkage.Studio{Now: noon.Add(60 * 24 * time.Hour), Bars: w.bars}
	clays, _ := w.Clays(context.Background())
	for _, c := range clays {
		s.Clays = append(s.Clays, usecase.Matured(c.Clay))
	}
	batches, _ := w.Batches(context.Background())
	for _, b := range batches {
		s.Batches = append(s.Batches, b.Batch)
	}
	f, err := s.Fit(context.Background(), nil)
	return f, noon.Add(50 * 24 * time.Hour), err
}

func newWorkshop(fired bool) workshop {
	var w workshop
	reading := func(b *tiles.Bar, stage tiles.Stage, mm float64, days int) {
		b.Readings = append(b.Readings, tiles.Reading{ID: fmt.Sprintf("%s-%d", b.Code, len(b.Readings)),
			Bar: b.Code, Mark: 1, Stage: stage, Length: tiles.Millimetre(mm), Unit: "mm",
			Instrument: "calliper", Step: 0.01, At: noon.Add(time.Duration(days) * 24 * time.Hour)})
	}
	for load := range 4 {
		for i, clay := range []tiles.ClayID{"tern", "tern", "wren"} {
			b := tiles.Bar{Code: tiles.Code(fmt.Sprintf("%c%c", 'A'+load, 'A'+i)),
				BatchRef: tiles.BatchRef{Clay: clay, Batch: "A"}, Forming: tiles.ThrownRing,
				MarkLength: 100, Marks: 1}
			wobble := 0.05 * float64((load+2*i)%3-1)
			dry, end := 94.2, 87.6
			if clay == "wren" {
				dry, end = 93.5, 85.5
			}
			reading(&b, tiles.Wet, 100, 1)
			reading(&b, tiles.Dry, dry+wobble, 5)
			reading(&b, tiles.Fired, end+wobble, 10+10*load)
			b.Firings = []tiles.Heat{{Load: fmt.Sprintf("l%d", load), Kind: kiln.Glaze, Kiln: "big",
				Work: 1222, Probe: "big/1", At: noon.Add(time.Duration(9+10*load) * 24 * time.Hour)}}
			w.bars = append(w.bars, b)
		}
		if fired {
			w.firings = append(w.firings, kiln.Firing{ID: kiln.FiringID(fmt.Sprint(load)), Kiln: "big",
				Kind: kiln.Glaze, Atmosphere: kiln.Oxidation, Status: kiln.Ended, Peak: 1225,
				HeatWork: map[kiln.ChannelID]kiln.HeatWork{"1": {C: 1222, Low: 1216,
					High: 1228, From: "curve"}}})
		}
	}
	companion := tiles.Bar{Code: "CP", BatchRef: tiles.BatchRef{Clay: "tern", Batch: "A"},
		Forming: tiles.CutWall, MarkLength: 100, Marks: 1}
	reading(&companion, tiles.Wet, 100, 40)
	lone := companion
	lone.Code, lone.Readings = "LN", companion.Readings[:1:1]
	reading(&companion, tiles.Leather, 96.5, 41)
	w.bars = append(w.bars, companion, lone)
	return w
}

func workshopServer(t *testing.T, fired bool) *httptest.Server {
	t.Helper()
	return workshopOn(t, fired, noon.AddDate(0, 0, 60), cold{})
}

// workshopOn is the workshop on some day, with what is known of its probes.
func workshopOn(t *testing.T, fired bool, day time.Time, heat usecase.Heat) *httptest.Server {
	t.Helper()
	w := newWorkshop(fired)
	s := &Server{Studio: &usecase.Studio{Site: usecase.Site{Name: "studio", Zone: time.UTC, Units: "mm",
		Version: "test"}, Archive: usecase.StorageOf(w), Recorder: w, Shrink: w, Heat: heat,
		Lines: func() []usecase.Line { return nil }, LidDefaults: lid.UsualDefaults(),
		Kiln: map[kiln.KilnID]kiln.Kiln{"big": {ID: "big", Control: "1"}}, Codes: "ABCDEFGHJKLNPQRTVWXY347",
		Now:   func() kiln.Stamp { return kiln.Stamp{Wall: day, Trusted: true} },
		Ready: func() error { return nil }, Notices: &told{}}}
	h, err := s.Handler()
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(h)
	t.Cleanup(srv.Close)
	return srv
}

// refitted has a probe that was replaced on a day.
type refitted struct {
	cold
	on time.Time
}

func (r refitted) Life(_ context.Context, _ kiln.KilnID, _ kiln.ChannelID, at time.Time) (heatwork.ProbeLife,
	error) {
	if at.Before(r.on) {
		return heatwork.ProbeLife{}, nil
	}
	return heatwork.ProbeLife{Fitted: r.on}, nil
}

// Trust goes by the day of the question and by the probe of that day: rate, lid, size and board say
// the same of it.
func TestTrustGoesByTheDayOfAsking(t *testing.T) {
	galleries := url.QueryEscape(strings.Repeat("104.5;92.5\n", 8))
	asked := []string{"/v1/clays/tern/shrinkage?batch=A", "/v1/lid?collar=104.5&clay=tern&batch=A&lids=1",
		"/v1/size?fired=62&clay=tern&batch=A", "/v1/lids/board?clay=tern&batch=A&galleries=" + galleries}
	for name, c := range map[string]struct {
		day   time.Time
		heat  usecase.Heat
		trust string
		why   string
	}{
		"60 days in":      {noon.AddDate(0, 0, 60), cold{}, "well_tested", "last 20 days ago"},
		"a year and more": {noon.AddDate(1, 2, 0), cold{}, "old", "last 12 months ago"},
		"another probe fitted": {noon.AddDate(0, 0, 60), refitted{on: noon.AddDate(0, 0, 55)},
			"made_or_fired_differently", "under another probe"},
		"fitted tomorrow": {noon.AddDate(0, 0, 60), refitted{on: noon.AddDate(0, 0, 61)}, "well_tested",
			"last 20 days ago"},
	} {
		srv := workshopOn(t, true, c.day, c.heat)
		for _, path := range asked {
			_, body := ask(t, "GET", srv.URL+path, "", "")
			if !strings.Contains(body, `"trust":"`+c.trust+`"`) || !strings.Contains(body, c.why) {
				t.Errorf("%s, %s: want %s, %s; got %s", name, path, c.trust, c.why, body)
			}
		}
	}
}

// total is what is left of a wet length of 1 of a clay, by its own route, to 4 decimals.
func total(t *testing.T, server, clay string) float64 {
	t.Helper()
	_, body := ask(t, "GET", server+"/v1/clays/"+clay+"/shrinkage", "", "")
	var share float64
	if _, err := fmt.Sscanf(body[strings.Index(body, `"total_ratio":`):],
		`"total_ratio":%f`, &share); err != nil {
		t.Fatalf("%s: %v %s", clay, err, body)
	}
	return 1 - share
}

// Every kind of case by clay. The lengths are worked out from the clay's own rate as its route gives it
// (4 decimals: 0.00005 of 120 mm is 0.006 mm).
func TestLidsOfAClay(t *testing.T) {
	srv := workshopServer(t, true)
	tern, wren := total(t, srv.URL, "tern"), total(t, srv.URL, "wren")
	if math.Abs(tern-0.876) > 0.003 || math.Abs(wren-0.855) > 0.004 {
		t.Fatalf("tern leaves %.4f, wren %.4f: the bars say 0.876 and 0.855", tern, wren)
	}
	const glaze = "&opening=92.5&clay=tern"
	same := askLid(t, srv.URL, "collar=104.5"+glaze)
	at(t, "one clay, wet and wet", same.UnroundedMM, 104.5-1.75/tern, 0.01)
	if same.Trust != "well_tested" || *same.Asked.Lid != "tern/A" || *same.Asked.Body != "tern/A" ||
		*same.Asked.HeatWorkC != 1222 || *same.Asked.MeasureSDMM != 0.3 ||
		same.Asked.AccuracyFrom != "default" {
		t.Errorf("asked %+v, trust %s (%s)", same.Asked, same.Trust, same.TrustWhy)
	}
	// 1.645 x 0.40 points
	if same.LidDifference.Fits != 0 || *same.LidDifference.Value != 0 ||
		math.Abs(*same.LidDifference.Likely[1]-0.0066) > 0.0003 {
		t.Errorf("before any lid was looked at: %+v", same.LidDifference)
	}
	if !slices.Equal(same.Cautions, []string{"shrink-varies"}) || *same.DoubtMM.Rate > 0.05 ||
		same.Shrinkage == nil || len(same.Sharpen) == 0 {
		t.Errorf("%v, rate %v, %v", same.Cautions, *same.DoubtMM.Rate, same.Sharpen)
	}
	place := askLid(t, srv.URL, "collar=104.5&together=in_place"+glaze)
	if *place.DoubtMM.Position > 0.01 || *place.FitChance < *same.FitChance {
		t.Errorf("in place: position %v, chance %v, in the same load %v", *place.DoubtMM.Position,
			*place.FitChance, *same.FitChance)
	}
	at(t, "two clays", askLid(t, srv.URL, "collar=110&clay=tern&lid_clay=wren&play=1.2").UnroundedMM,
		(110*tern-1.2)/wren, 0.02)
	replacement := askLid(t, srv.URL, "collar=118.25&collar_stage=fired&clay=tern&play=1.75")
	at(t, "for a fired pot: divided", replacement.UnroundedMM, 116.5/tern, 0.02)
	if replacement.Asked.Together != "apart" || *replacement.Asked.MeasureSDMM != 0.05 {
		t.Errorf("for a fired pot: %+v", replacement.Asked)
	}
	gallery := askLid(t, srv.URL, "lid=103&clay=tern")
	at(t, "a lid at hand: its gallery", gallery.UnroundedMM, 103+1.75/tern, 0.01)
	at(t, "its gap on a gallery", askLid(t, srv.URL, "lid=103&collar=105&clay=tern").Fired.PlayUnroundedMM,
		2*tern, 0.01)
	// Another batch without a bar of its own: taken from its sister, and in doubt for it.
	other := askLid(t, srv.URL, "collar=104.5&lid_batch=B"+glaze)
	if other.Trust != "no_bars" || *other.Asked.Lid != "tern/B" || *other.DoubtMM.Rate < 0.15 ||
		*other.FitChance >= *same.FitChance || other.HeldBack != nil {
		t.Errorf("another batch: %s, %v, rate %v, chance %v", other.Trust, *other.Asked.Lid,
			*other.DoubtMM.Rate, *other.FitChance)
	}

	// Leather-hard: a companion bar says that 3.5 % of the wet length have gone; what drying both share
	// cancels.
	const leather = "collar=88.4&collar_stage=leather&clay=tern&opening=76&play=1.25"
	want := 88.4/0.965 - 1.25/tern
	bar := askLid(t, srv.URL, leather+"&companion=CP")
	at(t, "leather-hard with a companion bar", bar.UnroundedMM, want, 0.02)
	at(t, "leather-hard, 3.5 % stated", askLid(t, srv.URL, leather+"&body_leather_ratio=3.5%25").UnroundedMM,
		want, 0.02)
	// 100 g when thrown and 94.5190 g now: 5.4810 g of water x 1.95/3 = 3.5627 log-percent, as 96.5 from 100.
	at(t, "leather-hard by weight", askLid(t, srv.URL,
		leather+"&mass_wet_g=100&mass_now_g=94.5190").UnroundedMM, want, 0.02)
	guessed := askLid(t, srv.URL, leather)
	if !slices.Contains(guessed.Cautions, "leather-guessed") ||
		!slices.Contains(guessed.Cautions, "measure-wet") || *guessed.FitChance > *bar.FitChance-0.05 ||
		guessed.Sharpest != "gone" || guessed.Sharpen[0].Cause != "gone" {
		t.Errorf("without: %v, chance %v, with the bar %v; %s", guessed.Cautions, *guessed.FitChance,
			*bar.FitChance, guessed.Sharpest)
	}
	// More water lost than all drying shrink takes: no more than bone dry. 15 g of 100 would be 9.75
	// log-percent of about 6.
	dry := askLid(t, srv.URL, strings.Replace(leather, "=leather", "=dry", 1))
	at(t, "by weight, at most bone dry", askLid(t, srv.URL,
		leather+"&mass_wet_g=100&mass_now_g=85").UnroundedMM, *dry.UnroundedMM, 0.02)
	if slices.Contains(bar.Cautions, "leather-guessed") || slices.Contains(bar.Cautions, "measure-wet") {
		t.Errorf("with the bar: %v", bar.Cautions)
	}
	// taken as wet: over 3 mm too small
	wrong := askLid(t, srv.URL, "collar=88.4&clay=tern&opening=76&play=1.25")
	if *bar.UnroundedMM-*wrong.UnroundedMM < 3 {
		t.Errorf("leather-hard %.2f, taken as wet %.2f", *bar.UnroundedMM, *wrong.UnroundedMM)
	}
}

// Heat work that was never tested is marked, and a width that hangs on it alone is held back; a
// replacement from a clay that was never fired here too. A lid and a pot of one clay are answered.
func TestHeldBack(t *testing.T) {
	srv := workshopServer(t, true)
	for _, q := range []string{"collar=120&collar_stage=fired&clay=tern&heat_work_c=1150",
		"collar=120&collar_stage=fired&clay=rook", "collar=120&clay=tern&lid_clay=rook"} {
		j := askLid(t, srv.URL, q)
		if j.SetMM != nil || j.Spread != nil || j.HeldBack == nil || j.NotOverMM == nil ||
			j.Fired.PlayLikelyMM[0] == nil || j.Trust != "outside_tested_heat" && j.Trust != "no_bars" {
			t.Errorf("%s: set %v, held back %v, trust %s", q, j.SetMM, j.HeldBack, j.Trust)
			continue
		}
		if wide := askLid(t, srv.URL, q+"&accept=wide"); wide.SetMM == nil ||
			wide.HeldBack != nil || wide.Trust != j.Trust {
			t.Errorf("%s: accepted all the same: %v %v", q, wide.SetMM, wide.HeldBack)
		}
		if a, body := ask(t, "GET", srv.URL+"/v1/lid?"+q, "", "", "Accept",
			"text/plain"); a.StatusCode != 422 || !strings.Contains(body, "no-width") {
			t.Errorf("%s: as text %d %s", q, a.StatusCode, body)
		}
		if _, page := ask(t, "GET", srv.URL+"/lid?"+q, "", ""); !strings.Contains(page, "No width given.") ||
			!strings.Contains(page, "accept=wide") {
			t.Errorf("%s: the page does not say that it holds back", q)
		}
	}
	for _, q := range []string{"collar=120&opening=108&clay=tern&heat_work_c=1150",
		"collar=120&opening=108&clay=rook"} {
		if j := askLid(t, srv.URL, q); j.SetMM == nil || j.HeldBack != nil {
			t.Errorf("%s: %v", q, j.HeldBack)
		}
	}
}

// The first day: no firing yet, the cone on the bag is taken and said so; without that too it is a fault.
func TestFirstDay(t *testing.T) {
	srv := workshopServer(t, false)
	six, _ := heatwork.MainConeScale().Parse("6")
	j := askLid(t, srv.URL, "collar=104.5&opening=92.5&clay=rook")
	at(t, "heat work of the cone on the bag", j.Asked.HeatWorkC, math.Round(float64(six)*10)/10, 1e-9)
	if !slices.Contains(j.Cautions, "no-usual-firing-yet") || j.SetMM == nil || j.Trust != "no_bars" {
		t.Errorf("%v, %v, %s", j.Cautions, j.SetMM, j.Trust)
	}
	for _, c := range []struct{ query, kind, field string }{
		{"collar=104.5&clay=bare", "no-usual-firing", ""},
		{"collar=104.5&clay=tern&batch=Z", "unknown-batch", "batch"},
		{"collar=104.5&clay=tern&kiln=none", "unknown-kiln", "kiln"},
		{"collar=104.5&collar_stage=leather&clay=tern&companion=QQ", "unknown-bar", ""},
		{"collar=104.5&collar_stage=leather&clay=tern&companion=LN", "missing", "companion"},
		{"collar=104.5&collar_stage=leather&clay=tern&companion=CP&body_leather_ratio=0.03",
			"given-twice", "companion"},
		{"collar=104.5&clay=tern&body_drying_ratio=0.06&body_firing_ratio=0.07", "given-twice", "clay"},
	} {
		a, body := ask(t, "GET", srv.URL+"/v1/lid?"+c.query, "", "")
		if a.StatusCode/100 != 4 || !strings.Contains(body, "/problems/"+c.kind) ||
			c.field != "" && !strings.Contains(body, `"name":"`+c.field+`"`) {
			t.Errorf("%s: %d %s", c.query, a.StatusCode, body)
		}
	}
}

// A board of one clay; of a lid clay that was never fired here it is held back too.
func TestBoardOfAClay(t *testing.T) {
	srv := workshopServer(t, true)
	q := "clay=tern&together=in_place&lids=10&galleries=" + url.QueryEscape(eightPots())
	j := askBoard(t, srv.URL, q)
	if j.Trust != "well_tested" || j.AsOf == nil || j.Model == "" || j.Sizes == nil || j.HeldBack != nil ||
		!slices.Equal(j.Cautions, []string{"shrink-varies"}) {
		t.Errorf("%+v", j)
	}
	q += "&lid_clay=rook"
	if j = askBoard(t, srv.URL, q); j.Sizes != nil || j.HeldBack == nil || j.AllPairChance != nil {
		t.Errorf("not held back: %+v", j)
	}
	if a, body := ask(t, "GET", srv.URL+"/v1/lids/board?"+q, "", "", "Accept",
		"text/plain"); a.StatusCode != 422 || !strings.Contains(body, "no-width") {
		t.Errorf("as text: %d %s", a.StatusCode, body)
	}
	if _, page := ask(t, "GET", srv.URL+"/lid/board?"+q, "", ""); !strings.Contains(page, "No sizes given.") {
		t.Error("the page does not say that it holds back")
	}
	if j = askBoard(t, srv.URL, q+"&accept=wide"); j.Sizes == nil || j.HeldBack != nil {
		t.Errorf("accepted all the same: %+v", j)
	}
}
