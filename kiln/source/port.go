package source

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"lidwright/kiln/message"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// Port is an open line to a device. One goroutine owns it: it reads, writes and closes.
type Port interface {
	// Read waits at most the time of SetReadTimeout for bytes; (0, nil) means that none came. Any
	// error means that the device is gone.
	Read(p []byte) (int, error)
	Write(p []byte) (int, error)
	SetReadTimeout(time.Duration) error
	ResetInputBuffer() error // drops what has come and was not read
	Close() error
}

// descriptors is how many the library can wait for: select(2) with a fixed set of 1024 bits.
const descriptors = 1024

// OpenPort opens the serial line of s. Errors are in words for the owner; errors.Is finds
// fs.ErrNotExist and fs.ErrPermission in them.
//
// The library panics in Read if the descriptor's number is 1024 or above. So the port is refused
// while the next free numbers are that high, with an error that says so, and should one slip
// through between the look and the opening, Read gives an error instead of a panic.
func OpenPort(s Settings) (Port, error) {
	mode, err := modeOf(s.Speed, s.Framing)
	if err != nil {
		return nil, err
	}
	ear := openEar(s.Port)
	if n := nextDescriptor(); n >= descriptors {
		ear.Close()
		return nil, tooMany(s.Port, n)
	}
	port, err := serial.Open(s.Port, mode)
	if err != nil {
		ear.Close()
		return nil, inWords(s.Port, err)
	}
	return &guardedPort{Port: port, ear: ear}, nil
}

// openEar opens a device a second time, to wait on for bytes as the runtime waits for a network: the library
// waits in select(2), for which a thread stands still and the runtime looks every few microseconds whether it
// may be left, 40 times a second. It comes before the library's own opening, which shuts others out. Nil
// where the device cannot be opened or waited for so; then the library waits.
func openEar(name string) *os.File {
	ear, err := os.OpenFile(name, os.O_RDONLY|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil
	}
	if ear.SetReadDeadline(time.Time{}) != nil {
		ear.Close()
		return nil
	}
	return ear
}

// tooMany says that the port would get a descriptor beyond what the library can wait for.
func tooMany(port string, n int) error {
	return message.NewError("cannot open {1}: {2} files and connections are open and a serial port must lie below {3}; "+
		"close some connections or lower {4}", port, n, descriptors, "listen.connections")
}

// nextDescriptor is the highest number that opening a port would take now: it takes three, one for
// the device and two for the pipe that wakes a waiting Read.
func nextDescriptor() int {
	highest := 0
	for range 3 {
		fd, err := unix.Open("/dev/null", unix.O_RDONLY|unix.O_CLOEXEC, 0)
		if err != nil {
			return descriptors // none left at all
		}
		defer unix.Close(fd)
		highest = max(highest, fd)
	}
	return highest
}

// guardedPort waits on its ear, and turns the library's panic over a descriptor beyond its set into an error.
type guardedPort struct {
	serial.Port
	ear      *os.File      // nil where the library waits
	patience time.Duration // of SetReadTimeout; 0 while none was set
}

// SetReadTimeout is the library's, and how long the ear waits.
func (p *guardedPort) SetReadTimeout(d time.Duration) error {
	p.patience = d
	return p.Port.SetReadTimeout(d)
}

// Read waits on the ear and reads by the library, with an error in place of its panic.
func (p *guardedPort) Read(b []byte) (n int, err error) {
	defer func() {
		if r := recover(); r != nil {
			n, err = 0, fmt.Errorf("reading the port failed, most likely because its descriptor is %d or above: %v",
				descriptors, r)
		}
	}()
	if p.ear != nil && p.patience > 0 && !p.hears() {
		return 0, nil
	}
	return p.Port.Read(b)
}

// hears waits until there is something to read, which may be that the device is gone; false where the time is
// over.
func (p *guardedPort) hears() bool {
	line, err := p.ear.SyscallConn()
	if err != nil || p.ear.SetReadDeadline(time.Now().Add(p.patience)) != nil {
		return true // the library waits, or says what is wrong
	}
	err = line.Read(func(fd uintptr) bool {
		look := []unix.PollFd{{Fd: int32(fd), Events: unix.POLLIN}}
		n, err := unix.Poll(look, 0)
		return n > 0 || err != nil && err != unix.EINTR
	})
	return !errors.Is(err, os.ErrDeadlineExceeded)
}

// Close closes the library's port, then the ear.
func (p *guardedPort) Close() error {
	err := p.Port.Close()
	p.ear.Close() // of nil it is an error and no more
	return err
}

// modeOf turns speed and framing, such as 9600 and "8N1", into the library's terms. DTR and RTS
// are left alone: setting them at opening fails on a pseudo terminal.
func modeOf(speed int, framing string) (*serial.Mode, error) {
	wrong := fmt.Errorf("%q is no framing; take 8N1, 8E1, 8O1, 8N2, 7E1 or 7O1", framing)
	if len(framing) != 3 {
		return nil, wrong
	}
	mode := &serial.Mode{BaudRate: speed}
	switch framing[0] {
	case '7', '8':
		mode.DataBits = int(framing[0] - '0')
	default:
		return nil, wrong
	}
	switch framing[1] {
	case 'N':
		mode.Parity = serial.NoParity
	case 'E':
		mode.Parity = serial.EvenParity
	case 'O':
		mode.Parity = serial.OddParity
	default:
		return nil, wrong
	}
	switch framing[2] {
	case '1':
		mode.StopBits = serial.OneStopBit
	case '2':
		mode.StopBits = serial.TwoStopBits
	default:
		return nil, wrong
	}
	return mode, nil
}

// inWords says what an error of opening means and what to do.
func inWords(name string, err error) error {
	var trouble *serial.PortError
	if errors.As(err, &trouble) {
		switch trouble.Code() {
		case serial.PermissionDenied:
			return message.WrapError(fs.ErrPermission,
				"{1}: permission denied: is the user in group dialout?", name)
		case serial.PortBusy:
			return message.WrapError(err, "{1}: busy: another program has the port open", name)
		case serial.PortNotFound:
			return message.WrapError(fs.ErrNotExist, "{1}: no such device", name)
		case serial.InvalidSerialPort:
			return message.WrapError(err, "{1}: is no serial port ({2})", name, err.Error())
		}
	}
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, unix.ENXIO) || errors.Is(err, unix.ENODEV) {
		return message.WrapError(fs.ErrNotExist, "{1}: no such device", name)
	}
	return message.WrapError(err, "{1}: {2}", name, err.Error())
}

// warnName gives a warning for a device name that may belong to another device tomorrow, "" for
// one that stays.
func warnName(port string) message.Message {
	base := filepath.Base(port)
	if filepath.Dir(port) == "/dev" && (strings.HasPrefix(base, "ttyUSB") ||
		strings.HasPrefix(base, "ttyACM")) {
		return message.New("{1} may be another device after the next start or replugging; use its link in {2} or {3}", port,
			"/dev/serial/by-id", "/dev/serial/by-path")
	}
	return message.Message{}
}
