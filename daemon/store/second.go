package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"lidwright/api/usecase"
)

// CopyKept is one copy of the store.
type CopyKept struct {
	Path   string
	At     time.Time // when it was made, by the clock of then
	Bytes  int64
	Second bool // it lies in the second place
}

// Copies lists the copies there are, newest first, those of the second place last.
func (s *Store) Copies() ([]CopyKept, error) { return CopiesOf(s.folder, s.second) }

// CopiesOf lists those of a store folder and of its second place ("": none); no store is opened.
func CopiesOf(folder, second string) ([]CopyKept, error) {
	here, err := copiesOf(folder)
	if err != nil {
		return nil, err
	}
	all := keptCopies(here, false)
	if second != "" {
		there, err := copiesIn(second)
		if err != nil {
			return all, err
		}
		all = append(all, keptCopies(there, true)...)
	}
	return all, nil
}

func keptCopies(paths []string, second bool) []CopyKept {
	var all []CopyKept
	for _, path := range paths {
		_, at, _ := parseCopy(filepath.Base(path))
		c := CopyKept{Path: path, At: at, Second: second}
		if info, err := os.Stat(path); err == nil {
			c.Bytes = info.Size()
		}
		all = append(all, c)
	}
	return all
}

// toSecond puts the newest copy in the second place too, checks it there, and lets the oldest go.
// The folder is never made: a stick that is not there must not become a folder on the card.
func (s *Store) toSecond(ctx context.Context) error {
	if s.second == "" {
		return nil
	}
	here, err := copiesOf(s.folder)
	if err != nil || len(here) == 0 {
		return err
	}
	there, err := copiesIn(s.second)
	if err != nil {
		return fmt.Errorf("%w: second place of copies %s: %w", usecase.ErrBusy, s.second, err)
	}
	to := filepath.Join(s.second, filepath.Base(here[0]))
	if slices.Contains(there, to) {
		return nil
	}
	part := filepath.Join(s.second, copyTemp)
	if there, err = overOldest(there, s.copies, part); err == nil {
		err = carryOver(here[0], part)
	}
	if err == nil {
		err = name(part, to)
	}
	if err != nil {
		return errors.Join(fmt.Errorf("%w: second place of copies %s: %w", usecase.ErrBusy, s.second, err), discard(part))
	}
	if err := checkCopy(ctx, to); err != nil {
		return errors.Join(fmt.Errorf("second place of copies: %w", err), os.Remove(to))
	}
	return letGo(there, s.copies)
}

// carryOver makes the file to hold what from does; where it holds much of it already, little is written.
func carryOver(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	room := make([]byte, 4096)
	_, err = renew(to, func([]byte) ([]byte, error) {
		n, err := io.ReadFull(in, room)
		if err == io.ErrUnexpectedEOF {
			err = nil
		}
		return room[:n], err
	})
	return err
}
