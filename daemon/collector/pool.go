package collector

import (
	"context"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"time"

	"lidwright/api/collectorpages"
	"lidwright/daemon/collector/postgres"
	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// poolEvery is how long a pool stands at least; looked at four times as often.
const poolEvery = time.Hour

// pooling works pools out as studios send, until ctx ends. Of several collectors on one database one does.
func (c *Collector) pooling(ctx context.Context) {
	for {
		if err := c.Pool(ctx, c.PoolEvery); err != nil && ctx.Err() == nil {
			slog.Warn("what studios say of bodies was not worked out; it is tried again", "err", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(c.PoolEvery / 4):
		}
	}
}

// Pool works out the pools that are due, none of which is newer than every.
func (c *Collector) Pool(ctx context.Context, every time.Duration) error {
	return c.store.WithLease(ctx, "pool", func(ctx context.Context) error {
		due, err := postgres.Due(ctx, c.store, shrinkage.LeastStudios, every)
		for _, k := range due {
			if err := c.poolOne(ctx, k); err != nil {
				return fmt.Errorf("pool body %s: %w", k.Body, err)
			}
		}
		return err
	})
}

// poolOne works out one pool: as it is told to each studio that is in it, its own summary left out, and to
// others. Pools of a model that this program does not know it leaves to one that does; but none is told any
// more in which a studio is that took its summary back.
func (c *Collector) poolOne(ctx context.Context, k postgres.PoolKey) error {
	db := c.store
	if !slices.Contains(c.Models, k.Model) {
		if k.Gone {
			return postgres.PutPool(ctx, db, k, 0, nil, nil)
		}
		return nil
	}
	sent, err := postgres.Summaries(ctx, db, k)
	if err != nil {
		return err
	}
	var all []shrinkage.Summary
	var sites []string
	bars, byYear := 0, map[int][]shrinkage.Summary{}
	for _, o := range sent {
		one, err := shrinkage.ReadSummary(o.Info)
		if err != nil {
			slog.Warn("a summary is left out", "body", k.Body, "site", o.Site, "err", err)
			continue
		}
		all, sites, bars = append(all, one), append(sites, o.Site), bars+o.Bars
		byYear[o.Year] = append(byYear[o.Year], one)
	}
	if len(all) < shrinkage.LeastStudios {
		return postgres.PutPool(ctx, db, k, bars, nil, nil)
	}
	p, err := shrinkage.PoolOf(ctx, all)
	if err != nil {
		return err
	}
	whole, err := p.For(-1)
	if err != nil {
		return err
	}
	priors := []postgres.OnePrior{{Prior: whole.Bytes()}}
	for i, site := range sites {
		one, err := p.For(i)
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return err
		}
		priors = append(priors, postgres.OnePrior{Site: site, Prior: one.Bytes(), Unlike: p.Unlike(i)})
	}
	years, err := yearsOf(ctx, db, k, byYear)
	if err != nil {
		return err
	}
	return postgres.PutPool(ctx, db, k, bars, priors, years)
}

// yearsOf is what the studios of each year say a body loses where it matures, of the years of enough studios.
func yearsOf(ctx context.Context, db *postgres.Store, k postgres.PoolKey,
	by map[int][]shrinkage.Summary) (out []collectorpages.BodyYear, err error) {
	matures, err := db.Matures(ctx, k.Body)
	if err != nil {
		return nil, err
	}
	for _, year := range slices.Sorted(maps.Keys(by)) {
		if year == 0 || len(by[year]) < shrinkage.LeastStudios {
			continue
		}
		p, err := shrinkage.PoolOf(ctx, by[year])
		if err != nil {
			return nil, err
		}
		one := collectorpages.BodyYear{Year: year, Studios: len(by[year])}
		if one.Mean, one.SD, err = p.Mean(matures, matures); err != nil {
			return nil, err
		}
		out = append(out, one)
	}
	return out, nil
}

// rates are what studios lose of a body about its maturing point, by a prior as it is kept: the mean, and
// where nine in ten of them lie.
func rates(prior []byte, matures float64) (out []shrinkage.CurvePoint) {
	p, err := shrinkage.ReadPrior(prior)
	if err != nil {
		return nil
	}
	const z90 = 1.6449
	for h := matures - 90; h <= matures+30; h += 10 {
		mean, sd := p.Total(h, matures)
		ratio := func(v float64) tiles.Ratio { return tiles.LogPercent(v).Ratio() }
		out = append(out, shrinkage.CurvePoint{Work: kiln.Celsius(h), Total: ratio(mean), Tested: true,
			Likely: shrinkage.Range{Low: ratio(mean - z90*sd), High: ratio(mean + z90*sd)}})
	}
	return out
}

func checkSummary(info []byte) error {
	_, err := shrinkage.ReadSummary(info)
	return err
}
