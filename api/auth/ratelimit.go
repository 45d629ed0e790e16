package auth

import (
	"net/http"
	"net/netip"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// rateLimit lets every address do something so often: burst at once, then one each so long. The
// zero value rations nothing.
type rateLimit struct {
	each  time.Duration
	burst int

	mu   sync.Mutex // guards left
	left map[netip.Prefix]*rate.Limiter
}

const mostAddresses = 1024 // addresses remembered; who has a full share again is forgotten first

// onClock is a moment of our own clock, which does not run backwards, as a limiter reckons with.
func onClock(since time.Duration) time.Time { return time.Unix(0, 0).Add(since) }

// take takes one of an address's share at a moment. Where there is none left it says how long to wait. Who
// has taken may give it back by CancelAt of the same moment; nil is nothing to give back.
func (r *rateLimit) take(from netip.Addr, now time.Duration) (taken *rate.Reservation, wait time.Duration) {
	if r.each == 0 {
		return nil, 0
	}
	taken = r.share(network(from), now).ReserveN(onClock(now), 1)
	if wait = taken.DelayFrom(onClock(now)); wait > 0 {
		taken.CancelAt(onClock(now))
		return nil, wait
	}
	return taken, 0
}

func giveBack(taken *rate.Reservation, now time.Duration) {
	if taken != nil {
		taken.CancelAt(onClock(now))
	}
}

func (r *rateLimit) share(p netip.Prefix, now time.Duration) *rate.Limiter {
	r.mu.Lock()
	defer r.mu.Unlock()
	if s, ok := r.left[p]; ok {
		return s
	}
	if len(r.left) >= mostAddresses {
		for q, s := range r.left {
			if s.TokensAt(onClock(now)) >= float64(r.burst) {
				delete(r.left, q)
			}
		}
	}
	if len(r.left) >= mostAddresses { // more than a studio has: all of the newcomers share one
		p = netip.Prefix{}
		if s, ok := r.left[p]; ok {
			return s
		}
	}
	if r.left == nil {
		r.left = map[netip.Prefix]*rate.Limiter{}
	}
	s := rate.NewLimiter(rate.Every(r.each), r.burst)
	r.left[p] = s
	return s
}

// network are the addresses that one machine can choose from: of IPv6 a whole network.
func network(a netip.Addr) netip.Prefix {
	bits := 64
	if a.Is4() {
		bits = 32
	}
	p, _ := a.Prefix(bits) // no address is of no network
	return p
}

// AddressOf is the address that a request came from.
func AddressOf(r *http.Request) netip.Addr { return AddressIn(r.RemoteAddr) }

// AddressIn is the address of a host and port; the zero one where it cannot be read.
func AddressIn(hostport string) netip.Addr {
	ap, _ := netip.ParseAddrPort(hostport)
	return ap.Addr().Unmap().WithZone("")
}
