package daemon

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"

	"lidwright/api/auth"
)

// codeFiles reads what is kept of the two access codes, again whenever a file was renewed.
type codeFiles struct {
	mu           sync.Mutex // guards both
	bench, owner codeFile
}

type codeFile struct {
	path string
	info fs.FileInfo // when it was read
	hash auth.PasscodeHash
}

func (f *codeFile) read() (auth.PasscodeHash, error) {
	info, err := os.Stat(f.path)
	if err != nil {
		return auth.PasscodeHash{}, fmt.Errorf("the code file: %w", err)
	}
	if f.info != nil && os.SameFile(info, f.info) && info.ModTime().Equal(f.info.ModTime()) &&
		info.Size() == f.info.Size() {
		return f.hash, nil
	}
	text, err := os.ReadFile(f.path)
	if err != nil {
		return auth.PasscodeHash{}, fmt.Errorf("the code file: %w", err)
	}
	hash, err := auth.ParsePasscodeHash(string(text))
	if err != nil {
		return auth.PasscodeHash{}, fmt.Errorf("the code file %s: %w", f.path, err)
	}
	f.info, f.hash = info, hash
	return hash, nil
}

// codes gives both as they stand now.
func (f *codeFiles) codes() (bench, owner auth.PasscodeHash, err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	bench, err1 := f.bench.read()
	owner, err2 := f.owner.read()
	return bench, owner, errors.Join(err1, err2)
}

// NewCode makes a code of who, keeps its hash in a file that only its owner reads, and gives
// the code, which is kept nowhere. A running daemon takes the new file at once.
func NewCode(who auth.Who, path string) (string, error) {
	code := auth.NewPasscode(who)
	tmp, err := os.CreateTemp(filepath.Dir(path), ".code-*") // mode 0600
	if err != nil {
		return "", fmt.Errorf("keep the code: %w", err)
	}
	defer os.Remove(tmp.Name())
	_, err = tmp.WriteString(auth.HashPasscode(code).String() + "\n")
	if err = errors.Join(err, sameOwner(tmp, path), tmp.Sync(), tmp.Close()); err != nil {
		return "", fmt.Errorf("keep the code: %w", err)
	}
	if err := os.Rename(tmp.Name(), path); err != nil {
		return "", fmt.Errorf("keep the code: %w", err)
	}
	return strings.TrimSpace(code), nil
}

// sameOwner gives a new file to whom the one that it replaces belongs, or else the folder: root
// may renew the code of a daemon that runs as somebody else.
func sameOwner(f *os.File, path string) error {
	info, err := os.Stat(path)
	if err != nil {
		if info, err = os.Stat(filepath.Dir(path)); err != nil {
			return err
		}
	}
	if st, ok := info.Sys().(*syscall.Stat_t); ok && os.Geteuid() == 0 {
		return f.Chown(int(st.Uid), int(st.Gid))
	}
	return nil
}
