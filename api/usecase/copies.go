package usecase

import (
	"context"
	"time"

	"lidwright/api/wire"
)

// CopyKept is one copy of the store.
type CopyKept struct {
	Name   string
	Folder string
	At     time.Time // when it was made, by the clock of then
	Bytes  int64
	Second bool // it lies in the second place
}

// Copies makes and lists copies of the whole store.
type Copies interface {
	// Make makes one and checks it; made is false where the newest has everything.
	Make(ctx context.Context) (made bool, err error)
	List() ([]CopyKept, error) // newest first
	// WithForgotten lists those that still have the mark of a maker who was forgotten, and the names of
	// files that were moved aside, which nothing takes a mark out of.
	WithForgotten(ctx context.Context) (copies []CopyKept, aside []string, err error)
	// Renew takes such marks out of them, and gives of how many.
	Renew(ctx context.Context) (int, error)
}

// Collector is the studio's way to the collector that its owner joined. Nothing else waits for it.
type Collector interface {
	Status(ctx context.Context) (CollectorStatus, error)
	// Join exchanges a code for a key. A *tiles.Invalid says what is wrong with the address or the code.
	Join(ctx context.Context, url, code, caFile string) error
	Set(ctx context.Context, keep, makers bool) error
	Leave(ctx context.Context, forget bool) error // forget has the collector delete first
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
	j := wire.CollectorStatus{Joined: st.Joined, URL: st.URL, Name: st.Name, Site: st.Site, Behind: st.Behind, Trouble: st.Trouble, LastBody: st.LastBody,
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
		k := wire.LiveKiln{Kiln: string(l.Kiln), State: string(l.State), Hot: l.Hot, StillHot: l.StillHot, OverLimit: l.OverLimit, AgeS: l.Age.Seconds(),
			Firing: string(l.Firing), Number: l.Number, Kind: string(l.Kind), RunningForS: l.Elapsed.Seconds(), KeepShutC: float64(l.KeepShut), Channels: []wire.LiveChannel{}}
		if l.LastT.Known() {
			t := float64(l.LastT)
			k.LastC = &t
			if !l.ReadAt.Wall.IsZero() {
				at := l.ReadAt.Wall.UTC()
				k.ReadAt = &at
			}
		}
		if rate := float64(l.Rate); l.Fresh && rate == rate {
			k.RateCPerHour = &rate
		}
		if l.Firing != "" && l.Peak.Known() {
			p := float64(l.Peak)
			k.PeakC = &p
		}
		for _, c := range l.Channels {
			ch := wire.LiveChannel{Channel: string(c.Channel)}
			if c.T.Known() {
				t := float64(c.T)
				ch.C = &t
			}
			k.Channels = append(k.Channels, ch)
		}
		out = append(out, k)
	}
	return out
}
