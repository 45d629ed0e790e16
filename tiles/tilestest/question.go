package tilestest

import (
	"math"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Question is one piece of clay 0 still to be made and fired, and what came of it.
type Question struct {
	Ask    shrinkage.Ask // from wet, at the recorded heat
	Total  float64       // what the piece lost from wet to fired, log-percent
	Rate   float64       // what its batch loses on average at the recorded heat, log-percent
	NewBag bool          // its batch is one that nobody has measured
}

// Question makes a piece that nobody has measured: a new pair of loads, asked at its recorded
// heat; the batch new with even odds, else the row's last.
func (m *Made) Question() Question {
	p := m.LoadPair()
	ref, newBag := m.last, m.rng.Float64() < 0.5
	if newBag {
		ref = m.batch(0, 1000+m.loads)
	}
	q := m.fire(0, ref, p, m.places())
	c, d := m.clays[0], m.batches[ref]
	ripe := math.Min(1, m.handbookSlope(p.Glaze)/m.handbookSlope(m.matures))
	return Question{
		NewBag: newBag,
		Ask: shrinkage.Ask{BatchRef: ref, Stage: tiles.Wet, Work: kiln.Celsius(p.Glaze),
			BisqueWork: kiln.Celsius(p.Bisque), Kind: kiln.Glaze},
		Total: q.drying + q.fired,
		Rate:  c.drying + d[0] + c.firing(p.Glaze) + d[1]*ripe,
	}
}
