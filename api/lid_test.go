package api

import (
	"encoding/json"
	"math"
	"net/url"
	"slices"
	"strings"
	"testing"

	"lidwright/api/wire"
)

func askLid(t *testing.T, server, query string) wire.Lid {
	t.Helper()
	a, body := ask(t, "GET", server+"/v1/lid?"+query, "", "")
	var j wire.Lid
	if err := json.Unmarshal([]byte(body), &j); err != nil || a.StatusCode != 200 {
		t.Fatalf("%s: %d %v %.400s", query, a.StatusCode, err, body)
	}
	return j
}

func at(t *testing.T, what string, got *float64, want, within float64) {
	t.Helper()
	if got == nil {
		t.Errorf("%s: none, want %.4f", what, want)
	} else if math.Abs(*got-want) > within {
		t.Errorf("%s: %.4f, want %.4f", what, *got, want)
	}
}

// Every kind of case by stated rates, worked by hand from the definitions of ASTM C326 (drying on the
// wet length, firing on the dry length; that the firing part refers to the dry length is ours). 6 and
// 7 % leave 0.94 x 0.93 = 0.8742 of the wet length.
func TestKindsOfCase(t *testing.T) {
	srv := testServer(t)
	for _, c := range []struct {
		name, query string
		want        float64 // unrounded_mm
	}{
		{"one clay, both wet: 96 x 0.8742 = 83.9232; (83.9232 - 1.5)/0.8742",
			"collar=96mm&play_mm=1.5&" + statedRates, 94.2841},
		{"read again: the mean of 96.2 and 95.8", "collar=96.2&collar_again=95.8&play_mm=1.5&" + statedRates,
			94.2841},
		{"lid thrown days later, leather-hard, 3.5 % gone: 82.4232 x 0.965/0.8742",
			"collar=96&play_mm=1.5&lid_stage=leather&lid_leather_ratio=0.035&" + statedRates, 90.9842},
		{"lid soft, 2 % gone: 82.4232 x 0.98/0.8742",
			"collar=96&play_mm=1.5&lid_stage=soft&lid_leather_ratio=2%25&" + statedRates, 92.3984},
		{"lid turned bone dry: 82.4232/0.93", "collar=96&play_mm=1.5&lid_stage=dry&" + statedRates, 88.6271},
		{"gallery leather-hard, 3.5 % gone: 88.4 x 0.94 x 0.935/0.965 = 80.5127",
			"collar=88,4&collar_stage=leather&body_drying_ratio=0.06&body_leather_ratio=0.035&body_firing_ratio=0.065&play_mm=1.25", 90.1840},
		{"gallery bone dry: 96 x 0.93 = 89.28; (89.28 - 1.5)/0.8742",
			"collar=96&collar_stage=dry&play_mm=1.5&" + statedRates, 100.4118},
		{"gallery bisque, 1 % gone of the dry length: 96 x 0.93/0.99 = 90.1818; less 1.5",
			"collar=96&collar_stage=bisque&body_bisque_ratio=0.01&play_mm=1.5&" + statedRates, 101.4434},
		{"two clays: 97.713 - 1.2 = 96.513, over 0.928 x 0.905",
			"collar_mm=110&body_drying_ratio=0.055&body_firing_ratio=0.06&lid_drying_ratio=0.072&lid_firing_ratio=0.095&play_mm=1.2", 114.9183},
		{"for a fired pot: 3 3/4 less 1/16 in, divided by 0.9375 x 0.92",
			"collar=3%203/4%20in&collar_stage=fired&lid_drying_ratio=0.0625&lid_firing_ratio=0.08&play=1/16%20in", 108.5942},
		{"for a fired pot, never added: (120 - 1.75)/0.88 and not 118.25 x 1.12",
			"collar=120&collar_stage=fired&lid_drying_ratio=0&lid_firing_ratio=0.12&play_mm=1.75", 134.3750},
		{"inches throughout: 3.75 x 0.8742 = 3.27825 in; less 0.06 in",
			"collar=3.75&play=0.06&unit=in&" + statedRates, 93.5067},
		{"glazed seat, four faces of 0.3 mm: (83.9232 - 1.5 - 1.2)/0.8742",
			"collar=96&play_mm=1.5&seat_glazed=yes&" + statedRates, 92.9114},
		{"glazed seat on a fired pot, two faces: (84 - 1.5 - 0.6)/0.8742",
			"collar=84&collar_stage=fired&play_mm=1.5&seat_glazed=yes&lid_drying_ratio=0.06&lid_firing_ratio=0.07", 93.6857},
		{"glaze told: 0.5 across in all", "collar=96&play_mm=1.5&seat_glazed=yes&glaze_mm=0.5&" + statedRates,
			93.7122},
		{"flange into a mouth of 80: (69.936 - 1.5)/0.8742",
			"seat=flange&collar=80&play_mm=1.5&" + statedRates, 78.2841},
		{"cap over a neck of 80: (69.936 + 2)/0.8742", "seat=cap&collar=80&play_mm=2&" + statedRates,
			82.2878},
		{"drop-in, rim: as inset", "seat=drop_in&collar=96&opening=84&play_mm=1.5&" + statedRates, 94.2841},
		{"over: as a cap", "seat=over&collar=80&opening=60&play_mm=2&" + statedRates, 82.2878},
		{"stopper in a mouth of 20: (17.484 - 0.6)/0.8742",
			"seat=stopper&collar=20&play_mm=0.6&" + statedRates, 19.3137},
		{"a lid at hand, its gallery: (94.2841 x 0.8742 + 1.5)/0.8742",
			"lid_mm=94.2841&play_mm=1.5&" + statedRates, 96.0000},
		{"a fired lid at hand, its gallery: (90.32 + 1.75)/0.876",
			"lid_mm=90.32&lid_stage=fired&play_mm=1.75&body_drying_ratio=0&body_firing_ratio=0.124",
			105.1027},
	} {
		j := askLid(t, srv.URL, c.query)
		at(t, c.name, j.UnroundedMM, c.want, 0.001)
		if !slices.Contains(j.Cautions, "rates-stated") || j.Trust != "no_bars" || j.HeldBack != nil {
			t.Errorf("%s: %s %v %v", c.name, j.Trust, j.Cautions, j.HeldBack)
		}
	}
	gap := askLid(t, srv.URL, "collar=96mm&lid_mm=94.3&"+statedRates) // 83.9232 - 94.3 x 0.8742
	at(t, "the gap of a lid at hand", gap.Fired.PlayUnroundedMM, 1.4861, 0.0002)
	if gap.Asked.Question != "gap" || gap.SetMM != nil || gap.UnroundedMM != nil ||
		gap.Spread != nil || gap.FitChance == nil {
		t.Errorf("gap: %+v", gap)
	}
	// To leather-hard 3.5 % of the wet length have gone of both: (96 - 94.3) x 0.965.
	check := askLid(t, srv.URL, "collar=96mm&lid_mm=94.3&check_stage=leather&body_leather_ratio=0.035&lid_leather_ratio=0.035&"+statedRates)
	if check.AtCheck == nil || check.AtCheck.Stage != "leather" {
		t.Fatalf("on the way: %+v", check.AtCheck)
	}
	at(t, "play at leather-hard", check.AtCheck.PlayMM, 1.6405, 0.006)
}

// Limits: the smallest direction rules not_over and the play, the largest the pushed-aside limit; both
// are rounded inwards. No drying and 12.4 % firing leave 0.876.
func TestLimitsAndOval(t *testing.T) {
	srv := testServer(t)
	const rates = "&body_drying_ratio=0&body_firing_ratio=0.124"
	const oval = "collar=104.5&collar=104.9&collar=104.2"
	// Over: 104.2 - 1.0/0.876 = 103.058. Under: the larger of (104.9 + 92.5)/2 + 1/0.876 = 99.842 and 104.2 -
	// 2.5/0.876 = 101.346.
	j := askLid(t, srv.URL, oval+"&opening=92.5"+rates)
	at(t, "not over", j.NotOverMM, 103.0, 1e-9)
	at(t, "not under", j.NotUnderMM, 101.5, 1e-9)
	at(t, "out of round", j.OutOfRoundMM, 0.7, 1e-9)
	// Narrow: (104.9 + 98)/2 + 1/0.876 = 102.5916 binds; 104.2 - 0.5/0.876 = 103.6292.
	j = askLid(t, srv.URL, oval+"&opening=98&least_play=0.5&most_play=2&step=0.1"+rates)
	at(t, "not over, narrow", j.NotOverMM, 103.6, 1e-9)
	at(t, "not under, narrow", j.NotUnderMM, 102.6, 1e-9)
	if j.LimitsFrom.Under.String() != "bearing at least 1.0 mm when pushed to one side" ||
		j.LimitsFrom.Over.String() != "play at least 0.5 mm" {
		t.Errorf("limits from %+v", j.LimitsFrom)
	}
	// A cap: the largest neck rules not_under, the smallest not_over: 80.6 + 1/0.876, 80 + 3/0.876.
	j = askLid(t, srv.URL, "seat=cap&collar=80&collar=80.6&step=0.1"+rates)
	at(t, "cap, not under", j.NotUnderMM, 81.8, 1e-9)
	at(t, "cap, not over", j.NotOverMM, 83.4, 1e-9)
	// What follows from the set size (play 2 x 0.876 = 1.752 for 102.5 on 104.5): the flange below an inset
	// lid not over (92.5 x 0.876 - 1.752)/0.876 = 90.5; a plate not under (104.5 x 0.876 + 1.752 + 2)/0.876 =
	// 108.78.
	j = askLid(t, srv.URL, "collar=104.5&opening=92.5&play_mm=1.752"+rates)
	at(t, "set", j.SetMM, 102.5, 1e-9)
	at(t, "locating flange", j.Also[0].NotOverMM, 90.5, 1e-9)
	j = askLid(t, srv.URL, "seat=flange&collar=104.5&play_mm=1.752"+rates)
	at(t, "plate", j.Also[0].NotUnderMM, 109, 1e-9)
	j = askLid(t, srv.URL, "seat=drop_in&collar=104.5&opening=92.5&play_mm=1.752"+rates)
	at(t, "well", j.Also[0].NotOverMM, 90.5, 1e-9)
	// The gallery for a lid of 103: between 103 + 1/0.876 and 103 + 2.5/0.876, its opening not over 2(103 -
	// 1/0.876) - 105.
	j = askLid(t, srv.URL, "lid=103"+rates)
	at(t, "gallery", j.SetMM, 105, 1e-9)
	at(t, "gallery, unrounded", j.UnroundedMM, 104.9977, 0.001)
	at(t, "gallery not under", j.NotUnderMM, 104.5, 1e-9)
	at(t, "gallery not over", j.NotOverMM, 105.5, 1e-9)
	at(t, "opening", j.Also[0].NotOverMM, 98.5, 1e-9)
	// Rounding to the safe side: 94.2841 in steps of 0.5 is 94.0; of a cap 82.2878 is 82.5.
	at(t, "safe side", askLid(t, srv.URL, "collar=96&play_mm=1.5&"+statedRates).SetMM, 94, 1e-9)
	at(t, "safe side of a cap", askLid(t, srv.URL, "seat=cap&collar=80&play_mm=2&"+statedRates).SetMM, 82.5,
		1e-9)
	// In 32nds: 94.2841 mm are 118.78 of them, the safe side is 118 = 3 11/16 in = 93.6625 mm.
	in := askLid(t, srv.URL, "collar=96mm&play_mm=1.5&unit=32nds&"+statedRates)
	at(t, "in 32nds", in.SetMM, 93.66, 1e-9)
	if !strings.HasPrefix(in.Says.String(), "Set 3 11/16 in; not over 3 23/32, not under 3 11/16") {
		t.Errorf("in 32nds: %s", in.Says)
	}
}

// What is to be minded, in the order in which it is read: what may weld a pot shut first.
func TestCautionsOfALid(t *testing.T) {
	srv := testServer(t)
	for _, c := range []struct {
		query string
		want  []string
	}{
		{"collar=96&opening=84&" + statedRates, []string{"rates-stated", "shrink-varies"}},
		{"collar=96&seat_glazed=yes&together=in_place&" + statedRates, []string{"will-fuse", "rates-stated",
			"ledge-not-given", "shrink-varies"}},
		{"collar=96&opening=94&" + statedRates,
			[]string{"rates-stated", "ledge-too-narrow", "shrink-varies"}},
		{"collar=96&opening=84&collar_stage=leather&body_leather_ratio=3%25&" + statedRates,
			[]string{"rates-stated", "measure-wet", "shrink-varies"}},
		{"collar=96&collar=97&opening=78&play_mm=6&" + statedRates, []string{"rates-stated", "out-of-round",
			"play-outside-window", "shrink-varies"}},
		{"collar=20&opening=10&accept=unusual&" + statedRates,
			[]string{"rates-stated", "asked-unusual", "shrink-varies"}},
	} {
		j := askLid(t, srv.URL, c.query)
		if !slices.Equal(j.Cautions, c.want) {
			t.Errorf("%s: %v, want %v", c.query, j.Cautions, c.want)
		}
		_, page := ask(t, "GET", srv.URL+"/lid?"+c.query, "", "")
		page = foldedAway.ReplaceAllString(page, " ")
		last := -1
		for _, id := range c.want {
			i := strings.Index(page, htmlText(CautionOf(id).String()))
			if i <= last {
				t.Errorf("%s: on the page %s stands at %d, the one before at %d", c.query, id, i, last)
			}
			last = i
		}
	}
}

func htmlText(s string) string { return strings.ReplaceAll(s, `"`, "&#34;") }

// The bare number, for displays; a page of its own; a page without script for each seat with its
// drawing and the same in words.
func TestLidShownEachWay(t *testing.T) {
	srv := testServer(t)
	q := "collar=96mm&play_mm=1.5&" + statedRates
	if a, body := ask(t, "GET", srv.URL+"/v1/lid?"+q, "", "", "Accept", "text/plain"); body != "94.0\n" ||
		a.Header.Get("Content-Type") != "text/plain; charset=utf-8" {
		t.Errorf("as text: %q", body)
	}
	if _, body := ask(t, "GET", srv.URL+"/v1/lid?"+q+"&unit=32nds", "", "", "Accept",
		"text/plain"); body != "3 11/16\n" {
		t.Errorf("as text in 32nds: %q", body)
	}
	if _, body := ask(t, "GET", srv.URL+"/lid?just=1&"+q, "", ""); !strings.Contains(body,
		`<h1 class="big figures">94.0</h1>`) {
		t.Error("just the number is not there")
	}
	for seat, c := range map[string]struct{ more, sets string }{"inset": {"&opening=84", "lid"},
		"flange": {"", "flange, outside"}, "cap": {"", "skirt, inside"}, "drop_in": {"&opening=84", "rim"},
		"over": {"&opening=70", "skirt, inside"}, "stopper": {"", "stopper"}} {
		a, body := ask(t, "GET", srv.URL+"/lid?seat="+seat+"&collar=96"+c.more+"&"+statedRates, "", "")
		if !strings.Contains(strings.Join(strings.Fields(body), " "),
			map[bool]string{true: "Set callipers to</p>", false: "Set callipers to (" + c.sets +
				")</p>"}[c.sets == "lid"]) {
			t.Errorf("%s: the page does not say that the %s is set", seat, c.sets)
		}
		if a.StatusCode != 200 || !strings.Contains(body, `<svg viewBox="0 0 358 222"`) ||
			strings.Count(body, "Cross-section, widths to scale as fired.") != 2 ||
			!strings.Contains(body, " 96.0 mm wet, 83.92 mm fired") {
			t.Errorf("%s: %d, no drawing with its words", seat, a.StatusCode)
		}
	}
}

// What is wrong is told with the field, by the API and in words on the page.
func TestLidBadInput(t *testing.T) {
	srv := testServer(t)
	for _, c := range []struct{ name, query, kind, field string }{
		{"opening wider than collar", "collar=104&opening=108&" + statedRates,
			"opening-wider-than-collar", "opening_mm"},
		{"play negative", "collar=104&play_mm=-1&" + statedRates, "out-of-range", "play_mm"},
		{"play beyond the ledge", "collar=104&opening=100&play_mm=2&" + statedRates,
			"out-of-range", "play_mm"},
		{"play over 20", "collar=104&play_mm=21&" + statedRates, "out-of-range", "play_mm"},
		{"window upside down", "collar=104&least_play=3&most_play=1&" + statedRates,
			"window-empty", "least_play_mm"},
		{"check before the collar's stage", "collar=104&collar_stage=dry&lid=102&check_stage=leather&" +
			statedRates, "stage-goes-backwards", "check_stage"},
		{"unknown clay", "collar=104&clay=nobody", "unknown-clay", ""},
		{"1045 typed for 104.5", "collar=1045&" + statedRates, "unusual-size", "collar_mm"},
		{"a bare 5", "collar=5&" + statedRates, "unusual-size", "collar_mm"},
		{"an opening of 30", "collar=104&opening=30&" + statedRates, "unusual-size", "opening_mm"},
		{"a lid of 1020", "collar=104&lid=1020&" + statedRates, "unusual-size", "lid_mm"},
		{"a lid of 7 alone", "lid=7&" + statedRates, "unusual-size", "lid_mm"},
		{"4 typed for 4 inches", "collar=4&" + statedRates, "unit-unclear", "collar_mm"},
		{"4 typed for the opening", "collar=104&opening=4&" + statedRates, "unit-unclear", "opening_mm"},
		{"a lid of 4", "lid=4&" + statedRates, "unit-unclear", "lid_mm"},
		{"nothing", statedRates, "missing", "collar_mm"},
		{"four directions", "collar=1&collar=2&collar=3&collar=4&" + statedRates,
			"unknown-parameter", "collar"},
		{"an opening where there is none", "seat=flange&collar=104&opening=90&" + statedRates,
			"unknown-parameter", "opening_mm"},
		{"no opening where one is needed", "seat=drop_in&collar=104&" + statedRates, "missing", "opening_mm"},
		{"more gone than there is to go", "collar=104&collar_stage=leather&body_leather_ratio=0.07&" +
			statedRates, "leather-over-drying", "body_leather_ratio"},
		{"masses swapped", "collar=104&collar_stage=leather&mass_wet_g=90&mass_now_g=100&" + statedRates,
			"out-of-range", "mass_now_g"},
		{"one mass", "collar=104&collar_stage=leather&mass_wet_g=90&body_leather_ratio=0.03&" + statedRates,
			"missing", "mass_now_g"},
		{"rate for leather missing", "collar=104&collar_stage=leather&" + statedRates,
			"rate-missing", "body_leather_ratio"},
		{"a fired lid to be thrown", "collar=104&lid_stage=fired&" + statedRates,
			"unknown-value", "lid_stage"},
		{"lid and play", "collar=104&lid=102&play_mm=1&" + statedRates, "given-twice", "play_mm"},
		{"half a lid", "collar=104&lids=1.5&" + statedRates, "out-of-range", "lids"},
		{"infinity", "collar=Infinity&" + statedRates, "out-of-range", "collar"},
		{"seat of another name", "seat=bayonet&collar=104&" + statedRates, "unknown-value", "seat"},
		{"cone of another name", "collar=104&cone=99&" + statedRates, "unknown-value", "cone"},
		{"two heats", "collar=104&cone=6&heat_work_c=1222&" + statedRates, "given-twice", "cone"},
	} {
		a, body := ask(t, "GET", srv.URL+"/v1/lid?"+c.query, "", "")
		if a.StatusCode/100 != 4 || !strings.Contains(body, `"type":"/problems/`+c.kind+`"`) ||
			c.field != "" && !strings.Contains(body, `"name":"`+c.field+`"`) {
			t.Errorf("%s: %d %s", c.name, a.StatusCode, body)
		}
		values, _ := url.ParseQuery(c.query)
		if !anyGiven(values, "collar", "lid") {
			continue
		}
		a, body = ask(t, "GET", srv.URL+"/lid?"+c.query, "", "")
		if a.StatusCode/100 != 4 || !strings.Contains(body, `role="alert"`) ||
			!strings.Contains(body, `id="fault-`+strings.TrimSuffix(c.field, "_mm")+`"`) && c.field != "" {
			t.Errorf("%s: the page answers %d, with nothing beside %s", c.name, a.StatusCode, c.field)
		}
	}
}

// Clients that join arrays by commas are understood where no comma can be a decimal sign, and answered as
// those that repeat the name.
func TestArraysJoinedByCommas(t *testing.T) {
	for text, want := range map[string][]string{
		"104.5,104.7": {"104.5", "104.7"}, "96mm,97 mm": {"96mm", "97 mm"}, `3 3/4",3 7/8"`: {`3 3/4"`,
			`3 7/8"`},
		"104,5": {"104,5"}, "104,106": {"104,106"}, "1.234,5": {"1.234,5"}, "104.5": {"104.5"}, "": {""},
		"104,5mm":         {"104,5mm"},
		"104,5mm,104,7mm": {"104,5mm,104,7mm"},
	} {
		if got := apartAtCommas([]string{text}); !slices.Equal(got, want) {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
	srv := testServer(t)
	for joined, repeated := range map[string]string{"collar=96mm,96.4mm": "collar=96mm&collar=96.4mm",
		"collar_mm=96.0,96.4,95.9": "collar_mm=96.0&collar_mm=96.4&collar_mm=95.9"} {
		a, b := askLid(t, srv.URL, joined+"&play_mm=1.5&"+statedRates), askLid(t, srv.URL,
			repeated+"&play_mm=1.5&"+statedRates)
		if a.UnroundedMM == nil || *a.UnroundedMM != *b.UnroundedMM ||
			len(a.Asked.CollarMM) != len(b.Asked.CollarMM) {
			t.Errorf("%s is answered %+v, %s %+v", joined, a.Asked, repeated, b.Asked)
		}
	}
}
