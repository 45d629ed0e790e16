package shrinkage

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/mixedmodel"
)

// sheet is one bar as the fit sees it: the readings that have a say, in a fixed order.
type sheet struct {
	bar    *tiles.Bar
	lines  []line
	length float64 // mark length class, mm
	key    string  // bars of one key differ in their readings alone
	marks  int     // pairs of marks with readings, each a free length
	weight []float64
}

// line is one reading in a sheet, or the mean of several that one maker took of the same thing.
type line struct {
	reading *tiles.Reading   // the first of them by id
	repeats []*tiles.Reading // all of them
	length  float64          // mm; their geometric mean
	within  float64          // sum of squares of their -100 ln(length) about the mean
	stage   tiles.Stage
	mark    int         // from 0, only those that have a say
	heat    *tiles.Heat // hottest so far; nil if not fired
	step    float64
}

// last is when the newest of the repeats was read.
func (l line) last() (at time.Time) {
	for _, r := range l.repeats {
		if r.At.After(at) {
			at = r.At
		}
	}
	return at
}

// has reports whether r, as it stands, is among the repeats.
func (l line) has(r *tiles.Reading) bool {
	return slices.ContainsFunc(l.repeats, func(o *tiles.Reading) bool {
		return o.ID == r.ID && o.Length == r.Length
	})
}

// leftAt is how much of the wet length is usually left, to weigh a reading by its length
// without looking at what was read.
var leftAt = map[tiles.Stage]float64{tiles.Wet: 1, tiles.Dry: 0.94, tiles.Biscuit: 0.93, tiles.Fired: 0.885}

// usualStep is the step of an instrument where the reading does not say it, in mm.
func usualStep(instrument string) float64 {
	switch strings.ToLower(instrument) {
	case "rule", "ruler", "tape":
		return 0.5
	}
	return 0.05
}

// readBars sorts the bars by id, checks them and makes their sheets.
func (f *equations) readBars(ctx context.Context, clays []tiles.Clay) error {
	bars := slices.Clone(f.studio.Bars)
	slices.SortFunc(bars, func(a, b tiles.Bar) int {
		return cmp.Or(cmp.Compare(a.ID, b.ID), cmp.Compare(a.Code, b.Code))
	})
	known := map[tiles.ClayID]bool{}
	for _, c := range clays {
		known[c.ID] = true
	}
	// every bar once, each of a clay that is listed
	for i := range bars {
		b := &bars[i]
		if !known[b.Clay] {
			return fmt.Errorf("shrink fit: bar %s is of clay %q, which is not listed", b.Code, b.Clay)
		}
		if i > 0 && b.ID == bars[i-1].ID && b.Code == bars[i-1].Code {
			return fmt.Errorf("shrink fit: bar %s stands twice", b.Code)
		}
	}
	f.studio.Bars = bars
	f.countKnown()
	for i := range bars {
		f.assume(&bars[i])
		if ctx.Err() != nil {
			return fmt.Errorf("shrink fit: %w", context.Cause(ctx))
		}
		s, left := f.sheet(&bars[i], "")
		f.left = append(f.left, left...)
		if s != nil {
			f.sheets = append(f.sheets, s)
		}
	}
	return nil
}

// sheet takes the readings of b that have a say, repeats as one line; the reading alone, if it is one of
// them, keeps a line to itself. It is nil if none has a say.
func (f *equations) sheet(b *tiles.Bar, alone string) (*sheet, []LeftOut) {
	s := &sheet{bar: b}
	var left []LeftOut
	for i := range b.Readings {
		r := &b.Readings[i]
		l := line{reading: r, repeats: []*tiles.Reading{r}, length: float64(r.Length), stage: r.Stage,
			mark: r.Mark, step: float64(r.Step)}
		var why message.Message
		// the first reason that keeps a reading out
		switch {
		case r.Mass != nil:
			continue
		case !b.InFit():
			why = message.New("the bar is flagged or a learner's")
		case r.Struck != nil:
			why = message.New("struck")
		case !r.Counts():
			why = message.New("not confirmed")
		case r.Stage == tiles.Soft || r.Stage == tiles.Leather:
			why = message.New("soft and leather-hard are no fixed state")
		case !(r.Length > 0) || math.IsInf(float64(r.Length), 0):
			why = message.New("no length")
		}
		if why.IsZero() && (r.Stage == tiles.Biscuit || r.Stage == tiles.Fired) {
			if h, ok := b.HeatFor(*r); ok {
				l.heat = &h
			} else {
				why = noHeat(b, *r)
			}
		}
		if _, fits := leftAt[r.Stage]; why.IsZero() && !fits {
			why = message.New("no stage of the fit")
		}
		if !why.IsZero() {
			left = append(left, LeftOut{Reading: r.ID, Bar: b.Code, Stage: r.Stage, Why: why})
			continue
		}
		if l.step == 0 {
			l.step = usualStep(r.Instrument)
		}
		s.lines = append(s.lines, l)
	}
	left = append(left, s.dropAlone()...)
	left = append(left, f.joinRepeats(s, alone)...)
	if len(s.lines) == 0 {
		return nil, left
	}
	f.arrange(s)
	return s, left
}

// dropAlone takes out readings that are the only one of their marks: with the wet length
// free they say nothing yet. Marks are counted anew.
func (s *sheet) dropAlone() (left []LeftOut) {
	count := map[int]int{}
	for _, l := range s.lines {
		count[l.mark]++
	}
	s.lines = slices.DeleteFunc(s.lines, func(l line) bool {
		if count[l.mark] > 1 {
			return false
		}
		left = append(left, LeftOut{Reading: l.reading.ID, Bar: s.bar.Code, Stage: l.stage,
			Why: message.New("the only reading between its marks so far")})
		return true
	})
	return left
}

// sortLines puts the lines in order and gives the marks their numbers.
func (s *sheet) sortLines() {
	order := tiles.Stages()
	slices.SortFunc(s.lines, func(a, b line) int {
		return cmp.Or(cmp.Compare(a.mark, b.mark),
			cmp.Compare(slices.Index(order, a.stage), slices.Index(order, b.stage)),
			cmp.Compare(a.reading.ID, b.reading.ID), cmp.Compare(a.length, b.length))
	})
	at, was := -1, math.MinInt
	for i := range s.lines {
		if s.lines[i].mark != was {
			at, was = at+1, s.lines[i].mark
		}
		s.lines[i].mark = at
	}
	s.marks = at + 1
}

// arrange sorts the lines and makes the key.
func (f *equations) arrange(s *sheet) {
	s.sortLines()
	wet := make([]float64, len(s.lines))
	for i, l := range s.lines {
		wet[i] = l.length / leftAt[l.stage]
	}
	slices.Sort(wet)
	class := float64(f.book.LengthClass)
	// The marks as laid out rule, so that a new reading does not move the weights of the others;
	// what was read rules where the two do not agree at all.
	length := wet[(len(wet)-1)/2]
	if laid := float64(s.bar.MarkLength); laid > 0 && math.Abs(length/laid-1) < 0.2 {
		length = laid
	}
	s.length = max(class*math.Round(length/class), float64(f.book.FirstReading))
	// all that makes rows and noise; the lengths that were read are not in it
	var key strings.Builder
	fmt.Fprint(&key, s.bar.Clay, "/", s.bar.Batch, "/", forming(s.bar.Forming), "/", s.length)
	for _, l := range s.lines {
		fmt.Fprint(&key, "|", l.stage, " ", l.mark, " ", l.step, " x", len(l.repeats))
		if l.heat != nil {
			fmt.Fprint(&key, " ", loadName(l.heat), " ", float64(l.heat.Work), " ", l.heat.Probe)
		}
	}
	s.key = key.String()
}

// forming is the forming that has a column: none for a thrown ring and a piece cut from a
// thrown wall.
func forming(v tiles.Forming) tiles.Forming {
	if v == tiles.ThrownRing || v == tiles.CutWall {
		return ""
	}
	return v
}

// column names one coefficient of the fit that is not a clay's.
type column struct {
	sort byte // v forming, o probe life, d and f batch, l load
	a, b string
}

// columns are the coefficients of the fit in their order, and where each is.
type columns struct {
	list  []mixedmodel.Column
	place map[column]int
}

// add puts a column at the end, unless it is there.
func (c *columns) add(name column, as mixedmodel.Column) {
	if _, known := c.place[name]; !known {
		c.place[name] = len(c.list)
		c.list = append(c.list, as)
	}
}

// layColumns puts the columns in a fixed order: clays by id, then what the bars name, each
// sort by name.
func (f *equations) layColumns() {
	f.columns = columns{place: map[column]int{}}
	for _, k := range f.clays {
		k.first = len(f.columns.list)
		f.columns.list = append(f.columns.list, make([]mixedmodel.Column, coefs)...)
	}
	var names []column
	extra := map[column]float64{}
	for _, s := range f.sheets {
		names = append(names, s.names(extra)...)
	}
	order := "vodfl"
	slices.SortFunc(names, func(a, b column) int {
		return cmp.Or(cmp.Compare(strings.IndexByte(order, a.sort), strings.IndexByte(order, b.sort)),
			cmp.Compare(a.a, b.a), cmp.Compare(a.b, b.b))
	})
	for _, n := range slices.Compact(names) {
		f.columns.add(n, f.columnOf(n, extra[n]))
	}
}

// columnOf is the prior of a column. A forming and a probe life have a fixed sd, which their
// rows carry.
func (f *equations) columnOf(n column, extra float64) mixedmodel.Column {
	switch n.sort {
	case 'd':
		return mixedmodel.Column{SD: 1 + thetaBatchDrying}
	case 'f':
		return mixedmodel.Column{SD: 1 + thetaBatchFiring}
	case 'l':
		return mixedmodel.Column{SD: 1 + thetaLoad, Extra: extra, Lone: true}
	}
	return mixedmodel.Column{}
}

// names lists the columns that a sheet may touch; extra is the doubt of loads' own records.
func (s *sheet) names(extra map[column]float64) []column {
	clay, batch := string(s.bar.Clay), string(s.bar.Batch)
	out := []column{{'d', clay, batch}, {'f', clay, batch}}
	if v := forming(s.bar.Forming); v != "" {
		out = append(out, column{'v', clay, string(v)})
	}
	for _, l := range s.lines {
		if l.heat == nil {
			continue
		}
		n := column{'l', loadName(l.heat), ""}
		out = append(out, n)
		if u := l.heat.ExtraSD; u > extra[n] && !math.IsInf(u, 0) {
			extra[n] = u
		}
		if l.heat.Probe != "" {
			out = append(out, column{'o', l.heat.Probe, ""})
		}
	}
	return out
}

// probeSD is the doubt of a probe life, °C; the handbook's where nobody told.
func (f *equations) probeSD(probe string) float64 {
	if sd, known := f.studio.ProbeSD[probe]; known && sd >= 0 && !math.IsInf(sd, 0) {
		return sd
	}
	return f.book.Probe
}

// pattern is what the sheets of one key have in common.
type pattern struct {
	block    *mixedmodel.Block
	expected []float64 // what the priors expect of -100 ln(length), the wet length apart
}

// of is the block of one sheet in the mixed model: readings less what the priors expect.
func (p pattern) of(s *sheet) *mixedmodel.Block {
	b := *p.block
	b.Y, b.Weight = make([]float64, len(s.lines)), s.weight
	if b.Times != nil {
		b.Within = make([]float64, len(s.lines))
	}
	for i, l := range s.lines {
		b.Y[i] = -100*math.Log(l.length) - p.expected[i]
		if b.Times != nil {
			b.Within[i] = l.within
		}
	}
	return &b
}

// blocks makes those of a few sheets.
func (f *equations) blocks(sheets []*sheet) []*mixedmodel.Block {
	out, _ := f.allBlocks(context.Background(), sheets)
	return out
}

// allBlocks makes the blocks of all sheets. When ctx ends it gives the cause.
func (f *equations) allBlocks(ctx context.Context, sheets []*sheet) ([]*mixedmodel.Block, error) {
	known := map[string]pattern{}
	out := make([]*mixedmodel.Block, len(sheets))
	for i, s := range sheets {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		p, ok := known[s.key]
		if !ok {
			p = f.pattern(s)
			known[s.key] = p
		}
		out[i] = p.of(s)
	}
	return out, nil
}

// readingNoise is the variance of one reading like l between marks of that length class, in square
// log-percent: the part that the sd of a reading (mm, squared) multiplies, and the fixed part.
func (f *equations) readingNoise(length float64, l line) (own, fixed float64) {
	unit := 100 / (length * leftAt[l.stage])
	return unit * unit, unit*unit*l.step*l.step/12 + f.book.Rough*f.book.Rough
}

// pattern works out Z and the noise of sheets like s.
func (f *equations) pattern(s *sheet) pattern {
	k := f.clay(s.bar.Clay)
	n := len(s.lines)
	b := &mixedmodel.Block{N: 1, Y: make([]float64, n), Level: make([]int, n), Levels: s.marks}
	expected := make([]float64, n)
	rows := newRows(n)
	own, fixed, piece := make([]float64, n), make([]float64, n), make([]float64, n)
	position := map[string][]float64{}
	var places []string
	// line by line: what is expected, its row over the columns, its noise
	for i, l := range s.lines {
		b.Level[i] = l.mark
		to := k.reach(l)
		expected[i] = to.base + dot(to.x, k.mean)
		own[i], fixed[i] = f.readingNoise(s.length, l)
		// a mean of several has that part of the noise
		if n := float64(len(l.repeats)); n > 1 {
			own[i], fixed[i] = own[i]/n, fixed[i]/n
			if b.Times == nil {
				b.Times, b.Within = slices.Repeat([]float64{1}, len(s.lines)), make([]float64, len(s.lines))
			}
			b.Times[i] = n
		}
		for j, v := range k.prior(to.x) {
			rows.put(i, k.first+j, v)
		}
		if l.stage == tiles.Wet {
			continue
		}
		piece[i] = 1
		rows.put(i, f.columns.place[column{'d', string(s.bar.Clay), string(s.bar.Batch)}], 1)
		if v := forming(s.bar.Forming); v != "" {
			rows.put(i, f.columns.place[column{'v', string(s.bar.Clay), string(v)}], f.book.Forming)
		}
		if l.heat == nil {
			continue
		}
		rows.put(i, f.columns.place[column{'f', string(s.bar.Clay), string(s.bar.Batch)}], to.ripe)
		place := loadName(l.heat)
		if position[place] == nil {
			position[place] = make([]float64, n)
			places = append(places, place)
		}
		position[place][i] = to.slope
		// where heat matters at all, errors of load and probe come in by the slope
		if to.slope >= loadMatters {
			rows.put(i, f.columns.place[column{'l', place, ""}], to.slope)
			if p := l.heat.Probe; p != "" {
				rows.put(i, f.columns.place[column{'o', p, ""}], f.probeSD(p)*to.slope)
			}
		}
	}
	b.Cols, b.Z = rows.pack()
	b.Noise = []mixedmodel.Noise{
		{Param: 1 + thetaReading, Diag: own},
		{Param: 0, Diag: fixed},
		{Param: 1 + thetaPiece, Vectors: [][]float64{piece}},
		{Param: 1 + thetaPosition},
	}
	for _, p := range places {
		b.Noise[3].Vectors = append(b.Noise[3].Vectors, position[p])
	}
	return pattern{b, expected}
}

// loadName tells loads apart, those without an id by kiln and time.
func loadName(h *tiles.Heat) string {
	if h.Load != "" {
		return h.Load
	}
	return string(h.Kiln) + h.At.UTC().Format(time.RFC3339Nano)
}

// reach is how a length at some stage depends on its clay.
type reach struct {
	base  float64 // handbook mean
	x     vec
	ripe  float64 // share of the batch's firing part
	slope float64 // log-percent per °C of the hottest firing
}

// reach of one reading, from the wet length.
func (k *clayCurve) reach(l line) reach {
	if l.stage == tiles.Wet {
		return reach{}
	}
	var to reach
	if l.heat != nil {
		to = k.fired(float64(l.heat.Work))
	}
	to.base += dryingMean
	to.x[coefDrying] += dryingSD
	return to
}

// fired is the firing part alone, at heat work h.
func (k *clayCurve) fired(h float64) reach {
	return reach{base: k.base(h), x: k.white(h), ripe: k.ripe(h), slope: k.slope(h)}
}

// rows gathers sparse rows of a block.
type rows struct {
	n    int
	cols []int
	vals map[int][]float64
}

// newRows begins n rows without a value.
func newRows(n int) *rows { return &rows{n: n, vals: map[int][]float64{}} }

// put sets a value; 0 is left out.
func (r *rows) put(row, col int, v float64) {
	if v == 0 {
		return
	}
	if r.vals[col] == nil {
		r.vals[col] = make([]float64, r.n)
		r.cols = append(r.cols, col)
	}
	r.vals[col][row] = v
}

// pack is the columns in rising order and the rows over them.
func (r *rows) pack() ([]int, []float64) {
	slices.Sort(r.cols)
	z := make([]float64, r.n*len(r.cols))
	for c, col := range r.cols {
		for i, v := range r.vals[col] {
			z[i*len(r.cols)+c] = v
		}
	}
	return r.cols, z
}
