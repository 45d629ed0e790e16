package tilestest

import "lidwright/tiles"

// Body is what is true of a body that many studios buy.
type Body struct {
	curve   trueClay
	Matures float64 // °C
}

// DrawBody draws body number n of a seed, in the world of o.
func DrawBody(seed, n uint64, o Options) Body {
	m := begin(seed, n, o)
	m.matures = 1222
	return Body{m.drawClay(), m.matures}
}

// Way is how one studio's bars of a body come out otherwise than others'.
type Way struct {
	Drying float64 // log-percent that it loses more: how it wedges, dries, measures
	Heat   float64 // °C that its controller reads too high
}

// Buyer makes a studio whose clay 0 is b in its own way.
func (b Body) Buyer(seed, n uint64, o Options, way Way) *Made {
	m := begin(seed, n, o)
	m.matures = b.Matures
	m.drawClays(4)
	m.clays[0] = b.curve
	m.clays[0].drying += way.Drying
	m.clays[0].centre += way.Heat
	m.clays[0].bloat += way.Heat
	m.history()
	return m
}

// Total is what is true of clay 0 where it matures, log-percent wet to fired: of the clay itself, and of its
// last batch.
func (m *Made) Total() (clay, batch tiles.LogPercent) {
	c, d := m.clays[0], m.batches[m.last]
	total := c.drying + c.firing(m.matures)
	return tiles.LogPercent(total), tiles.LogPercent(total + d[0] + d[1])
}

// LastBatch is the last batch of clay 0.
func (m *Made) LastBatch() tiles.BatchRef { return m.last }
