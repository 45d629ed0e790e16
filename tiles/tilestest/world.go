package tilestest

import (
	"math"

	"lidwright/tiles"
)

// World is what is true of a studio's clays, loads and readers. None of them is of the fit's own making
// throughout; a range or a question that holds in all of them rests on no single supposition.
type World string

// Worlds that are simulated. All sds and shares are our own: no source.
const (
	// Handbook has the sds that the fit begins at, logistic curves of other widths, and bodies that bloat.
	Handbook World = ""
	// OtherSDs has curves of the fit's own family (width 35 °C and a Matern 5/2 departure), but other sds:
	// reading, position, load and the drying of batches 1.6 times the handbook's, pieces and the firing of
	// batches 0.6 times.
	OtherSDs World = "other sds"
	// LongTails has Gompertz curves, which begin steeply and end slowly; errors of Student's t with 3 df and
	// the same sds; readings to the half millimetre, by calliper too; loads of which four in a row, bisque
	// and glaze alike, share 70 % of their error; batches of which one in four jumps by 0.8 log-percent (one
	// sd).
	LongTails World = "long tails"
	// Outsiders has bodies outside the handbook: a third fine (drying 8.5), a third groggy (drying 3.5),
	// their firing shrink anywhere from 2 to 12, their cone misstated by 40 °C (one sd); three readers, each
	// with a habit of 0.2 mm (one sd); load errors that go over from load to load by 0.8; one bisque or fired
	// reading in 50 taken of a bar that is not so far yet, which counts as a slip.
	Outsiders World = "outsiders"
)

// Worlds are the three that differ from Handbook and from one another.
func Worlds() []World { return []World{OtherSDs, LongTails, Outsiders} }

// sds are the medians of a studio's: reading mm, piece, position °C, batch drying, batch firing, load °C.
func (w World) sds() [6]float64 {
	if w == OtherSDs {
		return [6]float64{0.24, 0.12, 8, 0.40, 0.15, 11}
	}
	return [6]float64{0.15, 0.20, 5, 0.25, 0.25, 7}
}

// wave is one part of a random departure from a curve.
type wave struct{ high, turn, phase float64 }

// drawClay draws the truth of one clay.
func (m *Made) drawClay() trueClay {
	switch m.options.World {
	case OtherSDs:
		return trueClay{width: 35, centre: m.matures - 35 + m.normal(0, 20),
			amplitude: math.Max(1, m.normal(6.5, 2.5)),
			foot:      math.Max(0, m.normal(0.5, 0.6)), drying: m.normal(6.0, 1.3), bloat: math.Inf(1),
			waves: m.drawWaves(0.35, 60)}
	case LongTails:
		c := m.drawLogistic(0.3, 15, 0.3)
		// as wide from a quarter to three quarters of the rise as the logistic, and half up at its centre
		c.gompertz = true
		c.width *= 1.4
		c.centre -= 0.3665 * c.width
		return c
	case Outsiders:
		c := m.drawLogistic(0.5, 40, 0.5)
		c.amplitude = min(max(c.amplitude, 2), 12)
		switch m.rng.IntN(3) {
		case 0:
			c.drying = m.normal(8.5, 0.7)
		case 1:
			c.drying = m.normal(3.5, 0.7)
		}
		return c
	}
	return m.drawLogistic(0.3, 15, 0.3)
}

// drawLogistic draws a clay whose width and amplitude scatter by these factors, its centre by off °C (one
// sd).
func (m *Made) drawLogistic(width, off, amplitude float64) (c trueClay) {
	c.width = 35 * math.Exp(m.normal(0, width))
	c.centre = m.matures - 35 + m.normal(0, off)
	c.amplitude = 6.5 * math.Exp(m.normal(0, amplitude))
	c.foot = math.Max(0, m.normal(0.5, 0.4))
	c.drying = m.normal(6.0, 1.2)
	c.bloat = c.centre + 2.2*c.width + math.Abs(m.normal(0, 20))
	return c
}

// drawWaves draws a departure of this sd with the Matern 5/2 covariance of this range, °C, as twelve cosines
// whose frequencies follow its spectrum, a t distribution with 5 df (Rahimi and Recht, Random Features for
// Large-Scale Kernel Machines, 2007; Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006,
// eq. 4.15).
func (m *Made) drawWaves(sd, distance float64) []wave {
	out := make([]wave, 12)
	for i := range out {
		out[i] = wave{sd * math.Sqrt(2/float64(len(out))), m.student(5) / distance,
			2 * math.Pi * m.rng.Float64()}
	}
	return out
}

// student draws from Student's t.
func (m *Made) student(df int) float64 {
	squares := 0.0
	for range df {
		z := m.rng.NormFloat64()
		squares += z * z
	}
	return m.rng.NormFloat64() / math.Sqrt(squares/float64(df))
}

// error draws one error of this sd: normal, or with long tails.
func (m *Made) error(sd float64) float64 {
	if m.options.World == LongTails {
		return sd * m.student(3) / math.Sqrt(3)
	}
	return m.normal(0, sd)
}

// batchDiffers draws by how much one batch differs from its clay.
func (m *Made) batchDiffers(sd float64) float64 {
	d := m.normal(0, sd)
	if m.options.World == LongTails && m.rng.Float64() < 0.25 {
		d += m.normal(0, 0.8)
	}
	return d
}

// loadErrors are what goes over from one pair of loads to the next, °C.
type loadErrors struct{ shared, bisque, glaze float64 }

// loadErrors draws how much hotter a bisque and a glaze load were than recorded, °C.
func (m *Made) loadErrors() (bisque, glaze float64) {
	e, sd := &m.errors, m.sds[5]
	switch m.options.World {
	case LongTails:
		if (m.loads-1)%4 == 0 {
			e.shared = m.error(sd)
		}
		const shared = 0.7
		own := sd * math.Sqrt(1-shared*shared)
		return shared*e.shared + m.error(own), shared*e.shared + m.error(own)
	case Outsiders:
		return m.goesOver(0.8)
	}
	if over := m.options.Over; over > 0 {
		return m.goesOver(over)
	}
	return m.normal(0, sd), m.normal(0, sd)
}

// goesOver draws errors of which a share goes over from the load pair before.
func (m *Made) goesOver(over float64) (bisque, glaze float64) {
	e, sd := &m.errors, m.sds[5]
	if m.loads == 1 {
		e.bisque, e.glaze = m.normal(0, sd), m.normal(0, sd)
	} else {
		fresh := sd * math.Sqrt(1-over*over)
		e.bisque, e.glaze = over*e.bisque+m.normal(0, fresh), over*e.glaze+m.normal(0, fresh)
	}
	return e.bisque, e.glaze
}

// drawReaders draws the habits of readers, in the world that has them.
func (m *Made) drawReaders() {
	if m.options.World == Outsiders {
		m.habits = []float64{m.normal(0, 0.2), m.normal(0, 0.2), m.normal(0, 0.2)}
	}
}

// read is what a reader sees of a true length of bar number n, mm.
func (m *Made) read(length float64, n int) (read float64, tool string, step tiles.Millimetre, by string) {
	tool, per, sd := "calliper", 10.0, m.sds[0]
	if m.options.Rules && n%2 == 1 {
		tool, per, sd = "rule", 2, 0.5
	}
	step = tiles.Millimetre(1 / per)
	if m.options.World == LongTails {
		per = 2 // by calliper too, which still says its own step
	}
	length += m.error(sd)
	if len(m.habits) > 0 {
		i := m.rng.IntN(len(m.habits))
		length += m.habits[i]
		by = string(rune('P' + i))
	}
	return math.Round(length*per) / per, tool, step, by
}

// misread reports whether a reading is taken of a bar that is not so far yet.
func (m *Made) misread() bool {
	return m.options.World == Outsiders && !m.options.NoSlips && m.rng.Float64() < 0.02
}
