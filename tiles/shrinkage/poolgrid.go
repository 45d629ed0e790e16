package shrinkage

import (
	"context"
	"fmt"
	"math"
)

// The grid over the two sds of T, in their logs, and how it closes in on what the summaries leave possible.
// The sds are half-normal beforehand, which lets studios be alike (Gelman, Bayesian Analysis 1, 2006,
// 515-533: no prior that keeps such an sd away from 0); of heat about as wide as what one controller may read
// off: a thermocouple of type K or N in class 2 is allowed 9 °C at 1222 °C (IEC 60584-1, from memory). That
// of drying is our own.
const (
	likelyDrying, likelyHeat = 0.8, 10.0 // scales of the two half-normals: log-percent, °C
	leastDrying, mostDrying  = 0.04, 2.5 // of the first grid; what lies beyond does not matter
	leastHeat, mostHeat      = 0.75, 40.0
	gridDrying, gridHeat     = 6, 5
	closings                 = 3   // grids before the last, each where the one before it has its mass
	closingSDs               = 2.5 // so far to both sides of its mean
	closingStudios           = 60  // that those before the last look at, in one round
)

// grid is the rectangle in which the sds of T are looked for, in their logs.
type grid struct{ low, high [2]float64 }

// wholeGrid is the first grid.
func wholeGrid() grid {
	return grid{[2]float64{math.Log(leastDrying), math.Log(leastHeat)},
		[2]float64{math.Log(mostDrying), math.Log(mostHeat)}}
}

// PoolOf works the pool of one body out. The error is that of ctx, or a summary that cannot be taken.
func PoolOf(ctx context.Context, studios []Summary) (*Pool, error) {
	some := studios
	if every := (len(studios) + closingStudios - 1) / closingStudios; every > 1 {
		some = nil
		for i := 0; i < len(studios); i += every {
			some = append(some, studios[i])
		}
	}
	g := wholeGrid()
	for range closings {
		p, err := g.pool(ctx, some, 1)
		if err != nil {
			return nil, err
		}
		g = g.closed(p)
	}
	return g.pool(ctx, studios, weighings)
}

// pool is what studios say with T on the grid, and who is wide found out in so many rounds.
func (g grid) pool(ctx context.Context, studios []Summary, rounds int) (*Pool, error) {
	p := &Pool{studios: studios}
	var logs []float64
	for i := range gridDrying {
		drying := math.Exp(g.low[0] + (g.high[0]-g.low[0])*float64(i)/(gridDrying-1))
		for j := range gridHeat {
			if err := ctx.Err(); err != nil {
				return nil, fmt.Errorf("pool %d studios: %w", len(studios), context.Cause(ctx))
			}
			heat := math.Exp(g.low[1] + (g.high[1]-g.low[1])*float64(j)/(gridHeat-1))
			c, like, err := cellOf(studios, betweenOf(drying, heat), wideChance, rounds)
			if err != nil {
				return nil, err
			}
			p.cells = append(p.cells, c)
			logs = append(logs, like+likely(drying, likelyDrying)+likely(heat, likelyHeat))
		}
	}
	p.mass = shares(logs)
	return p, nil
}

// closed is the grid about the mass of p, which was worked out on g; never closer than where a step could
// have hidden it, nor beyond the first.
func (g grid) closed(p *Pool) (out grid) {
	steps := [2]float64{gridDrying - 1, gridHeat - 1}
	whole := wholeGrid()
	for k := range steps {
		mean, second := 0.0, 0.0
		for i, c := range p.cells {
			at := math.Log(c.t[k])/2 + math.Log(unitOfWay[k])
			mean += p.mass[i] * at
			second += p.mass[i] * at * at
		}
		sd := max(math.Sqrt(max(0, second-mean*mean)), (g.high[k]-g.low[k])/steps[k]/2)
		out.low[k] = max(whole.low[k], mean-closingSDs*sd)
		out.high[k] = min(whole.high[k], mean+closingSDs*sd)
	}
	return out
}

// likely is the log density, but for a constant, of the log of an sd that is half-normal of this scale.
func likely(sd, scale float64) float64 { return math.Log(sd) - square(sd/scale)/2 }

// shares are parts of 1 by their logs.
func shares(logs []float64) []float64 {
	top, sum := math.Inf(-1), 0.0
	for _, l := range logs {
		top = max(top, l)
	}
	out := make([]float64, len(logs))
	for i, l := range logs {
		out[i] = math.Exp(l - top)
		sum += out[i]
	}
	for i := range out {
		out[i] /= sum
	}
	return out
}
