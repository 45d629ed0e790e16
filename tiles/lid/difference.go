package lid

import (
	"cmp"
	"math"
	"slices"

	"lidwright/tiles"
)

// DifferenceGroup is what a lid difference belongs to: a form, its two clays, and who threw it.
type DifferenceGroup struct {
	Form      string       // as people call it
	Body, Lid tiles.ClayID // clay of the pot, and of the lid
	Maker     string       // empty: not told
}

// ComparedResult is one board of lids as it sat, beside what the fit expected of it without any part
// difference. All lengths are fired, in mm.
type ComparedResult struct {
	Group  DifferenceGroup    // whose difference it teaches
	Sat    Outcomes           // how its lids sat
	Plays  []tiles.Millimetre // measured; each stands in place of one that was counted
	Play   tiles.Millimetre   // expected of a lid of this board
	OwnSD  tiles.Millimetre   // of each lid
	SameSD tiles.Millimetre   // of all lids of this board together, and of no other board
	// of lids less bodies, by what is not known of the rates: the same on every board
	RateSD tiles.LogPercent
	Lid    tiles.Millimetre // width of a lid
	Ledge  tiles.Millimetre // (collar - opening)/2; NaN: none
	Limits Limits           // in force when it was judged
}

// Looked is how many lids of s somebody looked at.
func (s Outcomes) Looked() int { return s.Lids() - s.NotLookedAt }

// Tells reports whether the board may teach: at least half of its lids were looked at. Of a board
// of which only some were told, those tend to be the failures.
func (b ComparedResult) Tells() bool { return b.Sat.Looked() > 0 && 2*b.Sat.Looked() >= b.Sat.Lids() }

// The grid of lid differences, in log-percent, and the beliefs before any lid (own; the split
// between potter and form assumed).
const (
	partStep   = 0.02
	partPoints = 301 // -3 to 3
	siteSD     = 0.35
	formSD     = 0.20
	outcomeSD  = 0.15  // mm: blur of the limit of an outcome, and of a play measured on the fired pair
	leastPart  = 1e-12 // an impossible outcome must not outweigh the rest
)

// boardSDs are how far the boards of a form may differ among themselves beyond what is known of their loads,
// log-percent, each with the belief in it before any lid (own): mostly not at all. Boards that contradict one
// another make the larger ones likely, and then no single answer is as sure as their lids are many.
var boardSDs = [...]struct{ sd, belief float64 }{{0, 0.95}, {0.2, 0.02}, {0.4, 0.015}, {0.7, 0.01},
	{1.1, 0.005}}

// partAt is the lid difference at a point of the grid, log-percent.
func partAt(i int) float64 { return partStep * float64(i-partPoints/2) }

// Differences are the lid differences of a site, learned from how its lids sat.
type Differences struct {
	groups map[DifferenceGroup]*partGroup
	left   int // boards left out
	site   []float64
}

// partGroup is what the boards of one group told.
type partGroup struct {
	// log likelihood on the grid for each of boardSDs, of the lid difference and the error of the rates in
	// one
	log    [len(boardSDs)][]float64
	smooth []float64 // what it tells of the site
	fits   int
	rate   float64 // sum of the variances of the rates' error over the boards, log-percent²
	boards float64
}

// rateSD is how far the rates may be off in what its boards saw, log-percent.
func (g *partGroup) rateSD() float64 { return math.Sqrt(g.rate / max(g.boards, 1)) }

// LearnDifferences learns anew from every board that tells. It has no state of its own: without a struck
// board it gives what it would have given had that never been.
func LearnDifferences(boards []ComparedResult) Differences {
	p := Differences{groups: map[DifferenceGroup]*partGroup{}}
	for _, b := range boards {
		p.add(b)
	}
	p.settle()
	return p
}

// add takes one board in; settle must follow before anything is asked.
func (p *Differences) add(b ComparedResult) {
	if !b.Tells() {
		p.left++
		return
	}
	g := p.groups[b.Group]
	if g == nil {
		g = &partGroup{}
		for k := range g.log {
			g.log[k] = make([]float64, partPoints)
		}
		p.groups[b.Group] = g
	}
	b.addTo(&g.log)
	g.fits += b.Sat.Looked()
	g.rate, g.boards = g.rate+square(float64(b.RateSD)), g.boards+1
	g.smooth, p.site = nil, nil
}

// settle works out what the groups tell of the site.
func (p *Differences) settle() {
	if p.site != nil {
		return
	}
	p.site = make([]float64, partPoints)
	for i := range p.site {
		p.site[i] = -square(partAt(i)/siteSD) / 2
	}
	for _, k := range p.sorted() {
		g := p.groups[k]
		if g.smooth == nil {
			g.smooth = smoothed(overBoards(g.log), math.Hypot(formSD, g.rateSD()))
		}
		for i, l := range g.smooth {
			p.site[i] += l
		}
	}
}

// sorted gives the groups in one order, so that the same boards give the same answer.
func (p Differences) sorted() []DifferenceGroup {
	keys := make([]DifferenceGroup, 0, len(p.groups))
	for k := range p.groups {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b DifferenceGroup) int {
		return cmp.Or(cmp.Compare(a.Form, b.Form), cmp.Compare(a.Body, b.Body), cmp.Compare(a.Lid, b.Lid),
			cmp.Compare(a.Maker, b.Maker))
	})
	return keys
}

// Move is what one board changed: the lid difference of its group before it and after it, log-percent.
// what the group's difference was, and what it is
type Move struct{ Before, After tiles.LogPercent }

// Moves is what each of the last most boards of a form changed, by its place among boards, which stand in the
// order in which they were told. Boards of other forms teach too; a board that does not tell changes nothing.
func Moves(boards []ComparedResult, form string, most int) map[int]Move {
	first := len(boards) // of those that are asked for
	for left := most; first > 0 && left > 0; {
		if first--; boards[first].Group.Form == form {
			left--
		}
	}
	p, moves := LearnDifferences(boards[:first]), map[int]Move{}
	for i, b := range boards[first:] {
		if b.Group.Form != form {
			p.add(b)
			continue
		}
		p.settle()
		before := p.Of(b.Group).Mean
		p.add(b)
		p.settle()
		moves[first+i] = Move{before, p.Of(b.Group).Mean}
	}
	return moves
}

// LeftOut is the number of boards that were shown and not learned from, since most of their lids
// were not looked at.
func (p Differences) LeftOut() int { return p.left }

// Groups are all that something was learned of.
func (p Differences) Groups() []DifferenceGroup { return p.sorted() }

// Of is the difference of a group: how lids and bodies really differ and by how much the rates of the two
// are off, in one, since boards of the same clays cannot tell one from the other. Without a maker it is that
// of all makers of the form. A group without boards leans on the others and has nothing of the rates in it;
// without any board at all it is 0 with a sd of 0.40.
func (p Differences) Of(g DifferenceGroup) Difference {
	var own [len(boardSDs)][]float64
	for k := range own {
		// this group's own boards, for each way in which boards may differ
		own[k] = make([]float64, partPoints)
	}
	site := slices.Clone(p.site)
	if len(site) == 0 {
		site = LearnDifferences(nil).site
	}
	var d Difference
	var rate, boards float64
	for _, k := range p.sorted() {
		if k.Form != g.Form || k.Body != g.Body || k.Lid != g.Lid || g.Maker != "" && k.Maker != g.Maker {
			continue
		}
		known := p.groups[k]
		d.Fits += known.fits
		rate, boards = rate+known.rate, boards+known.boards
		for i, l := range known.smooth { // the site without this group
			site[i] -= l
			for k := range own {
				own[k][i] += known.log[k][i]
			}
		}
	}
	if boards > 0 {
		d.RateSD = tiles.LogPercent(math.Sqrt(rate / boards))
	}
	// what the other groups tell of the site stands before them as a prior
	for i, l := range smoothed(site, math.Hypot(formSD, float64(d.RateSD))) {
		for k := range own {
			own[k][i] += l
		}
	}
	// mean, sd and range of the posterior on the grid
	weight := unlog(overBoards(own))
	if boards > 0 {
		d.BoardSD = tiles.LogPercent(boardSD(own))
	}
	var sum, mean, square2 float64
	for i, w := range weight {
		sum, mean, square2 = sum+w, mean+w*partAt(i), square2+w*partAt(i)*partAt(i)
	}
	mean /= sum
	d.Mean, d.SD = tiles.LogPercent(mean), tiles.LogPercent(math.Sqrt(max(square2/sum-mean*mean, 0)))
	d.Low, d.High = partQuantile(weight, sum*(1-tiles.LikelyLevel)/2),
		partQuantile(weight, sum*(1+tiles.LikelyLevel)/2)
	return d
}

// overBoards is the log likelihood on the grid, whatever the boards differ by.
func overBoards(log [len(boardSDs)][]float64) []float64 {
	out := make([]float64, partPoints)
	for i := range out {
		top := math.Inf(-1)
		for k := range log {
			top = max(top, log[k][i])
		}
		var sum float64
		for k, b := range boardSDs {
			sum += b.belief * math.Exp(log[k][i]-top)
		}
		out[i] = top + math.Log(sum)
	}
	return out
}

// boardSD is the root of the mean square by which boards differ, by the log posterior on the grid for each of
// boardSDs.
func boardSD(log [len(boardSDs)][]float64) float64 {
	top := math.Inf(-1)
	for k := range log {
		top = max(top, slices.Max(log[k]))
	}
	var sum, squares float64
	for k, b := range boardSDs {
		for _, l := range log[k] {
			w := b.belief * math.Exp(l-top)
			sum, squares = sum+w, squares+w*b.sd*b.sd
		}
	}
	return math.Sqrt(squares / sum)
}

// partQuantile is where the running sum of weights passes at; each weight lies evenly about its point.
func partQuantile(weight []float64, at float64) tiles.LogPercent {
	for i, w := range weight {
		if at <= w && w > 0 {
			return tiles.LogPercent(partAt(i) + partStep*(at/w-0.5))
		}
		at -= w
	}
	return tiles.LogPercent(partAt(partPoints - 1))
}

// unlog turns logs into weights whose largest is 1.
func unlog(logs []float64) []float64 {
	top := slices.Max(logs)
	w := make([]float64, len(logs))
	for i, l := range logs {
		w[i] = math.Exp(l - top)
	}
	return w
}

// smoothed is the log of a likelihood spread by sd: what one form differs from the site, and what the rates
// of its clays may be off.
func smoothed(logs []float64, sd float64) []float64 {
	top := slices.Max(logs)
	w := unlog(logs)
	reach := min(int(7*sd/partStep), partPoints-1)
	kernel := make([]float64, reach+1)
	for k := range kernel {
		kernel[k] = math.Exp(-square(float64(k)*partStep/sd)/2) * partStep / (sd * math.Sqrt(2*math.Pi))
	}
	out := make([]float64, len(logs))
	for i := range out {
		var sum float64
		for j := max(0, i-reach); j <= min(len(w)-1, i+reach); j++ {
			sum += w[j] * kernel[max(i-j, j-i)]
		}
		out[i] = math.Log(max(sum, 1e-300)) + top
	}
	return out
}

// addTo adds the board's log likelihood to the grids of lid differences, one for each of boardSDs. A part
// difference of one step moves every play of the board by one step of play; so does what its lids share.
// Both run over one line, and the board is worked out once for each point of it.
func (b ComparedResult) addTo(grids *[len(boardSDs)][]float64) {
	const reachSD = 3.6
	step := float64(b.Lid) / 100 * partStep
	v := b.intervals()
	shared := func(k int) float64 { // sd of what the lids of the board share, in steps
		return math.Hypot(float64(b.SameSD)/step, boardSDs[k].sd/partStep)
	}
	pad := int(math.Ceil(reachSD*shared(len(boardSDs)-1))) + int(v.sd/step) + 1
	// the chance of all outcomes for each mean play, once
	chance := make([]float64, partPoints+2*pad)
	for i := range chance {
		chance[i] = v.logChance(float64(b.Play) + step*float64(i-pad-partPoints/2))
	}
	top := slices.Max(chance)
	for i := range chance {
		chance[i] = math.Exp(chance[i] - top)
	}
	// spread by what the lids of the board share, which is a normal of so many steps
	for k, grid := range grids {
		sd := shared(k)
		stride := max(1, int(math.Round(min(0.7*sd, 0.6*v.sd/step)))) // of two points of the shared part
		reach := int(math.Ceil(reachSD * sd / float64(stride)))
		weight := make([]float64, 2*reach+1)
		var sum float64
		for j := range weight {
			weight[j] = 1
			if reach > 0 {
				weight[j] = math.Exp(-square(float64((j-reach)*stride)/sd) / 2)
			}
			sum += weight[j]
		}
		for i := range grid {
			var p float64
			for j, w := range weight {
				p += w * chance[pad+i+(j-reach)*stride]
			}
			grid[i] += top + math.Log(max(p/sum, 1e-300))
		}
	}
}

// playIntervals are one board's lids as intervals of play, and its measured plays.
type playIntervals struct {
	edge  []float64 // between the classes, rising
	count []int     // lids in each class, one more than edges
	plays []tiles.Millimetre
	sd    float64 // of a play against an edge or a reading
}

// intervals sorts the counts into intervals of play: too big below 0, tight to the least play,
// good to the most or to where bearing ends, loose to the width of the ledge, drops in beyond.
// Without a ledge loose and drops in are one. A measured play takes the place of one count of the
// class it lies in, or of the nearest that there is.
func (b ComparedResult) intervals() playIntervals {
	v := playIntervals{plays: b.Plays, sd: math.Hypot(float64(b.OwnSD), outcomeSD)}
	good := float64(b.Limits.MostPlay)
	if math.IsNaN(float64(b.Ledge)) {
		v.edge = []float64{0, float64(b.Limits.LeastPlay), good}
		v.count = []int{b.Sat.TooBig, b.Sat.Tight, b.Sat.Good, b.Sat.Loose + b.Sat.DropsIn}
	} else {
		good = min(good, float64(b.Ledge-b.Limits.Bearing))
		v.edge = []float64{0, float64(b.Limits.LeastPlay), good, float64(b.Ledge)}
		v.count = []int{b.Sat.TooBig, b.Sat.Tight, b.Sat.Good, b.Sat.Loose, b.Sat.DropsIn}
	}
	for _, p := range b.Plays {
		class, _ := slices.BinarySearch(v.edge, float64(p))
		nearest := -1
		for c, n := range v.count {
			if n > 0 && (nearest < 0 || abs(c-class) < abs(nearest-class)) {
				nearest = c
			}
		}
		if nearest >= 0 {
			v.count[nearest]--
		}
	}
	return v
}

// abs is n without its sign.
func abs(n int) int { return max(n, -n) }

// logChance is the log of the chance of all these outcomes and plays if the mean play is m.
func (v playIntervals) logChance(m float64) float64 {
	var sum float64
	below, worked := 0.0, 0 // chance of a play below the edge under class number worked
	for c, n := range v.count {
		if n == 0 {
			continue
		}
		if c > worked {
			below = normalCDF((v.edge[c-1] - m) / v.sd)
		}
		to := 1.0
		if c < len(v.edge) {
			to = normalCDF((v.edge[c] - m) / v.sd)
		}
		sum += float64(n) * math.Log(max(to-below, leastPart))
		below, worked = to, c+1
	}
	for _, p := range v.plays {
		z := (float64(p) - m) / v.sd
		sum += max(-z*z/2-math.Log(v.sd*math.Sqrt(2*math.Pi)), math.Log(leastPart))
	}
	return sum
}
