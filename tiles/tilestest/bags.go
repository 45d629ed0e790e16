package tilestest

import "lidwright/tiles"

// TwoBags are two bags of clay 0 of which the second loses more in drying, log-percent, and is otherwise the
// same; they have no bars yet.
func (m *Made) TwoBags(more float64) (first, second tiles.BatchRef) {
	first, second = m.batch(0, 98), m.batch(0, 99)
	d := m.batches[first]
	m.batches[second] = [2]float64{d[0] + more, d[1]}
	return first, second
}

// FireBags is the studio with so many more bars of each of these bags: those of a bag in a load of their own,
// or all in one.
func (m *Made) FireBags(bars int, oneLoad bool, bags ...tiles.BatchRef) {
	p := m.LoadPair()
	for i, ref := range bags {
		if i > 0 && !oneLoad {
			p = m.LoadPair()
		}
		for range bars {
			m.addBatchBar(0, ref, p)
		}
	}
}
