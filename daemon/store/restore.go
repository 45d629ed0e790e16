package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// ErrNoCopy means that what was named is no copy of a store, or a folder without one.
var ErrNoCopy = errors.New("no copy of a lidwright store")

// newestCopy finds the newest good copy in a folder, such as on a stick; a file is itself. Copies
// that are not good are named in the error if there is no good one.
func newestCopy(ctx context.Context, path string) (string, error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return "", fmt.Errorf("%w: %w", ErrNoCopy, err)
	case !info.IsDir():
		if err := checkCopy(ctx, path); err != nil {
			return "", fmt.Errorf("%w: %w", ErrNoCopy, err)
		}
		return path, nil
	}
	var bad []error
	for _, folder := range []string{path, filepath.Join(path, copiesFolder)} {
		copies, err := copiesIn(folder)
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			return "", fmt.Errorf("look for copies: %w", err)
		}
		for _, c := range copies {
			err := checkCopy(ctx, c)
			if err == nil {
				return c, nil
			}
			bad = append(bad, err)
		}
	}
	if len(bad) > 0 {
		return "", fmt.Errorf("%w in %s that is good: %w", ErrNoCopy, path, errors.Join(bad...))
	}
	return "", fmt.Errorf("%w in %s, nor in %s in it (a copy is named lidwright-000042-20260109T090000Z.db): %w",
		ErrNoCopy, path, copiesFolder, os.ErrNotExist)
}

// Restore puts a copy, or the newest good one of a folder, in the place of the store of a folder
// that no daemon uses. The file that was there is moved aside, and kept. Until the copy lies whole
// beside it the file stays where it is.
func Restore(ctx context.Context, folder, from string, at time.Time) (copied string,
	aside []string, err error) {
	lock, err := lockFolder(folder)
	if err != nil {
		return "", nil, err
	}
	defer lock.Close()
	if copied, err = newestCopy(ctx, from); err != nil {
		return "", nil, err
	}
	part, err := bring(copied, filepath.Join(folder, fileName))
	if err != nil {
		return copied, nil, fmt.Errorf("restore %s: %w; the store is as it was", copied, err)
	}
	if err := checkCopy(ctx, part); err != nil {
		return copied, nil, errors.Join(fmt.Errorf("restore %s: it did not arrive whole, and the store is as it was: %w", copied, err), os.Remove(part))
	}
	for _, suffix := range []string{"", "-wal", "-journal"} {
		path, err := moveAside(filepath.Join(folder, fileName)+suffix, "replaced", at)
		if err != nil {
			return copied, aside, fmt.Errorf("restore: %w", err)
		}
		if path != "" {
			aside = append(aside, path)
		}
	}
	if err := name(part, filepath.Join(folder, fileName)); err != nil {
		return copied, aside, fmt.Errorf("restore %s: %w", copied, err)
	}
	high, _, err := readHighWater(folder)
	if err == nil { // on purpose: the next start finds nothing wrong, and begins another life
		err = writeHighWater(folder, highWater{N: high.N + 1,
			Inode: inodeOf(filepath.Join(folder, fileName)), Put: true})
	}
	if err != nil {
		return copied, aside, fmt.Errorf("restore %s: it is in its place, and the next start will say that the store went back: %w", copied, err)
	}
	return copied, aside, nil
}
