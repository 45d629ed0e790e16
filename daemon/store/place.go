package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"golang.org/x/sys/unix"

	"lidwright/api/usecase"
	"lidwright/kiln/message"
)

// ErrGone means that the file which is open is no longer the one of the store folder: what is written to
// it would be gone with the daemon.
var ErrGone = message.WrapError(usecase.ErrBusy,
	"the store cannot take it now: the file of the store was removed or "+
		"moved, or another one lies in its place, while the daemon has it open; nothing can be kept. "+
		"Put it back, or start the daemon anew")

// held is a file that is open.
type held struct{ disk, inode uint64 }

func heldOf(path string) (h held, err error) {
	var st unix.Stat_t
	if err := unix.Stat(path, &st); err != nil {
		return h, err
	}
	return held{uint64(st.Dev), st.Ino}, nil
}

// InPlace holds the files that are open against what lies at their place by now. ErrGone where they are
// others, or none. It costs two looks at the disk's memory.
func (s *handle) InPlace(context.Context) error {
	if s.lock == nil || s.held[0].Load() == nil { // opened for reading alone, or not yet
		return nil
	}
	for i, suffix := range []string{"", "-wal"} {
		h, err := heldOf(s.path() + suffix)
		if err == nil && h == *s.held[i].Load() {
			continue
		}
		// A log that nobody has open is begun anew by whoever writes next.
		open, all := s.openNow(suffix)
		switch {
		case err == nil && slices.Contains(all, h):
			s.held[i].Store(&h)
		case errors.Is(err, unix.ENOENT) && suffix != "" && !open:
		case err == nil || errors.Is(err, unix.ENOENT) || errors.Is(err, unix.ENOTDIR):
			return ErrGone
		default:
			return busy(fmt.Errorf("%w: look for the file of the store: %w", usecase.ErrBusy, err))
		}
	}
	return nil
}

// openNow gives the files that this process has open, and whether one of them has the name of the store
// with the suffix, removed or not.
func (s *handle) openNow(suffix string) (named bool, all []held) {
	const own = "/proc/self/fd"
	entries, _ := os.ReadDir(own)
	name, _ := filepath.Abs(s.path() + suffix)
	for _, e := range entries {
		path := filepath.Join(own, e.Name())
		to, _ := os.Readlink(path)
		named = named || strings.TrimSuffix(to, " (deleted)") == name
		if h, err := heldOf(path); err == nil {
			all = append(all, h)
		}
	}
	return named, all
}

// hold remembers which files are open.
func (s *handle) hold() {
	for i, suffix := range []string{"", "-wal"} { // the file first
		h, _ := heldOf(s.path() + suffix)
		s.held[i].Store(&h)
	}
}

// Rescue makes a copy of a store whose file is no longer in its place, out of the file that is open, so
// that the next start finds everything. A folder that went away is made anew only on the disk that it was
// on: a stick that is not there must not become a folder on the card.
func (s *Store) Rescue(ctx context.Context) error {
	s.copying.under.Lock()
	defer s.copying.under.Unlock()
	for there := s.folder; ; there = filepath.Dir(there) {
		h, err := heldOf(there)
		if errors.Is(err, unix.ENOENT) && there != filepath.Dir(there) {
			continue
		}
		if err != nil || h.disk != s.held[0].Load().disk {
			return fmt.Errorf("copy what is open: the disk of %s is not there: %w", s.folder,
				errors.Join(ErrGone, err))
		}
		break
	}
	if err := s.makeCopy(ctx); err != nil {
		return fmt.Errorf("copy what is open: %w", err)
	}
	return nil
}
