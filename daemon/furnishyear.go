package daemon

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// WholePracticeStudio is the one that is shown to whoever tries the program: two kilns, of which one heats
// and one is cold with bars to measure; a clay that is well tested over four bags, one that is new, and one
// of which the second bag shrinks otherwise; a probe that ages; firings with dips and gaps; boards of lids
// with results.
func WholePracticeStudio() PracticeStudio {
	of := PracticeStudios()[0]
	of.Cold = "little-red"
	return of
}

// What burns in the kilns of the whole practice studio besides the usual.
var (
	bisques = []string{practiceBisque, "20>100@60 h45 >600@115 >1000@105 off",
		"20>100@60 h60 >600@125 >1000@95 off"}
	glazes = []string{practiceGlaze,
		"20>600@155 >1120@175 >1226@62 h10 off",
		"20>600@145 >820@180 >790@200 >1120@180 >1218@60 h10 off", // the power went for a few minutes
		"20>600@150 >1120@185 >1221@58 h16 off",
		"20>600@150 >900@180 s25 >1120@180 >1224@60 h10 off"} // the line was silent
)

const (
	pairsOfYear = 15 // of a bisque and a glaze, in turn in both kilns
	daysOfPair  = 8
	heronShift  = 0.9 // log-percent that Heron's second bag shrinks more
)

// years furnish the store with the past of the whole practice studio, the oldest first.
func (m *madeUp) years(ctx context.Context, now kiln.Stamp) error {
	if err := m.bags(ctx, now); err != nil {
		return err
	}
	for pair := range pairsOfYear {
		id := m.of.Kiln
		if m.cold(pair) {
			id = m.of.Cold
		}
		i := slices.IndexFunc(m.d.recorder.Kilns, func(k kiln.Kiln) bool { return k.ID == id })
		if i < 0 {
			return fmt.Errorf("no kiln %s in the settings", id)
		}
		bisque := shifted(now, -time.Duration(pairsOfYear-pair)*daysOfPair*24*time.Hour)
		if err := m.pair(ctx, m.d.recorder.Kilns[i], pair, bisque); err != nil {
			return err
		}
	}
	return m.newClay(ctx, shifted(now, -26*time.Hour))
}

// cold says in which kiln a pair of firings is: the last in the cold one.
func (m *madeUp) cold(pair int) bool { return pair%2 == pairsOfYear%2-1 }

func shifted(s kiln.Stamp, by time.Duration) kiln.Stamp {
	s.Since += by
	s.Wall = s.Wall.Add(by)
	return s
}

// bags are the clays with their bags, each from the day that it was opened.
func (m *madeUp) bags(ctx context.Context, now kiln.Stamp) error {
	heron := tiles.Clay{ID: "heron", Name: "Heron stoneware", MaturesCone: "6", Stated: 0.12, Grog: "coarse"}
	for _, c := range append(m.of.clays[:], heron) {
		at := shifted(now, -time.Duration(pairsOfYear*daysOfPair+20)*24*time.Hour)
		if _, err := m.d.store.PutClay(ctx, c, usecase.Precondition{}, at); err != nil {
			return err
		}
	}
	for _, b := range []struct {
		clay  tiles.ClayID
		batch tiles.BatchID
		pair  int // from which on it is used
		open  bool
	}{{"tern", "A", 0, false}, {"tern", "B", 4, false}, {"tern", "C", 8, false}, {"tern", "D", 12, true},
		{"heron", "A", 0, false}, {"heron", "B", 9, true}, {"wren", "A", 14, true}} {
		at := shifted(now, -time.Duration(pairsOfYear-b.pair)*daysOfPair*24*time.Hour-5*24*time.Hour)
		batch := tiles.Batch{BatchRef: tiles.BatchRef{Clay: b.clay, Batch: b.batch}, Kind: tiles.Bought,
			Open: b.open, Arrived: at.Wall.Format(time.DateOnly)}
		if _, err := m.d.store.PutBatch(ctx, batch, usecase.Precondition{}, at); err != nil {
			return err
		}
	}
	return nil
}

// barOfYear is a bar of a pair of firings, and by how much it shrinks, log-percent.
type barOfYear struct {
	code               tiles.Code
	ref                tiles.BatchRef
	shelf              string
	dry, bisque, fired float64
}

// bars of a pair: two of Tern and one of Heron; the last pair has five, which wait to be measured.
func (m *madeUp) barsOf(pair int) (all []barOfYear) {
	sign := string("ABCDEFGHJKLNPQR"[pair])
	tern := tiles.BatchRef{Clay: "tern", Batch: tiles.BatchID("ABCD"[pair/4 : pair/4+1])}
	heron := tiles.BatchRef{Clay: "heron", Batch: "A"}
	more := 0.0
	if pair >= 9 {
		heron.Batch, more = "B", heronShift
	}
	bag := []float64{0, 0.12, -0.08, 0.05}[pair/4]
	all = []barOfYear{{tiles.Code("BQ" + sign), tern, "top", 5.9, 6.5, 13.1 + bag},
		{tiles.Code("BR" + sign), tern, "bottom", 5.9, 6.5, 13.1 + bag},
		{tiles.Code("PT" + sign), heron, "top", 5.4, 6.0, 12.2 + more}}
	if pair == pairsOfYear-1 {
		all = append(all, barOfYear{tiles.Code("PV" + sign), heron, "bottom", 5.4, 6.0, 12.2 + more},
			barOfYear{tiles.Code("BT" + sign), tern, "top", 5.9, 6.5, 13.1 + bag})
	}
	return all
}

// pair makes bars, fires them to bisque and to glaze three days later, and measures them.
func (m *madeUp) pair(ctx context.Context, k kiln.Kiln, pair int, bisque kiln.Stamp) error {
	bars := m.barsOf(pair)
	for _, b := range bars {
		bar := tiles.Bar{Code: b.code, ID: m.d.NewID(), BatchRef: b.ref, Forming: tiles.ThrownRing,
			MarkLength: 100, Marks: 1, By: "KT"}
		if _, err := m.d.store.PutBar(ctx, bar, usecase.Precondition{},
			shifted(bisque, -72*time.Hour)); err != nil {
			return err
		}
		if err := m.read(ctx, b.code, tiles.Wet, 0, shifted(bisque, -71*time.Hour)); err != nil {
			return err
		}
		m.heat[string(b.code)] = m.rng.NormFloat64() * 0.15
		if err := m.read(ctx, b.code, tiles.Dry, b.dry, shifted(bisque, -3*time.Hour)); err != nil {
			return err
		}
	}
	if err := m.burn(ctx, k, bars, bisques[pair%len(bisques)], pair, kiln.Bisque, bisque); err != nil {
		return err
	}
	return m.burn(ctx, k, bars, glazes[pair%len(glazes)], pair, kiln.Glaze, shifted(bisque, 72*time.Hour))
}

// burn packs a load, fires it, and measures what comes out; that of the last glaze waits.
func (m *madeUp) burn(ctx context.Context, k kiln.Kiln, bars []barOfYear, programme string, pair int,
	kind kiln.Kind, at kiln.Stamp) error {
	load := tiles.Load{ID: m.d.NewID(), Kiln: k.ID, Kind: kind, Atmosphere: kiln.Oxidation, PackedBy: "KT",
		Stated: kiln.NoTemperature()}
	for _, b := range bars {
		load.Bars = append(load.Bars, tiles.Placed{Bar: b.code, Shelf: b.shelf})
	}
	if _, err := m.d.store.PutLoad(ctx, load, usecase.Precondition{}, shifted(at, -time.Hour)); err != nil {
		return err
	}
	curve, err := practiceCurve(programme, uint64(100+2*pair))
	if err != nil {
		return err
	}
	length := curve.Programme.Length()
	if err := m.d.play(ctx, k, curve, at, length, load.ID); err != nil {
		return err
	}
	out := shifted(at, length+2*time.Hour)
	if err := m.d.store.CloseLoad(ctx, load.ID, out.Wall, "KT", out); err != nil {
		return err
	}
	stage := tiles.Measures(kind)
	if kind == kiln.Glaze {
		if err := m.agedCones(ctx, load.ID, pair, out); err != nil {
			return err
		}
		if err := m.boardOfYear(ctx, load.ID, pair, shifted(at, -daysOfPair*24*time.Hour), out); err != nil {
			return err
		}
		if pair == pairsOfYear-1 {
			return nil
		}
	}
	for i, b := range bars {
		total := b.bisque
		if kind == kiln.Glaze {
			total = b.fired
		}
		if err := m.read(ctx, b.code, stage, total, shifted(out, time.Duration(i)*time.Minute)); err != nil {
			return err
		}
	}
	return nil
}

// agedCones keeps the pack of three that stood in every other glaze firing: the probe of each kiln reads
// lower by and by.
func (m *madeUp) agedCones(ctx context.Context, load string, pair int, at kiln.Stamp) error {
	if pair%4 > 1 {
		return nil
	}
	l, err := m.d.store.Load(ctx, load)
	if err != nil {
		return err
	}
	tilt := 20 + 5*math.Round(float64(pair)*10/5/2)
	for _, c := range []tiles.ConeSeen{{Cone: "7", Seen: "down"},
		{Cone: "8", Seen: "leaning", Tilt: min(tilt, 85), Tilted: true}, {Cone: "9", Seen: "upright"}} {
		c.ID, c.Firing, c.Series, c.Shelf, c.By =
			m.d.NewID(), l.Firing, string(heatwork.SeriesSelfSupporting),
			"middle", "KT"
		if _, err := m.d.store.PutCone(ctx, c, at); err != nil {
			return err
		}
	}
	return nil
}

// boardOfYear keeps the pot cards of six teapots, or casseroles, thrown for a load, and how their lids sat:
// at first too tight, later well. That of the last load waits.
func (m *madeUp) boardOfYear(ctx context.Context, load string, pair int, made, unpacked kiln.Stamp) error {
	if pair%3 != 2 {
		return nil
	}
	body := m.barsOf(pair)[0].ref
	v := lid.Result{ID: m.d.NewID(), Load: load, Form: []string{"teapot 0.9 l", "casserole 2 l"}[pair%2],
		Maker: "KT", Seat: lid.Inset, Body: body, Lid: body, By: "KT",
		Limits: &lid.Limits{LeastPlay: 1, MostPlay: 2.5, Bearing: 1}}
	gallery := []float64{104.5, 188}[pair%2]
	for i := range 6 {
		card := lid.PotCard{ID: m.d.NewID(), Mark: "KT", Number: fmt.Sprint(200 + 6*(pair/3) + i),
			Form: v.Form, Seat: lid.Inset, Together: shrinkage.InPlace,
			Collar: []tiles.Millimetre{tiles.Millimetre(gallery + math.Round(m.rng.NormFloat64())/2)},
			Stage:  tiles.Wet, Opening: tiles.Millimetre(gallery - 12), Body: body, Lid: body,
			MadeOn: made.Wall.Format(time.DateOnly)}
		card.Set = card.Collar[0] - 2
		card.Measured = card.Set + tiles.Millimetre(math.Round(4*m.rng.NormFloat64())/10)
		if _, err := m.d.store.PutPot(ctx, card, usecase.Precondition{}, made); err != nil {
			return err
		}
		v.Pots = append(v.Pots, card.ID)
	}
	if pair == pairsOfYear-1 {
		return nil
	}
	v.Sat = []lid.Outcomes{{Tight: 3, Good: 3}, {Tight: 1, Good: 4, Loose: 1}, {Good: 5, Loose: 1},
		{Good: 6}}[pair/3]
	v.Plays = []tiles.Millimetre{[]tiles.Millimetre{1.0, 1.4, 1.9, 1.7}[pair/3]}
	_, err := m.d.store.PutLidResult(ctx, v, unpacked)
	return err
}

// newClay makes two bars of Wren, which were marked yesterday.
func (m *madeUp) newClay(ctx context.Context, at kiln.Stamp) error {
	for _, code := range []tiles.Code{"WA", "WB"} {
		bar := tiles.Bar{Code: code, ID: m.d.NewID(), BatchRef: tiles.BatchRef{Clay: "wren", Batch: "A"},
			Forming: tiles.ThrownRing, MarkLength: 100, Marks: 1, By: "KT"}
		if _, err := m.d.store.PutBar(ctx, bar, usecase.Precondition{}, at); err != nil {
			return err
		}
	}
	return m.read(ctx, "WA", tiles.Wet, 0, shifted(at, time.Minute))
}
