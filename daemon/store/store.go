// Package store keeps everything in one SQLite file: firings with their curves, and the facts
// of the bench. It is the only package that speaks SQL, and it holds no judgement of the
// trade.
//
// It does not decide when a firing begins, what a reading means or what a clay shrinks.
package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	ids "github.com/google/uuid"
	"golang.org/x/sys/unix"
	"modernc.org/sqlite"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
)

// Errors that keep the daemon from starting until someone acts.
var (
	ErrFolder = errors.New("the store folder cannot be used")
	ErrInUse  = errors.New("another lidwright uses this store folder")
	ErrNewer  = errors.New("the store was written by a newer lidwright")
	// ErrUpgrade: the file is as it was.
	ErrUpgrade = errors.New("the store cannot be brought up to date, and is as it was; the version before this one starts on it")
)

// Settings of a store; what is zero is as usual.
type Settings struct {
	Now    func() kiln.Stamp // the clock, for the names of copies and of what is moved aside
	Copies int               // how many copies are kept; 7
	// a folder elsewhere, such as on a stick, that has the newest copies too; "" = none
	Second  string
	Version string        // of this program, left in the file where it changes the tables
	NewLife func() string // names a life of the record; a UUIDv7 of the real time and chance
}

// Store is the open file. One connection writes; four read.
type Store struct {
	*handle
	BarStore
	ChangeStore
	ClayStore
	FiringStore
	KilnStore
	LidStore
	LoadStore
	NoteStore
	NoticeStore
	SessionStore
	SiteStore
}

// Each noun's statements stand in a type of their own over the one handle.
type (
	// BarStore keeps bars, their readings and tables of them.
	BarStore struct{ *handle }
	// ChangeStore tells what was kept, in the order in which it was.
	ChangeStore struct{ *handle }
	// ClayStore keeps clays and batches.
	ClayStore struct{ *handle }
	// FiringStore keeps firings, their curves and lines, and the clock that they were dated by.
	FiringStore struct{ *handle }
	// KilnStore keeps kilns that people added, their names, what is usual, probes, and what they are kept
	// shut above.
	KilnStore struct{ *handle }
	// LidStore keeps pot cards, and how lids sat.
	LidStore struct{ *handle }
	// LoadStore keeps loads and what lies in them.
	LoadStore struct{ *handle }
	// NoteStore keeps notes, cones and the check list of a firing.
	NoteStore struct{ *handle }
	// NoticeStore keeps notices and what came of them.
	NoticeStore struct{ *handle }
	// SessionStore keeps sessions of browsers.
	SessionStore struct{ *handle }
	// SiteStore keeps whose record this is, and which life of it.
	SiteStore struct{ *handle }
)

func over(h *handle) *Store {
	return &Store{h, BarStore{h}, ChangeStore{h}, ClayStore{h}, FiringStore{h}, KilnStore{h}, LidStore{h},
		LoadStore{h},
		NoteStore{h}, NoticeStore{h}, SessionStore{h}, SiteStore{h}}
}

// handle is the open file.
type handle struct {
	folder  string
	now     func() kiln.Stamp
	copies  int
	second  string
	version string
	newLife func() string
	freeIn  func(folder string) (bytes int64, err error) // a test swaps it
	lock    *os.File
	writer  *sql.DB
	read    *sql.DB
	report  Report
	within  *sql.Tx    // all is written in it, and committed by whoever began it; nil as a rule
	opened  kiln.Stamp // when; an entry of before the clock was trusted is put right by it

	written atomic.Uint64
	noted   atomic.Uint64 // the same without readings of firings under way
	high    marking
	seen    atomic.Int64            // of what others wrote
	quiet   quietLog                // of Foreign, which one goroutine asks
	held    [2]atomic.Pointer[held] // the file and its log as they are open

	mu      sync.Mutex    // guards the fields below
	awaited chan struct{} // nil while nobody waits
	trusted map[kiln.BootID]bool
	damaged map[kiln.FiringID]int // stretches of a firing that did not read back
	// what the store and its newest copy do not agree on; nothing if they agree
	unlikeCopy message.Message
	copying    copying
}

const fileName = "lidwright.db"

// The pragmas of both pools. page_size must stand before the journal mode is set, and items
// of _pragma run in the order of the alphabet, so the mode has a key of its own.
//
// A card writes blocks of 4 KiB or more, and one that loses power in mid-write may spoil what
// stood in the same block before. SQLite takes it that this does not happen; psow=0 tells it
// otherwise, and each commit then ends at the end of a block. With it, and with pages no smaller
// than a block, no cut of power lost anything; without it one in six did (TestPowerCut). It costs
// less than half as many bytes again. What a statement sets aside to be taken back stays in memory.
// What is deleted is written over, so that a mark that was forgotten lies in no corner of a page.
const (
	writerDSN = "file:%s?psow=0&_txlock=immediate&_pragma=busy_timeout(5000)&_pragma=page_size(4096)&_journal_mode=WAL&_pragma=synchronous(FULL)&_pragma=foreign_keys(1)&_pragma=journal_size_limit(16777216)&_pragma=temp_store(2)&_pragma=secure_delete(1)"
	readerDSN = "file:%s?mode=ro&_pragma=query_only(1)&_pragma=busy_timeout(5000)"
)

// Open opens the store in folder, which must exist, as usual; see Settings.Open.
func Open(ctx context.Context, folder string) (*Store, error) { return Settings{}.Open(ctx, folder) }

// Open opens the store in folder, which must exist, and brings its tables up to date. A file that
// is damaged is moved aside and the newest good copy takes its place; Report says so. Errors:
// ErrFolder, ErrInUse, ErrNewer, ErrUpgrade, each with path and remedy, or trouble with the disk.
func (o Settings) Open(ctx context.Context, folder string) (*Store, error) {
	lock, err := lockFolder(folder)
	if err != nil {
		return nil, err
	}
	s := over(&handle{folder: folder, now: o.Now, copies: o.Copies, second: o.Second, version: o.Version,
		newLife: o.NewLife,
		freeIn:  freeIn, lock: lock, trusted: map[kiln.BootID]bool{}, damaged: map[kiln.FiringID]int{}})
	if s.newLife == nil {
		s.newLife = func() string { return ids.Must(ids.NewV7()).String() }
	}
	if s.now == nil {
		s.now = func() kiln.Stamp { return kiln.Stamp{Wall: time.Now().UTC()} }
	}
	if s.copies == 0 {
		s.copies = 7
	}
	s.opened = s.now()
	// A sync of the data alone keeps a commit as safe as one of the file's dates too, and cheaper.
	if _, err := sqlite.Fdatasync(true); err != nil && !errors.Is(err, sqlite.ErrFdatasyncUnavailable) {
		s.Close()
		return nil, fmt.Errorf("open the store: %w", err)
	}
	err = s.mend(ctx)
	if err == nil {
		err = s.open(ctx)
	}
	if errors.Is(err, usecase.ErrBusy) {
		_, free, _ := s.Size()
		err = fmt.Errorf("%w; %d MB are free there: make room if that is little", err, free>>20)
	}
	if err != nil {
		s.Close()
		return nil, err
	}
	s.hold()
	s.settleHigh(ctx)
	return s, nil
}

// lockFolder sees that the folder can be used and that nobody else uses it.
func lockFolder(folder string) (*os.File, error) {
	info, err := os.Stat(folder)
	switch {
	case err != nil:
		return nil, fmt.Errorf("%w: %w; make it, owned by the user that runs lidwright", ErrFolder, err)
	case !info.IsDir():
		return nil, fmt.Errorf("%w: %s is a file, not a folder; move it away", ErrFolder, folder)
	}
	var owner unix.Stat_t
	if err := unix.Stat(folder, &owner); err == nil && int(owner.Uid) != os.Geteuid() {
		return nil, fmt.Errorf("%w: %s belongs to user %d and lidwright runs as user %d; run it as that user, or chown -R the folder", ErrFolder, folder, owner.Uid, os.Geteuid())
	}
	for _, name := range []string{fileName, fileName + "-wal", fileName + "-shm"} {
		path := filepath.Join(folder, name)
		switch info, err := os.Lstat(path); {
		case errors.Is(err, os.ErrNotExist):
		case err != nil:
			return nil, fmt.Errorf("%w: %w", ErrFolder, err)
		case !info.Mode().IsRegular():
			return nil, fmt.Errorf("%w: %s is not an ordinary file; move it away", ErrFolder, path)
		case unix.Access(path, unix.R_OK|unix.W_OK) != nil:
			return nil, fmt.Errorf("%w: %s cannot be read and written; chown it to the user that runs lidwright",
				ErrFolder, path)
		}
	}
	lock, err := os.OpenFile(filepath.Join(folder, "lock"), os.O_RDWR|os.O_CREATE, 0o600)
	if errors.Is(err, unix.EROFS) {
		return nil, fmt.Errorf("%w: %w; a card that fails turns read-only: start the machine anew, and if it comes back restore a copy onto another card", ErrFolder, err)
	}
	if err != nil {
		return nil, fmt.Errorf("%w: %w; give %s to the user that runs lidwright", ErrFolder, err, folder)
	}
	if err := unix.Flock(int(lock.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		lock.Close()
		return nil, fmt.Errorf("%w: %s; stop the other one first", ErrInUse, folder)
	}
	return lock, nil
}

func (s *handle) path() string { return filepath.Join(s.folder, fileName) }

// dsn puts a path into the form of one of the pools.
func dsn(form, path string) string {
	return fmt.Sprintf(form, strings.NewReplacer("%", "%25", "?", "%3f", "#", "%23").Replace(path))
}

func (s *Store) open(ctx context.Context) error {
	var err error
	if s.writer, err = sql.Open("sqlite", dsn(writerDSN, s.path())); err != nil {
		return fmt.Errorf("open %s: %w", s.path(), err)
	}
	s.writer.SetMaxOpenConns(1)
	if err := s.migrate(ctx, schemaFiles()); err != nil {
		return fmt.Errorf("open %s: %w", s.path(), err)
	}
	if s.read, err = sql.Open("sqlite", dsn(readerDSN, s.path())); err != nil {
		return fmt.Errorf("open %s: %w", s.path(), err)
	}
	s.read.SetMaxOpenConns(4)
	s.read.SetMaxIdleConns(4)
	return nil
}

// write runs f in one transaction on the single writer and commits it: what f wrote is on
// the card when write returns nil. usecase.ErrBusy where the file is locked or the card is full, ErrGone
// where the file is no longer in its place.
func (s *handle) write(ctx context.Context, f func(tx *sql.Tx) error) error {
	return s.writeInPlace(ctx, f, s.writeAnywhere)
}

// writeReadings is write for readings of a firing under way, which nothing rests on that people noted.
func (s *handle) writeReadings(ctx context.Context, f func(tx *sql.Tx) error) error {
	return s.writeInPlace(ctx, f, s.commit)
}

func (s *handle) writeInPlace(ctx context.Context, f func(tx *sql.Tx) error,
	write func(context.Context, func(tx *sql.Tx) error) error) error {
	if err := s.InPlace(ctx); err != nil {
		return err
	}
	if err := write(ctx, f); err != nil {
		return err
	}
	return s.InPlace(ctx)
}

// writeAnywhere is write for letters, which must go out even if the store is gone afterwards.
func (s *handle) writeAnywhere(ctx context.Context, f func(tx *sql.Tx) error) error {
	defer s.noted.Add(1) // told or not, it may be there
	return s.commit(ctx, f)
}

func (s *handle) commit(ctx context.Context, f func(tx *sql.Tx) error) error {
	if s.within != nil {
		return busy(f(s.within))
	}
	tx, err := s.writer.BeginTx(ctx, nil)
	if err != nil {
		return busy(err)
	}
	defer tx.Rollback()
	if err := f(tx); err != nil {
		return busy(err)
	}
	err = tx.Commit()
	s.written.Add(1)
	s.tell()
	return busy(err)
}

// News gives a channel that is closed when something is written next.
func (s *handle) News() <-chan struct{} {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.awaited == nil {
		s.awaited = make(chan struct{})
	}
	return s.awaited
}

func (s *handle) tell() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.awaited != nil {
		close(s.awaited)
		s.awaited = nil
	}
}

// Written counts the transactions so far.
func (s *handle) Written() uint64 { return s.written.Load() }

// Noted counts the transactions so far but those of readings of firings under way, which come each few
// seconds.
func (s *handle) Noted() uint64 { return s.noted.Load() }

// The result codes of SQLite that mean "not now".
const (
	codeBusy     = 5
	codeLocked   = 6
	codeReadOnly = 8
	codeIO       = 10
	codeFull     = 13
	codeCantOpen = 14

	codeConstraint = 19 // and of a row that stands in the way
)

func busy(err error) error {
	var e *sqlite.Error
	if errors.As(err, &e) {
		switch e.Code() & 0xff {
		case codeFull:
			return fmt.Errorf("%w: %w: %w", usecase.ErrBusy, record.ErrFull, err)
		case codeReadOnly:
			return fmt.Errorf("%w: %w: %w", usecase.ErrBusy, record.ErrReadOnly, err)
		case codeBusy, codeLocked, codeIO, codeCantOpen:
			return fmt.Errorf("%w: %w", usecase.ErrBusy, err)
		}
	}
	return err
}

// Close ends all work and lets the folder go.
func (s *Store) Close() error {
	var errs []error
	if s.read != nil && s.high.N > 0 {
		s.MarkHighWater(context.Background()) // failing, the one before stands
	}
	if s.read != nil {
		errs = append(errs, s.read.Close())
	}
	if s.writer != nil {
		errs = append(errs, s.writer.Close())
	}
	if s.lock != nil {
		errs = append(errs, unlock(s.lock))
	}
	return errors.Join(errs...)
}

// unlock lets go of a locked file and closes it. Closing alone would leave the lock to a program that is just
// being started by another goroutine and still shares the file.
func unlock(f *os.File) error { return errors.Join(unix.Flock(int(f.Fd()), unix.LOCK_UN), f.Close()) }

// lockFile makes a file and locks it, for as long as it is open.
func lockFile(path string, how int) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	if err := unix.Flock(int(f.Fd()), how); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// InUse reports whether a daemon holds the store in folder.
func InUse(folder string) bool {
	lock, err := os.Open(filepath.Join(folder, "lock"))
	if err != nil {
		return false
	}
	defer unlock(lock)
	return errors.Is(unix.Flock(int(lock.Fd()), unix.LOCK_SH|unix.LOCK_NB), unix.EWOULDBLOCK)
}
