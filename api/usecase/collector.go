package usecase

import (
	"context"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Collector is the studio's way to the collector that its owner joined. Nothing else waits for it.
type Collector interface {
	Status(ctx context.Context) (CollectorStatus, error)
	// Join exchanges a code for a key. A *tiles.Invalid says what is wrong with the address or the code.
	Join(ctx context.Context, url, code, caFile string) error
	Set(ctx context.Context, keep, makers bool) error
	Leave(ctx context.Context, forget bool) error // forget has the collector delete first
	// Bodies asks the collector which bodies it lists.
	Bodies(ctx context.Context) ([]wire.CatalogueBody, error)
	KnownBodies() []wire.CatalogueBody        // as they were heard last; asks nobody
	ClayBody(clay tiles.ClayID) wire.ClayPool // asks nobody
	// SetClayBody says which body of the list a clay is, none where it is empty, and whether what its bars
	// tell may be sent. A *tiles.Invalid says what is wrong.
	SetClayBody(ctx context.Context, clay tiles.ClayID, body string, send bool) error
}

// OfCollector is how each clay stands to the bodies of a collector. It asks nobody.
func (s Clays) OfCollector(ctx context.Context, c Collector) ([]wire.CollectorClay, error) {
	clays, err := s.Archive.Clays(ctx)
	if err != nil {
		return nil, err
	}
	out := []wire.CollectorClay{}
	for _, clay := range clays {
		out = append(out, s.poolOf(c, clay.Clay))
	}
	return out, nil
}

// OneOfCollector is the same of one clay. Errors: tiles.ErrNoClay.
func (s Clays) OneOfCollector(ctx context.Context, c Collector, id tiles.ClayID) (wire.CollectorClay, error) {
	clay, err := s.Archive.Clay(ctx, id)
	if err != nil {
		return wire.CollectorClay{}, err
	}
	return s.poolOf(c, clay.Clay), nil
}

func (s Clays) poolOf(c Collector, clay tiles.Clay) wire.CollectorClay {
	j := wire.CollectorClay{Clay: string(clay.ID), Name: clay.Name, ClayPool: c.ClayBody(clay.ID)}
	if j.Body == nil {
		for _, b := range c.KnownBodies() {
			if b.Became == "" && clay.MayBe(b.Number, b.Name) {
				j.Proposed = append(j.Proposed, b)
			}
		}
	}
	if fit, _, err := s.Shrink.Latest(); err == nil && j.Told != nil {
		if told := otherStudios(fit, clay.ID); told != nil && told.Made.Equal(j.Told.Made) {
			j.Told = told
		}
	}
	return j
}

// otherStudios is what other studios tell of a clay, used in fit or left out; nil where none do.
func otherStudios(fit *shrinkage.Fit, clay tiles.ClayID) *wire.BodyTold {
	o, there := shrinkage.OthersTell(fit, clay)
	if !there {
		return nil
	}
	j := &wire.BodyTold{Studios: o.Studios, Made: o.Made, Unlike: o.Unlike, OthersRatio: Ratio4(o.Theirs),
		LeftOut: o.LeftOut, Advice: o.Advice()}
	if j.Advice == nil {
		j.Advice = []message.Message{}
	}
	if o.Bars > 0 {
		j.OwnRatio = Ratio4(o.Own)
	}
	return j
}

// CollectorStatus is how a studio stands to its collector.
type CollectorStatus struct {
	Joined       bool
	URL, Name    string
	Site         string // id of the record
	Keep, Makers bool
	Behind       int64     // changes that are not there yet
	LastOK       time.Time // when something was taken last, since the start; zero if nothing was
	Trouble      string    // in a sentence
	LastBody     string
	Refused      uint64 // requests that were answered with a no
}

// CollectorJSON is the status as the API tells it.
func (s *Studio) CollectorJSON(st CollectorStatus) wire.CollectorStatus {
	j := wire.CollectorStatus{Joined: st.Joined, URL: st.URL, Name: st.Name, Site: st.Site, Behind: st.Behind,
		Trouble: st.Trouble, LastBody: st.LastBody,
		CollectorPurposes: wire.CollectorPurposes{Keep: st.Keep, Makers: st.Makers}}
	if !st.LastOK.IsZero() {
		j.LastOKAt = s.Moment(st.LastOK)
	}
	return j
}

// LiveKilns are what the kilns do now, as a collector is told.
func (s *Studio) LiveKilns() []wire.LiveKiln {
	out := []wire.LiveKiln{}
	for _, l := range s.Recorder.Live() {
		k := wire.LiveKiln{Kiln: string(l.Kiln), State: string(l.State), Hot: l.Hot, StillHot: l.StillHot,
			OverLimit: l.OverLimit, AgeS: l.Age.Seconds(),
			Firing: string(l.Firing), Number: l.Number, Kind: string(l.Kind),
			RunningForS: l.Elapsed.Seconds(), KeepShutC: float64(l.KeepShut),
			Channels: []wire.LiveChannel{}}
		if k.LastC = Celsius(l.LastT); k.LastC != nil && !l.ReadAt.Wall.IsZero() {
			at := l.ReadAt.Wall.UTC()
			k.ReadAt = &at
		}
		if l.Fresh {
			k.RateCPerHour = Rounded(float64(l.Rate), 1)
		}
		if l.Firing != "" {
			k.PeakC = Celsius(l.Peak)
		}
		for _, c := range l.Channels {
			k.Channels = append(k.Channels, wire.LiveChannel{Channel: string(c.Channel), C: Celsius(c.T)})
		}
		out = append(out, k)
	}
	return out
}
