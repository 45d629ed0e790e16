package usecase

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// FiringAsk says which firing a question of rates is about, as far as the asker said it.
type FiringAsk struct {
	Kind       kiln.Kind
	Atmosphere kiln.Atmosphere // empty: the one that most of the kiln's firings of the kind have
	Kiln       kiln.KilnID     // empty: where the clay's last fired bars came from, else the site's main kiln
	Heat       kiln.Celsius    // NaN: the usual one
}

// FiringMeant is the firing that a question turned out to be about.
type FiringMeant struct {
	lid.Firing
	From       string // usual, bag, asked
	Kind       kiln.Kind
	Atmosphere kiln.Atmosphere
	Kiln       kiln.KilnID
	Of         int             // firings that make the usual one
	Says       message.Message // what else is to be known of the usual one, in sentences; empty: nothing
	AsOf       time.Time
	Model      string
	Held       lid.Coverage // how often our own ranges held
}

const (
	bagMissC    = 15.0  // the cone on the bag (own)
	bagBisqueC  = 1000. // usual bisque where none was fired (own)
	newestKilns = 200
)

// meant finds the usual firing of the kind, or takes what was asked, or the cone on the bag.
func (s Lids) meant(ctx context.Context, a FiringAsk, clay tiles.Clay) (FiringMeant, error) {
	m := FiringMeant{Kind: a.Kind, Atmosphere: a.Atmosphere, Kiln: a.Kiln}
	m.BisqueWork, m.On = kiln.NoTemperature(), s.Now().Wall
	if a.Kiln == "" {
		var err error
		if m.Kiln, err = s.kilnOf(ctx, clay.ID); err != nil {
			return m, err
		}
	} else {
		if _, ok := s.KilnNamed(a.Kiln); !ok {
			return m, refuse("unknown-kiln", message.New("No kiln {1} in the settings.", string(a.Kiln)),
				wire.Field{Name: "kiln", Says: message.New("not in the settings")})
		}
	}
	var past detect.Past
	control := s.Known(m.Kiln).Control
	if m.Kiln != "" {
		firings, err := s.Archive.Firings(ctx, kiln.FiringFilter{Kiln: m.Kiln, Status: kiln.Ended,
			Limit: newestKilns})
		if err != nil {
			return m, err
		}
		if past, err = s.pastOf(ctx, m.Kiln, firings); err != nil {
			return m, err
		}
		if a.Atmosphere == "" {
			m.Atmosphere = s.usualAtmosphere(firings, a.Kind)
		}
		life, err := s.Heat.Life(ctx, m.Kiln, control, m.On)
		if err != nil {
			return m, err
		}
		m.Probe = heatwork.ProbeName(m.Kiln, control, life.Since())
	}
	if a.Kind != kiln.Once {
		m.BisqueWork = bagBisqueC
		if b, ok := past.UsualOf(kiln.Bisque, m.Atmosphere); ok && b.HeatWork.Known() {
			m.BisqueWork = b.HeatWork
		}
	}
	usual, found := past.UsualOf(a.Kind, m.Atmosphere)
	switch {
	case a.Heat.Known():
		m.Work, m.From, m.WorkSD = a.Heat, "asked", usual.Miss()
	case found && usual.HeatWork.Known():
		m.Work, m.From, m.Of, m.WorkSD = usual.HeatWork, "usual", usual.Of, usual.Miss()
	case a.Kind == kiln.Bisque:
		m.Work, m.From, m.WorkSD, m.FromBag = bagBisqueC, "bag", bagMissC, true
	case clay.Matures.Known():
		m.Work, m.From, m.WorkSD, m.FromBag = clay.Matures, "bag", bagMissC, true
	default:
		m.Work = kiln.NoTemperature()
	}
	if found {
		m.Says = usualSays(usual)
	}
	if a.Kind == kiln.Bisque {
		m.BisqueWork = m.Work
	}
	return m, nil
}

// kilnOf is the kiln that a question about a clay is about where it names none: the one where the clay's
// last fired bars came from, else the main kiln of the settings, else the first of them.
func (s Lids) kilnOf(ctx context.Context, clay tiles.ClayID) (kiln.KilnID, error) {
	if clay != "" {
		k, err := s.Archive.KilnOfClay(ctx, clay)
		if err != nil {
			return "", err
		}
		if _, ok := s.KilnNamed(k); ok {
			return k, nil
		}
	}
	return s.MainKiln(), nil
}

// MainKiln is the kiln that questions are about which name none; empty where there is no kiln.
func (s *Studio) MainKiln() kiln.KilnID {
	if s.Site.MainKiln != "" {
		return s.Site.MainKiln
	}
	if len(s.Wired) > 0 {
		return s.Wired[0].Kiln
	}
	if added := s.Added(); len(added) > 0 {
		return added[0]
	}
	if names := s.KilnNames(); len(names) > 0 {
		return names[0]
	}
	return ""
}

// For says what an answer is about, as its first line: the firing, its kiln and its cone, and what else is
// to be known of that. Empty where there is no heat to speak of.
func (m FiringMeant) For() message.Message {
	if !m.Work.Known() {
		return message.Message{}
	}
	l := heatwork.MainConeScale()
	cone := l.Words(l.Position(m.Work))
	if m.Kiln == "" {
		if m.From == "bag" {
			return message.New("{1}, {2}: the cone on the bag", m.Kind, cone)
		}
		return message.New("{1}, {2}: the heat asked", m.Kind, cone)
	}
	from := map[string]message.Key{"usual": "your usual {1} in {2}, {3}",
		"asked": "{1} in {2}, the heat asked: {3}",
		"bag":   "{1} in {2}, no usual firing yet: the cone on the bag, {3}"}[m.From]
	return message.Join("; ", message.New(from, m.Kind, m.Kiln, cone), m.Says)
}

// usualAtmosphere is the atmosphere of a question that names none: the one that most firings of a kind have,
// two at least, so that a single firing of another does not move it; else that of the settings, else the
// newest's.
func (s *Studio) usualAtmosphere(firings []kiln.Firing, kind kiln.Kind) kiln.Atmosphere {
	count := map[kiln.Atmosphere]int{}
	var newest kiln.Atmosphere
	for _, f := range firings {
		if f.Kind == kind {
			count[f.Atmosphere]++
			newest = cmp.Or(newest, f.Atmosphere)
		}
	}
	own := s.Site.atmosphere()
	most := own
	for _, f := range slices.Backward(firings) { // of two as many the earlier one
		if n := count[f.Atmosphere]; f.Kind == kind && n >= 2 && n > count[most] {
			most = f.Atmosphere
		}
	}
	if count[most] == 0 && own == kiln.UnknownAtmosphere && newest != "" {
		return newest
	}
	return most
}

// usualSays is what is to be known of a usual firing beside its heat work: that the last firing was another,
// that several in a row were, or that it moved.
func usualSays(e detect.Expected) message.Message {
	l := heatwork.MainConeScale()
	cone := func(c kiln.Celsius) message.Message { return l.Words(l.Position(c)) }
	switch {
	case e.Pinned && e.Last != 0:
		return message.New("set by hand; your last {1} was {2}", e.Kind, cone(e.Last))
	case e.Pinned:
		return message.New("set by hand")
	case e.Moved:
		return message.New("your usual {1} moved: the last {2} in a row were {3}", e.Kind, e.Of,
			cone(e.HeatWork))
	case e.MovesAfter() > 0:
		return message.New("your last {1} {2} firings were {3}: after {4} more it is your usual",
			len(e.Beside), e.Kind, cone(e.Last), e.MovesAfter())
	case e.Last != 0:
		return message.New("your last {1} was {2}", e.Kind, cone(e.Last))
	}
	return message.Message{}
}

// noBatch names the batches that there are, the first of many, in place of one that is not.
func noBatch(clay tiles.ClayID, there []string) message.Message {
	const most = 12
	switch {
	case len(there) == 0:
		return message.New("no such batch of {1}, which has none yet", string(clay))
	case len(there) > most:
		there = append(there[:most:most], "…")
	}
	return message.New("no such batch of {1}; there are {2}", string(clay), strings.Join(there, ", "))
}

// clay finds a clay, fills in the newest open batch where none was named, and the heat work of
// the cone on its bag.
func (s *Studio) clay(ctx context.Context, ref *tiles.BatchRef) (tiles.Clay, error) {
	kept, err := s.Archive.Clay(ctx, ref.Clay)
	if err != nil {
		return tiles.Clay{}, err
	}
	batches, err := s.Archive.Batches(ctx)
	if err != nil {
		return tiles.Clay{}, err
	}
	var newest *tiles.KeptBatch
	there, names := false, []string{}
	for i, b := range batches {
		if b.Clay != ref.Clay {
			continue
		}
		names = append(names, string(b.BatchRef.Batch))
		there = there || b.BatchRef == *ref
		if b.Open && (newest == nil || b.InUse(newest.Batch)) {
			newest = &batches[i]
		}
	}
	switch {
	case ref.Batch != "" && !there:
		return tiles.Clay{}, refuse("unknown-batch", message.New("{1} is no batch here.", ref.String()),
			wire.Field{Name: "batch", Says: noBatch(ref.Clay, names)})
	case ref.Batch == "" && newest != nil:
		ref.Batch = newest.BatchRef.Batch
	}
	return Matured(kept.Clay), nil
}

// Matured fills in the heat work of the cone on the bag.
func Matured(c tiles.Clay) tiles.Clay {
	c.Matures = kiln.NoTemperature()
	if c.MaturesCone != "" {
		if h, err := heatwork.MainConeScale().Parse(c.MaturesCone); err == nil {
			c.Matures = h
		}
	}
	return c
}

// Channel is the probe whose heat a bar on that shelf had; "1" of a kiln that nobody knows any more.
func (s *Studio) Channel(k kiln.KilnID, shelf string) kiln.ChannelID {
	if kk, ok := s.KilnNamed(k); ok {
		return kk.Probe(shelf)
	}
	return "1"
}
