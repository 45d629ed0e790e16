package source

import (
	"io"
	"os"
	"time"

	"lidwright/kiln/message"
)

// errOver says that a recorded line was played to its end.
var errOver = message.NewError("the recording is over")

// openRecorded plays the file named as the port: the lines of a recording, as they came.
func openRecorded(s Settings) (Port, error) {
	f, err := os.Open(s.Port)
	if err != nil {
		return nil, message.WrapError(err, "recorded line: {1}", err.Error())
	}
	return Played(f), nil
}

// Played is a port on which a recording comes in at once, whole lines from the first byte on, and
// which is over at its end. What is sent to it goes nowhere.
func Played(r io.ReadCloser) Port { return &played{from: r} }

// played is a recording that plays as a port.
type played struct {
	from  io.ReadCloser
	began bool
}

// Read gives the recording after a moment of silence, and errOver at its end.
func (p *played) Read(b []byte) (int, error) {
	if !p.began {
		p.began = true
		return 0, nil // a moment of silence first: the recording begins with a whole line
	}
	n, err := p.from.Read(b)
	if n > 0 {
		return n, nil
	}
	if err == io.EOF {
		return 0, errOver
	}
	return 0, err
}

// Write takes everything and sends nothing.
func (p *played) Write(b []byte) (int, error) { return len(b), nil }

// SetReadTimeout changes nothing: a recording does not wait.
func (p *played) SetReadTimeout(time.Duration) error { return nil }

// ResetInputBuffer drops nothing of the recording.
func (p *played) ResetInputBuffer() error { return nil }

// Close closes the file.
func (p *played) Close() error { return p.from.Close() }
