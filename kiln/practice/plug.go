package practice

import (
	"errors"
	"fmt"
	"os"
	"sync"
)

// Plug is a pseudo terminal under a name that stays, as by-id links give it to a serial adapter:
// a link that points to another device number after each replugging. The zero Plug with a Link is
// ready to be plugged in.
type Plug struct {
	Link string // the name to open, a path in an existing folder

	mu   sync.Mutex
	line *Pty
	last string // the device of the line before
}

// Plug makes the line and its link. While it is plugged in it does nothing.
func (p *Plug) Plug() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.line != nil {
		return nil
	}
	line, err := OpenPty()
	if err == nil && line.Path == p.last { // the old number came free: hold it while taking another
		used := line
		line, err = OpenPty()
		used.Close()
	}
	if err != nil {
		return err
	}
	os.Remove(p.Link)
	if err := os.Symlink(line.Path, p.Link); err != nil {
		line.Close()
		return fmt.Errorf("plug in a practice line: %w", err)
	}
	p.line, p.last = line, line.Path
	return nil
}

// Unplug takes the line and its link away. While it is out it does nothing.
func (p *Plug) Unplug() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.line == nil {
		return nil
	}
	err := errors.Join(os.Remove(p.Link), p.line.Close())
	p.line = nil
	return err
}

// Line is the pseudo terminal now plugged in, nil while it is out.
func (p *Plug) Line() *Pty {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.line
}

// Write sends b down the line; while it is unplugged b goes nowhere.
func (p *Plug) Write(b []byte) (int, error) {
	if line := p.Line(); line != nil {
		return line.Write(b)
	}
	return len(b), nil
}
