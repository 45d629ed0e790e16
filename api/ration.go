package api

import (
	"net/http"
	"net/netip"
	"sync"
	"time"
)

// ration lets every address do something so often: burst at once, then one each so long. The
// zero value rations nothing.
type ration struct {
	each  time.Duration
	burst int

	mu   sync.Mutex // guards left
	left map[netip.Prefix]*share
}

type share struct {
	of   float64       // what is left
	then time.Duration // when that was so
}

const mostShares = 1024 // addresses remembered; who has a full share again is forgotten first

// take takes one of an address's share at a moment, which must not run backwards. Where there
// is none left it says how long to wait.
func (r *ration) take(from netip.Addr, now time.Duration) (wait time.Duration, ok bool) {
	if r.each == 0 {
		return 0, true
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	s := r.share(neighbours(from), now)
	if s.of < 1 {
		return time.Duration((1 - s.of) * float64(r.each)), false
	}
	s.of--
	return 0, true
}

// giveBack undoes one take.
func (r *ration) giveBack(from netip.Addr, now time.Duration) {
	if r.each == 0 {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.share(neighbours(from), now).of++
}

func (r *ration) share(p netip.Prefix, now time.Duration) *share {
	if s, ok := r.left[p]; ok {
		s.fill(r, now)
		return s
	}
	if len(r.left) >= mostShares {
		for q, s := range r.left {
			if s.fill(r, now); s.of >= float64(r.burst) {
				delete(r.left, q)
			}
		}
	}
	if len(r.left) >= mostShares { // more than a studio has: all of the newcomers share one
		p = netip.Prefix{}
		if s, ok := r.left[p]; ok {
			s.fill(r, now)
			return s
		}
	}
	if r.left == nil {
		r.left = map[netip.Prefix]*share{}
	}
	s := &share{float64(r.burst), now}
	r.left[p] = s
	return s
}

func (s *share) fill(r *ration, now time.Duration) {
	if now > s.then {
		s.of = min(float64(r.burst), s.of+float64(now-s.then)/float64(r.each))
		s.then = now
	}
}

// neighbours are the addresses that one machine can choose from: of IPv6 a whole network.
func neighbours(a netip.Addr) netip.Prefix {
	bits := 64
	if a.Is4() {
		bits = 32
	}
	p, err := a.Prefix(bits)
	if err != nil {
		return netip.Prefix{}
	}
	return p
}

func fromOf(r *http.Request) netip.Addr { return addrIn(r.RemoteAddr) }

func addrIn(hostport string) netip.Addr {
	ap, err := netip.ParseAddrPort(hostport)
	if err != nil {
		return netip.Addr{}
	}
	return ap.Addr().Unmap().WithZone("")
}
