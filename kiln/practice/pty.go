package practice

import (
	"errors"
	"fmt"
	"os"
	"time"

	"golang.org/x/sys/unix"
)

// Pty is a pseudo terminal: what is written here comes out of the device at Path, as if it came
// down a serial line, and the other way round. A pseudo terminal ignores speed and parity, so it
// says nothing about either. Close is the unplugging.
type Pty struct {
	Path   string // the device to open at the other end, such as /dev/pts/7
	master *os.File
}

// OpenPty makes a new pseudo terminal in raw mode. Nobody holds its other end yet.
func OpenPty() (*Pty, error) {
	fd, err := unix.Open("/dev/ptmx", unix.O_RDWR|unix.O_NOCTTY|unix.O_CLOEXEC|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, fmt.Errorf("open /dev/ptmx for a practice line: %w", err)
	}
	p := &Pty{master: os.NewFile(uintptr(fd), "/dev/ptmx")}
	if err := p.prepare(fd); err != nil {
		p.master.Close()
		return nil, fmt.Errorf("prepare a practice line: %w", err)
	}
	return p, nil
}

// prepare unlocks the other end, finds its path and sets it raw, so that bytes come through as they are.
func (p *Pty) prepare(fd int) error {
	if err := unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0); err != nil {
		return fmt.Errorf("unlock: %w", err)
	}
	n, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	if err != nil {
		return fmt.Errorf("number: %w", err)
	}
	p.Path = fmt.Sprintf("/dev/pts/%d", n)
	// Opening the other end once and closing it lets Listened tell from the first moment on.
	other, err := unix.Open(p.Path, unix.O_RDWR|unix.O_NOCTTY|unix.O_CLOEXEC, 0)
	if err != nil {
		return fmt.Errorf("open %s: %w", p.Path, err)
	}
	defer unix.Close(other)
	t, err := unix.IoctlGetTermios(other, unix.TCGETS)
	if err != nil {
		return fmt.Errorf("settings of %s: %w", p.Path, err)
	}
	t.Iflag, t.Oflag, t.Lflag = 0, 0, 0 // raw; of eight bits and without parity a new one is by itself
	if err := unix.IoctlSetTermios(other, unix.TCSETS, t); err != nil {
		return fmt.Errorf("raw mode of %s: %w", p.Path, err)
	}
	return nil
}

// Listened reports whether anybody holds the other end open.
func (p *Pty) Listened() bool {
	raw, err := p.master.SyscallConn()
	if err != nil {
		return false
	}
	held := false
	raw.Control(func(fd uintptr) {
		ask := []unix.PollFd{{Fd: int32(fd), Events: unix.POLLIN}}
		for {
			_, err := unix.Poll(ask, 0)
			if err == unix.EINTR {
				continue
			}
			held = err != nil || ask[0].Revents&unix.POLLHUP == 0
			return
		}
	})
	return held
}

// Speed is the speed in baud that whoever holds the other end has set; nothing is slower or faster for it.
func (p *Pty) Speed() (int, error) {
	raw, err := p.master.SyscallConn()
	if err != nil {
		return 0, err
	}
	var set *unix.Termios
	raw.Control(func(fd uintptr) { set, err = unix.IoctlGetTermios(int(fd), unix.TCGETS2) })
	if err != nil {
		return 0, fmt.Errorf("speed of %s: %w", p.Path, err)
	}
	return int(set.Ospeed), nil
}

// Write sends b down the line. Where nobody listens it goes nowhere, as on a wire; where the
// listener does not read, what has not gone after a second is lost, as on a wire.
func (p *Pty) Write(b []byte) (int, error) {
	if !p.Listened() {
		return len(b), nil
	}
	p.master.SetWriteDeadline(time.Now().Add(time.Second))
	_, err := p.master.Write(b)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = nil
	}
	return len(b), err
}

// Read gives what the other end sent, waiting at most until the time set with SetReadDeadline.
// While nobody holds the other end it answers EIO at once.
func (p *Pty) Read(b []byte) (int, error) { return p.master.Read(b) }

// SetReadDeadline bounds the waiting of Read.
func (p *Pty) SetReadDeadline(t time.Time) error { return p.master.SetReadDeadline(t) }

// Close unplugs: whoever holds the other end sees the device go.
func (p *Pty) Close() error { return p.master.Close() }
