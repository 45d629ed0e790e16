package daemon

import (
	"archive/zip"
	"context"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/config"
	"lidwright/daemon/collector"
	"lidwright/daemon/collector/pgtest"
	"lidwright/daemon/outbox"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// TestOffSiteRecord sends the record of a studio to a collector, has the collector write it as a carry file,
// and takes that in on a new machine: clays, bars, loads, lids, firings are the same to the last bit, and so
// are curves, rates and lids.
func TestOffSiteRecord(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	settings := heatConfig(t, heatSettings)
	d, err := New(ctx, settings, "test")
	if err != nil {
		t.Fatal(err)
	}
	defer d.store.Close()
	d.Now = PracticeClock()
	if _, err := d.Furnish(ctx, "big-blue"); err != nil {
		t.Fatal(err)
	}
	if _, err := d.store.SiteID(ctx, "0193c0c0-0000-7000-8000-00000000aaaa"); err != nil {
		t.Fatal(err)
	}
	sayMore(t, d)
	for i := range rounds(5, 1000) {
		shortFiring(t, d, i)
	}

	server := pgtest.Own(t)
	cfg := config.DefaultCollect()
	cfg.Database.URL, cfg.Listen.Address, cfg.Keep.BackupDays = server.URL("own"), "127.0.0.1:0", 0
	c, err := collector.New(ctx, cfg, "test")
	if err != nil {
		t.Fatal(err)
	}
	ready, run := make(chan string, 1), make(chan error, 1)
	c.Ready = func(at string) { ready <- "http://" + at }
	running, stop := context.WithCancel(ctx)
	go func() { run <- c.Run(running) }()
	url := <-ready
	owner, err := collector.OpenOwner(ctx, cfg)
	if err != nil {
		t.Fatal(err)
	}
	defer owner.Close()
	code, err := owner.Add(ctx, "Room 3")
	if err != nil {
		t.Fatal(err)
	}
	out := outbox.New(store.Outbox{Store: d.store}, t.TempDir(), "test", d.Now,
		func() []wire.LiveKiln { return nil }, store.CurveSum)
	out.LiveElse = 50 * time.Millisecond
	if err := out.Join(ctx, url, code, ""); err != nil {
		t.Fatal(err)
	}
	if err := out.Set(ctx, true, true); err != nil {
		t.Fatal(err)
	}
	sending, halt := context.WithCancel(ctx)
	sent := make(chan error, 1)
	go func() { sent <- out.Run(sending) }()
	site, _, err := d.store.Site(ctx)
	if err != nil {
		t.Fatal(err)
	}
	arrives(t, d, owner, site)
	halt()
	<-sent

	folder := t.TempDir()
	path := filepath.Join(folder, "out.zip")
	if _, left, err := owner.Carry(ctx, site, path, "test"); err != nil || len(left) > 0 {
		t.Fatalf("carry: %v; left out: %v", err, left)
	}
	stop()
	<-run
	to := t.TempDir()
	fresh, err := store.Settings{Now: d.Now, Version: "test"}.Open(ctx, to)
	if err != nil {
		t.Fatal(err)
	}
	defer fresh.Close()
	if taken, err := fresh.TakeCarry(ctx, path, nil, false, nil); err != nil || !taken.Whole {
		t.Fatalf("take: %+v, %v", taken, err)
	}
	sameRecord(t, settings.Store.Folder, to)
	sameRates(t, d, fresh)
}

// arrives waits until every change and firing of a studio is at the collector.
func arrives(t *testing.T, d *Daemon, owner collector.Owner, site string) {
	t.Helper()
	last, err := d.store.LastChange(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	marks, err := store.Outbox{Store: d.store}.FiringRevisions(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(hanging); ; time.Sleep(20 * time.Millisecond) {
		one, err := owner.Site(t.Context(), site)
		if err != nil {
			t.Fatal(err)
		}
		all, err := owner.Firings(t.Context(), site, one.Life, 0)
		there := err == nil && len(all) == len(marks) && one.Have == last
		for _, m := range marks {
			_, curve, err := store.Outbox{Store: d.store}.SentFiring(t.Context(), m.ID)
			if err != nil {
				t.Fatal(err)
			}
			got, err := owner.Curve(t.Context(), site, one.Life, m.ID)
			there = there && err == nil && string(got) == string(curve)
		}
		if there {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("it never arrived: %+v, %d of %d firings, %v", one, len(all), len(marks), err)
		}
	}
}

// sayMore says of each kind of fact something that Furnish does not.
func sayMore(t *testing.T, d *Daemon) {
	t.Helper()
	ctx, s := t.Context(), d.store
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	bars, err := s.Bars(ctx, tiles.BarFilter{}, d.shrink.channel)
	must(err)
	bar, other := bars[0], bars[1]
	reading := func(r tiles.Reading) tiles.Reading {
		t.Helper()
		r.ID, r.Bar, r.Mark, r.Stage, r.Unit = d.NewID(), bar.Code, 1, tiles.Fired, "mm"
		_, err := s.PutReading(ctx, r, d.Now())
		must(err)
		return r
	}
	first := reading(tiles.Reading{Length: 87.3, AsTyped: "87.3", By: "KT"})
	reading(tiles.Reading{Length: 87.4, AsTyped: "87.4", By: "KT", Supersedes: first.ID,
		Queued: 1234567 * time.Microsecond})
	odd := reading(tiles.Reading{Length: 70.25, AsTyped: "70.25", Unusual: true, Outside: true,
		EntryError: tiles.FarFromClay, Question: message.New("Is it {1}?", tiles.Fired)})
	must(s.ConfirmReading(ctx, bar.Code, odd.ID, "ML", "it is", d.Now()))
	must(s.CountReading(ctx, bar.Code, odd.ID, "ML", "it is", d.Now()))
	again := reading(tiles.Reading{Length: 87.5, AsTyped: "87.5", Unusual: true})
	reading(tiles.Reading{Length: 87.5, AsTyped: "87.5", Confirms: again.ID})
	must(s.StrikeReading(ctx, bar.Code, odd.ID, "KT", "a slip", d.Now()))
	b := other.Bar
	b.Flags, b.Note = []tiles.Flag{"bent"}, "fell"
	_, err = s.PutBar(ctx, b, usecase.Precondition{}, d.Now())
	must(err)
	b.Flags, b.Note = other.Flags, other.Note
	_, err = s.PutBar(ctx, b, usecase.Precondition{}, d.Now())
	must(err)
	firings, err := s.Firings(ctx, kiln.FiringFilter{})
	must(err)
	f := firings[0].ID
	must(s.SayFiring(ctx, f, kiln.FiringAnnotation{Kind: kiln.Glaze, Note: "a windy day", By: "KT"}, d.Now()))
	cone := tiles.ConeSeen{ID: d.NewID(), Firing: f, Cone: "6", Series: "large_self_supporting",
		Seen: "leaning", Tilt: 40, Tilted: true, By: "KT"}
	_, err = s.PutCone(ctx, cone, d.Now())
	must(err)
	must(s.StrikeCone(ctx, cone.ID, "KT", "another firing's", d.Now()))
	note := tiles.Note{ID: d.NewID(), Firing: f, Text: "It smelt.", Incident: true, By: "KT"}
	_, err = s.PutNote(ctx, note, d.Now())
	must(err)
	must(s.StrikeNote(ctx, note.ID, "ML", "it did not", d.Now()))
	_, err = s.PutTick(ctx, tiles.Tick{ID: d.NewID(), Subject: string(f), Item: "caution-1",
		Done: true, By: "KT"}, d.Now())
	must(err)
	_, err = s.PutProbe(ctx, tiles.ProbeLife{ID: d.NewID(), Kiln: "big-blue", Channel: "1", Type: "K",
		Class: 1, Fitted: "2026-01-05"}, usecase.Precondition{}, d.Now())
	must(err)
	_, err = s.PutKeepShut(ctx, tiles.KeepShut{ID: d.NewID(), Kiln: "big-blue", Mark: 60,
		Reason: "the maker says so", By: "KT"}, d.Now())
	must(err)
	pot := lid.PotCard{ID: d.NewID(), Mark: "ML", Number: "7", Form: "jar", Seat: "inset",
		Collar: []tiles.Millimetre{101.25}, Stage: tiles.Leather, Body: bar.BatchRef}
	_, err = s.PutPot(ctx, pot, usecase.Precondition{}, d.Now())
	must(err)
	v := lid.Result{ID: d.NewID(), Pots: []string{pot.ID}, Form: "jar", Maker: "ML", Seat: "inset",
		Body: bar.BatchRef, Lid: bar.BatchRef, Sat: lid.Outcomes{Good: 2, Tight: 1},
		Plays: []tiles.Millimetre{1.1, 0.9}, Thrown: []tiles.Millimetre{},
		Limits: &lid.Limits{LeastPlay: 0.1 + 0.2, MostPlay: 2, Bearing: 3}, By: "KT"}
	_, err = s.PutLidResult(ctx, v, d.Now())
	must(err)
	load := tiles.Load{ID: d.NewID(), Kiln: "big-blue", Kind: kiln.Glaze, Atmosphere: kiln.Oxidation,
		PackedBy: "KT", Stated: kiln.NoTemperature(), Bars: []tiles.Placed{{Bar: bar.Code, Shelf: "2"}}}
	_, err = s.PutLoad(ctx, load, usecase.Precondition{}, d.Now())
	must(err)
	must(s.AttachLoad(ctx, load.ID, firings[1].ID, d.Now()))
	must(s.AttachLoad(ctx, load.ID, "", d.Now()))
	must(s.CloseLoad(ctx, load.ID, d.Now().Wall.Add(-1234*time.Millisecond), "ML", d.Now()))
	_, err = s.ForgetMaker(ctx, "ML", d.Now())
	must(err)
}

// shortFiring records a whole firing of five minutes.
func shortFiring(t *testing.T, d *Daemon, nth int) {
	t.Helper()
	at := d.Now()
	f := kiln.Firing{ID: kiln.FiringID(d.NewID()), Kiln: "little-red", Began: at, Source: "serial",
		Peak: kiln.Celsius(900 + nth), Length: 5 * time.Minute}
	var samples []kiln.Sample
	for i := range 300 {
		smp := kiln.Sample{Kiln: f.Kiln, At: at,
			Values: []kiln.Value{{Channel: "1", T: kiln.Celsius(20 + float64((nth*7+i)%900))}}}
		smp.At.Since += time.Duration(i) * time.Second
		smp.At.Wall = smp.At.Wall.Add(time.Duration(i) * time.Second)
		samples = append(samples, smp)
	}
	if _, err := d.store.BeginFiring(t.Context(), f, samples); err != nil {
		t.Fatal(err)
	}
	f.Over, f.Status = samples[299].At, kiln.Ended
	if err := d.store.EndFiring(t.Context(), f); err != nil {
		t.Fatal(err)
	}
}

// sameRecord holds the two records against each other, table by table and curve by curve. A firing under way
// is cut into other parts, and raw lines stay at home.
func sameRecord(t *testing.T, folders ...string) {
	t.Helper()
	var files [2]map[string]string
	for i, folder := range folders {
		path := filepath.Join(t.TempDir(), "all.zip")
		if _, err := store.SaveCarry(t.Context(), folder, path, "test", time.Unix(0, 0)); err != nil {
			t.Fatal(err)
		}
		files[i] = byFiring(unpacked(t, path))
	}
	same, curves := 0, 0
	for name, was := range files[0] {
		kind, _, _ := strings.Cut(strings.TrimSuffix(name, ".csv"), "/")
		if slices.Contains([]string{"manifest.json", "run", "raw"}, kind) {
			continue
		}
		if strings.HasPrefix(name, "curve/") {
			curves++
		}
		if now, there := files[1][name]; !there || now != was {
			t.Errorf("%s is another: %s", name, firstUnlike(was, now))
			continue
		}
		same++
	}
	t.Logf("%d files the same, %d of them curves", same, curves)
}

// aBlock names the file of a row by its number.
var aBlock = regexp.MustCompile(`firing/\d+\.bin`)

// byFiring calls what belongs to a firing by its id in place of the number of its row, which is nobody's but
// the file's.
func byFiring(files map[string]string) map[string]string {
	id, out := map[string]string{}, map[string]string{}
	var lines []string
	for line := range strings.Lines(files["firing.csv"]) {
		row, rest, _ := strings.Cut(line, ",")
		id[row], _, _ = strings.Cut(rest, ",")
		lines = append(lines, aBlock.ReplaceAllString(strings.TrimSpace(rest), "block"))
	}
	slices.Sort(lines)
	for name, text := range files {
		kind, rest, of := strings.Cut(name, "/")
		switch {
		case of:
			name = kind + "/" + id[strings.TrimSuffix(rest, ".bin")]
		case name == "firing.csv":
			text = strings.Join(lines, "\n")
		case name == "curve.csv" || name == "envelope.csv":
			text = strings.Join(strings.Split(text, "\n")[:1], "")
		}
		out[name] = text
	}
	return out
}

func firstUnlike(a, b string) string {
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range x {
		if i >= len(y) || x[i] != y[i] {
			return fmt.Sprintf("line %d of %d and %d:\n%.250q\n%.250q", i+1, len(x), len(y), x[i],
				append(y, "")[min(i, len(y))])
		}
	}
	return "it goes on"
}

func unpacked(t *testing.T, path string) map[string]string {
	t.Helper()
	z, err := zip.OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	all := map[string]string{}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		all[f.Name] = string(text)
	}
	return all
}

// sameRates holds the rates of every clay, and lids for them, against each other: 1e-9.
func sameRates(t *testing.T, d *Daemon, fresh *store.Store) {
	t.Helper()
	var said [2][]float64
	for i, s := range []*store.Store{d.store, fresh} {
		studio, _, err := loadStudio(t.Context(), s, d.shrink.channel)
		if err != nil {
			t.Fatal(err)
		}
		fit, err := studio.Fit(t.Context(), nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range studio.Clays {
			ask := shrinkage.Ask{BatchRef: tiles.BatchRef{Clay: c.ID}, Stage: tiles.Wet, Work: 1220,
				WorkSD: 5, BisqueWork: 1000, Kind: kiln.Glaze,
				On: time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)}
			rate, err := fit.Rate(ask, tiles.Fired)
			if err != nil {
				t.Fatal(err)
			}
			pair, err := fit.Pair(ask, ask, shrinkage.Apart)
			if err != nil {
				t.Fatal(err)
			}
			said[i] = append(said[i], float64(rate.Total), float64(rate.Likely.Low),
				float64(rate.Likely.High), float64(rate.LogSD), float64(pair.R[0]), pair.Rate[0][0])
		}
	}
	if len(said[0]) == 0 || len(said[0]) != len(said[1]) {
		t.Fatalf("%d and %d figures", len(said[0]), len(said[1]))
	}
	for i := range said[0] {
		if math.Abs(said[0][i]-said[1][i]) > 1e-9 {
			t.Errorf("figure %d is %v, was %v", i, said[1][i], said[0][i])
		}
	}
}
