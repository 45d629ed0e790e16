package board

import (
	"math"
	"math/bits"
	"math/rand/v2"
	"slices"

	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// boardDraws and searchDraws are how many boards are drawn to tell a chance, and how many of
// them to look for sizes.
const (
	boardDraws  = 4096
	searchDraws = 512
)

// draws are boards as they might come out of the kiln: for each, the fired widths that go on
// each pot, and what a lid thrown to x becomes. They do not depend on the sizes asked about, so
// that all sizes are judged on the same boards.
type draws struct {
	pots, lids int
	low, high  []float64 // [draw][pot], pots of one draw by rising high; a lid fits from low to high
	least      []float64 // smallest low of this pot and those after it
	order      []uint8   // the pot at that place
	factor     []float64 // [draw][lid]: fired width = factor x + offset
	offset     []float64
}

// normalStream gives standard normals through the quantile, so that a stream means the same for ever.
type normalStream struct{ rng *rand.Rand }

// next is the next of the stream.
func (s normalStream) next() float64 {
	u := (float64(s.rng.Uint64()>>11) + 0.5) / (1 << 53)
	return math.Sqrt2 * math.Erfinv(2*u-1)
}

// inTurn are 16 scales of equal weight for those of fitScales.
func inTurn(nu float64) [16]float64 {
	var f [16]float64
	for j := range f {
		f[j] = 1
		if !math.IsInf(nu, 1) {
			nu = max(nu, 1)
			z := math.Sqrt2 * math.Erfinv(2*(float64(j)+0.5)/16-1)
			f[j] = math.Exp(z/math.Sqrt(2*nu) - 0.5/nu)
		}
	}
	return f
}

// drawBoard draws n boards from one fixed stream. pots are the pots' own clearances; spread is the sd
// of pots thrown to a gauge in place of that of a reading (below 0: none).
func drawBoard(n int, pots []lid.Clearance, together shrinkage.Together, spread float64, lids int) draws {
	b := draws{pots: len(pots), lids: lids}
	b.low, b.high, b.least = make([]float64, n*len(pots)), make([]float64, n*len(pots)),
		make([]float64, n*len(pots))
	b.order = make([]uint8, n*len(pots))
	b.factor, b.offset = make([]float64, n*lids), make([]float64, n*lids)
	normal := normalStream{rand.New(rand.NewPCG(14, 1))}
	scale := inTurn(pots[0].Nu)
	shared, ownPot, ownLid := boardSpread(pots[0].Pair, together)
	for k := range n {
		// what all pots and lids of this board share, at one scale of the fit's doubt
		f := scale[k%len(scale)]
		x, y := normal.next(), normal.next()
		body := f * shared[0][0] * x
		lid := f * (shared[1][0]*x + shared[1][1]*y)
		lid += pots[0].Part.NextSD() * normal.next()
		b.drawPots(k, pots, spread, body, normal.next, f*ownPot)
		making := math.Sqrt(pots[0].Making) / pots[0].Left[1] // as thrown
		// each lid as it comes out: its own shrink and its own throw
		for j := range lids {
			left := pots[0].Left[1] * math.Exp(-(lid+f*ownLid*normal.next())/100)
			b.factor[k*lids+j], b.offset[k*lids+j] = left, left*making*normal.next()
		}
	}
	return b
}

// boardSpread is the triangular root of what was fitted and all pots and all lids share (in log-percent), and
// the sds that each has for itself. A place in the kiln that lid and pot share takes itself out.
func boardSpread(p shrinkage.Pair, together shrinkage.Together) (shared shrinkage.Spread2, pot, lid float64) {
	var s shrinkage.Spread2
	for i := range s {
		for j := range s {
			s[i][j] = p.Rate[i][j] + p.Batch[i][j] + p.Load[i][j] + p.Gone[i][j]
		}
	}
	if s[0][0] > 0 {
		shared[0][0] = math.Sqrt(s[0][0])
		shared[1][0] = s[0][1] / shared[0][0]
	}
	shared[1][1] = math.Sqrt(max(s[1][1]-shared[1][0]*shared[1][0], 0))
	pot, lid = p.Piece[0][0], p.Piece[1][1]
	if together != shrinkage.InPlace {
		pot, lid = pot+p.Position[0][0], lid+p.Position[1][1]
	}
	return shared, math.Sqrt(pot), math.Sqrt(lid)
}

// drawPots draws the pots of board k: what each came out as, and from that which lids fit it.
func (b *draws) drawPots(k int, pots []lid.Clearance, spread, body float64,
	normal func() float64, own float64) {
	n := len(pots)
	at := k * n
	low, high, order := b.low[at:at+n], b.high[at:at+n], b.order[at:at+n]
	for i := range pots {
		p := &pots[i]
		grown := math.Exp(-(body + own*normal()) / 100)
		var width [lid.MostDirections]float64
		for j, w := range p.Widths {
			sd := math.Sqrt(p.WidthVars[j])
			if spread >= 0 {
				sd = spread * p.Left[0]
			}
			width[j] = (w + sd*normal()) * grown
		}
		least, most, _ := p.Bounds()
		first, other := width[p.First], width[p.Other]
		// the fired widths of a lid that fits this pot
		low[i], high[i] = first-most-p.Glaze, first-least-p.Glaze
		if !p.Inner {
			low[i], high[i] = first+least+p.Glaze, min(first, other)+most+p.Glaze
		} else if p.Opening > 0 {
			opening := (p.Opening + p.OpeningSD*normal()) * grown
			low[i] = max(low[i], (other+opening)/2+p.Bearing)
		}
		order[i] = uint8(i)
	}
	slices.SortFunc(order, func(i, j uint8) int {
		if high[i] < high[j] {
			return -1
		}
		return 1
	})
	var l, h [64]float64
	for place, i := range order {
		l[place], h[place] = low[i], high[i]
	}
	copy(low, l[:n])
	copy(high, h[:n])
	least := math.Inf(1)
	for place := n - 1; place >= 0; place-- {
		least = min(least, low[place])
		b.least[at+place] = least
	}
}

// pairs is the largest number of pots of board k that these lids can go on. Windows are intervals
// of a line, so that the greedy way is a best one: lids by rising width, each to the free pot
// whose window ends first.
func (b *draws) pairs(k int, fired []float64) int {
	at := k * b.pots
	low, high, least := b.low[at:at+b.pots], b.high[at:at+b.pots], b.least[at:at+b.pots]
	free := uint64(1)<<b.pots - 1
	n := 0
	for _, l := range fired {
		for free != 0 && high[bits.TrailingZeros64(free)] < l {
			free &= free - 1
		}
		for left := free; left != 0; left &= left - 1 {
			i := bits.TrailingZeros64(left)
			if least[i] > l {
				break
			}
			if low[i] <= l {
				free &^= 1 << i
				n++
				break
			}
		}
	}
	return n
}

// judge tells how many pots get a lid, and how often all do, over the first n boards, for lids
// thrown to these widths (rising).
func (b *draws) judge(widths []float64, n int) (pairs, all float64) {
	var fired [64]float64
	total, whole := 0, 0
	for k := range n {
		at := k * b.lids
		for j, x := range widths {
			l := b.factor[at+j]*x + b.offset[at+j]
			i := j
			for ; i > 0 && fired[i-1] > l; i-- {
				fired[i] = fired[i-1]
			}
			fired[i] = l
		}
		p := b.pairs(k, fired[:len(widths)])
		total += p
		if p == b.pots {
			whole++
		}
	}
	return float64(total) / float64(n), float64(whole) / float64(n)
}

// oneToOne is how often every pot is fitted by the lid thrown for it alone.
func (b *draws) oneToOne(own []float64) float64 {
	lid := make([]int, len(own))
	for i := range lid {
		lid[i] = i
	}
	return b.kept(own, lid)
}

// kept is how often every pot i is fitted by the lid lid[i], thrown to width[lid[i]].
func (b *draws) kept(width []float64, lid []int) float64 {
	n := len(b.order) / b.pots
	all := 0
boards:
	for k := range n {
		for place, i := range b.order[k*b.pots : (k+1)*b.pots] {
			j := lid[i]
			l := b.factor[k*b.lids+j]*width[j] + b.offset[k*b.lids+j]
			if l < b.low[k*b.pots+place] || l > b.high[k*b.pots+place] {
				continue boards
			}
		}
		all++
	}
	return float64(all) / float64(n)
}
