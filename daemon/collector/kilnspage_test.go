package collector

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"testing"

	"lidwright/api/wire"
	"lidwright/daemon/collector/pgtest"
)

// TestKilnsPage asks for the kilns of one studio: the one over its limit stands before the hot one, that
// before the cold one, how many are hot and to be looked at is said, and each of both can be asked for alone.
func TestKilnsPage(t *testing.T) {
	r := start(t, pgtest.Database(t))
	s := newSender(t, r)
	c := func(v float64) *float64 { return &v }
	body, _ := json.Marshal(wire.LivePush{Life: s.life, Kilns: []wire.LiveKiln{
		{Kiln: "little-red", State: "no_reading", Channels: []wire.LiveChannel{}},
		{Kiln: "big-blue", State: "heating", Hot: true, LastC: c(700), Channels: []wire.LiveChannel{}},
		{Kiln: "old-grey", State: "soaking", Hot: true, OverLimit: true, LastC: c(1300),
			Channels: []wire.LiveChannel{}},
	}})
	s.send(t, "PUT", "/live", "application/json", body)
	for ask, want := range map[string][]string{
		"":                     {"old-grey", "big-blue", "little-red"},
		"?only=hot":            {"old-grey", "big-blue"},
		"?only=look":           {"old-grey"},
		"?only=hot&q=BLUE":     {"big-blue"},
		"?only=look&q=blue":    {},
		"?only=something-else": {"old-grey", "big-blue", "little-red"},
	} {
		resp, err := http.Get(r.url + "/" + ask)
		if err != nil {
			t.Fatal(err)
		}
		text, _ := io.ReadAll(resp.Body)
		resp.Body.Close()
		page := string(text)
		var got []string
		for _, part := range strings.Split(page, "<h2>")[1:] {
			got = append(got, part[:strings.Index(part, "<")])
		}
		if !slices.Equal(got, want) {
			t.Errorf("%q shows %v, wanted %v", ask, got, want)
		}
		for _, said := range []string{"all 3", "2 hot", "1 to look at",
			"This shows what arrived. Look at the kiln."} {
			if !strings.Contains(page, said) {
				t.Errorf("%q does not say %q", ask, said)
			}
		}
		if strings.Contains(page, "no_reading") || slices.Contains(want, "little-red") &&
			!strings.Contains(page, "no reading") {
			t.Errorf("%q says a state in letters of a program", ask)
		}
	}
}

// TestManyKilnsGoOut has 170 studios with six kilns each: 200 kilns are shown and how many are not, and what
// goes over the line is compressed.
func TestManyKilnsGoOut(t *testing.T) {
	r := start(t, pgtest.Database(t))
	for i := range 170 {
		s := newSender(t, r)
		var kilns []wire.LiveKiln
		for k := range 6 {
			c := float64(20 + (i*7+k*131)%1200)
			kilns = append(kilns, wire.LiveKiln{Kiln: fmt.Sprintf("kiln-%d", k),
				State: "heating", Hot: c > 60,
				LastC: &c, Channels: []wire.LiveChannel{}})
		}
		body, _ := json.Marshal(wire.LivePush{Life: s.life, Kilns: kilns})
		s.send(t, "PUT", "/live", "application/json", body)
	}
	ask := func(encoding string) (*http.Response, []byte) {
		req, _ := http.NewRequestWithContext(t.Context(), "GET", r.url+"/", nil)
		req.Header.Set("Accept-Encoding", encoding)
		resp, err := http.DefaultTransport.RoundTrip(req)
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		body, err := io.ReadAll(resp.Body)
		if err != nil {
			t.Fatal(err)
		}
		return resp, body
	}
	_, plain := ask("identity")
	if n := strings.Count(string(plain), "<h2>"); n != 200 ||
		!strings.Contains(string(plain), "820 more are not shown") {
		t.Errorf("%d kilns are shown", n)
	}
	resp, body := ask("gzip")
	if resp.Header.Get("Content-Encoding") != "gzip" || len(body) > 25_000 {
		t.Errorf("%d bytes go over the line (%s); 25 kB at most", len(body),
			resp.Header.Get("Content-Encoding"))
	}
	z, err := gzip.NewReader(bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if whole, err := io.ReadAll(z); err != nil || !strings.Contains(string(whole), "820 more are not shown") {
		t.Errorf("what was compressed is another page: %v", err)
	}
}
