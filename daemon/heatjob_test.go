package daemon

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lidwright/api/usecase"
	"lidwright/config"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/practice"
)

const heatSettings = `
[store]
folder = %q
[listen]
address = "127.0.0.1:8439"
[site]
zone = "UTC"

[kiln.big-blue]
port = %q
reply = "columns"
every = "60s"
limit_c = 1290
[kiln.big-blue.channel.1]
from = "1"
unit = "c"
[kiln.big-blue.probe.1]
type = "K"

[kiln.little-red]
port = ""
limit_c = 1100
`

// january is when the kilns of these tests are fired.
var january = time.Date(2026, 1, 1, 6, 0, 0, 0, time.UTC)

// heatBench is a daemon that answers over HTTP, with a store that a test fills as it likes.
type heatBench struct {
	t    *testing.T
	d    *Daemon
	site string
}

func newHeatBench(t *testing.T) *heatBench {
	t.Helper()
	return newHeatBenchWith(t, heatSettings)
}

// newHeatBenchWith has other settings, with places for the store's folder and the port.
func newHeatBenchWith(t *testing.T, settings string) *heatBench {
	t.Helper()
	b := &heatBench{t: t}
	var err error
	if b.d, err = New(t.Context(), heatConfig(t, settings), "test"); err != nil {
		t.Fatal(err)
	}
	b.d.Now = func() kiln.Stamp {
		return kiln.Stamp{Boot: "now", Since: 5000 * time.Hour, Wall: january.AddDate(0, 2, 0), Trusted: true}
	}
	return b
}

// heatConfig are settings with places for the store's folder and the port, in a folder of their own.
func heatConfig(t testing.TB, settings string) config.Config {
	t.Helper()
	folder := t.TempDir()
	cfg, err := config.LoadText("lidwright.toml",
		fmt.Sprintf(settings, filepath.Join(folder, "store"), filepath.Join(folder, "no-line")), nil)
	if err != nil {
		t.Fatal(err)
	}
	return cfg
}

// run starts the daemon; it is stopped when the test ends.
func (b *heatBench) run() {
	b.t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	address := make(chan string, 1)
	b.d.Ready = func(a string) { address <- a }
	b.d.Listen = func(string) (net.Listener, error) { return net.Listen("tcp", "127.0.0.1:0") }
	done := make(chan error, 1)
	go func() { done <- b.d.Run(ctx) }()
	b.t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			b.t.Errorf("run: %v", err)
		}
	})
	select {
	case a := <-address:
		b.site = "http://" + a
	case err := <-done:
		b.t.Fatalf("run: %v", err)
	}
}

// ask sends a body and decodes the answer; nil for none of either.
func (b *heatBench) ask(method, path string, body, into any) (status int, text string) {
	b.t.Helper()
	raw, err := json.Marshal(body)
	if err != nil {
		b.t.Fatal(err)
	}
	r, err := http.NewRequest(method, b.site+path, bytes.NewReader(raw))
	if err != nil {
		b.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		b.t.Fatal(err)
	}
	defer a.Body.Close()
	answer, err := io.ReadAll(a.Body)
	if err != nil {
		b.t.Fatal(err)
	}
	if into != nil {
		if err := json.Unmarshal(answer, into); err != nil {
			b.t.Fatalf("%s %s: %v\n%s", method, path, err, answer)
		}
	}
	return a.StatusCode, string(answer)
}

// fire puts a firing into the store that was fired on a day of January 2026, a reading a minute.
func (b *heatBench) fire(day int, programme string, kind kiln.Kind) kiln.FiringID {
	b.t.Helper()
	f, samples := b.begin(day, programme, kind, 1000*time.Hour)
	ctx := b.t.Context()
	laid := kiln.Resample(samples, []kiln.ChannelID{"1"}, 3*time.Minute)
	f.Peak, f.PeakAfter = laid.Top("1")
	last := samples[len(samples)-1].At
	f.Length, _ = last.Sub(f.Began)
	f.ToTop, f.Over, f.Status = f.PeakAfter, last, kiln.Ended
	f.HeatWork = map[kiln.ChannelID]kiln.HeatWork{"1": heatwork.CurveHeatWork(laid, "1", 1290, 0)}
	if err := b.d.store.EndFiring(ctx, f); err != nil {
		b.t.Fatal(err)
	}
	return f.ID
}

// begin keeps the first hours of a firing, which goes on.
func (b *heatBench) begin(day int, programme string, kind kiln.Kind, upTo time.Duration) (kiln.Firing,
	[]kiln.Sample) {
	b.t.Helper()
	p, err := practice.Parse(programme)
	if err != nil {
		b.t.Fatal(err)
	}
	curve := practice.Curve{Programme: p, Noise: 0.15, Step: 0.1, Seed: uint64(day)}
	began := kiln.Stamp{Boot: "then", Since: time.Duration(day) * 24 * time.Hour,
		Wall: january.AddDate(0, 0, day-1), Trusted: true}
	id := kiln.FiringID(uuid.Must(uuid.NewV7()).String())
	f := kiln.Firing{ID: id, Kiln: "big-blue", Kind: kind, KindFrom: detect.FromFact,
		Atmosphere: kiln.Oxidation, Source: "serial", Status: kiln.Running, Began: began,
		Peak: kiln.NoTemperature(), Faulty: map[kiln.Fault]int{}}
	var samples []kiln.Sample
	for after := time.Duration(0); after <= min(p.Length(), upTo); after += time.Minute {
		at := began
		at.Since, at.Wall = at.Since+after, at.Wall.Add(after)
		samples = append(samples, kiln.Sample{Kiln: f.Kiln, At: at,
			Values: []kiln.Value{{Channel: "1", T: curve.Reading(after)}}})
	}
	if _, err := b.d.store.BeginFiring(b.t.Context(), f, samples); err != nil {
		b.t.Fatal(err)
	}
	return f, samples
}

// told is what these tests read of a firing.
type told struct {
	HeatWorkC    *float64   `json:"heat_work_c"`
	Likely       []*float64 `json:"heat_work_likely_c"`
	From         string     `json:"heat_work_from"`
	Cone         string
	ConeWords    string   `json:"cone_words"`
	Model        string   `json:"heat_work_model"`
	CorrectionC  *float64 `json:"correction_c"`
	CorrectionSD *float64 `json:"correction_sd_c"`
	AsIndicated  *struct {
		HeatWorkC *float64 `json:"heat_work_c"`
	} `json:"as_indicated"`
	Usual    *bool
	Says     string
	Estimate bool     `json:"heat_work_estimate"`
	Probe    string   `json:"probe_says"`
	Hand     []string `json:"hand_says"`
	Remarks  []struct{ Figure, Says, Limit, Standing string }
	Cones    []struct{ Words, Says, Side string }
	Notes    []struct {
		Text     string
		Incident bool
		Struck   *struct{ Why string }
	}
	Features *struct {
		QuartzDown *float64 `json:"quartz_down_c_per_h"`
	}
}

func (b *heatBench) firing(id kiln.FiringID) (f told) {
	b.t.Helper()
	if status, text := b.ask("GET", "/v1/firings/"+string(id), nil, &f); status != 200 {
		b.t.Fatalf("firing %s: %d %s", id, status, text)
	}
	return f
}

func (b *heatBench) cone(id kiln.FiringID, body map[string]any) (status int, text string) {
	b.t.Helper()
	return b.ask("PUT", "/v1/firings/"+string(id)+"/cones/"+newUUID(), body, nil)
}

func newUUID() string { return uuid.Must(uuid.NewV7()).String() }

const glazeTo1206 = "20>600@150 >1120@180 >1206@60 off"

// Four firings to 1206 °C by a probe, with what a slow fall adds, while cone 6 stood at
// 90° (1220.2 °C): it reads 8 to 9 °C low, the heat work is corrected from its own curve, a
// strike takes a reading back, and a new couple begins anew.
func TestConesCorrectTheProbe(t *testing.T) {
	b := newHeatBench(t)
	var fired []kiln.FiringID
	for _, day := range []int{2, 5, 8, 11} {
		fired = append(fired, b.fire(day, glazeTo1206, kiln.Glaze))
	}
	b.run()
	for _, id := range fired {
		if status, text := b.cone(id, map[string]any{"cone": "6", "shelf": "middle", "tilt_deg": 90,
			"by": "KT"}); status != 201 {
			t.Fatalf("cone: %d %s", status, text)
		}
	}
	last := b.firing(fired[3])
	if last.CorrectionC == nil || last.AsIndicated == nil || last.HeatWorkC == nil {
		t.Fatalf("not corrected: %+v", last)
	}
	off := 1220.2 - *last.AsIndicated.HeatWorkC
	if off < 3 || math.Abs(*last.CorrectionC-off) > 2 || math.Abs(*last.HeatWorkC-1220.2) > 2 {
		t.Errorf("indicated %.1f, corrected %.1f by %.1f; the cones said 1220.2", *last.AsIndicated.HeatWorkC,
			*last.HeatWorkC, *last.CorrectionC)
	}
	if !strings.Contains(last.Probe, "°C low (likely") || !strings.Contains(last.Probe, "from 4 cones") ||
		!strings.Contains(last.Probe, "shows no drift") {
		t.Errorf("the probe in words: %q", last.Probe)
	}
	first := b.firing(fired[0])
	if *first.CorrectionC >= *last.CorrectionC+1 || *first.CorrectionSD <= *last.CorrectionSD {
		t.Errorf("the first firing is corrected by %.1f ± %.1f, the last by %.1f ± %.1f", *first.CorrectionC,
			*first.CorrectionSD, *last.CorrectionC, *last.CorrectionSD)
	}
	if last.Usual == nil || !*last.Usual || !strings.HasPrefix(last.Says, "usual") {
		t.Errorf("the fourth of a kind: %q", last.Says)
	}

	// One reading too far: asked about, and taken back.
	id := newUUID()
	var cone struct{ Says string }
	b.ask("PUT", "/v1/firings/"+string(fired[3])+"/cones/"+id,
		map[string]any{"cone": "06", "shelf": "middle", "tilt_deg": 45}, &cone)
	if !strings.Contains(cone.Says, "does not count") || !strings.Contains(cone.Says,
		"Was it 6 and not 06?") {
		t.Errorf("06 for 6: %q", cone.Says)
	}
	if again := b.firing(fired[3]); *again.CorrectionC != *last.CorrectionC {
		t.Errorf("06 for 6 moved the probe from %.1f to %.1f", *last.CorrectionC, *again.CorrectionC)
	}
	if status, text := b.ask("PUT", "/v1/firings/"+string(fired[3])+"/cones/"+id+"/strike",
		map[string]any{"why": ""}, nil); status != 422 {
		t.Errorf("a strike without a reason: %d %s", status, text)
	}
	if status, _ := b.ask("PUT", "/v1/firings/"+string(fired[3])+"/cones/"+id+"/strike",
		map[string]any{"why": "it was a 6"}, nil); status != 200 {
		t.Errorf("strike: %d", status)
	}

	// A new couple on the 12th, and a firing after it.
	var k struct {
		Probes []struct {
			ID      *string
			Type    string
			Firings int
			Bias    *struct{ Value *float64 } `json:"bias_c"`
			Says    string
		}
	}
	life := newUUID()
	if status, text := b.ask("PUT", "/v1/kilns/big-blue/probes/"+life,
		map[string]any{"type": "S", "fitted_on": "2026-01-12"}, &k); status != 201 {
		t.Fatalf("a new probe: %d %s", status, text)
	}
	n := len(k.Probes)
	if n != 2 || k.Probes[n-1].ID == nil || *k.Probes[n-1].ID != life || k.Probes[n-1].Bias != nil ||
		k.Probes[0].Bias == nil || k.Probes[0].Firings != 4 {
		t.Errorf("lives: %+v", k.Probes)
	}
	fresh := b.fire(14, glazeTo1206, kiln.Glaze)
	b.d.heat.Again(t.Context(), "big-blue")
	if f := b.firing(fresh); f.CorrectionC == nil || *f.CorrectionC != 0 ||
		math.Abs(*f.CorrectionSD-3) > 0.1 || !strings.Contains(f.Probe, "No cone has told") {
		t.Errorf("of a new type S: %+v, %q", f.CorrectionC, f.Probe)
	}
}

// While a firing goes on, the cones of those before it are read, and it is told twice from then on: as
// the probe indicates it and corrected by them.
func TestCorrectedBesideIndicatedWhileItFires(t *testing.T) {
	b := newHeatBench(t)
	var fired []kiln.FiringID
	for _, day := range []int{2, 5, 8} {
		fired = append(fired, b.fire(day, glazeTo1206, kiln.Glaze))
	}
	now, samples := b.begin(11, glazeTo1206, kiln.Glaze, 8*time.Hour)
	last := samples[len(samples)-1].At
	began := time.Now()
	b.d.Now = func() kiln.Stamp {
		at := last
		at.Since, at.Wall = at.Since+time.Since(began), at.Wall.Add(time.Since(began))
		return at
	}
	b.run()
	for _, id := range fired {
		if status, text := b.cone(id, map[string]any{"cone": "6", "shelf": "middle", "tilt_deg": 90,
			"by": "KT"}); status != 201 {
			t.Fatalf("cone: %d %s", status, text)
		}
	}
	type work struct {
		HeatWorkC   *float64   `json:"heat_work_c"`
		Likely      []*float64 `json:"heat_work_likely_c"`
		ConeWords   string     `json:"cone_words"`
		CorrectionC *float64   `json:"correction_c"`
	}
	var live struct {
		Items []struct {
			work
			Corrected *work
		}
	}
	for deadline := time.Now().Add(hanging); ; time.Sleep(20 * time.Millisecond) {
		if status, text := b.ask("GET", "/v1/now", nil, &live); status != 200 {
			t.Fatalf("%d %s", status, text)
		}
		if k := live.Items[0]; k.Corrected != nil && *k.Corrected.CorrectionC > 5 {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("not corrected: %+v", live.Items[0])
		}
	}
	k := live.Items[0]
	if by := *k.Corrected.HeatWorkC - *k.HeatWorkC; math.Abs(by-*k.Corrected.CorrectionC) > 2.5 ||
		*k.Corrected.HeatWorkC < 1100 || k.Corrected.ConeWords == "" || len(k.Corrected.Likely) != 2 {
		t.Errorf("now: %+v, corrected %+v", k.work, k.Corrected)
	}
	f := b.firing(now.ID)
	if f.CorrectionC == nil || *f.CorrectionC != *k.Corrected.CorrectionC ||
		*f.HeatWorkC != *k.Corrected.HeatWorkC || *f.AsIndicated.HeatWorkC != *k.HeatWorkC {
		t.Errorf("the firing: %+v, now: %+v, corrected %+v", f, k.work, k.Corrected)
	}
	for _, page := range []string{"/kiln/big-blue", "/firing/" + string(now.ID)} {
		if status, text := b.ask("GET", page, nil, nil); status != 200 || !strings.Contains(text,
			"corrected by the cones") {
			t.Errorf("%s: %d does not tell what the cones correct", page, status)
		}
	}
}

// A couple is replaced between two loads: the rate knows two lives, each as sure as its cones, and
// a lid asked for in between is told that all bars were fired under another probe.
func TestLifeOfAProbeReachesTheRates(t *testing.T) {
	b := newHeatBench(t)
	first, second := b.fire(2, glazeTo1206, kiln.Glaze), b.fire(5, glazeTo1206, kiln.Glaze)
	b.run()
	put := func(path string, body map[string]any) {
		t.Helper()
		if status, text := b.ask("PUT", path, body, nil); status != 201 {
			t.Fatalf("%s: %d %s", path, status, text)
		}
	}
	fired := func(firing kiln.FiringID, codes ...string) {
		t.Helper()
		var bars []map[string]any
		for _, code := range codes {
			put("/v1/bars/"+code, map[string]any{"id": newUUID(), "clay": "tern", "batch": "A",
				"forming": "thrown_ring", "mark_length_mm": 100})
			bars = append(bars, map[string]any{"bar": code, "shelf": "middle"})
		}
		put("/v1/loads/"+newUUID(), map[string]any{"kiln": "big-blue", "kind": "glaze", "bars": bars,
			"firing": firing})
		for i, code := range codes {
			for stage, mm := range map[string]float64{"wet": 100, "fired": 87.5 + 0.1*float64(i)} {
				put("/v1/bars/"+code+"/readings/"+newUUID(), map[string]any{"stage": stage,
					"length": fmt.Sprint(mm), "unit": "mm"})
			}
		}
	}
	lid := func() (a struct {
		Trust string
		Why   string `json:"trust_why"`
	}) {
		t.Helper()
		if status, text := b.ask("GET", "/v1/lid?collar=104.5&clay=tern&lids=1", nil, &a); status != 200 {
			t.Fatalf("%d %s", status, text)
		}
		return a
	}
	put("/v1/clays/tern", map[string]any{"name": "Tern stoneware", "matures_cone": "6"})
	for range 3 {
		if status, text := b.cone(first, map[string]any{"cone": "6", "shelf": "middle", "tilt_deg": 90,
			"by": "KT"}); status != 201 {
			t.Fatal(text)
		}
	}
	fired(first, "AA", "AB")
	if a := lid(); a.Trust != "few_bars" {
		t.Errorf("after one load: %+v", a)
	}
	put("/v1/kilns/big-blue/probes/"+newUUID(), map[string]any{"type": "S", "fitted_on": "2026-01-04"})
	if a := lid(); a.Trust != "made_or_fired_differently" || !strings.Contains(a.Why, "another probe") {
		t.Errorf("with another couple fitted: %+v", a)
	}
	fired(second, "AC", "AD")
	if a := lid(); a.Trust != "well_tested" {
		t.Errorf("with bars of the new couple too: %+v", a)
	}
	studio, _, err := loadStudio(t.Context(), b.d.store, b.d.shrink.channel)
	if err != nil {
		t.Fatal(err)
	}
	old, new := studio.ProbeSD["big-blue/1"], studio.ProbeSD["big-blue/1 of 2026-01-04"]
	// three cones; class 2 of type S: 3 °C at 1200 °C
	if len(studio.ProbeSD) != 2 || old < 1 || old > 4 || new < 2.5 || new > 4 {
		t.Errorf("doubt of the probes: %v", studio.ProbeSD)
	}
}

// The range without any cone holds the tolerance of the couple's class: type K, class 2, 9 °C at
// 1200 °C (IEC 60584 as suppliers' tables have it), with 3 °C for the model: 1.645 times 9.5.
func TestRangeHoldsTheClass(t *testing.T) {
	b := newHeatBench(t)
	id := b.fire(2, glazeTo1206, kiln.Glaze)
	b.run()
	b.d.heat.Again(t.Context(), "big-blue")
	f := b.firing(id)
	if half := *f.Likely[1] - *f.HeatWorkC; half < 1.645*math.Hypot(3, 9)-0.1 || half > 18 {
		t.Errorf("± %.1f", half)
	}
	if *f.CorrectionC != 0 || *f.AsIndicated.HeatWorkC != *f.HeatWorkC {
		t.Errorf("nothing was read, yet %+v", f)
	}
}

// What another model worked out is worked out anew when the daemon starts.
func TestAnotherModelIsWorkedOutAnew(t *testing.T) {
	b := newHeatBench(t)
	id := b.fire(2, glazeTo1206, kiln.Glaze)
	right, err := b.d.store.Firing(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	old := right.HeatWork["1"]
	old.C, old.Model = 1300, "0"
	if err := b.d.store.SetHeatWork(t.Context(), id, map[kiln.ChannelID]kiln.HeatWork{"1": old},
		nil); err != nil {
		t.Fatal(err)
	}
	b.run()
	b.d.heat.Again(t.Context(), "big-blue")
	f := b.firing(id)
	if math.Abs(*f.AsIndicated.HeatWorkC-float64(right.HeatWork["1"].C)) > 0.1 ||
		f.Model != kiln.HeatWorkModel {
		t.Errorf("%.1f of model %s, want %.1f of %s", *f.AsIndicated.HeatWorkC, f.Model,
			right.HeatWork["1"].C, kiln.HeatWorkModel)
	}
	if stale, err := b.d.store.StaleHeatWork(t.Context(), kiln.HeatWorkModel); err != nil || len(stale) > 0 {
		t.Errorf("still of another model: %v, %v", stale, err)
	}
}

// A kiln without a line: any part of what is told gives a heat work, and says where from.
func TestFiringByHandOverHTTP(t *testing.T) {
	b := newHeatBench(t)
	b.run()
	put := func(body map[string]any) (string, told, int, string) {
		id := newUUID()
		var f told
		body["source"], body["kiln"] = "hand", "little-red"
		if body["kind"] == nil {
			body["kind"] = "bisque"
		}
		status, text := b.ask("PUT", "/v1/firings/"+id, body, &f)
		return id, f, status, text
	}
	_, f, status, text := put(map[string]any{"sitter": map[string]any{"cone": "06",
		"dropped_at": "2026-01-05T03:35:00Z"}, "began_at": "2026-01-04T18:00:00Z"})
	if status != 201 || f.From != "sitter" || f.HeatWorkC == nil {
		t.Errorf("a sitter: %d %s", status, text)
	}
	_, f, _, text = put(map[string]any{"intended_cone": "06", "ended_at": "2026-01-07T18:00:00Z"})
	if f.From != "intended" || f.Cone != "06+0.0" || *f.Likely[1]-*f.HeatWorkC < 20 {
		t.Errorf("the cone that was meant: %s", text)
	}
	id, f, _, text := put(map[string]any{"began_at": "2026-01-09T18:00:00Z",
		"ended_at": "2026-01-10T18:00:00Z"})
	if f.HeatWorkC != nil || len(f.Hand) == 0 || !strings.Contains(f.Hand[0], "Neither a curve nor a cone") {
		t.Errorf("nothing but times: %s", text)
	}
	// Its cones are told at unloading: between 06 down and 05 upright.
	for _, c := range []map[string]any{{"cone": "06", "seen": "down"}, {"cone": "05", "seen": "upright"}} {
		if status, text := b.cone(kiln.FiringID(id), c); status != 201 {
			t.Errorf("cone of a firing without a curve: %d %s", status, text)
		}
	}
	f = b.firing(kiln.FiringID(id))
	if f.From != "cones" || f.HeatWorkC == nil || *f.HeatWorkC < 999 || *f.HeatWorkC > 1034 ||
		f.AsIndicated != nil || f.CorrectionC != nil || f.Probe != "" {
		t.Errorf("06 down, 05 upright: %+v", f)
	}
	// Cones that all stand tell that it was less than the lowest of them, and no number.
	id, _, _, _ = put(map[string]any{"began_at": "2026-01-10T19:00:00Z", "ended_at": "2026-01-11T18:00:00Z"})
	for _, c := range []string{"5", "6", "7"} {
		if status, text := b.cone(kiln.FiringID(id),
			map[string]any{"cone": c, "seen": "upright"}); status != 201 {
			t.Errorf("cone %s upright: %d %s", c, status, text)
		}
	}
	var upright map[string]any
	b.firing(kiln.FiringID(id)) // worked out
	if b.ask("GET", "/v1/firings/"+id, nil, &upright); upright["cone"] != nil ||
		upright["heat_work_c"] != nil || upright["cone_words"] != "not known: below cone 5" {
		t.Errorf("5, 6 and 7 upright: %v", upright)
	}
	_, f, status, text = put(map[string]any{"began_at": "2026-01-12T08:00:00Z",
		"typed": map[string]any{"hours": []float64{0, 2, 6, 9, 9.4, 9.8, 10.2, 10.5, 20},
			"temperature_c": []float64{20, 100, 600, 900, 940, 970, 995, 1010, 200}}})
	if status != 201 || f.From != "curve" || f.HeatWorkC == nil || !f.Estimate ||
		math.Abs(*f.HeatWorkC-1010) > 15 {
		t.Errorf("a typed curve: %d %s", status, text)
	}
	// The same again writes nothing; a firing that nobody can place is refused in words.
	for name, c := range map[string]struct {
		body map[string]any
		says string
	}{
		"cone 0":       {map[string]any{"sitter": map[string]any{"cone": "0"}}, "There is no cone 0"},
		"a Seger cone": {map[string]any{"intended_cone": "6a"}, "European (Seger)"},
		"nothing":      {map[string]any{}, "Tell when it began"},
		"backwards": {map[string]any{"began_at": "2026-01-05T18:00:00Z",
			"ended_at": "2026-01-04T18:00:00Z"}, "ended before it began"},
		"hours that fall": {map[string]any{"typed": map[string]any{"hours": []float64{0, 2, 1},
			"temperature_c": []float64{20, 30, 40}}}, "do not rise"},
		"hours alone": {map[string]any{"typed": map[string]any{"hours": []float64{0, 2},
			"temperature_c": []float64{20}}}, "As many hours as temperatures"},
		"hotter than any": {map[string]any{"typed": map[string]any{"hours": []float64{0, 2},
			"temperature_c": []float64{20, 9999}}}, "No kiln has that temperature"},
		"in the future": {map[string]any{"began_at": "2027-01-05T18:00:00Z",
			"ended_at": "2027-01-06T18:00:00Z"}, "in the future"},
		"no load like that": {map[string]any{"ended_at": "2026-01-04T18:00:00Z", "load": newUUID()},
			"no such load"},
	} {
		if _, _, status, text := put(c.body); status < 400 || status >= 500 || !strings.Contains(text,
			c.says) {
			t.Errorf("%s: %d %s", name, status, text)
		}
	}
	var list struct{ Items []told }
	if b.ask("GET", "/v1/firings?kiln=little-red", nil, &list); len(list.Items) != 5 {
		t.Errorf("%d firings by hand are listed, want 5", len(list.Items))
	}
	if status, text := b.ask("PUT", "/v1/firings/"+newUUID(), map[string]any{"source": "hand",
		"kiln": "big-bleu", "kind": "glaze", "intended_cone": "6"}, nil); status != 404 ||
		!strings.Contains(text, "big-bleu") {
		t.Errorf("a kiln that is not there: %d %s", status, text)
	}
}

// Every bad entry is answered in words, with the field, and nothing is invented.
func TestBadConesInWords(t *testing.T) {
	b := newHeatBench(t)
	glaze := b.fire(2, glazeTo1206, kiln.Glaze)
	warm := b.fire(5, "20>450@100 off", kiln.Other)
	b.run()
	b.d.heat.Again(t.Context(), "big-blue")
	for name, c := range map[string]struct {
		body        map[string]any
		field, says string
	}{
		"cone 0":       {map[string]any{"cone": "0", "seen": "down"}, "cone", "There is no cone 0"},
		"the letter o": {map[string]any{"cone": "o6", "seen": "down"}, "cone", "The nearest is 06"},
		"023":          {map[string]any{"cone": "023", "seen": "down"}, "cone", "below the ladder"},
		"15":           {map[string]any{"cone": "15", "seen": "down"}, "cone", "above the ladder"},
		"no cone":      {map[string]any{"cone": " ", "seen": "down"}, "cone", "No cone was named"},
		"Seger ladder": {map[string]any{"cone": "6", "series": "seger_a", "seen": "down"}, "series",
			"European (Seger)"},
		"no such series": {map[string]any{"cone": "6", "series": "tall", "seen": "down"}, "series",
			"No series of cones"},
		"not in that series": {map[string]any{"cone": "14", "series": "small", "seen": "down"}, "series",
			"has no cone 14"},
		"how it stood": {map[string]any{"cone": "6"}, "seen", "was not told"},
		"both": {map[string]any{"cone": "6", "seen": "down", "tilt_deg": 10}, "seen",
			"cannot be both"},
	} {
		status, text := b.cone(glaze, c.body)
		if status != 422 || !strings.Contains(text, `"name":"`+c.field+`"`) || !strings.Contains(text,
			c.says) {
			t.Errorf("%s: %d %s", name, status, text)
		}
	}
	if status, text := b.cone(kiln.FiringID(newUUID()),
		map[string]any{"cone": "6", "seen": "down"}); status != 404 ||
		!strings.Contains(text, "unknown-firing") {
		t.Errorf("a cone of no firing: %d %s", status, text)
	}
	if f := b.firing(warm); f.HeatWorkC != nil || f.Likely != nil || f.Cone != "below 022" {
		t.Errorf("a firing below the first cone: %+v", f)
	}
	if status, _ := b.cone(warm, map[string]any{"cone": "022", "seen": "upright"}); status != 201 {
		t.Errorf("a cone that did not move: %d", status)
	}
	if f := b.firing(warm); len(f.Cones) != 1 || !strings.Contains(f.Cones[0].Says, "nothing of the probe") {
		t.Errorf("a cone for a firing without heat work: %+v", f.Cones)
	}
	// Another series is converted: a small cone 5 that was level.
	if status, text := b.cone(glaze, map[string]any{"cone": "5", "series": "small", "shelf": "top",
		"tilt_deg": 90}); status != 201 || !strings.Contains(text, `"side":"at"`) {
		t.Errorf("a small cone: %d %s", status, text)
	}
}

// A hole of four hours across the top: an estimate with a range that says so, and no rate of what
// was not heard.
func TestFourHourHoleInWords(t *testing.T) {
	b := newHeatBench(t)
	whole := b.fire(2, glazeTo1206, kiln.Glaze)
	f, err := b.d.store.Firing(t.Context(), whole)
	if err != nil {
		t.Fatal(err)
	}
	samples, err := b.d.store.Samples(t.Context(), whole)
	if err != nil {
		t.Fatal(err)
	}
	var heard []kiln.Sample
	for _, s := range samples {
		if after := s.At.Since - f.Began.Since; after < f.PeakAfter-2*time.Hour ||
			after > f.PeakAfter+2*time.Hour {
			heard = append(heard, s)
		}
	}
	hole := f
	hole.ID, hole.Source, hole.Began.Boot = kiln.FiringID(newUUID()), "import", f.Began.Boot
	laid := kiln.Resample(heard, []kiln.ChannelID{"1"}, 3*time.Minute)
	hole.Gaps = laid.Gaps
	hole.HeatWork = map[kiln.ChannelID]kiln.HeatWork{"1": heatwork.CurveHeatWork(laid, "1", 1290, 0)}
	if _, err := b.d.store.PutFiring(t.Context(), hole, heard, "a file", usecase.Precondition{},
		b.d.Now()); err != nil {
		t.Fatal(err)
	}
	b.run()
	b.d.heat.Again(t.Context(), "big-blue")
	got, full := b.firing(hole.ID), b.firing(whole)
	if !got.Estimate || !strings.Contains(got.Says, "gap 4 h") {
		t.Errorf("estimate %v, says %q", got.Estimate, got.Says)
	}
	if *got.Likely[0] > *full.HeatWorkC || got.Likely[1] != nil && *got.Likely[1] < *full.HeatWorkC {
		t.Errorf("range %v to %v does not hold %.1f", *got.Likely[0], got.Likely[1], *full.HeatWorkC)
	}
	said := ""
	for _, r := range got.Remarks {
		said += r.Figure + ": " + r.Says + "\n"
	}
	if !strings.Contains(said, "The longest gap is 4 h") || !strings.Contains(said, "estimate") ||
		strings.Contains(said, "cool_top") {
		t.Errorf("in words:\n%s", said)
	}
	for _, figure := range []string{"peak", "near_peak", "quartz_up", "degree_hours"} {
		if !strings.Contains(said, figure+": ") {
			t.Errorf("%s is not told:\n%s", figure, said)
		}
	}
}

func TestNotesOverHTTP(t *testing.T) {
	b := newHeatBench(t)
	id := b.fire(2, glazeTo1206, kiln.Glaze)
	b.run()
	note := "/v1/firings/" + string(id) + "/notes/" + newUUID()
	body := map[string]any{"text": "the door seal glowed", "incident": true, "by": "KT",
		"at": "2026-01-02T19:00:00+01:00"}
	for i, want := range []int{201, 200} {
		if status, text := b.ask("PUT", note, body, nil); status != want {
			t.Errorf("time %d: %d %s", i+1, status, text)
		}
	}
	body["text"] = "another"
	if status, text := b.ask("PUT", note, body, nil); status != 409 {
		t.Errorf("another under the same id: %d %s", status, text)
	}
	if status, text := b.ask("PUT", note, map[string]any{"text": ""}, nil); status != 422 ||
		!strings.Contains(text, `"name":"text"`) {
		t.Errorf("no text: %d %s", status, text)
	}
	if status, text := b.ask("PUT", note+"/strike", map[string]any{"why": "the other kiln"},
		nil); status != 200 || !strings.Contains(text, "the other kiln") {
		t.Errorf("strike: %d %s", status, text)
	}
	if f := b.firing(id); len(f.Notes) != 1 || !f.Notes[0].Incident || f.Notes[0].Struck == nil {
		t.Errorf("notes: %+v", f.Notes)
	}
	if status, _ := b.ask("PUT", "/v1/firings/"+newUUID()+"/notes/"+newUUID(),
		map[string]any{"text": "x"}, nil); status != 404 {
		t.Errorf("a note of no firing: %d", status)
	}
	for field, value := range map[string]string{"atmosphere": "reduction", "kind": "once",
		"status": "incomplete", "note": "a draught"} {
		if status, text := b.ask("PUT", "/v1/firings/"+string(id), map[string]any{field: value},
			nil); status != 200 || !strings.Contains(text, `"`+field+`":"`+value+`"`) {
			t.Errorf("%s: %d %s", field, status, text)
		}
	}
}
