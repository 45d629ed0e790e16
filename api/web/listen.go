package web

import (
	"net"
	"net/netip"
	"sync"
	"time"

	"lidwright/kiln/message"
)

// limited takes at most all connections at once and each from one address; one more gets
// an immediate 503 and is closed, so that those who are in are never held up by those who
// are not. It also keeps descriptor numbers below what the serial library can bear.
type limited struct {
	net.Listener
	all, each int

	mu   sync.Mutex // guards the two below
	open int
	from map[netip.Addr]int
}

// Limit wraps a listener; all and each are counts of connections.
func Limit(l net.Listener, all, each int) net.Listener {
	return &limited{Listener: l, all: all, each: each, from: map[netip.Addr]int{}}
}

func (l *limited) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		addr := addrOf(c.RemoteAddr())
		l.mu.Lock()
		if l.open < l.all && l.from[addr] < l.each {
			l.open++
			l.from[addr]++
			l.mu.Unlock()
			return &counted{Conn: c, done: sync.OnceFunc(func() { l.leave(addr) })}, nil
		}
		l.mu.Unlock()
		turnAway(c)
	}
}

func (l *limited) leave(addr netip.Addr) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.open--
	if l.from[addr]--; l.from[addr] <= 0 {
		delete(l.from, addr)
	}
}

func addrOf(a net.Addr) netip.Addr {
	ap, err := netip.ParseAddrPort(a.String())
	if err != nil {
		return netip.Addr{}
	}
	return ap.Addr().Unmap()
}

// turnAway answers without reading and never waits for the other end.
func turnAway(c net.Conn) {
	body := EncodeJSON(NewProblem("too-many-connections",
		message.New("Too many connections at this moment.")))
	c.SetWriteDeadline(time.Now().Add(50 * time.Millisecond))
	c.Write(append([]byte("HTTP/1.1 503 Service Unavailable\r\nContent-Type: application/problem+json\r\nRetry-After: 5\r\nConnection: close\r\n\r\n"), body...))
	if t, ok := c.(*net.TCPConn); ok {
		t.CloseWrite()
	}
	c.Close()
}

type counted struct {
	net.Conn
	done func()
}

func (c *counted) Close() error {
	c.done()
	return c.Conn.Close()
}
