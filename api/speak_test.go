package api

import (
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"reflect"
	"strings"
	"testing"
	"time"

	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/daemon/store"
	"lidwright/kiln"

	"lidwright/api/caution"
	"lidwright/tiles/lid"
)

// fetched is a page as a browser that sends these headers.
func fetched(t *testing.T, site, path string, header ...string) (*http.Response, string) {
	t.Helper()
	r, err := http.NewRequest("GET", site+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	b, err := io.ReadAll(a.Body)
	if err != nil {
		t.Fatal(err)
	}
	return a, asRead(string(b))
}

// Who has not said is spoken to as the browser asks (RFC 9110, 12.5.4: weights, ranges), who has
// said as they said; nonsense is as if nothing was said.
func TestWhomThePagesSpeakTo(t *testing.T) {
	g := testServer(t)
	for _, c := range []struct{ accept, cookie, want string }{
		{"", "", "en"},
		{"de", "", "de"},
		{"de-AT,de;q=0.9,en;q=0.1", "", "de"},
		{"en-GB,en;q=0.9,de;q=0.8", "", "en"},
		{"fr, de;q=0.2", "", "de"},
		{"fr", "", "en"},
		{";;;=", "", "en"},
		{strings.Repeat("de,", 1000), "", "en"}, // longer than is read
		{"en", "de.mm.24", "de"},
		{"de", "en.32nds.12", "en"},
		{"de", "xx.yy.zz", "de"},
		{"en", "........", "en"},
	} {
		header := []string{"Accept-Language", c.accept}
		if c.cookie != "" {
			header = append(header, "Cookie", speakCookie+"="+c.cookie)
		}
		a, body := fetched(t, g.URL, "/help", header...)
		if !strings.Contains(body, `<html lang="`+c.want+`"`) {
			t.Errorf("%.40s with %q: not in %s", c.accept, c.cookie, c.want)
		}
		if v := strings.Join(a.Header["Vary"], ", "); !strings.Contains(v, "Accept-Language") ||
			!strings.Contains(v, "Cookie") {
			t.Errorf("Vary: %s", v)
		}
	}
}

// A browser that holds the page in one language is not told that it is the same in another, and the
// API answers everybody alike.
func TestKeptAnswersDifferByTongue(t *testing.T) {
	g := testServer(t)
	english, _ := fetched(t, g.URL, "/help", "Accept-Language", "en")
	tag := english.Header.Get("ETag")
	if again, _ := fetched(t, g.URL, "/help", "Accept-Language", "en", "If-None-Match",
		tag); again.StatusCode != http.StatusNotModified ||
		!strings.Contains(strings.Join(again.Header["Vary"], ","), "Accept-Language") {
		t.Errorf("the same again: %d, Vary %v", again.StatusCode, again.Header["Vary"])
	}
	if german, _ := fetched(t, g.URL, "/help", "Accept-Language", "de", "If-None-Match",
		tag); german.StatusCode != http.StatusOK || german.Header.Get("ETag") == tag {
		t.Errorf("in German with the tag of English: %d", german.StatusCode)
	}
	a, one := fetched(t, g.URL, "/v1/clays", "Accept-Language", "de", "Cookie", speakCookie+"=de.in.12")
	if _, other := fetched(t, g.URL, "/v1/clays"); one != other ||
		strings.Contains(strings.Join(a.Header["Vary"], ","), "Cookie") {
		t.Errorf("the API speaks otherwise to a German")
	}
}

func TestSayHowToSpeak(t *testing.T) {
	g := testServer(t)
	for _, c := range []struct{ form, cookie, to string }{
		{"language=de&unit=32nds&clock=12&next=%2Fbars", "de.32nds.12.c", "/bars"},
		{"language=xx&unit=ell&clock=13", "en.mm.24.c", "/speak"},
		{"unit=in&next=%2F%2Felsewhere.example", "en.in.24.c", "/speak"},
	} {
		plain := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error {
			return http.ErrUseLastResponse
		}}
		form, _ := url.ParseQuery(c.form)
		a, err := plain.PostForm(g.URL+"/speak", form)
		if err != nil {
			t.Fatal(err)
		}
		a.Body.Close()
		if len(a.Cookies()) != 1 || a.Cookies()[0].Value != c.cookie || !a.Cookies()[0].HttpOnly ||
			a.Header.Get("Location") != c.to || a.StatusCode != http.StatusSeeOther {
			t.Errorf("%s: %d to %q, %v", c.form, a.StatusCode, a.Header.Get("Location"), a.Cookies())
		}
	}
}

// What the code says of danger, and every problem, has its text in every language.
func TestCautionsInEveryTongue(t *testing.T) {
	texts := []string{caution.StandingLine, caution.ElectricKilns}
	for _, c := range caution.All {
		texts = append(texts, string(c.Text.Key), c.Place)
	}
	for _, k := range web.Kinds {
		texts = append(texts, string(k.Title), string(k.Help))
	}
	for _, id := range []string{lid.WillFuse, lid.RatesStated, lid.NoUsualYet,
		lid.LedgeTooNarrow, lid.StepTooCoarse,
		lid.LedgeNotGiven, lid.MeasureWet, lid.LeatherGuessed, lid.LeatherOwn, lid.OutOfRound,
		lid.PlayOutside, lid.AskedUnusual} {
		texts = append(texts, string(CautionOf(id).Key))
	}
	for _, words := range append(seen[:len(seen):len(seen)], lost...) {
		texts = append(texts, words.Act, words.Word)
	}
	for _, f := range append(rateFields, moreFields...) {
		texts = append(texts, f.Label)
	}
	for _, says := range doubtWords {
		texts = append(texts, says)
	}
	for _, words := range []any{lid.Seats(), stageWords(),
		[]kiln.Kind{kiln.Bisque, kiln.Glaze, kiln.Once, kiln.Other}, []kiln.State{kiln.Quiet, kiln.Cold,
			kiln.Soaking, kiln.Falling, kiln.Rising, kiln.Holding, kiln.Warm}} {
		list := reflect.ValueOf(words)
		for i := range list.Len() {
			texts = append(texts, strings.ReplaceAll(list.Index(i).String(), "_", " "))
		}
	}
	set, err := pages.Load(time.UTC, func(string, float64) string { return "" })
	if err != nil {
		t.Fatal(err)
	}
	for _, tongue := range pages.Tongues[1:] {
		for _, text := range texts {
			if text == "" || text != "warm" && set.Locale(pages.Speak{Tongue: tongue.Tag}).Say(text) == text {
				t.Errorf("no %s for %q", tongue.Name, text)
			}
		}
	}
}

// Lengths are shown in the unit of the person, whatever they were typed in. 1 in is 25.4 mm exactly
// (NIST Special Publication 811, appendix B): 104.5 mm is 131.65 thirty-seconds, so 132, 4 1/8 in;
// 92.5 mm is 116.54, so 117, 3 21/32 in.
func TestLengthsAsChosen(t *testing.T) {
	st := testStudio(t)
	const pot = "0193c0c1-0000-7000-8000-00000000c0c0"
	if a, body := ask(t, "PUT", st.URL+"/v1/pots/"+pot, "application/json",
		`{"form":"teapot","number":"1","collar_mm":[104.5],"opening_mm":92.5,"body":"tern/B"}`); a.StatusCode > 201 {
		t.Fatalf("%d %s", a.StatusCode, body)
	}
	for unit, want := range map[string][]string{"mm": {"104.5 mm", "92.5 mm"}, "cm": {"10.45 cm", "9.25 cm"},
		"in": {"4.114 in", "3.642 in"}, "32nds": {"4 1/8 in", "3 21/32 in"}} {
		for _, path := range []string{"/pot/" + pot, "/pots"} {
			_, body := fetched(t, st.URL, path, "Cookie", speakCookie+"=en."+unit+".24")
			for i, w := range want {
				if path == "/pots" && i > 0 {
					continue // a card in the list says how wide its gallery is
				}
				if path == "/pots" { // in a list they stand without their unit
					w = w[:strings.LastIndexByte(w, ' ')]
				}
				if !strings.Contains(body, w) {
					t.Errorf("%s in %s has no %s", path, unit, w)
				}
			}
			if unit != "mm" && strings.Contains(body, " mm</dd>") {
				t.Errorf("%s in %s has a length in mm", path, unit)
			}
		}
	}
	// A German reads a comma before decimals, on every page and in every unit.
	for unit, want := range map[string]string{"mm": "104,5 mm", "cm": "10,45 cm", "in": "4,114 in"} {
		_, body := fetched(t, st.URL, "/pot/"+pot, "Cookie", speakCookie+"=de."+unit+".24")
		if point := strings.Replace(want, ",", ".", 1); !strings.Contains(body, want) ||
			strings.Contains(body, point) {
			t.Errorf("in German there is no %s, or %s", want, point)
		}
	}
	// What is typed without a unit is in the unit that the form was made with; what has one is in that.
	plain := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error {
		return http.ErrUseLastResponse
	}}
	for _, c := range []struct{ form, want string }{{"unit=in&set=4", `"set_mm":101.6,`},
		{"unit=32nds&set=4+1%2F32", `"set_mm":102.39,`}, {"unit=in&set=102.5mm", `"set_mm":102.5,`},
		{"set=10.2cm", `"set_mm":102,`}} {
		form, _ := url.ParseQuery(c.form)
		a, err := plain.PostForm(st.URL+"/pot/"+pot+"/lid", form)
		if err != nil {
			t.Fatal(err)
		}
		a.Body.Close()
		if _, body := fetched(t, st.URL, "/v1/pots/"+pot); a.StatusCode != http.StatusSeeOther ||
			!strings.Contains(body, c.want) {
			t.Errorf("%s: %d, %s", c.form, a.StatusCode, body)
		}
	}
	if a, err := plain.PostForm(st.URL+"/pot/"+pot+"/lid",
		url.Values{"unit": {"ell"}, "set": {"4"}}); err != nil ||
		a.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("a unit that nobody knows: %v %v", a.StatusCode, err)
	}
	// An answer is in the unit of the question if it has one, else in that of the person.
	const asked = "/lid?body_drying_ratio=0.06&body_firing_ratio=0.07&collar=104.5mm&opening=92.5mm"
	for path, want := range map[string]string{asked: "4 1/32", asked + "&unit=mm": "102.5"} {
		if _, body := fetched(t, st.URL, path, "Cookie", speakCookie+"=en.32nds.24"); !strings.Contains(body,
			`<p class="fig f7">`+want) {
			t.Errorf("%s has no %s", path, want)
		}
	}
}

// The clock of a person: noon and midnight are the hours that a clock with twice twelve names ill.
func TestClockAsChosen(t *testing.T) {
	set, err := pages.Load(time.UTC, func(string, float64) string { return "" })
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2026, 3, 5, 0, 5, 0, 0, time.UTC)
	for _, c := range []struct {
		speak pages.Speak
		hour  int
		want  string
	}{{pages.Speak{Tongue: "en"}, 0, "5 Mar 00:05"},
		{pages.Speak{Tongue: "en", Twelve: true}, 0, "5 Mar 12:05 am"},
		{pages.Speak{Tongue: "en", Twelve: true}, 12, "5 Mar 12:05 pm"},
		{pages.Speak{Tongue: "en", Twelve: true}, 13, "5 Mar 1:05 pm"},
		{pages.Speak{Tongue: "de"}, 13, "5. März 13:05"}, {pages.Speak{Tongue: "de", Twelve: true},
			13, "5. März 1:05 pm"}} {
		if got := set.At(c.speak, at.Add(time.Duration(c.hour)*time.Hour)); got != c.want {
			t.Errorf("%+v at %d: %q, want %q", c.speak, c.hour, got, c.want)
		}
	}
}

// Who reads °F is shown °F on every page of a hot kiln: by the studio's settings, by a browser of the United
// States (inches with it), by what the person chose. Fields of °C say °C. 1134 °F are 612 °C (exactly
// 1133.6).
func TestFahrenheit(t *testing.T) {
	server := func(fahrenheit bool) string {
		st, err := store.Open(t.Context(), t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		now := kiln.Stamp{Boot: "test", Since: time.Hour, Wall: time.Date(2026, 2, 2, 12, 0, 0, 0, time.UTC),
			Trusted: true}
		s := &Server{Studio: &usecase.Studio{Site: usecase.Site{Name: "studio", Zone: time.UTC, Units: "mm",
			Fahrenheit: fahrenheit}, Archive: usecase.StorageOf(st),
			Recorder: &hearth{live: inState(kiln.Rising, 612)}, Shrink: barless{st}, Heat: unasked{},
			Lines: func() []usecase.Line { return nil }, LidDefaults: lid.UsualDefaults(),
			Codes: "ABCDEFGHJKLNPQRTVWXY347", Now: func() kiln.Stamp { return now },
			Ready: func() error { return nil }}}
		h, err := s.Handler()
		if err != nil {
			t.Fatal(err)
		}
		site := httptest.NewServer(h)
		t.Cleanup(func() { site.Close(); st.Close() })
		return site.URL
	}
	celsius, fahrenheit := server(false), server(true)
	for _, c := range []struct {
		site, accept, cookie string
		shown                bool
	}{
		{celsius, "", "", false}, {celsius, "en-GB", "", false}, {celsius, "de", "", false}, {celsius, "en",
			"", false},
		{celsius, "en-US,en;q=0.9", "", true}, {celsius, "de", "de.mm.24.f", true},
		{celsius, "en-US", "en.mm.24.c", false},
		{fahrenheit, "", "", true}, {fahrenheit, "de", "", true}, {fahrenheit, "", "en.mm.24.c", false},
	} {
		for _, path := range []string{"/", "/kiln/blue"} {
			_, page := fetched(t, c.site, path, "Accept-Language", c.accept, "Cookie",
				speakCookie+"="+c.cookie)
			if strings.Contains(page, "1134") != c.shown || strings.Contains(page, "612") == c.shown ||
				strings.Contains(page, "°C") == c.shown {
				t.Errorf("%s, %q, %q: °F %v", path, c.accept, c.cookie, strings.Contains(page, "1134"))
			}
		}
	}
	if _, page := fetched(t, celsius, "/lid", "Accept-Language", "en-US"); !strings.Contains(page,
		`aria-label="gallery, in"`) {
		t.Error("a browser of the United States has no inches")
	}
	if a, body := fetched(t, fahrenheit, "/v1/now", "Accept-Language", "en-US"); !strings.Contains(body,
		`"temperature_c":612`) {
		t.Errorf("the API does not keep °C: %d", a.StatusCode)
	}
}
