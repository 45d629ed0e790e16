package api

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

const (
	mostStreams  = 64               // open at once; each holds a connection and a goroutine
	streamBeat   = time.Second      // what the kilns do is told at most so often
	streamBreath = 15 * time.Second // after so long without an event a comment keeps the line open
	streamTakes  = 10 * time.Second // as a rule; a reader that does not take an event in this time has gone
)

var streamOperation = huma.Operation{
	OperationID: "stream", Method: http.MethodGet, Path: "/v1/stream",
	Summary:                      "What the kilns do and what is said, as it happens (server-sent events)",
	RejectUnknownQueryParameters: true, Errors: []int{401, 403, 422, 503},
	Responses: map[string]*huma.Response{"200": {
		Description: "event: now has one item of /v1/now; event: change one item of /v1/changes, its id is the seq",
		Content:     map[string]*huma.MediaType{"text/event-stream": {Schema: &huma.Schema{Type: "string"}}},
	}},
}

type streamInput struct {
	Kinds string `query:"kinds" doc:"now, changes, or both with a comma between; both if not said"`
	After int64  `query:"after" minimum:"-1" default:"-1" doc:"Changes after this number come first; -1: only new ones"`
	Last  string `header:"Last-Event-ID" doc:"Sent by a browser that comes back; counts before after"`
}

// getStream tells what happens to one reader. Nothing is queued for a reader: what was said is
// read from the store when the reader can take it, so a slow one costs no memory.
func (s studioRoutes) getStream(ctx context.Context, in *streamInput) (*huma.StreamResponse, error) {
	st := stream{s: s.Server, after: in.After, told: map[string]string{}}
	for kind := range strings.SplitSeq(in.Kinds, ",") {
		switch kind {
		case "now":
			st.now = true
		case "changes":
			st.changes = true
		case "":
			st.now, st.changes = true, true
		default:
			return nil, usecase.UnknownWord("kinds", kind, "now", "changes")
		}
	}
	if in.Last != "" {
		n, err := strconv.ParseInt(in.Last, 10, 64)
		if err != nil || n < 0 {
			return nil, web.NewProblem("unknown-value",
				message.New("Last-Event-ID is no number of a change."), wire.Field{Name: "Last-Event-ID",
					Says: message.New("write a whole number from 0 up")})
		}
		st.after = n
	}
	if s.streams.Add(1) > mostStreams {
		s.streams.Add(-1)
		return nil, web.NewProblem("too-many-connections",
			message.New("All streams are taken; ask /v1/now or /v1/changes."))
	}
	return &huma.StreamResponse{Body: func(c huma.Context) {
		defer s.streams.Add(-1)
		r, w := humago.Unwrap(c)
		h := w.Header()
		h.Set("Content-Type", "text/event-stream; charset=utf-8")
		h.Set("Cache-Control", "no-store")
		h.Set("X-Accel-Buffering", "no")
		st.w, st.out = w, http.NewResponseController(w)
		st.run(r.Context())
	}}, nil
}

// stream is one reader.
type stream struct {
	s            *Server
	w            http.ResponseWriter
	out          *http.ResponseController
	now, changes bool
	after        int64
	told         map[string]string // what was told last of a kiln
	quiet        time.Duration     // since the last event
}

// run tells until the reader has gone or the daemon stops.
func (st *stream) run(ctx context.Context) {
	if st.changes && st.after < 0 {
		last, err := st.s.Archive.LastChange(ctx)
		if err != nil {
			return
		}
		st.after = last
	}
	if !st.send([]byte("retry: 5000\n\n")) {
		return
	}
	beat := time.NewTicker(streamBeat)
	defer beat.Stop()
	for first := true; ; first = false {
		news := st.s.Archive.News()
		if !st.tellChanges(ctx) || first && !st.tellNow(ctx) {
			return
		}
		if !st.changes {
			news = nil
		}
		select {
		case <-ctx.Done():
			return
		case <-news:
		case <-beat.C:
			st.quiet += streamBeat
			if !st.tellNow(ctx) {
				return
			}
			if st.quiet >= streamBreath && !st.send([]byte(": still here\n\n")) {
				return
			}
		}
	}
}

// tellNow tells of the kilns that do something else than was told.
func (st *stream) tellNow(ctx context.Context) bool {
	if !st.now {
		return true
	}
	for _, k := range st.s.Kilns().KilnsNow(ctx) {
		said := string(bytes.TrimSpace(web.EncodeJSON(k)))
		if st.told[k.Kiln] == said {
			continue
		}
		st.told[k.Kiln] = said
		if !st.send(fmt.Appendf(nil, "event: now\ndata: %s\n\n", said)) {
			return false
		}
	}
	return true
}

func (st *stream) tellChanges(ctx context.Context) bool {
	for st.changes {
		found, err := st.s.Archive.Changes(ctx, st.after, 50)
		if err != nil {
			return false // the reader comes back and resumes
		}
		for _, c := range found {
			if !st.send(fmt.Appendf(nil, "id: %d\nevent: change\ndata: %s\n\n", c.Seq,
				bytes.TrimSpace(web.EncodeJSON(st.s.ChangeJSON(c))))) {
				return false
			}
			st.after = c.Seq
		}
		if len(found) < 50 {
			break
		}
	}
	return true
}

// send writes one event and reports whether the reader took it.
func (st *stream) send(event []byte) bool {
	st.quiet = 0
	_ = st.out.SetWriteDeadline(time.Now().Add(st.s.streamTakes)) // a writer that knows none is a test's
	if _, err := st.w.Write(event); err != nil {
		return false
	}
	return st.out.Flush() == nil
}

type changesInput struct {
	Patient
	After int64 `query:"after" minimum:"0" doc:"Number of the last change that is known; 0 for all"`
	Limit int   `query:"limit" default:"50" minimum:"1" maximum:"500"`
	Wait  int   `query:"wait" minimum:"0" maximum:"60" doc:"Seconds to wait for something new"`
}

// Patient is embedded where an answer may take longer than the server gives otherwise.
type Patient struct{ answer *http.ResponseController }

// Resolve is called by huma before the handler.
func (p *Patient) Resolve(c huma.Context) []error {
	_, w := humago.Unwrap(c)
	p.answer = http.NewResponseController(w)
	return nil
}

func (s studioRoutes) getChanges(ctx context.Context, in *changesInput) (*body[wire.Changes], error) {
	if in.Wait > 0 {
		// A writer that knows no deadline (a test's) is written to all the same.
		_ = in.answer.SetWriteDeadline(time.Now().Add(time.Duration(in.Wait)*time.Second + 10*time.Second))
	}
	waited, cancel := context.WithTimeout(ctx, time.Duration(in.Wait)*time.Second)
	defer cancel()
	for {
		news := s.Archive.News()
		found, err := s.Archive.Changes(ctx, in.After, in.Limit+1)
		if err != nil {
			return nil, err
		}
		if len(found) > 0 || waited.Err() != nil {
			j := s.changesJSON(found, in)
			if j.Site, j.Life, err = s.SiteRecord(ctx); err != nil {
				return nil, err
			}
			return &body[wire.Changes]{j}, nil
		}
		select {
		case <-news:
		case <-waited.Done():
		}
	}
}

func (s studioRoutes) changesJSON(found []tiles.Change, in *changesInput) wire.Changes {
	j := wire.Changes{Items: []wire.Change{}, Next: in.After, More: len(found) > in.Limit}
	for _, c := range found[:min(len(found), in.Limit)] {
		j.Items = append(j.Items, s.ChangeJSON(c))
		j.Next = c.Seq
	}
	return j
}

func (s studioRoutes) getSite(ctx context.Context, _ *struct{}) (*body[wire.Site], error) {
	j := wire.Site{Name: s.Site.Name, Version: s.Site.Version}
	var err error
	if j.Site, j.Life, err = s.SiteRecord(ctx); err == nil {
		j.Last, err = s.Archive.LastChange(ctx)
	}
	if err != nil {
		return nil, err
	}
	return &body[wire.Site]{j}, nil
}
