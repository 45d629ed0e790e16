package web

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// Troubles turns errors into problems, and keeps the names under which the log has what went wrong in
// answering. What goes wrong in the same words has one name and one line for an hour, so that a fault that
// lasts does not flood the log and yet every answer names a line that stands there.
type Troubles struct {
	Since func() time.Duration // a clock that does not run backwards

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
func (t *Troubles) name(fault string, now time.Duration) (name string, write bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if known, ok := t.of[fault]; ok && now-known.logged < referenceLasts && now >= known.logged {
		return known.name, false
	}
	if t.of == nil || len(t.of) >= mostReferences {
		t.of = map[string]reference{}
	}
	name = rand.Text()[:8]
	t.of[fault] = reference{name, now}
	return name, true
}

// Trouble is a plain apology for what is nobody's fault but the machine's. It names the line of the log that
// has the whole of it: what was done, the error, and more where it helps.
func (t *Troubles) Trouble(ctx context.Context, doing string, err any, more ...any) *Problem {
	name, write := t.name(doing+"\x00"+fmt.Sprint(err), t.Since())
	if write {
		slog.ErrorContext(ctx, doing, append([]any{"reference", name, "err", err}, more...)...)
	}
	p := NewProblem("trouble", message.New("Please try again; if it stays, whoever looks after the machine finds it in the log under {1}.", name))
	p.Reference = name
	return p
}

// errorKinds are the errors of the trade and of the store that are no form at fault.
var errorKinds = []struct {
	err  error
	kind string
}{
	{tiles.ErrNoClay, "unknown-clay"}, {tiles.ErrNoBatch, "unknown-batch"}, {tiles.ErrNoBar, "unknown-bar"},
	{tiles.ErrNoReading, "unknown-reading"},
	{tiles.ErrNoLoad, "unknown-load"}, {lid.ErrNoPot, "unknown-pot"}, {lid.ErrNoResult, "unknown-lid-result"},
	{tiles.ErrNoCone, "unknown-fact"}, {tiles.ErrNoNote, "unknown-fact"},
	{record.ErrNoKiln, "unknown-kiln"}, {kiln.ErrNoFiring, "unknown-firing"},
	{tiles.ErrIDUsed, "id-already-used"}, {tiles.ErrCodeTaken, "code-taken"},
	{tiles.ErrChanged, "changed-meanwhile"},
	{tiles.ErrReplaced, "changed-meanwhile"}, {tiles.ErrNotCrossedOut, "unknown-fact"},
	{usecase.ErrBusy, "store-busy"},
}

// Problem turns an error of the trade or the store into a problem. What is nobody's
// fault but the machine's becomes a plain apology; the log gets the whole chain.
func (t *Troubles) Problem(ctx context.Context, err error) *Problem {
	var p *Problem
	if errors.As(err, &p) {
		return p
	}
	var refused *usecase.Refusal
	if errors.As(err, &refused) {
		return NewProblem(refused.Kind, refused.Says, refused.Fields...)
	}
	var many tiles.InvalidFields
	var one *tiles.Invalid
	switch {
	case errors.As(err, &many) && len(many) > 0:
		fields := make([]wire.Field, len(many))
		for i, m := range many {
			fields[i] = wire.Field{Name: m.Field, Says: m.Why}
		}
		return NewProblem(many[0].Type, sayField(many[0].Field, many[0].Why), fields...)
	case errors.As(err, &one):
		return NewProblem(one.Type, sayField(one.Field, one.Why), wire.Field{Name: one.Field, Says: one.Why})
	}
	for _, k := range errorKinds {
		if errors.Is(err, k.err) {
			said := message.Stopped(message.Of(k.err))
			p := NewProblem(k.kind, message.Stopped(message.Of(err)))
			if about, ok := strings.CutSuffix(err.Error(), ": "+k.err.Error()); ok {
				p.about = about[strings.LastIndexByte(about, ' ')+1:] // of "bar BQ7" the name alone
				p.said, p.Detail = said, message.New("{1}: {2}", about, said)
			}
			return p
		}
	}
	if errors.Is(err, context.Canceled) {
		return NewProblem("trouble", message.New("The asker went away."))
	}
	return t.Trouble(ctx, "answering failed", err)
}

// Where puts the path that was asked into a problem that a handler answers with, and writes into the log what
// huma alone knows of.
func (t *Troubles) Where(ctx huma.Context, _ string, v any) (any, error) {
	p, ok := v.(*Problem)
	if !ok || p.Instance != "" {
		return v, nil
	}
	if p.Status == http.StatusInternalServerError && p.Reference == "" && ctx.Context().Err() == nil {
		p = t.Trouble(ctx.Context(), "answering failed", p.Detail)
	}
	q := *p
	q.Instance = ctx.URL().Path
	return &q, nil
}
