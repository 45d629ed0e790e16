package daemon

import (
	"context"
	"fmt"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lidwright/api/usecase"
	"lidwright/config"
	"lidwright/kiln"
	"lidwright/tiles"
)

const kilnSettings = "[store]\nfolder = %q\n[listen]\naddress = \"127.0.0.1:8439\"\n[site]\nzone = \"UTC\"\n%s"

const kilnTable = "[kiln.%s]\nport = %q\nreply = \"columns\"\nevery = \"60s\"\nlimit_c = 1290\n%s[kiln.%s.channel.1]\nfrom = \"1\"\nunit = \"c\"\n[kiln.%s.probe.1]\ntype = \"K\"\n"

// kilnBench is a daemon on a folder with the kilns of its settings, until stop.
func kilnBench(t *testing.T, folder, kilns string) (b *heatBench, stop func()) {
	t.Helper()
	cfg, err := config.LoadText("lidwright.toml",
		fmt.Sprintf(kilnSettings, filepath.Join(folder, "store"), kilns), nil)
	if err != nil {
		t.Fatal(err)
	}
	b = &heatBench{t: t}
	if b.d, err = New(t.Context(), cfg, "test"); err != nil {
		t.Fatal(err)
	}
	b.d.Now = func() kiln.Stamp {
		return kiln.Stamp{Boot: "now", Since: 5000 * time.Hour, Wall: january.AddDate(0, 2, 0), Trusted: true}
	}
	b.d.Listen = func(string) (net.Listener, error) { return net.Listen("tcp", "127.0.0.1:0") }
	ctx, cancel := context.WithCancel(context.Background())
	address, done := make(chan string, 1), make(chan error, 1)
	b.d.Ready = func(a string) { address <- a }
	go func() { done <- b.d.Run(ctx) }()
	select {
	case a := <-address:
		b.site = "http://" + a
	case err := <-done:
		t.Fatal(err)
	}
	return b, func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
}

func tableOf(folder, name, more string) string {
	return fmt.Sprintf(kilnTable, name, filepath.Join(folder, "no-line"), more, name, name)
}

// kilnAnswer is what the API says of a kiln.
type kilnAnswer struct {
	Fuel   string
	Limit  *float64 `json:"limit_c"`
	Reason string   `json:"keep_shut_reason"`
	Usual  []struct {
		Kind string
		Work float64 `json:"heat_work_c"`
	}
	Probes []struct{ Type string }
}

type kilnsAnswer struct {
	Items  []struct{ Kiln string }
	Strays []struct {
		Kiln    string
		Firings int
		Says    string
	} `json:"not_in_settings"`
	Says []string
}

// fired has a kiln with three firings, a probe, a mark, and a clay whose bar was fired there.
func fired(b *heatBench, name kiln.KilnID) {
	b.t.Helper()
	var last kiln.FiringID
	for day := range 3 {
		last = b.fire(day, "20>1222@150 >20@150", kiln.Glaze)
	}
	for path, body := range map[string]any{
		"/v1/kilns/" + string(name) + "/probes/" + uuid.NewString(): map[string]any{"type": "S",
			"fitted_on": "2026-01-01"},
		"/v1/kilns/" + string(name) + "/keep-shut": map[string]any{"id": uuid.NewString(),
			"keep_shut_above_c": 80, "keep_shut_reason": "its manual"},
		"/v1/clays/tern": map[string]any{"name": "Tern", "matures_cone": "6"},
	} {
		if status, answer := b.ask("PUT", path, body, nil); status/100 != 2 {
			b.t.Fatal(path, status, answer)
		}
	}
	for path, body := range map[string]any{"/v1/bars/BQ7": map[string]any{"id": uuid.NewString(),
		"clay": "tern", "batch": "A"}} {
		if status, answer := b.ask("PUT", path, body, nil); status/100 != 2 {
			b.t.Fatal(path, status, answer)
		}
	}
	reading := func(stage, length string) {
		if status, answer := b.ask("PUT", "/v1/bars/BQ7/readings/"+uuid.NewString(),
			map[string]any{"stage": stage, "length": length}, nil); status/100 != 2 {
			b.t.Fatal(status, answer)
		}
	}
	reading("wet", "100")
	if status, answer := b.ask("PUT", "/v1/loads/"+uuid.NewString(), map[string]any{"kiln": name,
		"kind": "glaze", "firing": last, "bars": []any{map[string]any{"bar": "BQ7"}}}, nil); status/100 != 2 {
		b.t.Fatal(status, answer)
	}
	reading("fired", "87.6")
}

const askedLid = "/v1/lid?clay=tern&seat=inset&collar=104.5&opening=92.5&unit=mm"

// A kiln that has another name in the settings is told by every page and by name what it is in the record;
// the answer that names no kiln never names one that a question is refused with. Told once, everything goes
// along.
func TestKilnIsRenamed(t *testing.T) {
	folder := t.TempDir()
	b, stop := kilnBench(t, folder, tableOf(folder, "big-blue", ""))
	fired(b, "big-blue")
	var lid struct{ Asked struct{ Kiln string } }
	if _, text := b.ask("GET", askedLid, nil, &lid); lid.Asked.Kiln != "big-blue" {
		t.Fatal(text)
	}
	stop()

	b, stop = kilnBench(t, folder, tableOf(folder, "annex", ""))
	var kilns kilnsAnswer
	b.ask("GET", "/v1/kilns", nil, &kilns)
	if len(kilns.Strays) != 1 || kilns.Strays[0].Kiln != "big-blue" || kilns.Strays[0].Firings != 3 ||
		!strings.Contains(kilns.Strays[0].Says, "lidwright kiln rename big-blue") {
		t.Errorf("%+v", kilns.Strays)
	}
	for _, path := range []string{"/", "/kilns"} {
		if status, page := b.ask("GET", path, nil, nil); status != 200 ||
			!strings.Contains(page, ">big-blue</strong>") {
			t.Errorf("%s says nothing of big-blue: %d", path, status)
		}
	}
	if _, text := b.ask("GET", askedLid, nil, &lid); lid.Asked.Kiln != "annex" {
		t.Errorf("the question that names no kiln: %s", text)
	}
	if status, text := b.ask("GET", askedLid+"&kiln="+lid.Asked.Kiln, nil, nil); status != 200 {
		t.Errorf("the kiln that an answer named is refused: %s", text)
	}
	for to, want := range map[string]int{"barn": 404, "Annex!": 422} {
		if status, text := b.ask("POST", "/v1/kilns/big-blue/rename",
			map[string]any{"to": to}, nil); status != want {
			t.Errorf("to %s: %d %s", to, status, text)
		}
	}
	if status, text := b.ask("POST", "/v1/kilns/annex/rename", map[string]any{"to": "annex"},
		nil); status != 422 || !strings.Contains(text, "settings") {
		t.Errorf("of a kiln of the settings: %d %s", status, text)
	}
	own := b.fire(9, "20>1222@150 >20@150", kiln.Glaze) // the bench fires big-blue: one more that goes along
	for range 2 {
		var moved struct{ Says string }
		if status, text := b.ask("POST", "/v1/kilns/big-blue/rename", map[string]any{"to": "annex"},
			&moved); status != 200 || !strings.HasPrefix(moved.Says, "big-blue is annex") {
			t.Fatal(status, text)
		}
	}
	alongWith(t, b, "annex", own)
	stop()

	b, stop = kilnBench(t, folder, tableOf(folder, "barn", "was = [\"annex\", \"big-blue\"]\n"))
	defer stop()
	alongWith(t, b, "barn", own)
	if former, err := b.d.store.FormerKilns(t.Context()); err != nil || former["annex"] != "barn" ||
		former["big-blue"] != "barn" {
		t.Errorf("%v %v", former, err)
	}
}

// alongWith holds that all that was recorded is that of a kiln of another name.
func alongWith(t *testing.T, b *heatBench, name string, last kiln.FiringID) {
	t.Helper()
	var k kilnAnswer
	b.ask("GET", "/v1/kilns/"+name, nil, &k)
	if len(k.Usual) != 1 || k.Usual[0].Kind != "glaze" || k.Reason != "its manual" || len(k.Probes) == 0 ||
		k.Probes[len(k.Probes)-1].Type != "S" {
		t.Errorf("%s: %+v", name, k)
	}
	var f struct{ Name string }
	if b.ask("GET", "/v1/firings/"+string(last), nil, &f); f.Name != name+" 4" {
		t.Errorf("the last firing is %q", f.Name)
	}
	var lid struct{ Asked struct{ Kiln string } }
	if _, text := b.ask("GET", askedLid, nil, &lid); lid.Asked.Kiln != name {
		t.Error(text)
	}
	var kilns kilnsAnswer
	if b.ask("GET", "/v1/kilns", nil, &kilns); len(kilns.Strays) != 0 {
		t.Errorf("%+v", kilns.Strays)
	}
}

// A kiln without a line needs no settings file: it is added by name, is there at once and after a start, and
// a firing and a load of it are taken. One that the settings name too is the same kiln, and they win.
func TestKilnIsAdded(t *testing.T) {
	folder := t.TempDir()
	b, stop := kilnBench(t, folder, "")
	for name, want := range map[string]int{"Little Red": 422, "little-red": 201} {
		if status, text := b.ask("PUT", "/v1/kilns/"+strings.ReplaceAll(name, " ", "%20"),
			map[string]any{"fuel": "gas"}, nil); status != want {
			t.Errorf("%s: %d %s", name, status, text)
		}
	}
	firing := map[string]any{"source": "hand", "kiln": "little-red", "kind": "glaze", "intended_cone": "6",
		"began_at": "2026-02-01T08:00:00Z", "ended_at": "2026-02-01T18:00:00Z"}
	if status, text := b.ask("PUT", "/v1/firings/"+uuid.NewString(), firing, nil); status != 201 {
		t.Fatal(status, text)
	}
	var now struct {
		Items []struct{ Kiln, Waits string }
	}
	if b.ask("GET", "/v1/now", nil, &now); len(now.Items) != 1 || now.Items[0].Kiln != "little-red" ||
		now.Items[0].Waits != "no line: by hand only" {
		t.Errorf("%+v", now)
	}
	stop()

	b, stop = kilnBench(t, folder, "")
	var k kilnAnswer
	if b.ask("GET", "/v1/kilns/little-red", nil, &k); k.Fuel != "gas" || k.Limit != nil {
		t.Errorf("%+v", k)
	}
	if status, _ := b.ask("POST", "/v1/kilns/little-red/rename",
		map[string]any{"to": "shed"}, nil); status != 200 {
		t.Error("a kiln that was added gets another name from nobody")
	}
	if status, _ := b.ask("GET", "/v1/kilns/little-red", nil, nil); status != 404 {
		t.Errorf("%d under the old name", status)
	}
	if status, text := b.ask("PUT", "/v1/kilns/little-red", map[string]any{}, nil); status != 409 ||
		!strings.Contains(text, "shed") {
		t.Errorf("a name that was one's before: %d %s", status, text)
	}
	if k := b.d.server.MainKiln(); k != "shed" {
		t.Errorf("questions are about %q", k)
	}
	stop()

	b, stop = kilnBench(t, folder, "[kiln.shed]\nport = \"\"\nfuel = \"wood\"\nlimit_c = 1240\n")
	defer stop()
	if b.ask("GET", "/v1/kilns/shed", nil, &k); k.Fuel != "wood" || k.Limit == nil || *k.Limit != 1240 {
		t.Errorf("%+v", k)
	}
	var kilns kilnsAnswer
	if b.ask("GET", "/v1/kilns", nil, &kilns); len(kilns.Items) != 1 || len(kilns.Says) != 1 ||
		kilns.Says[0] != "shed was added as gas and is wood in the settings: theirs holds." {
		t.Errorf("%+v", kilns)
	}
}

// A kiln that has fired under its new name already keeps those firings behind the ones that come to it.
func TestRenamedKilnIsCountedOn(t *testing.T) {
	b := newHeatBench(t)
	for day := range 3 {
		b.fire(day, "20>1222@150 >20@150", kiln.Glaze)
	}
	ctx := t.Context()
	first := kiln.Firing{ID: kiln.FiringID(uuid.NewString()), Kiln: "annex", Source: "hand",
		Status: kiln.Ended, Kind: kiln.Bisque,
		Began: kiln.Stamp{Wall: january.AddDate(0, 1, 0), Trusted: true}}
	if _, err := b.d.store.PutFiring(ctx, first, nil, struct{}{}, usecase.Precondition{},
		b.d.Now()); err != nil {
		t.Fatal(err)
	}
	moved, err := b.d.store.RenameKiln(ctx, "big-blue", "annex", b.d.Now())
	if err != nil || moved != (tiles.RecordedKiln{ID: "annex", Firings: 3}) {
		t.Fatal(moved, err)
	}
	all, err := b.d.store.Firings(ctx, kiln.FiringFilter{Kiln: "annex"})
	if err != nil || len(all) != 4 || all[0].ID != first.ID || all[0].Number != 4 || all[3].Number != 1 ||
		all[3].Kiln != "annex" {
		t.Errorf("%v, %v", all, err)
	}
	b.d.store.Close()
}

// The usual firing is pinned by hand and released again; two firings in a row beside it ask whether they are
// the new usual or a second one, and a second one keeps its firings apart from the first.
func TestUsualIsSaid(t *testing.T) {
	b := newHeatBench(t)
	b.run()
	for day := range 3 {
		b.fire(day, "20>1222@150 >20@150", kiln.Glaze)
	}
	type usual struct {
		Kind, Name, Says string
		Work             float64 `json:"heat_work_c"`
		Pinned, Asks     bool
	}
	said := func(body map[string]any, want int) []usual {
		t.Helper()
		var k struct{ Usual []usual }
		status, text := b.ask("PUT", "/v1/kilns/big-blue/usual/"+uuid.NewString(), body, &k)
		if status != want {
			t.Errorf("%v: %d %s", body, status, text)
		}
		return k.Usual
	}
	was := said(map[string]any{"kind": "glaze", "what": "pin", "cone": "6"}, 201)
	if len(was) != 1 || !was[0].Pinned || was[0].Says != "set by hand" {
		t.Errorf("pinned: %+v", was)
	}
	pinned := was[0].Work
	if was = said(map[string]any{"kind": "glaze", "what": "release"}, 201); len(was) != 1 ||
		was[0].Pinned || was[0].Work == pinned {
		t.Errorf("released: %+v", was)
	}
	first := was[0].Work
	for _, bad := range []map[string]any{{"kind": "glaze", "what": "pin"},
		{"kind": "glaze", "what": "pin", "cone": "99"}, {"kind": "glaze", "what": "second", "cone": "10"},
		{"kind": "glaze", "what": "new"}} {
		said(bad, 422)
	}
	for day := range 2 {
		b.fire(5+day, "20>1300@150 >20@150", kiln.Glaze)
	}
	var k struct{ Usual []usual }
	if b.ask("GET", "/v1/kilns/big-blue", nil, &k); len(k.Usual) != 1 || !k.Usual[0].Asks ||
		k.Usual[0].Work != first {
		t.Fatalf("two in a row: %+v", k.Usual)
	}
	if _, page := b.ask("GET", "/kilns", nil, nil); !strings.Contains(page, "New usual, or a second one?") {
		t.Error("the page does not ask")
	}
	was = said(map[string]any{"kind": "glaze", "what": "second", "name": "cone 10"}, 201)
	if len(was) != 2 || was[0].Name != "" || was[0].Work != first || was[0].Asks ||
		was[1].Name != "cone 10" || was[1].Work < first+50 {
		t.Errorf("a second one: %+v", was)
	}
	for day := range 3 { // five of the second by now: the first stands
		b.fire(10+day, "20>1300@150 >20@150", kiln.Glaze)
	}
	if b.ask("GET", "/v1/kilns/big-blue", nil, &k); len(k.Usual) != 2 || k.Usual[0].Work != first {
		t.Errorf("after more of the second: %+v", k.Usual)
	}
	was = said(map[string]any{"kind": "glaze", "what": "release", "name": "cone 10"}, 201)
	if len(was) != 1 || was[0].Work < first+50 {
		t.Errorf("the second is none any more, and five in a row are the usual: %+v", was)
	}
}

// A batch that is named without its clay is refused beside its field: it would have been asked in vain.
func TestBatchWithoutItsClay(t *testing.T) {
	b := newHeatBench(t)
	b.run()
	status, text := b.ask("GET", "/v1/lid?batch=B&collar=104.5&opening=92.5&body_drying_ratio=0.06&body_firing_ratio=0.07", nil, nil)
	if status != 422 || !strings.Contains(text, `"name":"batch"`) || !strings.Contains(text,
		"goes with a clay") {
		t.Errorf("%d %s", status, text)
	}
}
