package daemon

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"lidwright/api/usecase"
	"lidwright/config"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/kiln/source"
)

// heard is what the lines heard, a Line each kiln.
func (d *Daemon) heard() []usecase.Line {
	var out []usecase.Line
	for _, src := range d.lines {
		out = append(out, linesHeard(src.Heard())...)
	}
	for _, k := range d.cfg.Kilns {
		if k.Port == "" {
			out = append(out, usecase.Line{Kiln: k.ID, Waits: message.New("no line: by hand only"),
				Heard: keptByHand(k.ID)})
		}
	}
	for _, id := range d.server.Added() {
		out = append(out, usecase.Line{Kiln: id, Waits: message.New("no line: by hand only"),
			Heard: keptByHand(id)})
	}
	return out
}

func keptByHand(k kiln.KilnID) []usecase.Remark {
	return []usecase.Remark{{Says: message.New("{1} has no line: it is kept by hand", k)}}
}

// linesHeard tells what one line heard, for each kiln on it.
func linesHeard(h source.Heard) []usecase.Line {
	var out []usecase.Line
	for _, k := range h.Kilns {
		l := usecase.Line{Kiln: k.Kiln, Port: h.Port, Open: h.State == source.PortOpen, Sends: k.Sends,
			Good: k.Good, Garbled: k.Garbled, Silent: k.Silent, Breakvalue: k.Breakvalue,
			GoodMinute: k.GoodMinute, BadMinute: k.BadMinute, Window: k.Window.Seconds()}
		for _, r := range slices.Concat(h.PortRemarks(), k.Remarks()) {
			l.Heard = append(l.Heard, usecase.Remark(r))
		}
		if !l.Open {
			l.Waits = message.New("waiting for {1}", h.Waiting)
		}
		if k.Ever {
			l.Last, l.LastAt = k.Last.Values, k.Last.At
		}
		for _, o := range k.Orders {
			one := usecase.Order{Channel: o.Channel, Set: o.Set, Values: map[string]float64{}}
			for i, order := range source.Orders() {
				one.Values[order] = o.Values[i]
			}
			l.Orders = append(l.Orders, one)
		}
		out = append(out, l)
	}
	return out
}

// Runs reports whether a daemon has the store of the settings.
func Runs(cfg config.Config) bool { return store.InUse(cfg.Store.Folder) }

// NobodyRuns reports whether it is certain that no daemon has the store of the settings: false also where
// this user may not look.
func NobodyRuns(cfg config.Config) bool {
	f, err := os.Open(filepath.Join(cfg.Store.Folder, "lock"))
	if err == nil {
		f.Close()
	}
	return !errors.Is(err, fs.ErrPermission) && !Runs(cfg)
}

// LongEnough is how long to listen to the lines of the settings to hear each kiln three times: the
// two seconds that a device is left alone and three periods, from 10 to 60 s.
func LongEnough(cfg config.Config) time.Duration {
	long := 10 * time.Second
	for _, k := range cfg.Kilns {
		long = max(long, 2*time.Second+3*k.Every)
	}
	return min(long, time.Minute)
}

// Listen opens the lines of the settings that pass only, hears them for so long, and tells what was
// heard. It keeps nothing, and sends what the daemon would send and nothing else. trace, which may be nil, is
// told all that passes on them; with several lines it is called from several goroutines.
func Listen(ctx context.Context, cfg config.Config, long time.Duration, only func(port string) bool,
	trace func(at kiln.Stamp, what source.Traced, bytes []byte)) ([]usecase.Line, error) {
	clock, err := NewClock()
	if err != nil {
		return nil, err
	}
	samples := make(chan kiln.Sample, 256)
	var sources []*source.Source
	for _, s := range linesOf(cfg) {
		if !only(s.Port) {
			continue
		}
		src, err := source.New(s, clock.Now, samples)
		if err != nil {
			return nil, fmt.Errorf("the line %s: %w", s.Port, err)
		}
		src.Trace = trace
		sources = append(sources, src)
	}
	heard := make([]source.Heard, len(sources))
	var lines sync.WaitGroup
	timeUp := make(chan struct{})
	defer time.AfterFunc(long, func() { close(timeUp) }).Stop()
	for i, src := range sources {
		lines.Go(func() {
			mine, stop := context.WithCancel(ctx)
			ended := make(chan struct{})
			go func() { defer close(ended); src.Run(mine) }()
			select {
			case <-timeUp:
			case <-ctx.Done():
			case <-ended: // a recording that has been played
			}
			heard[i] = src.Heard() // while the port is still open
			stop()
			<-ended
		})
	}
	done := make(chan struct{})
	go func() { lines.Wait(); close(done) }()
	for {
		select {
		case <-samples:
		case <-done:
			var out []usecase.Line
			for _, h := range heard {
				out = append(out, linesHeard(h)...)
			}
			return out, nil
		}
	}
}

// Lines of the settings: kilns on one port share one.
func linesOf(cfg config.Config) []source.Settings {
	var out []source.Settings
	for _, k := range cfg.Kilns {
		if k.Port == "" {
			continue
		}
		sk := source.Kiln{ID: k.ID, Every: k.Every, Reply: k.Reply, Separator: k.Separator,
			DecimalComma: k.DecimalComma, Terminator: k.Terminator, Checksum: k.Checksum,
			Pattern: k.Pattern, TimeColumn: k.TimeColumn, Select: k.Select,
			Poll: k.PollBytes, PollOther: k.PollOther,
			PollReason: k.PollReason}
		for _, c := range k.Channels {
			sc := source.Channel{ID: c.ID, Role: c.Role, From: string(c.From), Unit: c.Unit,
				ColdJunction: c.ColdJunction, Scale: c.Scale, Offset: c.Offset, Linearised: true,
				UnitID: c.UnitID, Function: c.Function, Register: c.Register, Number: c.Type, Order: c.Order}
			if p, ok := k.Probe(c.ID); ok {
				sc.Type, sc.Linearised = p.Type, p.Linearised
			}
			sk.Channels = append(sk.Channels, sc)
		}
		at := slices.IndexFunc(out, func(s source.Settings) bool {
			return s.Port == k.Port && !strings.HasPrefix(k.Reply, "replay")
		})
		if at < 0 {
			out = append(out, source.Settings{Port: k.Port, Speed: k.Speed, Framing: k.Framing})
			at = len(out) - 1
		}
		out[at].Kilns = append(out[at].Kilns, sk)
	}
	return out
}
