package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"math/rand/v2"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lidwright/config"
	"lidwright/kiln/heatwork"
)

// season is a made-up studio from August to November, played over HTTP or by command, with a truth that no
// answer knows: Gompertz curves, errors of Student's t with 3 df, loads off by up to 8 °C, three people with
// a habit each, one of whom reads in inches to 5 thousandths. All of that is our own: no source.
type season struct {
	*asking
	byCommand bool
	rng       *rand.Rand
	clays     map[string]trueBody
	batches   map[string]float64 // by how much more a batch dries, log-percent
	bars      []*seasonBar
	loads     int
	readings  int            // lengths that were measured
	questions int            // of them, those that were asked about and measured again
	expected  map[string]int // readings that do not count, by reason, as they were made
}

// trueBody is what is true of a clay: log-percents, °C.
type trueBody struct {
	cone                           string
	drying, foot, rise, mid, width float64
}

func (b trueBody) firing(heat float64) float64 {
	return b.foot + b.rise*math.Exp(-math.Exp(-(heat-b.mid)/b.width))
}

// truth is what is true of a batch after a firing of a heat, log-percents: a blend is as its parents are, by
// their shares.
func (s *season) truth(clay, batch string, heat float64) (drying, firing float64) {
	parts := map[string]float64{clay + "/" + batch: 1}
	if clay+"/"+batch == theBlend {
		parts = map[string]float64{"tern/A": 2, "wren/A": 1}
	}
	all := 0.0
	for _, ref := range slices.Sorted(maps.Keys(parts)) {
		of, _, _ := strings.Cut(ref, "/")
		drying += parts[ref] * (s.clays[of].drying + s.batches[ref])
		firing += parts[ref] * s.clays[of].firing(heat)
		all += parts[ref]
	}
	return drying / all, firing / all
}

// theBlend is two parts of a clay and one of another.
const theBlend = "tern/M"

// seasonBar is a bar with what is true of it.
type seasonBar struct {
	code, clay, batch, by string
	wet, drying, fired    float64 // mm; log-percents
}

func newSeason(t *testing.T, byCommand bool) *season {
	s := &season{asking: newAsking(t), byCommand: byCommand, rng: rand.New(rand.NewPCG(23, 5)),
		expected: map[string]int{},
		clays: map[string]trueBody{"tern": {"6", 6.4, 0.5, 7.4, 1172, 38}, "wren": {"6", 5.2, 0.4, 8.3, 1165,
			33},
			"ivory": {"7", 4.9, 0.8, 9.6, 1180, 30}},
		batches: map[string]float64{}}
	s.set(time.Date(2026, 8, 3, 7, 0, 0, 0, time.UTC))
	s.start()
	return s
}

// send sends what must be taken.
func (s *season) send(method, path string, body, into any) {
	s.Helper()
	if status, text := s.try(method, path, body, into); status/100 != 2 {
		s.Fatalf("%s %s %v: %d %s", method, path, body, status, text)
	}
}

func (s *season) try(method, path string, body, into any) (int, string) {
	s.Helper()
	s.set(s.stamp().Wall.Add(time.Second))
	raw, _ := json.Marshal(body)
	q, err := http.NewRequestWithContext(s.ctx, method, s.site+path, strings.NewReader(string(raw)))
	if err != nil {
		s.Fatal(err)
	}
	q.Header.Set("Content-Type", "application/json")
	r, err := s.client.Do(q)
	if err != nil {
		s.Fatal(err)
	}
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	if err == nil && into != nil && r.StatusCode/100 == 2 {
		err = json.Unmarshal(text, into)
	}
	if err != nil {
		s.Fatalf("%s %s: %v: %s", method, path, err, text)
	}
	return r.StatusCode, string(text)
}

// command runs what must succeed.
func (s *season) command(args ...string) string {
	s.Helper()
	code, out, said := s.commandTry(args...)
	if code != 0 {
		s.Fatalf("lidwright %s: exit %d\n%s%s", strings.Join(args, " "), code, out, said)
	}
	return out
}

func (s *season) commandTry(args ...string) (int, string, string) {
	s.Helper()
	s.set(s.stamp().Wall.Add(time.Second))
	return s.runs(append(args, "--site", s.site))
}

func (s *season) addClay(id string) {
	if s.byCommand {
		s.command("clay", "add", id, "--matures", s.clays[id].cone)
		return
	}
	s.send("PUT", "/v1/clays/"+id, map[string]any{"name": id, "matures_cone": s.clays[id].cone}, nil)
}

func (s *season) addBatch(clay, batch, kind string, from ...string) {
	if s.byCommand {
		args := []string{"clay", "batch", clay, batch, "--kind", kind}
		if len(from) > 0 {
			args = append(args, "--from", strings.Join(from, ","))
		}
		s.command(args...)
		return
	}
	body := map[string]any{"kind": kind, "open": true}
	if len(from) > 0 {
		body["parents"] = from
	}
	s.send("PUT", "/v1/clays/"+clay+"/batches/"+batch, body, nil)
}

// newBars makes bars, and measures them wet.
func (s *season) newBars(n int, clay, batch, by string) (made []*seasonBar) {
	s.Helper()
	var codes []string
	if s.byCommand {
		codes = strings.Fields(s.command("bars", "new", fmt.Sprint(n), "--clay", clay, "--batch", batch,
			"--by", by))
	} else {
		var free struct{ Items []string }
		s.get(fmt.Sprintf("/v1/bars/free-codes?count=%d", n), &free)
		for _, code := range free.Items {
			s.send("PUT", "/v1/bars/"+code,
				map[string]any{"id": uuid.NewString(), "clay": clay, "batch": batch, "by": by}, nil)
		}
		codes = free.Items
	}
	for _, code := range codes {
		drying, _ := s.truth(clay, batch, 0)
		b := &seasonBar{code, clay, batch, by, 100 + 0.15*s.rng.NormFloat64(), drying + 0.15*s.student(), 0}
		made = append(made, b)
		s.measure("wet", []*seasonBar{b})
	}
	s.bars = append(s.bars, made...)
	return made
}

// student draws from Student's t with 3 df, of sd 1.
func (s *season) student() float64 {
	squares := 0.0
	for range 3 {
		z := s.rng.NormFloat64()
		squares += z * z
	}
	return s.rng.NormFloat64() / math.Sqrt(squares)
}

// length is what the maker of b reads at a stage, as typed.
func (s *season) length(b *seasonBar, stage string) (typed, unit string) {
	gone := map[string]float64{"wet": 0, "dry": b.drying, "bisque": b.drying + 0.5,
		"fired": b.drying + b.fired}[stage]
	habit := map[string]float64{"KT": 0.05, "RO": -0.08, "PL": 0}[b.by]
	mm := b.wet*math.Exp(-gone/100) + habit + 0.08*s.student()
	if b.by == "RO" {
		return fmt.Sprintf("%.3f", math.Round(mm/25.4*200)/200), "in"
	}
	return fmt.Sprintf("%.1f", mm), "mm"
}

// measure enters a length of each bar once; one that is asked about is measured again. told is what is told
// of its firing.
func (s *season) measure(stage string, bars []*seasonBar, told ...string) {
	s.Helper()
	for _, b := range bars {
		s.readings++
		if s.enter(b, stage, told, true) {
			continue
		}
		s.questions++
		s.enter(b, stage, told, false)
		s.readings++
		s.enter(b, stage, told, false)
	}
}

// enter enters one length; it is not kept where ask is set and there is a question.
func (s *season) enter(b *seasonBar, stage string, told []string, ask bool) (kept bool) {
	s.Helper()
	typed, unit := s.length(b, stage)
	if s.byCommand {
		args := []string{"bar", b.code, stage, typed + " " + unit, "--by", b.by}
		for i := 0; i+1 < len(told); i += 2 {
			args = append(args, "--"+told[i], told[i+1])
		}
		if !ask {
			args = append(args, "--yes")
		}
		code, out, said := s.commandTry(args...)
		if code != 0 && !(ask && strings.Contains(said, "Nothing was kept") || strings.Contains(said,
			"nothing was kept")) {
			s.Fatalf("lidwright %s: exit %d\n%s%s", strings.Join(args, " "), code, out, said)
		}
		return code == 0
	}
	body := map[string]any{"stage": stage, "length": typed, "unit": unit, "by": b.by,
		"instrument": "calliper"}
	for i := 0; i+1 < len(told); i += 2 {
		body[told[i]] = told[i+1]
	}
	path := "/v1/bars/" + b.code + "/readings/" + uuid.NewString()
	if ask {
		path += "?ask=true"
	}
	var r struct {
		NotKept bool `json:"not_kept"`
	}
	s.send("PUT", path, body, &r)
	return !r.NotKept
}

// pack opens a load, and gives its number.
func (s *season) pack(kilnID, kind string, bars []*seasonBar, cone string) int {
	s.Helper()
	s.loads++
	if s.byCommand {
		args := []string{"load", "open", kilnID, kind}
		for _, b := range bars {
			args = append(args, b.code)
		}
		if cone != "" {
			args = append(args, "--cone", cone)
		}
		out := s.command(args...)
		number := 0
		if _, err := fmt.Sscanf(out, "Load %d", &number); err != nil {
			s.Fatalf("%q: %v", out, err)
		}
		return number
	}
	var slots []map[string]string
	for _, b := range bars {
		slots = append(slots, map[string]string{"bar": b.code, "shelf": "middle"})
	}
	body := map[string]any{"kiln": kilnID, "kind": kind, "bars": slots}
	if cone != "" {
		body["cone"] = cone
	}
	var load struct{ Name string }
	s.send("PUT", "/v1/loads/"+uuid.NewString(), body, &load)
	number := 0
	if _, err := fmt.Sscanf(load.Name, "Load %d", &number); err != nil {
		s.Fatal(err)
	}
	return number
}

// play plays a programme down big-blue's line from now on, a reading a minute.
func (s *season) play(programme string) {
	s.Helper()
	s.begin(true)
	s.playTo(programme, 0)
}

// playTo plays it up to so many minutes; 0: to its end.
func (s *season) playTo(programme string, minutes int) {
	s.Helper()
	s.curve, s.told = s.programme(programme, uint64(s.loads)+9), 0
	s.began = s.stamp().Wall.Truncate(time.Second)
	if minutes == 0 {
		minutes = int(s.curve.Programme.Length().Minutes())
	}
	s.speak(minutes)
}

// newest is big-blue's newest firing, once it is over.
func (s *season) newest() (f firingSeen) {
	s.Helper()
	s.until("the newest firing is over", func() bool {
		var found struct{ Items []firingSeen }
		if s.get("/v1/firings?kiln=big-blue&limit=1", &found); len(found.Items) == 0 {
			return false
		}
		f = found.Items[0]
		return f.Status != "running" && f.Status != "cooling"
	})
	if err := s.daemon.Fitted(s.ctx); err != nil { // its heat work is worked out with what cones told
		s.Fatal(err)
	}
	s.get("/v1/firings/"+f.ID, &f)
	return f
}

// firingSeen is what is read of a firing.
type firingSeen struct {
	ID, Name, Status, Kind string
	Load                   *string
	Work                   *float64 `json:"heat_work_c"`
	Gaps                   []struct {
		ForS int `json:"for_s"`
	}
}

// fires has bars get the heat of a firing, which is off by up to 8 °C.
func (s *season) fires(f firingSeen, bars []*seasonBar) float64 {
	s.Helper()
	if f.Work == nil {
		s.Fatalf("%s has no heat work: %+v", f.Name, f)
	}
	heat := *f.Work + 16*s.rng.Float64() - 8
	s.heat(heat, bars)
	return heat
}

func (s *season) heat(heat float64, bars []*seasonBar) {
	for _, b := range bars {
		_, b.fired = s.truth(b.clay, b.batch, heat+5*s.student())
	}
}

// cone tells of the cone that stood as the heat was, to the next 5°.
func (s *season) cone(f firingSeen, heat float64) {
	s.Helper()
	best, tilt, cone := math.Inf(1), 0.0, ""
	for _, c := range []string{"5", "6", "7"} {
		for t := 10.0; t <= 85; t += 5 {
			says, err := heatwork.MainConeScale().ReadCone(heatwork.ConeReading{Cone: c, Tilt: t,
				Tilted: true})
			if off := math.Abs(float64(says.C) - heat); err == nil && off < best {
				best, tilt, cone = off, t, c
			}
		}
	}
	if s.byCommand {
		if out := s.command("firing", "cone", strings.Replace(f.Name, " ", "/", 1), cone,
			fmt.Sprintf("%.0f", tilt)); !strings.Contains(out, "It counts.") {
			s.Errorf("a cone of %s: %s", f.Name, out)
		}
		return
	}
	var c struct {
		Counted bool
		WhyNot  any `json:"why_not"`
	}
	s.send("PUT", "/v1/firings/"+f.ID+"/cones/"+uuid.NewString(),
		map[string]any{"cone": cone, "tilt_deg": tilt}, &c)
	if !c.Counted {
		s.Errorf("a cone of %s at %.0f°, heat %.0f of %.0f: %+v", f.Name, tilt, heat, *f.Work, c)
	}
}

// rest lets days go by.
func (s *season) rest(days float64) {
	s.set(s.stamp().Wall.Add(time.Duration(days * 24 * float64(time.Hour))))
}

const (
	bisqueFiring = "20>1000@170 h10 >35@160 h120"
	glazeFiring  = "20>600@150 >1120@190 >1218@70 h12 >35@170 h120"
)

// TestSeasonOverHTTP and TestSeasonByCommand play a season: two kilns, one without a line; two clays and a
// porcelain, four bags and a blend; 60 bars by three people in mm and inches; 14 loads; a candling, an abort,
// a reheat, a plug pulled near the top, another probe, a kiln with another name, the change of clocks in
// October, three boards of lids. At its end every reading counts, or has the reason that is true of it; every
// rate holds the truth in its range; and nothing was typed twice but what was asked about.
func TestSeasonOverHTTP(t *testing.T) { playSeason(t, false) }

func TestSeasonByCommand(t *testing.T) { playSeason(t, true) }

func playSeason(t *testing.T, byCommand bool) {
	s := newSeason(t, byCommand)
	s.summer()
	s.autumn()
	s.start()
	s.everyReading()
	s.everyRate()
}

// summer has the first bags, and what goes wrong in a kiln.
func (s *season) summer() {
	s.Helper()
	for _, id := range []string{"tern", "wren", "ivory"} {
		s.addClay(id)
	}
	s.addBatch("tern", "B", "bought")
	s.addBatch("tern", "M", "blend", "tern/A=2", "wren/A=1")
	s.batches["tern/B"] = 0.3

	// Bars of a kiln without a line before any firing is recorded: by its cone, told with the length, and not
	// told.
	first := s.newBars(6, "tern", "A", "KT")
	s.rest(4)
	s.measure("dry", first)
	s.heat(s.coneHeat("6"), first[:4])
	s.pack("little-red", "glaze", first[:2], "6")
	s.measure("fired", first[:2])
	s.measure("fired", first[2:4], "cone", "6")
	s.heat(s.coneHeat("6"), first[4:])
	// counts at an assumed heat, and steps back once three of known heat are there
	s.measure("fired", first[4:5])
	s.expected["heat_assumed"]++

	tern, wren := s.newBars(13, "tern", "A", "PL"), s.newBars(10, "wren", "A", "RO")
	s.rest(5)
	s.measure("dry", append(slices.Clone(tern), wren...))
	both := append(slices.Clone(tern), wren...)
	s.pack("big-blue", "bisque", both, "")
	s.play(bisqueFiring)
	s.newest()
	s.measure("bisque", both[:9])
	s.rest(3)

	// A candling leaves a load packed, and the next firing takes it.
	one, two := append(slices.Clone(tern[:4]), wren[:3]...), append(slices.Clone(tern[4:7]), wren[3:5]...)
	s.pack("big-blue", "glaze", one, "")
	s.play("20>130@60 h120 >30@40 h120")
	s.rest(0.5)
	s.play(glazeFiring)
	f := s.newest()
	s.cone(f, s.fires(f, one))
	s.rest(0.2)
	s.measure("fired", one)

	// So does one that broke off.
	s.rest(4)
	s.pack("big-blue", "glaze", two, "")
	s.play("20>700@150 >35@170 h120")
	s.rest(1)
	s.play(glazeFiring)
	f = s.newest()
	s.cone(f, s.fires(f, two))
	s.measure("fired", two)

	// The plug is pulled for half an hour near the top, and power comes back.
	s.rest(6)
	three := append(slices.Clone(tern[7:10]), wren[5:8]...)
	s.pack("big-blue", "glaze", three, "")
	s.begin(true)
	s.playTo(glazeFiring, 460)
	goesOn, heard := s.running(), s.heardAt()
	s.pullPlug()
	s.set(s.stamp().Wall.Add(30 * time.Minute))
	s.start()
	s.until("the firing is taken up", func() bool { return s.kiln("/v1/now").Firing == goesOn })
	again := s.heardAt()
	lost := slices.ContainsFunc(heard, func(r [3]float64) bool { return !slices.Contains(again, r) })
	if lost || len(again) != s.told {
		s.Errorf("%d readings were told and %d seen before the plug was pulled, %d are left", s.told,
			len(heard),
			len(again))
	}
	s.speak(int(s.curve.Programme.Length().Minutes()) - 480)
	if f = s.newest(); f.ID != goesOn || len(f.Gaps) != 1 || f.Gaps[0].ForS < 29*60 ||
		f.Gaps[0].ForS > 32*60 {
		s.Errorf("the firing whose plug was pulled: %+v, it was %s", f, goesOn)
	}
	s.cone(f, s.fires(f, three))
	s.measure("fired", three)
}

// heardAt are the readings of the firing that goes on in big-blue, with their ages.
func (s *season) heardAt() [][3]float64 {
	s.Helper()
	var curve struct {
		Channels []struct{ Rows [][3]float64 }
	}
	s.get("/v1/firings/"+s.running()+"/curve?step=1", &curve)
	if len(curve.Channels) == 0 || len(curve.Channels[0].Rows) < 400 {
		s.Fatalf("a curve of which nothing was heard: %+v", curve)
	}
	return curve.Channels[0].Rows
}

// pullPlug leaves the store as it lies on the disk in the midst of a firing, with nothing that an end writes.
func (s *season) pullPlug() {
	s.Helper()
	folder, pulled := s.config.Store.Folder, filepath.Join(s.work, "pulled")
	if err := os.CopyFS(pulled, os.DirFS(folder)); err != nil {
		s.Fatal(err)
	}
	s.end()
	s.until("the port is let go", func() bool { return !s.plug.Line().Listened() })
	s.daemon = nil
	if err := errors.Join(os.RemoveAll(folder), os.Rename(pulled, folder)); err != nil {
		s.Fatal(err)
	}
}

// coneHeat is what a kiln without a line got that was fired to a cone.
func (s *season) coneHeat(cone string) float64 {
	c, err := heatwork.MainConeScale().Parse(cone)
	if err != nil {
		s.Fatal(err)
	}
	return float64(c) + 12*s.rng.Float64() - 6
}

// autumn has new bags and a blend, another probe, a kiln of another name, the change of clocks and boards of
// lids.
func (s *season) autumn() {
	s.Helper()
	if s.byCommand {
		s.command("probe", "new", "big-blue", "K", "--fitted-on",
			s.stamp().Wall.AddDate(0, 0, 1).Format(time.DateOnly))
	} else {
		s.send("PUT", "/v1/kilns/big-blue/probes/"+uuid.NewString(),
			map[string]any{"type": "K", "class": 2, "fitted_on": s.stamp().Wall.AddDate(0, 0,
				1).Format(time.DateOnly)}, nil)
	}
	s.rest(8)
	b, blend, ivory := s.newBars(9, "tern", "B", "KT"), s.newBars(8, "tern", "M", "RO"), s.newBars(14,
		"ivory", "A", "PL")
	s.rest(4)
	s.measure("dry", b[:5])
	s.measure("dry", ivory)
	all := slices.Concat(b, blend, ivory)
	s.pack("big-blue", "bisque", all, "")
	s.play(bisqueFiring)
	s.newest()
	s.rest(2)

	// A firing and a reheat of the same load, measured after both.
	four := slices.Concat(b[:4], blend[:3], ivory[:4])
	load := s.pack("big-blue", "glaze", four, "")
	s.play("20>600@150 >1120@190 >1190@70 h5 >35@170 h120")
	s.newest()
	s.rest(0.3)
	s.begin(true)
	s.playTo(glazeFiring, 120)
	s.attach(load)
	s.speak(int(s.curve.Programme.Length().Minutes()) - 120)
	f := s.newest()
	s.cone(f, s.fires(f, four))
	s.measure("fired", four)

	// The kiln without a line gets another name.
	s.config.Kilns[slices.IndexFunc(s.config.Kilns,
		func(k config.Kiln) bool { return k.ID == "little-red" })].ID = "annex"
	s.start()
	if s.byCommand {
		s.command("kiln", "rename", "little-red", "annex")
	} else {
		s.send("POST", "/v1/kilns/little-red/rename", map[string]any{"to": "annex"}, nil)
	}
	for _, annex := range [][]*seasonBar{slices.Concat(b[4:6], ivory[4:6]), s.bars[16:19], s.bars[27:29],
		ivory[12:]} {
		s.rest(2)
		s.heat(s.coneHeat("6"), annex)
		s.pack("annex", "glaze", annex, "6")
		s.measure("fired", annex)
	}

	// A firing over the night on which clocks change, 25 October.
	s.set(time.Date(2026, 10, 24, 12, 0, 0, 0, time.UTC))
	five := slices.Concat(b[6:8], blend[3:5], ivory[6:10])
	s.pack("big-blue", "glaze", five, "")
	s.play(glazeFiring)
	f = s.newest()
	s.cone(f, s.fires(f, five))
	s.rest(0.3)
	s.measure("fired", five)

	// One more of each, one of which breaks.
	s.rest(9)
	six := slices.Concat(b[8:], blend[5:], ivory[10:12])
	s.pack("big-blue", "glaze", six, "")
	s.play(glazeFiring)
	f = s.newest()
	s.fires(f, six)
	s.measure("fired", six)
	s.breaks(six[0])
	s.boards(f)
}

// attach says that a load that was fired goes through the firing that is on.
func (s *season) attach(load int) {
	s.Helper()
	if s.byCommand {
		s.command("load", "attach", fmt.Sprint(load), "big-blue/last")
		return
	}
	var loads struct{ Items []struct{ ID string } }
	s.get(fmt.Sprintf("/v1/loads?number=%d", load), &loads)
	s.send("PUT", "/v1/loads/"+loads.Items[0].ID+"/firings/"+s.running(), map[string]any{}, nil)
}

// breaks flags a bar: what was measured on it does not count.
func (s *season) breaks(b *seasonBar) {
	s.Helper()
	var bar seasonBarSeen
	s.get("/v1/bars/"+b.code, &bar)
	s.expected["flagged"] += len(bar.Readings)
	if s.byCommand {
		s.command("bars", "flag", b.code, "broken")
		return
	}
	s.send("PUT", "/v1/bars/"+b.code+"/flags", map[string]any{"flags": []string{"broken"}}, nil)
}

// boards keeps three boards of four lids each, all of which are looked at.
func (s *season) boards(f firingSeen) {
	s.Helper()
	forms := []string{"jar", "teapot", "box"}
	for n, body := range []string{"tern/A", "wren/A", "ivory/A"} {
		var pots []string
		for i := range 4 {
			collar := 104 + float64(i)
			if s.byCommand {
				card := s.command("pot", "new", "--form", forms[n], "--mark", "KT", "--collar",
					fmt.Sprint(collar),
					"--opening", fmt.Sprint(collar-12), "--clay", body)
				s.command("pot", "lid", aUUID.FindString(card), fmt.Sprint(collar-1.6))
				continue
			}
			id := uuid.NewString()
			s.send("PUT", "/v1/pots/"+id, map[string]any{"form": forms[n], "mark": "KT",
				"collar_mm": []float64{collar}, "opening_mm": collar - 12, "body": body,
				"lid_mm": collar - 1.6}, nil)
			pots = append(pots, id)
		}
		s.rest(0.01)
		if s.byCommand {
			if out := s.command("result", "--find", "kt "+forms[n], "--good", "3", "--loose",
				"1"); !strings.HasPrefix(out, "Kept. It counts.") {
				s.Errorf("board %d: %s", n, out)
			}
			continue
		}
		var v struct{ Counted bool }
		s.send("PUT", "/v1/lid-results/"+uuid.NewString(),
			map[string]any{"pots": pots, "load": *f.Load, "counts": map[string]int{"good": 3, "loose": 1}},
			&v)
		if !v.Counted {
			s.Errorf("board %d does not count", n)
		}
	}
}

var aUUID = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f-]{27}`)

type seasonBarSeen struct {
	Bar      string
	Firings  []any
	Readings []struct {
		ID, Stage string
		Counted   bool
		Pending   bool
		WhyNot    *struct {
			Code string
			Fix  *struct{ Link string }
		} `json:"why_not"`
	}
}

// everyReading holds that each reading counts, or has the reason that is true of it.
func (s *season) everyReading() {
	s.Helper()
	if err := s.daemon.Fitted(s.ctx); err != nil {
		s.Fatal(err)
	}
	var bars struct{ Items []seasonBarSeen }
	s.get("/v1/bars?limit=500", &bars)
	not, in := map[string]int{}, 0
	for _, b := range bars.Items {
		for _, r := range b.Readings {
			switch {
			case r.Pending:
				s.Errorf("%s %s is pending", b.Bar, r.Stage)
			case r.Counted:
				in++
			case r.WhyNot == nil:
				s.Errorf("%s %s does not count, and nothing says why", b.Bar, r.Stage)
			default:
				if not[r.WhyNot.Code]++; r.WhyNot.Code != "waits_for_next_stage" {
					if s.expected[r.WhyNot.Code] == 0 {
						s.Errorf("%s %s does not count: %s; its firings %+v", b.Bar, r.Stage, r.WhyNot.Code,
							b.Firings)
					}
					if r.WhyNot.Fix == nil || r.WhyNot.Fix.Link == "" {
						s.Errorf("%s %s: %s, and nothing mends it", b.Bar, r.Stage, r.WhyNot.Code)
					}
				}
			}
		}
	}
	for code, n := range s.expected {
		if not[code] != n {
			s.Errorf("%d readings are %s, and %d should be", not[code], code, n)
		}
	}
	s.Logf("%d bars, %d loads, %d lengths, %d of them measured again since they were asked about; %d count, the others %v", len(bars.Items), s.loads, s.readings, s.questions, in, not)
	if len(bars.Items) != 60 || s.loads != 13 || in+not["flagged"]+not["heat_assumed"] < s.readings {
		s.Errorf("60 bars, 13 loads and one of a cone told with a length, each length counted or not, it should be")
	}
	if s.questions > s.readings/25 {
		s.Errorf("%d of %d true lengths were asked about", s.questions, s.readings)
	}
}

// everyRate holds each rate against the truth.
func (s *season) everyRate() {
	s.Helper()
	for _, ref := range []string{"tern/A", "tern/B", theBlend, "wren/A", "ivory/A"} {
		clay, batch, _ := strings.Cut(ref, "/")
		var r struct {
			Total float64 `json:"total_ratio"`
			Low   float64 `json:"likely_low_ratio"`
			High  float64 `json:"likely_high_ratio"`
			Trust string  `json:"trust"`
			Why   string  `json:"trust_why"`
			At    struct {
				Work float64 `json:"heat_work_c"`
			}
		}
		s.get("/v1/clays/"+clay+"/shrinkage?"+url.Values{"batch": {batch}, "kind": {"glaze"}}.Encode(), &r)
		drying, firing := s.truth(clay, batch, r.At.Work)
		truth := 1 - math.Exp(-(drying+firing)/100)
		s.Logf("%-8s at %.0f °C: %.2f %%, likely %.2f to %.2f, truth %.2f; %s (%s)", ref, r.At.Work,
			100*r.Total, 100*r.Low, 100*r.High, 100*truth, r.Trust, r.Why)
		if truth < r.Low || truth > r.High {
			s.Errorf("%s: the truth %.2f %% is outside %.2f to %.2f", ref, 100*truth, 100*r.Low, 100*r.High)
		}
	}
}
