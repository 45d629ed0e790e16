package auth

import (
	"context"
	"crypto/sha256"
	"log/slog"
	"net/netip"
	"time"

	"lidwright/api/web"
	"lidwright/kiln/message"
)

// An address from which a right code came is familiar for as long as a session of the bench lasts, over
// restarts, and until that code is renewed. The right code always works from there: guesses that others make,
// and those of its own that were wrong, make it wait a moment and never lock it out.
const (
	familiarLasts = benchLasts
	// guessEach is how far apart guesses beyond the rateLimit are looked at from one familiar address. At 20
	// a second half of the 36 bits of a bench passcode take 54 years.
	guessEach = 50 * time.Millisecond
	// longestTurn is how long one of them may wait: no more come at once over the connections of one address.
	longestTurn = 10 * time.Second
)

// familiarKey stands for an address among the sessions of the store.
func familiarKey(from netip.Addr, mark string) []byte {
	sum := sha256.Sum256([]byte("lidwright address " + mark + " " + network(from).String()))
	return sum[:]
}

// familiar reports whether a right code came from an address before.
func (g *Gate) familiar(ctx context.Context, from netip.Addr, hashes map[Who]PasscodeHash) bool {
	for _, h := range hashes {
		key := familiarKey(from, h.mark())
		g.mu.Lock()
		known := g.addresses[string(key)]
		g.mu.Unlock()
		if known {
			return true
		}
		mark, until, err := g.Sessions.Session(ctx, key)
		if err == nil && mark == h.mark() && !g.Now().Wall.After(until) {
			return true
		}
	}
	return false
}

// remember makes an address familiar. A store that cannot keep it now is told of elsewhere; until the next
// start the address is known all the same.
func (g *Gate) remember(ctx context.Context, from netip.Addr, mark string) {
	key := familiarKey(from, mark)
	g.mu.Lock()
	known := g.addresses[string(key)]
	if !known && len(g.addresses) >= mostAddresses {
		clear(g.addresses) // the store has them
	}
	g.addresses[string(key)] = true
	g.mu.Unlock()
	if known {
		return
	}
	if err := g.Sessions.KeepSession(ctx, key, mark, g.Now().Wall.Add(familiarLasts)); err != nil {
		slog.WarnContext(ctx, "that a code was right is known until the next start alone", "err", err)
	}
}

// turn waits until one more guess of a familiar address is due.
func (g *Gate) turn(ctx context.Context, from netip.Addr) *web.Problem {
	now := g.Now().Since
	due := g.turns.share(network(from), now).ReserveN(onClock(now), 1)
	wait := due.DelayFrom(onClock(now))
	if wait > longestTurn {
		due.CancelAt(onClock(now))
		return tooMany(message.New("Too many wrong codes came from this address."), wait)
	}
	select {
	case <-ctx.Done():
		return tooMany(message.New("Too many wrong codes came from this address."), wait)
	case <-time.After(wait):
		return nil
	}
}
