package api

import (
	"context"
	"encoding/json"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"lidwright/tiles"
)

// changeJSON is one thing that was said or found. Whoever follows a site stores (site, life, seq).
type changeJSON struct {
	Seq          int64          `json:"seq" doc:"Never falls and never repeats within a life of the record"`
	Kind         string         `json:"kind" doc:"kiln, probe, mark, firing, cone, note, tick, load, bar, reading, clay, batch, pot, verdict, move, boot"`
	Op           string         `json:"op" enum:"put,strike,supersede,confirm,count,close,forget,begin,end,correct" doc:"What people said: put to close. forget: a maker's mark was taken out, of the changes and members that blanked names. begin, end: of a firing that a line hears. correct: times or heat work of a firing, or the clock of a boot: at of all its changes that were not trusted moved by by_ms"`
	ID           string         `json:"id" doc:"UUID of the fact; the name of a clay, tern/B of a batch, the code of a bar; a running of the machine of kind boot"`
	At           *string        `json:"at"`
	ClockTrusted bool           `json:"clock_trusted"`
	Boot         string         `json:"boot" doc:"The running of the machine; while its clock is not trusted, at may be put right later"`
	Body         map[string]any `json:"body" doc:"What was said or found"`
}

type changesJSON struct {
	Site  string       `json:"site" doc:"UUID of the record"`
	Life  string       `json:"life" doc:"UUIDv7; when it is another one than before, begin at 0: the record went back to an earlier moment"`
	Items []changeJSON `json:"items"`
	Next  int64        `json:"next" doc:"Ask after this number next time"`
	More  bool         `json:"more" doc:"There is more already"`
}

func (s *Server) changeJSON(c tiles.Change) changeJSON {
	j := changeJSON{Seq: c.Seq, Kind: c.Kind, Op: c.Op, ID: c.ID, At: s.moment(c.At), ClockTrusted: c.Trusted, Boot: c.Boot, Body: map[string]any{}}
	json.Unmarshal([]byte(c.Body), &j.Body) // the store holds valid JSON; what is no object stays empty
	return j
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

func (s *Server) getChanges(ctx context.Context, in *changesInput) (*body[changesJSON], error) {
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
			return nil, s.problemFrom(ctx, err)
		}
		if len(found) > 0 || waited.Err() != nil {
			j := s.changesJSON(found, in)
			if j.Site, j.Life, err = s.site(ctx); err != nil {
				return nil, s.problemFrom(ctx, err)
			}
			return &body[changesJSON]{j}, nil
		}
		select {
		case <-news:
		case <-waited.Done():
		}
	}
}

func (s *Server) changesJSON(found []tiles.Change, in *changesInput) changesJSON {
	j := changesJSON{Items: []changeJSON{}, Next: in.After, More: len(found) > in.Limit}
	for _, c := range found[:min(len(found), in.Limit)] {
		j.Items = append(j.Items, s.changeJSON(c))
		j.Next = c.Seq
	}
	return j
}
