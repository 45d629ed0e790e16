package usecase

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"

	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"

	"golang.org/x/sync/singleflight"
)

// learned is what the lids of the site have taught. It is worked out anew from the record, so that
// a struck board leaves no trace.
type learned struct {
	fit    *shrinkage.Fit
	change int64 // the last of the record that is in it
	parts  lid.Differences
	Held   lid.Coverage
	makers map[string]lid.Accuracy
	rims   map[makerForm]lid.Rim
	left   int                          // boards left out, since most of their lids were not looked at
	boards map[string]taughtBoard       // by the id of the lid result
	told   []string                     // ids of those that teach, in the order in which they were told
	sats   []lid.ComparedResult         // of told
	tight  map[lid.DifferenceGroup]bool // a lid of the form (maker left out) was too big, tight or glued
}

// taughtBoard is what became of one board of lids.
type taughtBoard struct {
	Sat    lid.ComparedResult
	Why    message.Message // it teaches nothing; empty: it teaches
	code   string          // of Why, as answers name it
	Caveat message.Message // it teaches, with this to know
}

// Why a board teaches nothing, beside tiles.CrossedOut.
const (
	noSizes = "no_sizes"
	tooFew  = "too_few_looked_at"
)

// makerForm is a form as one maker throws it.
type makerForm struct{ maker, form string }

type learner struct {
	working singleflight.Group // one works it out, those who ask meanwhile wait for that

	mu   sync.Mutex // guards last
	last *learned
}

func (l *learner) kept(fit *shrinkage.Fit, change int64) *learned {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.last != nil && l.last.fit == fit && l.last.change == change {
		return l.last
	}
	return nil
}

func (l *learner) keep(is *learned) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.last = is
}

// Learned gives what all that was said so far teaches.
func (s Lids) Learned(ctx context.Context) (*learned, error) {
	fit, _, err := s.Shrink.Fit(ctx)
	if err != nil {
		return nil, err
	}
	change, err := s.Archive.LastChange(ctx)
	if err != nil {
		return nil, err
	}
	if l := s.learner.kept(fit, change); l != nil {
		return l, nil
	}
	return together(ctx, &s.learner.working, fmt.Sprintf("%p %d", fit, change), func() (*learned, error) {
		l, err := s.learn(ctx, fit)
		if err != nil {
			return nil, err
		}
		l.fit, l.change = fit, change
		s.learner.keep(l)
		return l, nil
	})
}

func (s Lids) learn(ctx context.Context, fit *shrinkage.Fit) (*learned, error) {
	l := &learned{makers: map[string]lid.Accuracy{}, rims: map[makerForm]lid.Rim{},
		boards: map[string]taughtBoard{}, tight: map[lid.DifferenceGroup]bool{}}
	cards, err := s.Archive.Pots(ctx, lid.PotFilter{})
	if err != nil {
		return nil, err
	}
	pots := map[string]lid.PotCard{}
	measured, turned := map[string][]lid.Told{}, map[makerForm][]lid.TurnedRim{}
	for _, c := range cards {
		pots[c.ID] = c.PotCard
		if c.Set != 0 && c.Measured != 0 {
			measured[c.Mark] = append(measured[c.Mark], lid.Told{Told: c.Set, Measured: c.Measured})
		}
		if c.Bowl != 0 && c.Measured != 0 {
			k := makerForm{c.Mark, c.Form}
			turned[k] = append(turned[k], lid.TurnedRim{Before: c.Bowl, After: c.Measured})
		}
	}
	for k, pairs := range turned {
		l.rims[k] = lid.LearnRim(pairs)
	}
	misread := fit.Misreads()
	results, err := s.Archive.LidResults(ctx, lid.ResultFilter{})
	if err != nil {
		return nil, err
	}
	slices.Reverse(results) // oldest first
	e := expecting{s: s.Studio, fit: fit, pots: pots, makers: l.makers, known: map[knownKey]lid.Known{},
		usual: map[tiles.ClayID]lid.Firing{}}
	if len(results) > 0 {
		if err := e.load(ctx); err != nil {
			return nil, err
		}
	}
	// How true each maker reads is learned from the boards before the boards are.
	for _, v := range results {
		if v.Struck == nil && len(v.Plays) > 1 && len(v.Plays) == len(v.Pots) {
			m, err := e.misread(ctx, v)
			if err != nil {
				return nil, err
			}
			misread[v.Maker] = misread[v.Maker].With(m)
		}
	}
	l.accuracies(measured, misread)
	var boards []lid.ComparedResult
	for _, v := range results {
		if v.Struck != nil {
			l.boards[v.ID] = taughtBoard{Why: message.New("it was crossed out"),
				code: string(tiles.CrossedOut)}
			continue
		}
		b, err := e.board(ctx, v)
		if err != nil {
			return nil, err
		}
		l.boards[v.ID] = b
		if v.Sat.TooBig+v.Sat.Tight+v.Losses.Glued > 0 {
			l.tight[lid.DifferenceGroup{Form: v.Form, Body: v.Body.Clay, Lid: v.Lid.Clay}] = true
		}
		switch {
		case b.Sat.Lid != 0 && !b.Sat.Tells():
			l.left++
		case b.Why.IsZero():
			boards = append(boards, b.Sat)
			l.told = append(l.told, v.ID)
		}
	}
	l.sats = boards
	l.parts, l.Held = lid.LearnDifferences(boards), lid.ScoreCoverage(boards)
	return l, nil
}

// accuracies learns how true each maker works.
func (l *learned) accuracies(measured map[string][]lid.Told, misread map[string]shrinkage.Misread) {
	for maker, lids := range measured {
		l.makers[maker] = lid.LearnAccuracy(lids, misread[maker])
	}
	for maker, m := range misread {
		if m.Number > 0 && maker != "" {
			l.makers[maker] = lid.LearnAccuracy(measured[maker], m)
		}
	}
}

// misread is what the measured plays of a board tell of its maker's readings.
func (e *expecting) misread(ctx context.Context, v lid.Result) (shrinkage.Misread, error) {
	at, _, err := e.firing(ctx, v)
	if err != nil {
		return shrinkage.Misread{}, err
	}
	pots, err := e.sat(v, e.s.LidDefaults, at)
	if err != nil {
		return shrinkage.Misread{}, ignoreInvalid(err)
	}
	return v.Misread(pots), nil
}

// sat are the pots of a board whose sizes are known.
func (e *expecting) sat(v lid.Result, d lid.Defaults, at lid.Firing) (pots []lid.ComparedPot, err error) {
	for i, id := range v.Pots {
		card, there := e.pots[id]
		if !there {
			continue
		}
		q, asTold := v.LidFor(i, card)
		if q.Lid == 0 {
			continue
		}
		p := lid.ComparedPot{AsTold: asTold}
		if p.Question, err = q.Check(d); err != nil {
			return nil, err
		}
		if p.Known, err = e.shrinks(p.Question, at); err != nil {
			return nil, err
		}
		pots = append(pots, p)
	}
	return pots, nil
}

// expecting joins boards of lids with what the fit expected of them.
type expecting struct {
	s       *Studio
	fit     *shrinkage.Fit
	pots    map[string]lid.PotCard
	makers  map[string]lid.Accuracy
	loads   map[string]tiles.KeptLoad
	firings map[kiln.FiringID]kiln.Firing
	known   map[knownKey]lid.Known
	usual   map[tiles.ClayID]lid.Firing
}

// knownKey is all that the shrink of a pot and its lid depends on.
type knownKey struct {
	body, lid             tiles.BatchRef
	collarStage, lidStage tiles.Stage
	together              shrinkage.Together
	work, workSD, bisque  uint64 // bits, so that an unknown one equals itself
	probe                 string
}

func (e *expecting) load(ctx context.Context) error {
	loads, err := e.s.Archive.Loads(ctx, tiles.LoadFilter{})
	if err != nil {
		return err
	}
	e.loads = map[string]tiles.KeptLoad{}
	for _, l := range loads {
		e.loads[l.ID] = l
	}
	firings, err := e.s.Archive.Firings(ctx, kiln.FiringFilter{})
	if err != nil {
		return err
	}
	e.firings = map[kiln.FiringID]kiln.Firing{}
	for _, f := range firings {
		e.firings[f.ID] = f
	}
	return nil
}

const recordedMissC = 3 // of a heat work that was recorded (own); the load's own error comes on top

// firing is the heat that a board had: that of its load's firing, as stated, or else the usual one.
func (e *expecting) firing(ctx context.Context, v lid.Result) (at lid.Firing, caveat message.Message,
	err error) {
	usual, ok := e.usual[v.Body.Clay]
	if !ok {
		ref := v.Body
		clay, err := e.s.clay(ctx, &ref)
		if err != nil {
			return at, caveat, err
		}
		m, err := e.s.Lids().meant(ctx, FiringAsk{Kind: kiln.Glaze, Heat: kiln.NoTemperature()}, clay)
		if err != nil {
			return at, caveat, err
		}
		usual = m.Firing
		e.usual[v.Body.Clay] = usual
	}
	at = usual
	l, ok := e.loads[v.Load]
	switch {
	case !ok:
		return at, message.New("no load named: the usual glaze firing is taken"), nil
	case l.Firing != "":
		f, ok := e.firings[l.Firing]
		control := e.s.Known(f.Kiln).Control
		w, heard := f.Work(control)
		if ok && heard && w.C.Known() {
			at.Work, at.WorkSD, at.Probe, at.FromBag = w.C, recordedMissC,
				heatwork.ProbeName(f.Kiln, control, w.Since), false
			if f.Kind == kiln.Once {
				at.BisqueWork = kiln.NoTemperature()
			}
			return at, caveat, nil
		}
	case l.Stated.Known() && l.Stated != 0:
		at.Work, at.WorkSD, at.FromBag = l.Stated, 2*recordedMissC, false
		return at, caveat, nil
	}
	return at, message.New("its load has no heat work yet: the usual glaze firing is taken"), nil
}

// board is v beside what the fit expected of it, or why it teaches nothing.
func (e *expecting) board(ctx context.Context, v lid.Result) (taughtBoard, error) {
	var b taughtBoard
	at, caveat, err := e.firing(ctx, v)
	if err != nil {
		return b, err
	}
	b.Caveat = caveat
	d := e.s.LidDefaults.Learned(e.makers[v.Maker])
	pots, err := e.sat(v, d, at)
	switch {
	case err != nil:
		b.Why, b.code = message.New("its sizes cannot be reckoned: {1}", message.Of(err)), noSizes
		return b, ignoreInvalid(err)
	case len(v.Pots) == 0:
		b.Why, b.code = message.New("no pot card named, so its sizes are not known"), noSizes
		return b, nil
	case len(pots) == 0:
		b.Why, b.code = message.New("no card of its pots has the widths of gallery and lid"), noSizes
		return b, nil
	}
	if b.Sat, err = v.Expect(pots); err != nil {
		b.Why, b.code = message.New("its sizes cannot be reckoned: {1}", message.Of(err)), noSizes
		return b, ignoreInvalid(err)
	}
	if !b.Sat.Tells() {
		b.code = tooFew
		b.Why = message.New("only some were told: at least half of a board must be looked at, or the failures alone " +
			"would teach")
	}
	return b, nil
}

func ignoreInvalid(err error) error {
	if IsInvalid(err) || errors.Is(err, tiles.ErrNoClay) || errors.Is(err, tiles.ErrNoBatch) {
		return nil
	}
	return err
}

func (e *expecting) shrinks(q lid.Checked, at lid.Firing) (lid.Known, error) {
	key := knownKey{body: q.Body, lid: q.LidClay, collarStage: q.CollarStage, lidStage: q.LidStage,
		together: q.Together,
		work:     math.Float64bits(float64(at.Work)), workSD: math.Float64bits(at.WorkSD),
		bisque: math.Float64bits(float64(at.BisqueWork)), probe: at.Probe}
	if k, ok := e.known[key]; ok {
		return k, nil
	}
	k, err := q.Know(e.fit, at, shrinkage.SoFar{})
	if err == nil {
		e.known[key] = k
	}
	return k, err
}

// part is the lid difference that a lid question is answered with, and whether lids of its form
// were tight.
func (l *learned) part(q lid.Question) (*lid.Difference, bool) {
	lidClay := q.LidClay.Clay
	if lidClay == "" {
		lidClay = q.Body.Clay
	}
	g := lid.DifferenceGroup{Form: q.Form, Body: q.Body.Clay, Lid: lidClay, Maker: q.Maker}
	d := l.parts.Of(g)
	g.Maker = ""
	return &d, q.Form != "" && l.tight[g]
}
