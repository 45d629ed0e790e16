package api

import (
	"context"
	"crypto/sha256"
	"log/slog"
	"net/netip"
	"time"

	"lidwright/api/web"
)

// An address from which a right code came is familiar for as long as a session of the bench lasts, over
// restarts, and until that code is renewed. The right code always works from there: guesses that others make,
// and those of its own that were wrong, make it wait a moment and never lock it out.
const (
	familiarLasts = benchLasts
	// guessEach is how far apart guesses beyond the ration are looked at from one familiar address. At 20 a
	// second half of the 36 bits of a bench code take 54 years.
	guessEach = 50 * time.Millisecond
	// longestTurn is how long one of them may wait: no more come at once over the connections of one address.
	longestTurn = 10 * time.Second
)

// familiarKey stands for an address among the sessions of the store.
func familiarKey(from netip.Addr, mark string) []byte {
	sum := sha256.Sum256([]byte("lidwright address " + mark + " " + neighbours(from).String()))
	return sum[:]
}

// familiar reports whether a right code came from an address before.
func (d *door) familiar(ctx context.Context, from netip.Addr, hashes map[Who]CodeHash) bool {
	for _, h := range hashes {
		key := familiarKey(from, h.mark())
		d.mu.Lock()
		known := d.addresses[string(key)]
		d.mu.Unlock()
		if known {
			return true
		}
		mark, until, err := d.s.Archive.Session(ctx, key)
		if err == nil && mark == h.mark() && !d.s.Now().Wall.After(until) {
			return true
		}
	}
	return false
}

// meet makes an address familiar. A store that cannot keep it now is told of elsewhere; until the next start
// the address is known all the same.
func (d *door) meet(ctx context.Context, from netip.Addr, mark string) {
	key := familiarKey(from, mark)
	d.mu.Lock()
	known := d.addresses[string(key)]
	if !known && len(d.addresses) >= mostShares {
		clear(d.addresses) // the store has them
	}
	d.addresses[string(key)] = true
	d.mu.Unlock()
	if known {
		return
	}
	if err := d.s.Archive.KeepSession(ctx, key, mark, d.s.Now().Wall.Add(familiarLasts)); err != nil {
		slog.WarnContext(ctx, "that a code was right is known until the next start alone", "err", err)
	}
}

// turn waits until one more guess of a familiar address is due.
func (d *door) turn(ctx context.Context, from netip.Addr) *web.Problem {
	now := d.s.Now().Since
	due := d.turns.share(neighbours(from), now).ReserveN(onClock(now), 1)
	wait := due.DelayFrom(onClock(now))
	if wait > longestTurn {
		due.CancelAt(onClock(now))
		return tooMany("Too many wrong codes came from this address.", wait)
	}
	select {
	case <-ctx.Done():
		return tooMany("Too many wrong codes came from this address.", wait)
	case <-time.After(wait):
		return nil
	}
}
