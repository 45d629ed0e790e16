package store

import (
	"context"
	"database/sql"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"lidwright/kiln/message"

	"golang.org/x/sys/unix"
)

// reached is how far a record had come. Within a life it only grows.
type reached struct {
	Life    string           `json:"life"`
	Change  int64            `json:"change"`  // number of the newest change
	Firing  int64            `json:"firing"`  // row of the newest firing
	Samples map[string]int64 `json:"samples"` // of each firing under way that has some, by its id
}

func reachedBy(ctx context.Context, q querier) (r reached, err error) {
	err = q.QueryRowContext(ctx, `SELECT (SELECT coalesce(max(seq), 0) FROM change), (SELECT coalesce(max(row), 0) FROM firing), coalesce((SELECT life FROM site), '')`).
		Scan(&r.Change, &r.Firing, &r.Life)
	if err != nil {
		return r, err
	}
	rows, err := q.QueryContext(ctx, `SELECT f.id, sum(r.rows) FROM run r JOIN firing f ON f.row = r.firing WHERE f.status = 'running' GROUP BY f.row`)
	if err != nil {
		return r, err
	}
	type one struct {
		id string
		n  int64
	}
	all, err := collect(rows, "samples", func(o *one) error { return rows.Scan(&o.id, &o.n) })
	r.Samples = make(map[string]int64, len(all))
	for _, o := range all {
		r.Samples[o.id] = o.n
	}
	return r, err
}

// missing is what r has not of other: changes, and samples of firings under way. A firing that is no
// longer under way in r was ended by a change that other does not know, or it is missing.
func (r reached) missing(other reached) (changes, samples int64) {
	changes = max(0, other.Change-r.Change, other.Firing-r.Firing)
	for id, n := range other.Samples {
		have, open := r.Samples[id]
		if open || r.Change <= other.Change {
			samples += max(0, n-have)
		}
	}
	return changes, samples
}

func (r reached) behind(other reached) bool {
	changes, samples := r.missing(other)
	return changes > 0 || samples > 0
}

// highWater is how far the store of a folder had come when that was last written down, in a small
// file beside it: by it a store that went back is noticed at a start.
type highWater struct {
	reached
	N uint64 `json:"n"` // counts the writings
	// of the file that was open; where another one lies there somebody put it there
	Inode uint64 `json:"inode"`
	Log   uint64 `json:"log"` // of its log
	// of this file; where it is another one the whole folder was carried elsewhere
	Self uint64    `json:"self"`
	Put  bool      `json:"put"`  // a copy was put in its place on purpose, and has not been opened yet
	Told string    `json:"told"` // what the last start that found something wrong said
	At   time.Time `json:"at"`   // when it did
}

const (
	highWaterFile = "high-water"
	highWaterSlot = 4096               // two of these, written in turn: a cut power spoils one of them
	tellsFor      = 7 * 24 * time.Hour // what a start found wrong is told for so long
)

// readHighWater gives the newer of the two slots that is whole; known is false if none is.
func readHighWater(folder string) (h highWater, known bool, err error) {
	f, err := os.Open(filepath.Join(folder, highWaterFile))
	if errors.Is(err, os.ErrNotExist) {
		return h, false, nil
	}
	if err != nil {
		return h, false, fmt.Errorf("%w: %w", ErrFolder, err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, 2*highWaterSlot))
	if err != nil {
		return h, false, nil // the card does not give it back: the copies must tell
	}
	for ; len(data) >= 8; data = data[min(len(data), highWaterSlot):] {
		sum, n := binary.LittleEndian.Uint32(data), int(binary.LittleEndian.Uint32(data[4:]))
		if n > min(len(data), highWaterSlot)-8 ||
			crc32.Checksum(data[4:8+n], crc32.MakeTable(crc32.Castagnoli)) != sum {
			continue
		}
		var one highWater
		if json.Unmarshal(data[8:8+n], &one) == nil && (!known || one.N > h.N) {
			h, known = one, true
		}
	}
	return h, known, nil
}

// writeHighWater writes the slot that is the older one. It is on the card when nil comes back.
func writeHighWater(folder string, h highWater) error {
	f, err := os.OpenFile(filepath.Join(folder, highWaterFile), os.O_WRONLY|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	defer f.Close()
	path := filepath.Join(folder, fileName)
	h.Inode, h.Log, h.Self = inodeOf(path), inodeOf(path+"-wal"), inodeOf(f.Name())
	body, err := json.Marshal(h)
	if err != nil {
		return err
	}
	if len(body) > highWaterSlot-8 {
		return fmt.Errorf("the high-water mark takes %d bytes", len(body))
	}
	data := binary.LittleEndian.AppendUint32(make([]byte, 4, 8+len(body)), uint32(len(body)))
	data = append(data, body...)
	binary.LittleEndian.PutUint32(data, crc32.Checksum(data[4:], crc32.MakeTable(crc32.Castagnoli)))
	if _, err := f.WriteAt(data, int64(h.N%2)*highWaterSlot); err != nil {
		return err
	}
	return unix.Fdatasync(int(f.Fd()))
}

// inodeOf is the number of a file on its disk, 0 if there is none.
func inodeOf(path string) uint64 {
	var st unix.Stat_t
	if unix.Stat(path, &st) != nil {
		return 0
	}
	return st.Ino
}

// MarkHighWater writes down how far the store has come, unless it has come no further since the last
// time. It is to be called at most once a minute, to spare the card.
func (s *Store) MarkHighWater(ctx context.Context) error {
	if s.lock == nil { // opened for reading alone
		return nil
	}
	s.high.Lock()
	defer s.high.Unlock()
	err := s.high.write(ctx, s)
	if s.high.failed = err; err != nil {
		return fmt.Errorf("write down how far the store has come: %w", busy(err))
	}
	return nil
}

// marking is what is known of the high-water mark.
type marking struct {
	sync.Mutex // guards the fields below, and lets one write at a time
	highWater
	due     bool  // it must be written, even if the store has come no further
	another bool  // another life is to begin first
	failed  error // of the last attempt
}

func (m *marking) write(ctx context.Context, s *Store) error {
	if m.another {
		if err := s.liveAnew(ctx); err != nil {
			return err
		}
		m.another, m.due = false, true
	}
	r, err := reachedBy(ctx, s.read)
	if err != nil || !m.due && m.Life == r.Life && !m.behind(r) {
		return err
	}
	h := m.highWater
	h.reached, h.Put = r, false
	h.N++
	if err := writeHighWater(s.folder, h); err != nil {
		return err
	}
	m.highWater, m.due = h, false
	return nil
}

// hindsight holds a store that reads well against what its high-water mark and the newest copy of its
// life tell, before anything is written to it. Where it went back, what is damaged is kept aside, and
// the newest good copy takes its place if that has more.
func (s *Store) hindsight(ctx context.Context, known, put bool, at time.Time) error {
	if s.high.Put {
		s.report.another = true
		return nil
	}
	db, err := sql.Open("sqlite", dsn(readerDSN, s.path()))
	if err != nil {
		return fmt.Errorf("open %s: %w", s.path(), err)
	}
	has, err := reachedBy(ctx, db)
	if err != nil {
		var tables int
		if e := db.QueryRowContext(ctx, `SELECT count(*) FROM sqlite_schema`).Scan(&tables); e == nil &&
			tables == 0 {
			has, err = reached{}, nil // all of it lay in a log that is gone
		}
	}
	if err := errors.Join(err, db.Close()); err != nil {
		return nil // tables of before there were lives
	}
	had := s.high.reached
	if put {
		if s.report.Put = had.Life != has.Life || has.behind(had); had.Life == has.Life {
			s.report.Missing, s.report.Samples = has.missing(had)
		}
		s.report.another = s.report.Put
		return nil
	}
	empty := has.Life == "" && has.Change == 0
	known = known && (had.Life == has.Life || empty) // else it was carried in
	harm, err := harmOf(s.path() + "-wal")
	if err != nil {
		return fmt.Errorf("look %s-wal over: %w", s.path(), err)
	}
	back := known && has.behind(had)
	if back {
		s.report.Missing, s.report.Samples = has.missing(had)
	}
	taken, err := s.fuller(ctx, has, at)
	if err != nil {
		return err
	}
	s.report.Back, s.report.LogLost = back || taken, s.report.LogLost || harm == logHurt
	s.report.torn = harm == logTorn && !s.report.Back
	if s.report.another = s.report.Back || s.report.LogLost; !s.report.another || taken {
		return nil
	}
	return s.keepAside("-wal", at)
}

// fuller puts the newest good copy of the same life in the place of the store if it has more than that; in
// the place of one without anything, the newest good copy.
func (s *Store) fuller(ctx context.Context, has reached, at time.Time) (taken bool, err error) {
	empty := has.Life == "" && has.Change == 0
	if has.Life == "" && !empty {
		return false, nil
	}
	copies, err := copiesOf(s.folder)
	if err != nil {
		return false, err
	}
	for _, c := range copies {
		made, err := reachedOf(ctx, c)
		if err != nil || made.Life != has.Life && !empty {
			continue
		}
		if !has.behind(made) {
			return false, nil
		}
		if checkCopy(ctx, c) != nil {
			continue
		}
		for _, suffix := range []string{"-wal", ""} {
			if err := s.aside(suffix, at); err != nil {
				return false, err
			}
		}
		return true, s.restore(ctx, at)
	}
	return false, nil
}

func reachedOf(ctx context.Context, copied string) (reached, error) {
	db, err := sql.Open("sqlite", dsn(copyDSN, copied))
	if err != nil {
		return reached{}, err
	}
	defer db.Close()
	return reachedBy(ctx, db)
}

// putInPlace reports whether somebody put the file there since it was last open: it is another file in
// the same folder, or one in the form of a copy.
func (s *Store) putInPlace() bool {
	if s.high.Self == inodeOf(filepath.Join(s.folder, highWaterFile)) && s.high.Inode != inodeOf(s.path()) {
		return true
	}
	f, err := os.Open(s.path())
	if err != nil {
		return false
	}
	defer f.Close()
	var form [20]byte
	_, err = io.ReadFull(f, form[:])
	return err == nil && form[18] == 1 // sqlite.org/fileformat2.html, 1.3.3
}

// keepAside puts a copy of a file beside it under a name that says when; where there is no room for it
// the report says so.
func (s *Store) keepAside(suffix string, at time.Time) error {
	path := s.path() + suffix
	info, err := os.Stat(path)
	if errors.Is(err, os.ErrNotExist) || err == nil && info.Size() == 0 {
		return nil
	}
	if err != nil {
		return err
	}
	if _, free, err := s.Size(); err != nil || free < info.Size()+spareBytes {
		s.report.NoRoom = true
		return err
	}
	part, err := bring(path, path)
	if err != nil {
		return fmt.Errorf("keep %s aside: %w", path, err)
	}
	to := asideName(path, "corrupt", at)
	if err := name(part, to); err != nil {
		return fmt.Errorf("keep %s aside: %w", path, err)
	}
	s.report.Aside = append(s.report.Aside, to)
	return nil
}

// settleHigh ends an opening: the life is another one where the record went back, a log that was spoiled
// begins anew, and the high-water mark is that of now. A card that takes nothing is no reason not to
// start: what is left to do is done with the next mark.
func (s *Store) settleHigh(ctx context.Context) {
	r, now := &s.report, s.now()
	_, life, err := s.Site(ctx)
	s.high.another = r.another || r.Copy != "" || life == "" && err == nil
	if r.LogLost || r.torn {
		// failing, the same is told at the next start
		s.writer.ExecContext(ctx, `PRAGMA wal_checkpoint(TRUNCATE)`)
	}
	switch words := r.Words(); {
	case !r.Clean():
		if s.high.Told = words.Kept(); len(s.high.Told) > highWaterSlot/4 {
			s.high.Told = cut(words.String(), highWaterSlot/4)
		}
		s.high.At = now.Wall
	case s.high.Told != "" && now.Trusted && now.Wall.Sub(s.high.At) > tellsFor:
		s.high.Told = ""
	case s.high.Told != "":
		r.earlier = message.New("At the start of {1}: {2}", s.high.At.Format(time.RFC3339),
			message.Read(s.high.Told))
	}
	s.high.due = true
	s.MarkHighWater(ctx) // Health tells of it
}

// cut gives the beginning of a text, at most n bytes, without half a character.
func cut(text string, n int) string {
	if len(text) <= n {
		return text
	}
	return strings.ToValidUTF8(text[:n], "") + "…"
}
