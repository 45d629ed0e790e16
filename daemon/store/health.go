package store

import (
	"context"
	"errors"
	"path/filepath"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// Health is how the store is.
type Health struct {
	Bytes    int64     // of the file and its log
	Free     int64     // bytes left beside it
	LastCopy time.Time // by the clock on the wall; zero if there is none
	Copies   int
	Trouble  []message.Message // each in a sentence for the owner; empty if all is well
	Alarm    []message.Message // those of them that everybody must see
	Gone     bool              // the file that is open is no longer in its place
	Back     bool              // at the start something was missing that had been kept
}

// Health asks how the store is. It reads no table, so a busy card does not hold it up.
func (s *Store) Health() (Health, error) {
	var h Health
	var err error
	if h.Bytes, h.Free, err = s.Size(); err != nil && s.InPlace(context.Background()) == nil {
		return h, err
	}
	copies, err := copiesOf(s.folder)
	if err != nil {
		return h, err
	}
	if h.Copies = len(copies); h.Copies > 0 {
		_, h.LastCopy, _ = parseCopy(filepath.Base(copies[0]))
	}
	if err := s.InPlace(context.Background()); err != nil {
		h.Gone = errors.Is(err, ErrGone)
		h.Trouble, h.Alarm = append(h.Trouble, saysOf(err)), append(h.Alarm, saysOf(err))
	}
	r := s.report
	h.Back = r.Back || r.Put || r.LogLost || r.Copy != "" || r.Empty
	words := s.report.Words()
	if words.IsZero() {
		words = s.report.earlier
	}
	if !words.IsZero() {
		h.Trouble, h.Alarm = append(h.Trouble, words), append(h.Alarm, words)
	}
	s.high.Lock()
	if s.high.failed != nil {
		h.Trouble = append(h.Trouble, message.New("How far the store has come is not written down: {1}",
			saysOf(s.high.failed)))
	}
	s.high.Unlock()
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.unlikeCopy.IsZero() {
		h.Trouble, h.Alarm = append(h.Trouble, s.unlikeCopy), append(h.Alarm, s.unlikeCopy)
	}
	for id, n := range s.damaged {
		h.Trouble = append(h.Trouble, message.New("Firing {1} has {2} damaged stretches, which show as gaps.",
			id, n))
	}
	if s.copying.failed != nil {
		h.Trouble = append(h.Trouble, message.New("The last copy of the store failed: {1}",
			saysOf(s.copying.failed)))
	}
	if s.copying.second != nil {
		h.Trouble = append(h.Trouble, message.New("The copy is made, and its second place has it not: {1}",
			saysOf(s.copying.second)))
	}
	return h, nil
}

// saysOf is what an error of the disk says; what the machine itself says stays as it is.
func saysOf(err error) message.Message {
	if errors.Is(err, ErrGone) {
		return message.Capital(message.Of(ErrGone))
	}
	return message.Plain(err.Error())
}

// harmed remembers how many stretches of a firing did not read back when it was last read.
func (s *handle) harmed(id kiln.FiringID, n int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if n > 0 {
		s.damaged[id] = n
	}
}

// Ready reports whether the store answers.
func (s *Store) Ready(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, time.Second)
	defer cancel()
	var any int
	return s.read.QueryRowContext(ctx, `SELECT count(*) FROM (SELECT 1 FROM firing LIMIT 1)`).Scan(&any)
}
