package shrinkage

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/mixedmodel"
)

// ShelfReading is the heat that one bar saw on its shelf, as its shrink tells it.
type ShelfReading struct {
	Load, Shelf string  // id of the load, and name of the shelf
	C           float64 // heat work, °C
	SD          float64 // of the bar: its readings, how pieces differ, its place on the shelf
	Slope       float64 // log-percent of length a °C there
}

// ShelfHeat is how much hotter a shelf fires than the mean of the shelves of its kiln.
type ShelfHeat struct {
	Shelf string  // its name
	More  float64 // °C of heat work
	SD    float64 // of More, °C
	Bars  int     // that lay on it
}

// Shelves is the spread of a kiln by its bars, hottest shelf first.
type Shelves struct {
	Shelves []ShelfHeat      // hottest first
	Apart   float64          // °C from the coolest to the hottest
	Low     float64          // its 90 % range; Low below 0: it cannot be told which is hotter
	High    float64          //
	OnLid   tiles.Millimetre // what that does to a lid of 100 mm whose pot stands on the other shelf
	Loads   int              // that had bars on two shelves or more
}

// shelfSD is how far shelves of one kiln differ before a bar was read, °C of heat work (common
// practice, no source: about a cone from top to bottom).
const shelfSD = 15

// placeSD is how far places of one shelf differ, °C of heat work (own).
const placeSD = 3

// Spread works out how shelves differ from bars that lay on several of them in one firing. Every
// load has a level of its own, so that loads on one shelf alone tell nothing:
//
//	c_ij = load_i + shelf_j + e,  shelf_j ~ N(0, 15 °C),  told less the mean of the shelves.
//
// It is false where no load had bars on two shelves.
func Spread(readings []ShelfReading) (Shelves, bool) {
	// loads on one shelf alone go
	on := map[string]map[string]bool{}
	for _, r := range readings {
		if on[r.Load] == nil {
			on[r.Load] = map[string]bool{}
		}
		on[r.Load][r.Shelf] = true
	}
	readings = slices.DeleteFunc(slices.Clone(readings), func(r ShelfReading) bool {
		return len(on[r.Load]) < 2 || !(r.SD > 0)
	})
	if len(readings) == 0 {
		return Shelves{}, false
	}
	count, loads := map[string]int{}, map[string]bool{}
	for _, r := range readings {
		count[r.Shelf]++
		loads[r.Load] = true
	}
	names, levels := slices.Sorted(maps.Keys(count)), slices.Sorted(maps.Keys(loads))
	n := len(names)
	// the normal equations: shelves with their prior, then a free level for each load
	a, b := mat.NewSymDense(n+len(levels), nil), mat.NewVecDense(n+len(levels), nil)
	for j := range n {
		a.SetSym(j, j, 1/square(shelfSD))
	}
	var slope, weight float64
	for _, r := range readings {
		w := 1 / square(r.SD)
		j, _ := slices.BinarySearch(names, r.Shelf)
		i, _ := slices.BinarySearch(levels, r.Load)
		i += n
		a.SetSym(j, j, a.At(j, j)+w)
		a.SetSym(i, i, a.At(i, i)+w)
		a.SetSym(j, i, a.At(j, i)+w)
		b.SetVec(j, b.AtVec(j)+w*r.C)
		b.SetVec(i, b.AtVec(i)+w*r.C)
		slope, weight = slope+w*r.Slope, weight+w
	}
	var chol mat.Cholesky
	var x mat.VecDense
	cov := mat.NewSymDense(n+len(levels), nil)
	if !chol.Factorize(a) || chol.SolveVecTo(&x, b) != nil || chol.InverseTo(cov) != nil {
		return Shelves{}, false
	}
	// mean and sd of any sum of shelves
	told := func(v []float64) (mean, sd float64) { // of a sum of shelves
		var variance float64
		for j := range n {
			mean += v[j] * x.AtVec(j)
			for k := range n {
				variance += v[j] * v[k] * cov.At(j, k)
			}
		}
		return mean, math.Sqrt(variance)
	}
	out := Shelves{Loads: len(levels)}
	for j, name := range names {
		v := make([]float64, n)
		for k := range v {
			v[k] = -1 / float64(n)
		}
		v[j]++
		more, sd := told(v)
		out.Shelves = append(out.Shelves, ShelfHeat{name, more, sd, count[name]})
	}
	slices.SortStableFunc(out.Shelves, func(p, q ShelfHeat) int { return cmp.Compare(q.More, p.More) })
	v := make([]float64, n)
	hot, _ := slices.BinarySearch(names, out.Shelves[0].Shelf)
	cool, _ := slices.BinarySearch(names, out.Shelves[len(names)-1].Shelf)
	v[hot]++
	v[cool]--
	apart, sd := told(v)
	half := quantile(math.Inf(1), (1+tiles.LikelyLevel)/2) * sd
	out.Apart, out.Low, out.High = apart, apart-half, apart+half
	out.OnLid = tiles.Millimetre(apart * slope / weight)
	return out, true
}

// Shelves is the spread of one kiln by the bars of the fit.
func (f *Fit) Shelves(of kiln.KilnID) (Shelves, bool) {
	var all []ShelfReading
	for _, s := range f.sheets {
		var off []float64
		var row func(i int) float64
		for i, l := range s.lines {
			if l.heat == nil || l.heat.Assumed || l.heat.Kiln != of || l.heat.Shelf == "" || s.slipped(i) {
				continue
			}
			slope := f.clay(s.bar.Clay).slope(float64(l.heat.Work))
			if slope < loadMatters {
				continue
			}
			if off == nil {
				off, row = f.off(s)
			}
			// The length before, dry rather than wet: what the piece lost in drying is its own.
			before, sd := -1, math.Exp(f.solved.Theta[thetaPiece])
			for k, o := range s.lines {
				if o.mark == l.mark && o.heat == nil && !s.slipped(k) {
					if before < 0 || o.stage == tiles.Dry {
						before = k
					}
				}
			}
			if before < 0 {
				continue
			}
			if s.lines[before].stage == tiles.Dry {
				sd = 0
			}
			sd = math.Sqrt(square(sd) + row(i) + row(before))
			all = append(all, ShelfReading{loadName(l.heat), l.heat.Shelf,
				float64(l.heat.Work) + (off[i]-off[before])/slope, math.Hypot(sd/slope, placeSD), slope})
		}
	}
	return Spread(all)
}

// off is how far each line of a sheet lies from what the fit says, log-percent, the wet length
// apart, and the variance of its reading.
func (f *equations) off(s *sheet) (lines []float64, reading func(i int) float64) {
	b := f.pattern(s).of(s)
	lines = make([]float64, len(s.lines))
	for i := range lines {
		row := mixedmodel.Row{Cols: b.Cols, Vals: b.Z[i*len(b.Cols) : (i+1)*len(b.Cols)]}
		lines[i] = b.Y[i] - f.solved.Mean(row)
	}
	return lines, func(i int) float64 {
		return square(math.Exp(f.solved.Theta[thetaReading]))*b.Noise[0].Diag[i] + b.Noise[1].Diag[i]
	}
}
