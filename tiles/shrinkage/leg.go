package shrinkage

import (
	"encoding/binary"
	"math"
	"slices"
	"strconv"
	"sync"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/mixedmodel"
)

// leg is one way from a stage to a later one, as a linear function of what the fit knows and
// of what is still to come.
type leg struct {
	mean  float64
	row   mixedmodel.Row
	ref   tiles.BatchRef
	probe string

	batchDrying, batchFiring float64 // factors of d and f where the batch has no column
	formingVar               float64 // of a forming without a column
	final, bisque            float64 // slopes of the two firings to come, log-percent per °C
	newProbe                 float64 // final, where the probe life has no column
	workSD                   float64 // °C
	piece                    float64 // 1 where drying is still to come
	goneVar                  float64 // of this piece alone
	goneShared               float64 // sd that it has in common with another piece whose drying was guessed
	goneBars                 int     // own bars that the guess rests on
	untold                   bool    // no curve tells of this heat
}

// stand is how far a piece has shrunk at a stage, in the terms of a leg.
type stand struct {
	reach
	dried         float64 // share of the drying part (batch and forming too)
	piece         float64
	final, bisque float64 // slopes
	gone, goneVar float64
	goneShared    float64
	goneBars      int
}

// leg of an ask to a later stage.
func (f *Fit) leg(a Ask, to tiles.Stage) (leg, error) {
	k := f.clay(a.Clay)
	if k == nil {
		return leg{}, &tiles.Invalid{Field: "clay",
			Why: message.New("no clay {1} here", strconv.Quote(string(a.Clay))), Type: "unknown-clay"}
	}
	// only forwards in the life of a piece
	order := tiles.Stages()
	from, upto := slices.Index(order, a.Stage), slices.Index(order, to)
	if from < 0 || upto < 0 {
		return leg{}, &tiles.Invalid{Field: "stage",
			Why: message.New("{1} or {2} is no stage", strconv.Quote(string(a.Stage)),
				strconv.Quote(string(to))), Type: tiles.UnknownValue}
	}
	if from > upto {
		return leg{}, &tiles.Invalid{Field: "to", Why: message.New("{1} comes before {2}", to, a.Stage),
			Type: tiles.GoesBackwards}
	}
	if a.Stage == tiles.Fired { // nothing left to lose, whatever the heat
		return leg{ref: a.BatchRef, row: mixedmodel.Row{}}, nil
	}
	if to == tiles.Fired && !a.Work.Known() || to == tiles.Biscuit && !a.BisqueWork.Known() {
		return leg{}, &tiles.Invalid{Field: "heat_work_c",
			Why:  message.New("no usual firing yet and no cone on the bag: say which heat"),
			Type: "no-usual-firing"}
	}
	if a.Stage == tiles.Biscuit && to == tiles.Fired && !a.BisqueWork.Known() {
		return leg{}, &tiles.Invalid{Field: "heat_work_c",
			Why:  message.New("a bisque piece is asked about and no bisque firing is known"),
			Type: "no-usual-firing"}
	}
	// how far it has shrunk at either stage; the leg is the difference
	start, end := f.stand(k, a, a.Stage), f.stand(k, a, to)
	l := f.between(k, a, start, end)
	// below every curve the range is widened to 3 % to either side
	if to == tiles.Fired && f.tested[k.id].untold(k, a) {
		left := math.Exp(-l.mean / 100)
		least := -100 * math.Log(1-untoldShare/left) / quantile(math.Inf(1), (1+tiles.LikelyLevel)/2)
		sd, _, _ := f.likely(l, false)
		l.formingVar += max(0, least*least-sd*sd)
		l.untold = true
	}
	if mix := unknownMix(f, l.ref); mix != nil {
		return ofParents(f, mix, l, a, to), nil
	}
	return l, nil
}

// unknownMix is the batch if it was mixed from others and no bar of it has a say yet, and the clays of its
// parents are known; else nil.
func unknownMix(f *Fit, ref tiles.BatchRef) *tiles.Batch {
	if _, known := f.columns.place[column{'d', string(ref.Clay), string(ref.Batch)}]; known ||
		ref.Batch == "" {
		return nil
	}
	for i := range f.studio.Batches {
		b := &f.studio.Batches[i]
		if b.BatchRef != ref || !b.Mixed() || len(b.Parents) == 0 {
			continue
		}
		for _, p := range b.Parents {
			if p == ref || f.clay(p.Clay) == nil {
				return nil
			}
		}
		return b
	}
	return nil
}

// ofParents is the leg of a mix without a bar: the mean of the same way for its parents, by their shares,
// with what a new batch differs by, and never surer than a new bag of its clay (own). plain is the leg that
// it would have as such a bag.
func ofParents(f *Fit, mix *tiles.Batch, plain leg, a Ask, to tiles.Stage) leg {
	out := plain
	out.mean, out.row = 0, mixedmodel.Row{}
	out.final, out.bisque, out.newProbe, out.formingVar = 0, 0, 0, 0
	for i, p := range mix.Parents {
		share := float64(mix.Share(i))
		k, of := f.clay(p.Clay), a
		of.BatchRef = p
		l := f.between(k, of, f.stand(k, of, of.Stage), f.stand(k, of, to))
		if again := unknownMix(f, p); again != nil { // parents never lead back: tiles.Batch.Family
			l = ofParents(f, again, l, of, to)
		}
		out.mean += share * l.mean
		out.row = combine(out.row, l.row, [2]float64{1, share})
		out.final += share * l.final
		out.bisque += share * l.bisque
		out.newProbe += share * l.newProbe
		out.formingVar += share * l.formingVar
	}
	bag, _, _ := f.likely(plain, false)
	sd, _, _ := f.likely(out, false)
	out.formingVar += max(0, bag*bag-sd*sd)
	return out
}

// stand of a stage.
func (f *Fit) stand(k *clayCurve, a Ask, at tiles.Stage) stand {
	var s stand
	if at == tiles.Wet {
		return s
	}
	s.dried, s.piece = 1, 1
	switch at {
	// how much of the drying has gone: as told, else the share that is usual here
	case tiles.Soft, tiles.Leather:
		s.piece = 0
		if a.Gone.Known {
			most := dryingMean + dryingSD*k.fitted[coefDrying] // no more can be gone than drying takes
			s.dried, s.gone, s.goneVar = 0, min(float64(a.Gone.H),
				most), float64(a.Gone.SD)*float64(a.Gone.SD)
			return s
		}
		of, full := f.part[at], dryingMean+dryingSD*k.fitted[coefDrying]
		s.dried, s.goneVar, s.goneShared, s.goneBars = of.share, square(of.own*full), of.common*full, of.bars
	case tiles.Biscuit:
		s.reach = k.fired(float64(a.BisqueWork))
		s.bisque = s.slope
	case tiles.Fired:
		hot, again := hottest(a)
		s.reach = k.fired(float64(hot))
		if again {
			s.bisque = s.slope
		} else {
			s.final = s.slope
		}
	}
	// the drying part, as much of it as has gone
	s.base += s.dried * dryingMean
	s.x[coefDrying] = s.dried * dryingSD
	return s
}

// hottest is the heat work that counts for the finished piece, and whether it was the bisque.
func hottest(a Ask) (h kiln.Celsius, bisque bool) {
	if a.BisqueWork.Known() && a.BisqueWork >= a.Work {
		return a.BisqueWork, true
	}
	return a.Work, false
}

// between joins two stands into a leg.
func (f *Fit) between(k *clayCurve, a Ask, start, end stand) leg {
	l := leg{ref: a.BatchRef, probe: a.Probe, workSD: a.WorkSD}
	if l.ref.Batch == "" {
		l.ref.Batch = f.newestOpen(a.Clay)
	}
	// over the coefficients of the clay: the difference of the two stands
	var x vec
	for i := range x {
		x[i] = end.x[i] - start.x[i]
	}
	l.mean = end.base - start.base + dot(x, k.mean) + end.gone - start.gone
	l.goneVar = start.goneVar + end.goneVar
	l.goneShared, l.goneBars = end.goneShared-start.goneShared, max(start.goneBars, end.goneBars)
	l.piece = end.piece - start.piece
	l.final, l.bisque = end.final-start.final, end.bisque-start.bisque
	r := newRows(1)
	for j, v := range k.prior(x) {
		r.put(0, k.first+j, v)
	}
	put := func(c column, v float64) bool {
		at, known := f.columns.place[c]
		if known {
			r.put(0, at, v)
		}
		return known
	}
	// what has a column is in the row; what has none is new, and is in the doubt alone
	clay, batch := string(a.Clay), string(l.ref.Batch)
	dried, ripe := end.dried-start.dried, end.ripe-start.ripe
	if !put(column{'d', clay, batch}, dried) {
		l.batchDrying = dried
	}
	if !put(column{'f', clay, batch}, ripe) {
		l.batchFiring = ripe
	}
	if v := forming(a.Forming); v != "" && !put(column{'v', clay, string(v)}, f.book.Forming*dried) {
		l.formingVar = f.book.Forming * f.book.Forming * dried * dried
	}
	if a.Probe != "" && !put(column{'o', a.Probe, ""}, f.probeSD(a.Probe)*l.final) {
		l.newProbe = f.probeSD(a.Probe) * l.final
	}
	l.row.Cols, l.row.Vals = r.pack()
	l.mean += f.solved.Mean(l.row)
	return l
}

// newestOpen is the batch that a question means if it names none: see tiles.Batch.InUse.
func (f *equations) newestOpen(clay tiles.ClayID) tiles.BatchID {
	var newest *tiles.Batch
	for i := range f.studio.Batches {
		b := &f.studio.Batches[i]
		if b.Clay != clay || !b.Open {
			continue
		}
		if newest == nil || b.InUse(*newest) {
			newest = b
		}
	}
	if newest == nil {
		return ""
	}
	return newest.Batch
}

// parts are the covariances of two legs by cause.
type parts struct {
	rate, forming, over, work, probe, gone Spread2
	of                                     [thetas]Spread2 // of each theta: what is new and scales with it
}

// goesOver is the share of a load's variance that all loads of the bars may have in common, since errors of
// a kiln go over from load to load (own choice; TestRangesInUnlikeWorlds has a world in which 0.8 of an
// error goes over).
const goesOver = 0.6

// A bag may jump: its maker changes a recipe or a source. jumpVariance is what jumps add to the drying and
// to the firing of a bag without a bar, square log-percent, before any bag told (own: one bag in five by
// 0.8). Each bag beside the first of its clay tells how much bags differ, jumps with it, so that jumpBags
// of them halve it. Jumps count among what scales with the sds of bags, so that their long tails are in the
// degrees of freedom.
const (
	jumpVariance = 0.12
	jumpBags     = 3.0
)

// jumpsOf is what jumps add to a new bag's drying and firing, by as many bags as were seen.
func jumpsOf(f *Fit) float64 {
	first, more := map[tiles.ClayID]bool{}, 0.0
	for ref, b := range f.batches {
		switch {
		case b.bars == 0:
		case first[ref.Clay]:
			more++
		default:
			first[ref.Clay] = true
		}
	}
	return jumpVariance * jumpBags / (jumpBags + more)
}

// parts are the covariances of what is in doubt of two legs, cause by cause: what they share by the clay,
// the batch, the load, the probe and the place, as together says.
func (f *Fit) parts(a, b leg, together Together) parts {
	var p parts
	// of the rates themselves, from the joint solution
	cov := f.solved.Cov(a.row, b.row)
	for i := range cov {
		copy(p.rate[i][:], cov[i])
	}
	p.rate[1][0] = p.rate[0][1]
	sd := func(theta int) float64 { return math.Exp(f.solved.Theta[theta]) }
	two := [2]leg{a, b}
	jumps := jumpsOf(f)
	share := func(i, j int, if_ bool) bool { return i == j || if_ }
	loads, place := together == InPlace || together == SameLoad, together == InPlace
	// cause by cause: on the diagonal always, off it where both parts share that cause
	for i, x := range two {
		for j, y := range two {
			p.over[i][j] = goesOver * (x.final*y.final + x.bisque*y.bisque) * square(sd(thetaLoad))
			same := share(i, j, a.ref == b.ref && a.ref.Batch != "")
			if same {
				p.of[thetaBatchDrying][i][j] = x.batchDrying * y.batchDrying * (square(sd(thetaBatchDrying)) +
					jumps)
				p.of[thetaBatchFiring][i][j] = x.batchFiring * y.batchFiring * (square(sd(thetaBatchFiring)) +
					jumps)
			}
			if share(i, j, a.ref.Clay == b.ref.Clay && a.formingVar > 0) {
				p.forming[i][j] = math.Sqrt(x.formingVar * y.formingVar)
			}
			if share(i, j, loads) {
				p.of[thetaLoad][i][j] = (x.final*y.final + x.bisque*y.bisque) * square(sd(thetaLoad))
				p.work[i][j] = x.final * y.final * x.workSD * y.workSD
			}
			if share(i, j, a.probe == b.probe) {
				p.probe[i][j] = x.newProbe * y.newProbe
			}
			if share(i, j, place) {
				p.of[thetaPosition][i][j] = (x.final*y.final + x.bisque*y.bisque) * square(sd(thetaPosition))
			}
			p.gone[i][j] = x.goneShared * y.goneShared
			if i == j {
				p.of[thetaPiece][i][j] = x.piece * y.piece * square(sd(thetaPiece))
				p.gone[i][j] += x.goneVar
			}
		}
	}
	return p
}

// along is c'S c.
func (s Spread2) along(c [2]float64) float64 {
	sum := 0.0
	for i := range s {
		for j := range s[i] {
			sum += c[i] * s[i][j] * c[j]
		}
	}
	return sum
}

// times is s times f.
func (s Spread2) times(f float64) Spread2 {
	for i := range s {
		for j := range s[i] {
			s[i][j] *= f
		}
	}
	return s
}

// plus is the sum.
func (s Spread2) plus(t Spread2) Spread2 {
	for i := range s {
		for j := range s[i] {
			s[i][j] += t[i][j]
		}
	}
	return s
}

// whole is the sum of all causes.
func (p parts) whole() Spread2 {
	s := p.rate.plus(p.forming).plus(p.over).plus(p.work).plus(p.probe).plus(p.gone)
	for _, o := range p.of {
		s = s.plus(o)
	}
	return s
}

// leastFreedom is the fewest degrees of freedom of a t: any fewer have no variance.
const leastFreedom = 3

// mostGrowth bounds by how much a variance is taken for more than at its mode: as far as a posterior can be
// trusted that is mostly its prior (own choice).
var mostGrowth = math.Exp(1.0 / leastFreedom)

// widened are the parts of legs a and b as they are on average over what is not known of the sds: of each
// the slope by its square, times how much larger that is on average than at the mode.
func (f *Fit) widened(a, b leg, p parts) parts {
	slope := func(c [2]float64) (sum float64) {
		for k, s := range f.slopes.of(f.solved, combine(a.row, b.row, c)) {
			sum += s / 2 * (f.grows[k] - 1)
		}
		return sum
	}
	body, lid, apart := slope([2]float64{1, 0}), slope([2]float64{0, 1}), slope([2]float64{1, -1})
	p.rate = p.rate.plus(Spread2{{body, (body + lid - apart) / 2}, {(body + lid - apart) / 2, lid}})
	p.over = p.over.times(f.grows[thetaLoad])
	for k := range p.of {
		p.of[k] = p.of[k].times(f.grows[k])
	}
	return p
}

// freedom is that of the combination c of two legs. piece says whether what is new to a
// piece and its firing is in it too, or the rate alone.
func (f *Fit) freedom(a, b leg, p parts, c [2]float64) float64 {
	v := p.whole().along(c)
	if !(v > 0) {
		return math.Inf(1)
	}
	row := combine(a.row, b.row, c)
	j := f.slopes.of(f.solved, row)
	for k := range j {
		j[k] += 2 * p.of[k].along(c)
	}
	j[thetaLoad] += 2 * p.over.along(c)
	return max(leastFreedom, mixedmodel.SatterthwaiteDF(v, j, f.spread))
}

// slopes keeps what was worked out once: the slopes of C in theta over the columns of a
// clay and batch.
type slopes struct {
	mu   sync.Mutex
	kept map[string]mixedmodel.Slopes
}

// of is how the variance of the combination z changes with each theta, worked out once for its columns.
func (s *slopes) of(solved *mixedmodel.Solution, z mixedmodel.Row) []float64 {
	if len(z.Cols) == 0 {
		return make([]float64, thetas)
	}
	key := make([]byte, 0, 4*len(z.Cols))
	for _, c := range z.Cols {
		key = binary.LittleEndian.AppendUint32(key, uint32(c))
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	g, known := s.kept[string(key)]
	if !known {
		g = solved.Slopes(z.Cols)
		s.kept[string(key)] = g
	}
	return g.Of(z)
}

// combine is c0 a + c1 b.
func combine(a, b mixedmodel.Row, c [2]float64) mixedmodel.Row {
	r := newRows(1)
	sum := map[int]float64{}
	for i, col := range a.Cols {
		sum[col] += c[0] * a.Vals[i]
	}
	for i, col := range b.Cols {
		sum[col] += c[1] * b.Vals[i]
	}
	for col, v := range sum { // order does not matter: pack sorts
		r.put(0, col, v)
	}
	out := mixedmodel.Row{}
	out.Cols, out.Vals = r.pack()
	return out
}

// Pair answers for a body and a lid at once: see Pair, the type.
func (f *Fit) Pair(body, lid Ask, together Together) (Pair, error) {
	a, err := f.leg(body, tiles.Fired)
	if err != nil {
		return Pair{}, err
	}
	b, err := f.leg(lid, tiles.Fired)
	if err != nil {
		return Pair{}, err
	}
	p := f.parts(a, b, together)
	out := Pair{R: [2]tiles.LogPercent{tiles.LogPercent(a.mean), tiles.LogPercent(b.mean)}}
	out.Nu = f.freedom(a, b, p, [2]float64{1, -1})
	if together == Apart {
		out.Nu = min(out.Nu, f.freedom(a, b, p, [2]float64{1, 0}), f.freedom(a, b, p, [2]float64{0, 1}))
	}
	p = f.widened(a, b, p)
	out.Rate = p.rate.plus(p.forming).plus(p.over)
	out.Batch = p.of[thetaBatchDrying].plus(p.of[thetaBatchFiring])
	out.Load = p.of[thetaLoad].plus(p.work).plus(p.probe)
	out.Position = p.of[thetaPosition]
	out.Piece = p.of[thetaPiece]
	out.Gone, out.GoneBars = p.gone, max(a.goneBars, b.goneBars)
	out.Standing = [2]Standing{f.Standing(body, tiles.Fired), f.Standing(lid, tiles.Fired)}
	return out, nil
}

var _ Rates = (*Fit)(nil)
