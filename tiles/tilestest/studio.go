// Package tilestest makes up studios: clays whose true curves are known, bars, loads and
// slips, to see whether a fit's ranges hold.
//
// In flow a seed, a World, which says how a studio differs from what the fit supposes, and how many bars and
// loads there are; out flow a shrinkage.Studio and the truth beside it. What is fixed is the distribution,
// not the order of draws.
//
// It is for tests alone; its clays belong to nobody.
package tilestest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Row is a history of the clay asked about: bars in each of its load pairs.
type Row string

// Rows that are simulated.
const (
	None     Row = "0"
	One      Row = "1"
	Three    Row = "3"
	ThreeOne Row = "3x1"
	Ten      Row = "10"
	Thirty   Row = "30"
	Hundred  Row = "100"
)

// Bars in each load pair of the clay asked about.
func (r Row) Bars() []int {
	repeat := func(n, loads int) []int {
		out := make([]int, loads)
		for i := range out {
			out[i] = n
		}
		return out
	}
	switch r {
	case None:
		return nil
	case One:
		return []int{1}
	case Three:
		return []int{3}
	case ThreeOne:
		return repeat(1, 3)
	case Ten:
		return []int{3, 3, 2, 2}
	case Thirty:
		return repeat(3, 10)
	}
	return repeat(4, 25)
}

// Options of a studio.
type Options struct {
	Row     Row     // history of the clay asked about
	World   World   // what is true of its clays, loads and readers; empty: Handbook
	Larger  float64 // all true sds so many times the drawn ones; 0: once
	NoSlips bool    // no reading is falsified and no stage misread
	Whole   bool    // every bar is read at every stage
	Stated  bool    // each bag states the total at the maturing point, 0.8 points off (one sd), to the half
	Steady  bool    // loads differ from their record by 2 °C (one sd), not by the drawn sd
	Rules   bool    // every second bar is read with a steel rule: 0.5 mm (one sd), to the half millimetre
	// share of a load pair's error that goes over to the next, in any world but LongTails and Outsiders
	Over  float64
	Drift float64 // °C by which the last four glaze firings were hotter than recorded, beside their scatter
}

// Made is a studio with what only its maker knows.
type Made struct {
	shrinkage.Studio
	Slips []Slip // every reading that was falsified

	rng     *rand.Rand
	sds     [6]float64 // reading mm, piece, position °C, batch drying, batch firing, load °C
	matures float64
	clays   []trueClay
	batches map[tiles.BatchRef][2]float64
	options Options
	loads   int
	bars    int
	last    tiles.BatchRef // last batch of clay 0
	errors  loadErrors
	habits  []float64 // of each reader, mm
}

// Truth is a handbook that knows the true sds and will not be moved from them.
func (m *Made) Truth() *shrinkage.Handbook {
	h := shrinkage.UsualHandbook()
	h.Reading, h.Piece, h.Position, h.BatchDrying, h.BatchFiring, h.Load =
		tiles.Millimetre(m.sds[0]), m.sds[1], m.sds[2], m.sds[3], m.sds[4], m.sds[5]
	h.Spread = 0.01
	return &h
}

// Slip is one reading that was falsified.
type Slip struct {
	// its id
	Reading string
	// how much was added to it
	By tiles.Millimetre
}

// trueClay is the truth of one clay: its curve, and what it loses in drying, log-percent and °C.
type trueClay struct {
	width, centre, amplitude, foot, drying, bloat float64
	waves                                         []wave // beside the curve
	gompertz                                      bool
}

// firing is the true curve F(h) in log-percent.
func (c trueClay) firing(h float64) float64 {
	over, z := math.Max(0, h-c.bloat), (h-c.centre)/c.width
	risen := 1 / (1 + math.Exp(-z))
	if c.gompertz {
		risen = math.Exp(-math.Exp(-z))
	}
	f := c.foot + c.amplitude*risen - 3e-4*over*over
	for _, w := range c.waves {
		f += w.high * math.Cos(w.turn*h+w.phase)
	}
	return f
}

// LoadPair is one bisque and one glaze firing of the same pieces.
type LoadPair struct {
	name                  string
	Bisque, Glaze         float64 // recorded heat work
	trueBisque, trueGlaze float64
}

// piece is what is true of one piece: its drying and its places in the kiln.
type piece struct{ drying, bisque, fired float64 }

// began is the beginning of every studio's record.
var began = time.Date(2026, 1, 5, 9, 0, 0, 0, time.UTC)

// ClayName of a clay; 0 is the one asked about. The names are made up.
func ClayName(i int) tiles.ClayID {
	names := [...]tiles.ClayID{"tern", "knot", "dunlin", "ruff"}
	if i < len(names) {
		return names[i]
	}
	return tiles.ClayID(fmt.Sprintf("clay-%02d", i))
}

// Make makes studio number n of a seed.
func Make(seed, n uint64, o Options) *Made {
	m := begin(seed, n, o)
	m.matures = [...]float64{1190, 1222, 1222, 1250, 1290}[m.rng.IntN(5)]
	m.drawClays(4)
	m.history()
	return m
}

// Large makes a studio for timing: bars bars in pairs of loads of 20, of up to 15 clays and
// seven batches of each.
func Large(seed uint64, bars int) *Made {
	m := begin(seed, 0, Options{})
	m.matures = 1222
	m.drawClays(min(15, 3+bars/60))
	var p LoadPair
	pairs := (bars + 19) / 20
	for i := range bars {
		if i%20 == 0 {
			p = m.LoadPair()
		}
		pair := i / 20
		clay := (pair + (i%20)/5*7) % len(m.clays) // four clays a load, five bars of each
		m.addBar(clay, pair*7/pairs, p)
	}
	m.last = m.batch(0, 0)
	return m
}

// begin draws the true sds and the readers of studio number n of a seed.
func begin(seed, n uint64, o Options) *Made {
	m := &Made{rng: rand.New(rand.NewPCG(seed, n)), options: o, batches: map[tiles.BatchRef][2]float64{}}
	for i, h := range o.World.sds() {
		m.sds[i] = h * math.Exp(m.normal(0, 0.4))
		if o.Larger > 0 {
			m.sds[i] *= o.Larger
		}
	}
	if o.Steady {
		m.sds[5] = 2
	}
	m.drawReaders()
	return m
}

// drawClays draws n clays and lists them, with what their bags say.
func (m *Made) drawClays(n int) {
	m.clays = make([]trueClay, n)
	for i := range m.clays {
		m.clays[i] = m.drawClay()
		c := tiles.Clay{ID: ClayName(i), Name: string(ClayName(i)), Matures: kiln.Celsius(m.matures)}
		if m.options.Stated {
			total := m.clays[i].drying + m.clays[i].firing(m.matures)
			c.Stated = tiles.Ratio(math.Round(2*m.normal(100*(1-math.Exp(-total/100)), 0.8)) / 200)
		}
		m.Clays = append(m.Clays, c)
	}
}

// normal draws one normal.
func (m *Made) normal(mean, sd float64) float64 { return mean + sd*m.rng.NormFloat64() }

// history fires the bars of all clays.
func (m *Made) history() {
	own := m.options.Row.Bars()
	pairs := max(6, len(own))
	for i := range pairs {
		p := m.LoadPair()
		if i >= pairs-4 {
			p.trueGlaze += m.options.Drift
		}
		for c := 1; c < 4; c++ {
			if m.rng.Float64() < 0.6 {
				for range 2 {
					m.addBar(c, i/4, p)
				}
			}
		}
		if j := i - (pairs - len(own)); j >= 0 {
			for range own[j] {
				m.addBar(0, j/4, p)
			}
			m.last = m.batch(0, j/4)
		}
	}
	if len(own) == 0 {
		m.last = m.batch(0, 0)
	}
}

// LoadPair draws the next bisque and glaze firing.
func (m *Made) LoadPair() LoadPair {
	off := [...]float64{0, 0, 0, -25, -25, 15}[m.rng.IntN(6)]
	p := LoadPair{name: fmt.Sprintf("%04d", m.loads), Bisque: m.normal(1000, 6),
		Glaze: m.normal(m.matures+off, 6)}
	m.loads++
	bisque, glaze := m.loadErrors()
	p.trueBisque, p.trueGlaze = p.Bisque+bisque, p.Glaze+glaze
	return p
}

// batch names batch n of a clay and draws its differences when it is first met.
func (m *Made) batch(clay, n int) tiles.BatchRef {
	ref := tiles.BatchRef{Clay: ClayName(clay), Batch: tiles.BatchID(fmt.Sprint("B", n))}
	if _, known := m.batches[ref]; !known {
		m.batches[ref] = [2]float64{m.batchDiffers(m.sds[3]), m.batchDiffers(m.sds[4])}
		m.Batches = append(m.Batches, tiles.Batch{BatchRef: ref, Kind: tiles.Bought, Open: true,
			Made: began.Add(time.Duration(n) * time.Hour)})
	}
	return ref
}

// handbookSlope of the firing curve, log-percent per °C.
func (m *Made) handbookSlope(h float64) float64 {
	s := 1 / (1 + math.Exp(-(h-m.matures+35)/35))
	return 6.5 * s * (1 - s) / 35
}

// places draws where in the kiln a piece stood, for both firings.
func (m *Made) places() [2]float64 { return [2]float64{m.error(m.sds[2]), m.error(m.sds[2])} }

// fire is one new piece of a batch through a pair of loads.
func (m *Made) fire(clay int, ref tiles.BatchRef, p LoadPair, at [2]float64) piece {
	c, d := m.clays[clay], m.batches[ref]
	ripe := math.Min(1, m.handbookSlope(p.trueGlaze)/m.handbookSlope(m.matures))
	return piece{
		drying: c.drying + d[0] + m.error(m.sds[1]),
		bisque: c.firing(p.trueBisque + at[0]),
		fired:  c.firing(p.trueGlaze+at[1]) + d[1]*ripe,
	}
}

// NextBar is one more bar of a clay and batch, in the next pair of loads. It stands beside the studio,
// not in it.
func (m *Made) NextBar(clay, batch int) tiles.Bar {
	m.addBar(clay, batch, m.LoadPair())
	b := m.Bars[len(m.Bars)-1]
	m.Bars = m.Bars[:len(m.Bars)-1]
	return b
}

// addBar makes a bar, fires it and reads it.
func (m *Made) addBar(clay, batch int, p LoadPair) { m.addBatchBar(clay, m.batch(clay, batch), p) }

// addBatchBar makes a bar of a batch, fires it in a pair of loads and reads it: each stage with the
// reader's error, some of them left out, some falsified.
func (m *Made) addBatchBar(clay int, ref tiles.BatchRef, p LoadPair) {
	q := m.fire(clay, ref, p, m.places())
	n := m.bars
	m.bars++
	bisqued := began.Add(time.Duration(m.loads) * 7 * 24 * time.Hour)
	glazed := bisqued.Add(3 * 24 * time.Hour)
	b := tiles.Bar{Code: tiles.Code(fmt.Sprintf("%05d", n)), ID: fmt.Sprintf("bar-%05d", n), BatchRef: ref,
		Forming: tiles.ThrownRing, MarkLength: 100, Marks: 1,
		Firings: []tiles.Heat{
			{Load: "bisque-" + p.name, Kind: kiln.Bisque, Kiln: "big-blue",
				Work: kiln.Celsius(p.Bisque), At: bisqued},
			{Load: "glaze-" + p.name, Kind: kiln.Glaze, Kiln: "big-blue",
				Work: kiln.Celsius(p.Glaze), At: glazed},
		}}
	wet := 100 * math.Exp(m.normal(0, 0.002))
	stages := []struct {
		stage tiles.Stage
		part  float64
		keep  float64
		at    time.Time
	}{{tiles.Wet, -q.drying, 1, bisqued.Add(-72 * time.Hour)},
		{tiles.Dry, 0, 0.6, bisqued.Add(-24 * time.Hour)},
		{tiles.Biscuit, q.bisque, 0.4, bisqued.Add(time.Hour)},
		{tiles.Fired, q.fired, 1, glazed.Add(time.Hour)}}
	first := 0.0
	for i, s := range stages {
		real := func(part float64) float64 { return wet * math.Exp(-(q.drying+part)/100) }
		read, tool, step, by := m.read(real(s.part), n)
		if i == 0 && m.rng.Float64() < 0.5 {
			read = 100
		}
		slip := 0.0
		if m.rng.Float64() < 0.015 && !m.options.NoSlips {
			slip = [...]float64{10, -10, 5, -5, 1, -1, 0.9, -0.9}[m.rng.IntN(8)]
		} else if i > 1 && m.misread() {
			slip = real(stages[i-1].part) - real(s.part)
		}
		read += slip
		kept := m.rng.Float64() < s.keep || m.options.Whole
		if i == 0 {
			first = read
		} else if r := read / first; r < 0.72 || r > 1.01 {
			kept = false
		}
		if !kept {
			continue
		}
		id := fmt.Sprintf("%s-%s", b.ID, s.stage)
		if slip != 0 {
			m.Slips = append(m.Slips, Slip{id, tiles.Millimetre(slip)})
		}
		b.Readings = append(b.Readings, tiles.Reading{ID: id, Bar: b.Code, Mark: 1, Stage: s.stage,
			Length: tiles.Millimetre(read),
			Unit:   "mm", AsTyped: fmt.Sprintf("%.1f", read), Instrument: tool, Step: step, By: by,
			At: s.at, Trusted: true})
	}
	m.Bars = append(m.Bars, b)
}
