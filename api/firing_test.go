package api

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
	"lidwright/tiles"
)

// shed is a studio with one kiln and its firings: numbers 1 to 6 are over, 7 goes on.
type shed struct {
	nobody
	firings []kiln.Firing
	told    []detect.Fact
	open    kiln.FiringID
	deaf    bool // nothing was ever heard: no firing can begin
}

// the clocks of Berlin go forward half an hour later
var firstFiring = time.Date(2025, 3, 30, 0, 30, 0, 0, time.UTC)

func idOf(n int) kiln.FiringID {
	return kiln.FiringID(fmt.Sprintf("0193b1c4-6f00-7c3a-9d51-%012d", n))
}

func newShed() *shed {
	sh := &shed{open: idOf(7)}
	for n := 1; n <= 7; n++ {
		began := kiln.Stamp{Boot: "b", Since: time.Hour, Wall: firstFiring.AddDate(0, n-1, 0), Trusted: true}
		over := began
		over.Wall = over.Wall.Add(20 * time.Hour)
		f := kiln.Firing{ID: idOf(n), Number: n, Kiln: "big-blue", Kind: kiln.Glaze,
			KindFrom: detect.FromLoad, Atmosphere: kiln.Oxidation, Source: "serial", Status: kiln.Ended,
			Began: began, Over: over, Peak: 1222, PeakAfter: 8 * time.Hour, ToTop: 8 * time.Hour,
			Length: 20 * time.Hour, Faulty: map[kiln.Fault]int{},
			HeatWork: map[kiln.ChannelID]kiln.HeatWork{"1": {C: kiln.Celsius(1230 - 2*n), Low: 1210,
				High: 1240, From: kiln.FromCurve, Model: kiln.HeatWorkModel}}}
		if n == 2 {
			f.ToTop, f.Gaps = 10*time.Hour, []kiln.Gap{{After: 3 * time.Hour, For: 48 * time.Minute,
				Known: true, Why: "unplugged"}, {After: 5 * time.Hour, Why: "restart"}}
		}
		sh.firings = append(sh.firings, f)
	}
	sh.firings[6].Status, sh.firings[6].Over = kiln.Running, kiln.Stamp{}
	return sh
}

func (sh *shed) Firings(_ context.Context, w kiln.FiringFilter) (out []kiln.Firing, err error) {
	for _, f := range sh.firings {
		if w.Status == "" || f.Status == w.Status {
			out = append(out, f)
		}
	}
	slices.Reverse(out)
	return out, nil
}

func (sh *shed) Firing(_ context.Context, id kiln.FiringID) (kiln.Firing, error) {
	for _, f := range sh.firings {
		if f.ID == id {
			return f, nil
		}
	}
	return kiln.Firing{}, kiln.ErrNoFiring
}

// Envelopes is a climb at an even pace to 1222 °C and a fall, in steps of a minute.
func (sh *shed) Envelopes(ctx context.Context, id kiln.FiringID, channels []kiln.ChannelID,
	step time.Duration, points int) ([]kiln.Envelope, []kiln.Gap, error) {
	f, err := sh.Firing(ctx, id)
	if err != nil {
		return nil, nil, err
	}
	if len(channels) == 0 {
		channels = []kiln.ChannelID{"1", "2"}
	}
	var out []kiln.Envelope
	for _, c := range channels {
		if c != "1" && c != "2" {
			continue
		}
		e := kiln.Envelope{Channel: c, Step: time.Minute}
		for a := time.Duration(0); a < f.Length; a += time.Minute {
			t := 20 + 1202*math.Min(a.Hours()/f.ToTop.Hours(), 1)
			if a > f.ToTop {
				t -= 90 * (a - f.ToTop).Hours()
			}
			e.After, e.Low, e.High = append(e.After, a), append(e.Low, kiln.Celsius(t)), append(e.High,
				kiln.Celsius(t+0.2))
		}
		if points > 0 {
			e = e.Points(points)
		}
		out = append(out, e)
	}
	return out, f.Gaps, nil
}

func (sh *shed) Curve(ctx context.Context, id kiln.FiringID, channels []kiln.ChannelID,
	_ time.Duration) (kiln.Curve, error) {
	lines, gaps, err := sh.Envelopes(ctx, id, channels, time.Minute, 0)
	c := kiln.Curve{Gaps: gaps}
	for _, e := range lines {
		c.Channels, c.After, c.T = append(c.Channels, e.Channel), e.After, append(c.T, e.Low)
	}
	return c, err
}

// cold knows no heat works.
type cold struct{ usecase.Heat }

func (cold) Life(context.Context, kiln.KilnID, kiln.ChannelID, time.Time) (heatwork.ProbeLife, error) {
	return heatwork.ProbeLife{}, nil
}
func (cold) Again(context.Context, kiln.KilnID) {}

func (cold) Stories(context.Context, kiln.KilnID) ([]heatwork.ProbeStory, error) { return nil, nil }

func (*shed) Cones(context.Context, kiln.FiringID) ([]tiles.ConeSeen, error) { return nil, nil }
func (*shed) Notes(context.Context, kiln.FiringID) ([]tiles.Note, error)     { return nil, nil }

func (sh *shed) Live() []record.Live {
	l := record.Live{Kiln: "big-blue", State: kiln.Rising, T: 500, LastT: 500, Fresh: true,
		Limit: kiln.NoTemperature(), KeepShut: 95, Peak: kiln.NoTemperature(), Firing: sh.open}
	return []record.Live{l}
}

func (sh *shed) LiveCurve(id kiln.KilnID) (record.LiveCurve, bool) {
	if sh.open == "" || id != "big-blue" {
		return record.LiveCurve{}, false
	}
	f, err := sh.Firing(context.Background(), sh.open)
	if err != nil {
		f = kiln.Firing{ID: sh.open, Kiln: id, Number: 8, Kind: kiln.Other, KindFrom: detect.FromFact,
			Atmosphere: kiln.UnknownAtmosphere, Source: "serial", Status: kiln.Running,
			Peak: kiln.NoTemperature()}
	}
	return record.LiveCurve{Firing: f}, true
}

func (sh *shed) Tell(_ context.Context, f detect.Fact) (kiln.FiringID, error) {
	if f.Kiln != "big-blue" {
		return "", record.ErrNoKiln
	}
	sh.told = append(sh.told, f)
	switch f.What {
	case detect.NewFiring:
		if sh.deaf {
			return "", nil
		}
		sh.open = f.Firing
	case detect.StopRecording:
		sh.open = ""
	}
	return sh.open, nil
}

func shedServer(t *testing.T) (*shed, string) {
	t.Helper()
	sh, s := newShed(), studioOfNobody()
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	s.Site.Zone = zone
	s.Archive, s.Recorder, s.Heat = usecase.StorageOf(sh), sh, cold{}
	s.Kiln = map[kiln.KilnID]kiln.Kiln{"big-blue": {ID: "big-blue", Control: "1",
		Channels: []kiln.Channel{{ID: "1", Role: kiln.RoleProbe}, {ID: "2", Role: kiln.RoleProbe}}}}
	return sh, serve(t, s).URL
}

// TestCompare lays two firings over one another and says in one sentence how they differ.
func TestCompare(t *testing.T) {
	_, site := shedServer(t)
	var a wire.Compare
	answer, text := ask(t, "GET", site+"/v1/compare?firings="+string(idOf(1))+","+
		string(idOf(2))+"&at_c=1000", "", "")
	if err := json.Unmarshal([]byte(text), &a); err != nil || answer.StatusCode != 200 || len(a.Items) != 2 {
		t.Fatal(answer.Status, err, text)
	}
	// 980 of 1202 °C are 8 h * 980/1202 = 6.52 h up in the first and 8.15 h in the second.
	for i, want := range []float64{8 * 980 / 1202. * 3600, 10 * 980 / 1202. * 3600} {
		if got := float64(a.Items[i].ShiftS); math.Abs(got-want) > 120 {
			t.Errorf("firing %d reached 1000 °C after %.0f s, want %.0f", i, got, want)
		}
	}
	if a.Items[0].Says.String() != "" || !strings.Contains(a.Items[1].Says.String(), "slower") ||
		!strings.Contains(a.Items[1].Says.String(), "big-blue 1; gap of unknown length") {
		t.Errorf("says %q and %q", a.Items[0].Says, a.Items[1].Says)
	}
	for query, want := range map[string]int{"": 422, "firings=": 422, "firings=nobody": 404,
		"firings=" + strings.Repeat(string(idOf(1))+",", 5): 422,
		"firings=" + string(idOf(1)) + "&at_c=1400":         422} {
		if answer, text := ask(t, "GET", site+"/v1/compare?"+query, "", ""); answer.StatusCode != want {
			t.Errorf("%s: %s, want %d: %s", query, answer.Status, want, text)
		}
	}
	answer, text = ask(t, "GET", site+"/compare?firing="+string(idOf(1))+"&firing="+
		string(idOf(2))+"&at_c=1000", "", "")
	// two drawings and the swatches
	if answer.StatusCode != 200 || !strings.Contains(text, "slower") || strings.Count(text, `class="heat"`)+
		strings.Count(text, `class="dotted"`) != 6 {
		t.Errorf("the page: %s\n%s", answer.Status, text)
	}
}

// The peak of a firing is the same figure, with the same unit, on every page that shows it; and the
// temperature at which firings are laid over one another is asked for and told in the reader's degrees.
func TestOneFigureOnEveryPage(t *testing.T) {
	_, site := shedServer(t)
	set, err := pages.Load(time.UTC, func(string, float64) string { return "" })
	if err != nil {
		t.Fatal(err)
	}
	var f wire.Firing
	_, text := ask(t, "GET", site+"/v1/firings/"+string(idOf(2)), "", "")
	if err := json.Unmarshal([]byte(text), &f); err != nil || f.PeakC == nil {
		t.Fatal(err, text)
	}
	for cookie, l := range map[string]pages.Locale{"en.mm.24.c": set.Locale(pages.Speak{Tongue: "en"}),
		"en.in.12.f": set.Locale(pages.Speak{Tongue: "en", Fahrenheit: true}),
		"de.mm.24.f": set.Locale(pages.Speak{Tongue: "de", Fahrenheit: true})} {
		two := "/compare?firing=" + string(idOf(1)) + "&firing=" + string(idOf(2))
		for _, path := range []string{"/firing/" + string(idOf(2)), two, "/trend/big-blue"} {
			if _, page := ask(t, "GET", site+path, "", "", "Cookie",
				speakCookie+"="+cookie); !strings.Contains(page, l.Heat(f.PeakC)) {
				t.Errorf("%s of %s does not tell the peak as %s", path, cookie, l.Heat(f.PeakC))
			}
		}
		_, page := ask(t, "GET", site+two+"&at_f=1832", "", "", "Cookie", speakCookie+"="+cookie) // 1000 °C
		if name := "at_" + strings.ToLower(l.Degree()[len("°"):]); !strings.Contains(page, l.Heat(1000.0)) ||
			!strings.Contains(page, `name="`+name+`"`) || !strings.Contains(page,
			`value="`+l.Degrees(1000.0)+`"`) {
			t.Errorf("%s: not laid over one another at %s", cookie, l.Heat(1000.0))
		}
		if answer, _ := ask(t, "GET", site+two+"&at_f=40", "", "", "Cookie",
			speakCookie+"="+cookie); answer.StatusCode != 422 {
			t.Errorf("%s: 40 °F is %s", cookie, answer.Status)
		}
	}
}

// TestTrend: heat work that falls by 2 °C a month, one month after another, falls by some 24 °C a
// year and hardly by chance; the tops stand still.
func TestTrend(t *testing.T) {
	sh, site := shedServer(t)
	var a wire.Trend
	answer, text := ask(t, "GET", site+"/v1/trend?kiln=big-blue", "", "")
	if err := json.Unmarshal([]byte(text), &a); err != nil || answer.StatusCode != 200 ||
		len(a.Items) != 4 || len(a.Rows) != 6 {
		t.Fatal(answer.Status, err, text)
	}
	if h := a.Items[0]; h.PerYear == nil || math.Abs(*h.PerYear+24) > 1 || !h.Clear || h.Firings != 6 {
		t.Errorf("heat work: %+v", h)
	}
	if p := a.Items[1]; p.Clear {
		t.Errorf("the top: %+v", p)
	}
	if answer, _ := ask(t, "GET", site+"/v1/trend?kiln=nobody", "", ""); answer.StatusCode != 404 {
		t.Error("an unknown kiln:", answer.Status)
	}
	if answer, text := ask(t, "GET", site+"/trend/big-blue", "", ""); answer.StatusCode != 200 ||
		!strings.Contains(text, "hardly by chance") {
		t.Errorf("the page: %s", answer.Status)
	}
	if _, text := ask(t, "GET", site+"/v1/trend?kiln=big-blue&kind=bisque", "", ""); !strings.Contains(text,
		"too few") {
		t.Error("no firing of that kind:", text)
	}
	// The cones say that the probe went 2 °C lower a month: what was fired stands still, in the sentence as
	// in the rows.
	for i := range sh.firings {
		sh.firings[i].Corrected = map[kiln.Place]kiln.HeatWork{{Channel: "1"}: {C: 1232, Low: 1222,
			High: 1242, From: kiln.FromCurve, Model: kiln.HeatWorkModel}}
	}
	_, text = ask(t, "GET", site+"/v1/trend?kiln=big-blue&kind=glaze", "", "")
	if err := json.Unmarshal([]byte(text), &a); err != nil || a.Items[0].Clear ||
		math.Abs(*a.Items[0].PerYear) > 0.1 || *a.Rows[5].HeatWorkC != 1232 {
		t.Errorf("corrected by cones: %+v, rows %s", a.Items[0], text)
	}
}

// TestCurveAsATable reads the curve back with an ordinary CSV reader.
func TestCurveAsATable(t *testing.T) {
	_, site := shedServer(t)
	answer, text := ask(t, "GET", site+"/v1/firings/"+string(idOf(1))+"/curve?channel=all&step=60", "",
		"", "Accept", "text/csv")
	if ct := answer.Header.Get("Content-Type"); answer.StatusCode != 200 || !strings.HasPrefix(ct,
		"text/csv") {
		t.Fatal(answer.Status, ct)
	}
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil || len(rows) != 1+2*20*60 ||
		strings.Join(rows[0], " ") != "firing channel after_s low_c high_c" {
		t.Fatal(len(rows), err, rows[:1])
	}
	if got := strings.Join(rows[1][1:], " "); got != "1 0 20 20.2" {
		t.Errorf("the first row is %q", got)
	}
}

// What a curve cannot be cut into is refused with the field.
func TestCurvesThatCannotBe(t *testing.T) {
	_, site := shedServer(t)
	for query, want := range map[string]string{"points=0": "points", "points=801": "points", "step=0": "step",
		"step=3601": "step", "points=10&step=60": "step", "channel=9": "channel", "chanel=1": "chanel"} {
		a, text := ask(t, "GET", site+"/v1/firings/"+string(idOf(1))+"/curve?"+query, "", "")
		if a.StatusCode != 422 || !strings.Contains(text, `"name":"`+want+`"`) {
			t.Errorf("%s: %d %s", query, a.StatusCode, text)
		}
	}
}

// TestButtons: a firing begun and stopped by hand, in the API and on the page; asked again nothing
// happens twice.
func TestButtons(t *testing.T) {
	sh, site := shedServer(t)
	put := func(path, body string) (int, string) {
		answer, text := ask(t, "PUT", site+path, "application/json", body)
		return answer.StatusCode, text
	}
	begin := "/v1/firings/" + string(idOf(8)) + "/begin"
	for range 2 {
		if code, text := put(begin, `{"kiln":"big-blue","kind":"other","sure":true}`); code != 200 ||
			!strings.Contains(text, `"status":"running"`) {
			t.Fatal(code, text)
		}
	}
	if len(sh.told) != 1 || sh.told[0].What != detect.NewFiring || sh.told[0].Kind != kiln.Other {
		t.Errorf("the recorder was told %+v", sh.told)
	}
	if code, text := put("/v1/firings/"+string(sh.openOr(8))+"/stop", `{}`); code != 409 ||
		!strings.Contains(text, "big-blue reads 500 °C. Stop recording all the same?") {
		t.Errorf("a stop that nobody is sure of: %d %s", code, text)
	}
	for range 2 {
		if code, text := put("/v1/firings/"+string(sh.openOr(8))+"/stop", `{"sure":true}`); code != 200 &&
			code != 404 {
			t.Fatal(code, text)
		}
	}
	if len(sh.told) != 2 || sh.told[1].What != detect.StopRecording {
		t.Errorf("the recorder was told %+v", sh.told)
	}
	for path, c := range map[string]struct {
		body string
		want int
	}{
		"/v1/firings/8/begin":                         {`{"kiln":"big-blue"}`, 422},
		"/v1/firings/" + string(idOf(9)) + "/begin":   {`{"kiln":"nobody"}`, 404},
		"/v1/firings/" + string(idOf(1)) + "/begin":   {`{"kiln":"little-red"}`, 409},
		"/v1/firings/" + string(idOf(99)) + "/stop":   {``, 404},
		"/v1/firings/" + string(idOf(10)) + "/begin":  {`{"kiln":"big-blue","kind":"raku"}`, 422},
		"/v1/firings/" + string(idOf(11)) + "/begin ": {`{"kiln":"big-blue"}`, 404},
	} {
		if code, text := put(strings.ReplaceAll(path, " ", "%20"), c.body); code != c.want {
			t.Errorf("%s: %d, want %d: %s", path, code, c.want, text)
		}
	}
	sh.deaf = true
	if code, text := put("/v1/firings/"+string(idOf(12))+"/begin", `{"kiln":"big-blue"}`); code != 503 ||
		!strings.Contains(text, "kiln-not-heard") {
		t.Errorf("a kiln that was never heard: %d %s", code, text)
	}
	sh.deaf, sh.told, sh.open = false, nil, idOf(7)
	http.DefaultClient.CheckRedirect = func(*http.Request, []*http.Request) error {
		return http.ErrUseLastResponse
	}
	defer func() { http.DefaultClient.CheckRedirect = nil }()
	for path, form := range map[string]url.Values{"/kiln/big-blue/stop": {"firing": {string(idOf(7))},
		"sure": {"yes"}}} {
		if answer, text := ask(t, "POST", site+path, "application/x-www-form-urlencoded",
			form.Encode()); answer.StatusCode != 303 {
			t.Errorf("%s: %s %s", path, answer.Status, text)
		}
	}
	if answer, text := ask(t, "POST", site+"/kiln/big-blue/begin", "application/x-www-form-urlencoded",
		url.Values{"id": {string(idOf(13))}, "sure": {"yes"}}.Encode()); answer.StatusCode != 303 {
		t.Errorf("begin: %s %s", answer.Status, text)
	}
	if len(sh.told) != 2 {
		t.Errorf("the buttons told %+v", sh.told)
	}
	if _, text := ask(t, "GET", site+"/kiln/big-blue", "", ""); !strings.Contains(text,
		"Stopping the record switches nothing") || !strings.Contains(text, "New firing") {
		t.Error("the page has no buttons")
	}
}

func (sh *shed) openOr(n int) kiln.FiringID {
	if sh.open == "" {
		return idOf(n)
	}
	return sh.open
}

// TestGapsInWords: a gap of unknown length says so, on the page and in the list; across the change
// to summer time in Berlin (30 March 2025, 01:00 UTC) the curve has no hole and times are local.
func TestGapsInWords(t *testing.T) {
	_, site := shedServer(t)
	_, text := ask(t, "GET", site+"/firing/"+string(idOf(2)), "", "")
	for _, want := range []string{"a gap of 48 min", "unplugged", "a gap of unknown length",
		"Heat work over it is a range"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	_, text = ask(t, "GET", site+"/v1/firings?kiln=big-blue", "", "")
	if !strings.Contains(text, `"started_at":"2025-03-30T01:30:00+01:00"`) ||
		!strings.Contains(text, `"ended_at":"2025-03-30T22:30:00+02:00"`) ||
		!strings.Contains(text, `"hours":20`) {
		t.Error("times over the change of the clocks:", text)
	}
}

// TestStoreInTrouble: a store in trouble is told of wherever somebody looks.
func TestStoreInTrouble(t *testing.T) {
	s := studioOfNobody()
	s.Store = func() (usecase.StoreHealth, error) {
		return usecase.StoreHealth{Free: 1e9, Copies: 2, LastCopy: firstFiring,
			Trouble: []message.Message{message.New("The store was damaged; a copy took its place.")}}, nil
	}
	site := serve(t, s).URL
	for _, path := range []string{"/healthz", "/readyz", "/more"} {
		if answer, text := ask(t, "GET", site+path, "", ""); answer.StatusCode != 200 ||
			!strings.Contains(text, "took its place") {
			t.Errorf("%s says nothing: %s %s", path, answer.Status, text)
		}
	}
	if _, text := ask(t, "GET", site+"/metrics", "", ""); !strings.Contains(text,
		"lidwright_store_trouble 1\n") || !strings.Contains(text, "lidwright_store_copies 2\n") {
		t.Error("the metrics say nothing")
	}
	s.Store = func() (usecase.StoreHealth, error) {
		return usecase.StoreHealth{}, errors.New("the card does not answer")
	}
	if _, text := ask(t, "GET", site+"/healthz", "", ""); !strings.Contains(text,
		"The card does not answer.") && !strings.Contains(text, "the card does not answer.") {
		t.Error("a card that does not answer:", text)
	}
}
