package daemon

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"sync/atomic"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/practice"
	"lidwright/kiln/record"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// Practice is a made-up studio: a kiln that is not there, its past firings, clays and bars. No
// clay, kiln, shop or person is meant. All of it is invented and proves nothing.
type Practice struct {
	Kiln  practice.Kiln
	Began kiln.Stamp // of the firing that goes on now
}

// What burns in the practice kiln.
const (
	practiceBisque = "20>100@60 h60 >600@120 >1000@100 off"
	practiceGlaze  = "20>600@150 >1120@180 >1222@60 h10 off"
)

// PracticeStudio is what is unlike from one practice studio to another.
type PracticeStudio struct {
	Kiln   kiln.KilnID
	Cold   kiln.KilnID   // a second kiln, which stands cold; empty: none
	goesOn time.Duration // how far the firing of now is when the practice begins
	pairs  int           // pairs of a bisque and a glaze firing before it, at most 4
	clays  [2]tiles.Clay
	more   float64 // that its clays shrink more than those of the first, log-percent
	seed   uint64
}

// Clay is the one that it throws most.
func (p PracticeStudio) Clay() tiles.ClayID { return p.clays[0].ID }

// PracticeStudios are all of them; the first is the one that is practised alone.
func PracticeStudios() []PracticeStudio {
	clays := func(a, b tiles.Clay) [2]tiles.Clay {
		a.MaturesCone, b.MaturesCone = "6", "6"
		return [2]tiles.Clay{a, b}
	}
	return []PracticeStudio{
		{"big-blue", "", 5*time.Hour + 40*time.Minute, 4,
			clays(tiles.Clay{ID: "tern", Name: "Tern stoneware", Stated: 0.12, Grog: "fine"},
				tiles.Clay{ID: "wren", Name: "Wren porcelain", Stated: 0.14}), 0, 14},
		{"little-red", "", 9*time.Hour + 20*time.Minute, 2,
			clays(tiles.Clay{ID: "heron", Name: "Heron stoneware", Stated: 0.11, Grog: "coarse"},
				tiles.Clay{ID: "linnet", Name: "Linnet porcelain", Stated: 0.15}), -1.1, 27},
		{"old-green", "", 19 * time.Hour, 3,
			clays(tiles.Clay{ID: "plover", Name: "Plover flecked stoneware", Grog: "fine"},
				tiles.Clay{ID: "wren", Name: "Wren porcelain", Stated: 0.14}), 0.6, 31},
	}
}

// PracticeClock counts as if the machine had run for weeks and its clock were trusted, so that
// the made-up past and the firing of now lie on one line of time.
func PracticeClock() func() kiln.Stamp {
	start := time.Now()
	boot := kiln.BootID("practice-" + start.UTC().Format("20060102T150405"))
	return func() kiln.Stamp {
		now := time.Now()
		return kiln.Stamp{Boot: boot, Since: 2000*time.Hour + now.Sub(start), Wall: now.UTC(), Trusted: true}
	}
}

func practiceCurve(programme string, seed uint64) (practice.Curve, error) {
	p, err := practice.Parse(programme)
	return practice.Curve{Programme: p, Noise: 0.15, Step: 0.1, Seed: seed}, err
}

// Furnish fills an empty store with the first of the made-up studios, its kiln by another name.
func (d *Daemon) Furnish(ctx context.Context, id kiln.KilnID) (Practice, error) {
	of := PracticeStudios()[0]
	of.Kiln = id
	return d.FurnishAs(ctx, of)
}

// FurnishAs fills an empty store with a made-up studio, and gives the kiln that goes on. A
// store that holds a clay already is left as it is.
func (d *Daemon) FurnishAs(ctx context.Context, of PracticeStudio) (Practice, error) {
	id := of.Kiln
	curve, err := practiceCurve(practiceGlaze, 8)
	if err != nil {
		return Practice{}, err
	}
	now := d.Now()
	began := now
	began.Since -= of.goesOn
	began.Wall = began.Wall.Add(-of.goesOn)
	p := Practice{Kiln: practice.Kiln{Curves: []practice.Curve{curve}}, Began: began}
	clays, err := d.store.Clays(ctx)
	if err != nil {
		return p, err
	}
	if len(clays) > 0 {
		return d.practiceAgain(ctx, id, p, now)
	}
	var k kiln.Kiln
	for _, have := range d.recorder.Kilns {
		if have.ID == id {
			k = have
		}
	}
	studio := &madeUp{d: d, of: of, rng: rand.New(rand.NewPCG(of.seed, 8)), heat: map[string]float64{}}
	if of.Cold != "" {
		if err := studio.years(ctx, now); err != nil {
			return p, fmt.Errorf("furnish the practice studio: %w", err)
		}
	} else if err := studio.clays(ctx, now); err != nil {
		return p, fmt.Errorf("furnish the practice studio: %w", err)
	}
	pairs := of.pairs
	if of.Cold != "" {
		pairs = 0 // years made them
	}
	for i := range pairs {
		days := time.Duration(pairs-i) * 8 * 24 * time.Hour
		for j, programme := range []string{practiceBisque, practiceGlaze} {
			at := now
			back := days - time.Duration(j)*72*time.Hour
			at.Since -= back
			at.Wall = at.Wall.Add(-back)
			kind := []kiln.Kind{kiln.Bisque, kiln.Glaze}[j]
			if err := studio.fire(ctx, k, at, programme, uint64(2*i+j+1), kind, i); err != nil {
				return p, fmt.Errorf("furnish the practice studio: %w", err)
			}
		}
	}
	load := tiles.Load{ID: d.NewID(), Kiln: k.ID, Kind: kiln.Glaze, Atmosphere: kiln.Oxidation,
		PackedBy: "KT", Stated: kiln.NoTemperature()}
	if _, err := d.store.PutLoad(ctx, load, usecase.Precondition{}, began); err != nil {
		return p, fmt.Errorf("furnish the practice studio: %w", err)
	}
	so, _ := d.Now().Sub(began) // furnishing takes a while
	if err := d.play(ctx, k, curve, began, so, load.ID); err != nil {
		return p, fmt.Errorf("furnish the practice studio: %w", err)
	}
	past, err := d.past(ctx, k.ID, k.Control)
	d.recorder.Past[k.ID] = past
	if err != nil {
		return p, err
	}
	loads, err := d.store.Loads(ctx, tiles.LoadFilter{Kiln: string(k.ID), In: true})
	d.recorder.Loads[k.ID] = usecase.PackedLoads(loads)
	return p, err
}

// practiceAgain goes on with the firing that is open, as a kiln does while nobody listens; where none
// is, one begins cold.
func (d *Daemon) practiceAgain(ctx context.Context, id kiln.KilnID, p Practice, now kiln.Stamp) (Practice,
	error) {
	p.Began = now
	open, err := d.store.Firings(ctx, kiln.FiringFilter{Kiln: id, Status: kiln.Running, Limit: 1})
	if err != nil || len(open) == 0 {
		return p, err
	}
	if gone := now.Wall.Sub(open[0].Began.Wall); gone > 0 && gone < p.Kiln.Length() {
		p.Began.Since, p.Began.Wall = now.Since-gone, open[0].Began.Wall
	}
	return p, nil
}

// play sends a curve through a recorder as fast as it takes it, from a moment on.
func (d *Daemon) play(ctx context.Context, k kiln.Kiln, c practice.Curve, from kiln.Stamp,
	length time.Duration, load string) error {
	samples, tick := make(chan kiln.Sample), make(chan time.Time)
	at := from
	var clock atomic.Pointer[kiln.Stamp] // the recorder reads it beside us
	tell := func() { now := at; clock.Store(&now) }
	tell()
	r := &record.Recorder{Kilns: []kiln.Kiln{k}, Log: d.store, Ladder: heatwork.MainConeScale(),
		Rules: d.recorder.Rules, NewID: d.newFiringID,
		Now: func() kiln.Stamp { return *clock.Load() }, Tick: tick,
		Last: time.Minute} // nobody waits for a stop here: all of it is kept on a slow machine too
	past, err := d.past(ctx, k.ID, k.Control)
	if err != nil {
		return err
	}
	r.Past = map[kiln.KilnID]detect.Past{k.ID: past}
	if load != "" {
		kept, err := d.store.Load(ctx, load)
		if err != nil {
			return err
		}
		r.Loads = map[kiln.KilnID][]detect.Load{k.ID: usecase.PackedLoads([]tiles.KeptLoad{kept})}
	}
	inner, stop := context.WithCancel(ctx)
	defer stop()
	done := make(chan error, 1)
	go func() { done <- r.Run(inner, samples) }()
	for !r.Ready() && ctx.Err() == nil {
		time.Sleep(time.Millisecond)
	}
	for after := time.Duration(0); after <= length; after += 10 * time.Second {
		if !c.Programme.Silent(after) {
			samples <- kiln.Sample{Kiln: k.ID, At: at,
				Values: []kiln.Value{{Channel: k.Control, T: c.Reading(after)}}}
		}
		if after%(10*time.Minute) == 0 {
			tick <- time.Time{}
		}
		at.Since += 10 * time.Second
		at.Wall = at.Wall.Add(10 * time.Second)
		tell()
	}
	for i := 0; i < 3; i++ {
		at.Since += 10 * time.Second
		tell()
		tick <- time.Time{}
	}
	stop()
	return <-done
}

// madeUp makes the clays and bars of the practice studio.
type madeUp struct {
	d    *Daemon
	of   PracticeStudio
	rng  *rand.Rand
	heat map[string]float64
}

func (m *madeUp) clays(ctx context.Context, at kiln.Stamp) error {
	at.Wall = at.Wall.Add(-40 * 24 * time.Hour)
	for _, c := range m.of.clays {
		if _, err := m.d.store.PutClay(ctx, c, usecase.Precondition{}, at); err != nil {
			return err
		}
		if _, err := m.d.store.PutBatch(ctx, tiles.Batch{BatchRef: tiles.BatchRef{Clay: c.ID, Batch: "A"},
			Kind: tiles.Bought, Open: true}, usecase.Precondition{}, at); err != nil {
			return err
		}
	}
	return nil
}

// fire packs a load with three bars (the same ones for bisque and glaze of a pair), fires it,
// and measures them.
func (m *madeUp) fire(ctx context.Context, k kiln.Kiln, at kiln.Stamp, programme string, seed uint64,
	kind kiln.Kind, pair int) error {
	st := m.d.store
	shift := func(s kiln.Stamp, by time.Duration) kiln.Stamp {
		s.Since += by
		s.Wall = s.Wall.Add(by)
		return s
	}
	codes := []tiles.Code{"BQ" + tiles.Code("ABCD"[pair]), "BR" + tiles.Code("ABCD"[pair]),
		"PT" + tiles.Code("ABCD"[pair])}
	load := tiles.Load{ID: m.d.NewID(), Kiln: k.ID, Kind: kind, Atmosphere: kiln.Oxidation, PackedBy: "KT",
		Stated: kiln.NoTemperature()}
	for i, code := range codes {
		if kind == kiln.Bisque {
			clay := m.of.clays[i/2].ID
			bar := tiles.Bar{Code: code, ID: m.d.NewID(), BatchRef: tiles.BatchRef{Clay: clay, Batch: "A"},
				Forming: tiles.ThrownRing, MarkLength: 100, Marks: 1, By: "KT"}
			if _, err := st.PutBar(ctx, bar, usecase.Precondition{}, shift(at, -72*time.Hour)); err != nil {
				return err
			}
			if err := m.read(ctx, code, tiles.Wet, 0, shift(at, -71*time.Hour)); err != nil {
				return err
			}
			m.heat[string(code)] = m.rng.NormFloat64() * 0.15
			if err := m.read(ctx, code, tiles.Dry, 5.9, shift(at, -3*time.Hour)); err != nil {
				return err
			}
		}
		load.Bars = append(load.Bars, tiles.Placed{Bar: code, Shelf: "middle"})
	}
	if _, err := st.PutLoad(ctx, load, usecase.Precondition{}, shift(at, -time.Hour)); err != nil {
		return err
	}
	curve, err := practiceCurve(programme, seed)
	if err != nil {
		return err
	}
	length := curve.Programme.Length()
	if err := m.d.play(ctx, k, curve, at, length, load.ID); err != nil {
		return err
	}
	out := shift(at, length+2*time.Hour)
	if err := st.CloseLoad(ctx, load.ID, out.Wall, "KT", out); err != nil {
		return err
	}
	if kind == kiln.Glaze {
		if err := m.cones(ctx, load.ID, pair, out); err != nil {
			return err
		}
		if err := m.board(ctx, load.ID, pair, shift(at, -8*24*time.Hour), out); err != nil {
			return err
		}
	}
	for i, code := range codes {
		stage, total := tiles.Biscuit, 6.5
		if kind == kiln.Glaze {
			stage, total = tiles.Fired, []float64{13.1, 13.1, 15.0}[i]+m.of.more
			if pair == m.of.pairs-1 && i == 1 {
				continue // one bar still waits to be measured
			}
		}
		if err := m.read(ctx, code, stage, total, shift(out, time.Duration(i)*time.Minute)); err != nil {
			return err
		}
	}
	return nil
}

// cones keeps the pack of three that stood in a glaze firing: they say that the probe reads a few
// degrees low, a little lower each time.
func (m *madeUp) cones(ctx context.Context, load string, pair int, at kiln.Stamp) error {
	l, err := m.d.store.Load(ctx, load)
	if err != nil {
		return err
	}
	for _, c := range []tiles.ConeSeen{{Cone: "7", Seen: "down"},
		{Cone: "8", Seen: "leaning", Tilt: []float64{45, 45, 60, 60}[pair], Tilted: true},
		{Cone: "9", Seen: "upright"}} {
		c.ID, c.Firing, c.Series, c.Shelf, c.By =
			m.d.NewID(), l.Firing, string(heatwork.SeriesSelfSupporting),
			"middle", "KT"
		if _, err := m.d.store.PutCone(ctx, c, at); err != nil {
			return err
		}
	}
	return nil
}

// board keeps the pot cards of six teapots made for a load, and how their lids sat when it was
// unpacked. Those of the last load wait to be looked at.
func (m *madeUp) board(ctx context.Context, load string, pair int, made, unpacked kiln.Stamp) error {
	body := tiles.BatchRef{Clay: m.of.clays[0].ID, Batch: "A"}
	v := lid.Result{ID: m.d.NewID(), Load: load, Form: "teapot 0.9 l", Maker: "KT", Seat: lid.Inset,
		Body: body, Lid: body, By: "KT",
		Limits: &lid.Limits{LeastPlay: 1, MostPlay: 2.5, Bearing: 1}}
	for i := range 6 {
		card := lid.PotCard{ID: m.d.NewID(), Mark: "KT", Number: fmt.Sprint(201 + 6*pair + i), Form: v.Form,
			Seat: lid.Inset, Together: shrinkage.InPlace,
			Collar: []tiles.Millimetre{tiles.Millimetre(104.5 + math.Round(m.rng.NormFloat64())/2)},
			Stage:  tiles.Wet, Opening: 92.5, Body: body, Lid: body, MadeOn: made.Wall.Format(time.DateOnly)}
		card.Set = card.Collar[0] - 2
		card.Measured = card.Set + tiles.Millimetre(math.Round(4*m.rng.NormFloat64())/10)
		if _, err := m.d.store.PutPot(ctx, card, usecase.Precondition{}, made); err != nil {
			return err
		}
		v.Pots = append(v.Pots, card.ID)
	}
	if pair == m.of.pairs-1 {
		return nil
	}
	v.Sat = []lid.Outcomes{{Tight: 1, Good: 4, Loose: 1}, {Good: 5, Loose: 1},
		{Good: 5, NotLookedAt: 1}}[pair]
	v.Plays = []tiles.Millimetre{[]tiles.Millimetre{1.6, 1.9, 1.7}[pair]}
	_, err := m.d.store.PutLidResult(ctx, v, unpacked)
	return err
}

// read keeps a reading of a bar that has shrunk by total log-percent from 100 mm.
func (m *madeUp) read(ctx context.Context, code tiles.Code, stage tiles.Stage, total float64,
	at kiln.Stamp) error {
	length := 100.0
	if total > 0 {
		length = 100*math.Exp(-(total+m.heat[string(code)])/100) + m.rng.NormFloat64()*0.05
	}
	length = math.Round(length*100) / 100
	text := fmt.Sprintf("%.2f", length)
	r := tiles.Reading{ID: m.d.NewID(), Bar: code, Mark: 1, Stage: stage, Length: tiles.Millimetre(length),
		AsTyped: text, Unit: "mm", Instrument: "calliper", Step: 0.01, By: "KT"}
	_, err := m.d.store.PutReading(ctx, r, at)
	return err
}

// ColdKiln is a kiln that stands at the warmth of its room from a moment on.
func ColdKiln(from kiln.Stamp) Practice {
	curve := practice.Curve{Programme: practice.MustParse("21>21.5@0.001"), Noise: 0.1, Step: 0.1, Seed: 3}
	return Practice{Kiln: practice.Kiln{Curves: []practice.Curve{curve}}, Began: from}
}

// Invented has every page say that the studio is made up.
func (d *Daemon) Invented() { d.server.Site.Practice = true }

// PlayOn plays the practice kiln down its line, a line a second, until ctx ends. It begins
// where the made-up past left off.
func (p Practice) PlayOn(ctx context.Context, plug *practice.Plug, now func() kiln.Stamp) error {
	t := time.NewTicker(time.Second)
	defer t.Stop()
	if err := plug.Plug(); err != nil {
		return err
	}
	defer plug.Unplug()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
			after, _ := now().Sub(p.Began)
			if said := p.Kiln.Said(after % p.Kiln.Length()); said != nil {
				plug.Write(said)
			}
		}
	}
}
