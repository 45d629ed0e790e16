package api

import (
	"context"
	"crypto/rand"
	"fmt"
	"log/slog"
	"sync"
	"time"
)

// references are the names under which the log has what went wrong in answering. What goes wrong in the
// same words has one name and one line for an hour, so that a fault that lasts does not flood
// the log and yet every answer names a line that stands there.
type references struct {
	mu sync.Mutex // guards of
	of map[string]reference
}

type reference struct {
	name   string
	logged time.Duration
}

const (
	referenceLasts = time.Hour
	mostReferences = 200 // beyond them all are forgotten
)

// name gives the name of a fault, and whether a line of it is to be written now.
func (r *references) name(fault string, now time.Duration) (name string, write bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if known, ok := r.of[fault]; ok && now-known.logged < referenceLasts && now >= known.logged {
		return known.name, false
	}
	if r.of == nil || len(r.of) >= mostReferences {
		r.of = map[string]reference{}
	}
	name = rand.Text()[:8]
	r.of[fault] = reference{name, now}
	return name, true
}

// trouble is a plain apology for what is nobody's fault but the machine's. It names the line of the log that has
// the whole of it: what was done, the error, and more where it helps.
func (s *Server) trouble(ctx context.Context, doing string, err any, more ...any) *Problem {
	name, write := s.references.name(doing+"\x00"+fmt.Sprint(err), s.Now().Since)
	if write {
		slog.ErrorContext(ctx, doing, append([]any{"reference", name, "err", err}, more...)...)
	}
	p := problem("trouble", "Please try again; if it stays, whoever looks after the machine finds it in the log under "+name+".")
	p.Reference = name
	return p
}
