package api

import (
	"context"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"lidwright/kiln"
	"lidwright/tiles"
)

// tickJSON is one line of the check list at the start of a firing, as it stands now.
type tickJSON struct {
	Item         string  `json:"item" doc:"Id of the caution: caution-36"`
	Says         string  `json:"says"`
	Done         bool    `json:"done"`
	By           string  `json:"by"`
	At           *string `json:"at" doc:"When it was ticked or taken back; null: never"`
	ClockTrusted bool    `json:"clock_trusted"`
}

type checkListJSON struct {
	Items    []tickJSON `json:"items"`
	Open     int        `json:"open" doc:"Lines that are not ticked"`
	Standing string     `json:"standing"`
}

type tickBody struct {
	Item string `json:"item" doc:"caution-36, caution-37, caution-42, caution-1, caution-2, caution-6, caution-5, caution-7, caution-10, caution-40, caution-43, caution-35"`
	Done bool   `json:"done" doc:"false takes a tick back"`
	By   string `json:"by,omitempty" maxLength:"8"`
}

// checkList is the check list of a load or of a firing; that of a firing has what was ticked on
// its load.
func (s *Server) checkList(ctx context.Context, subject string) (checkListJSON, error) {
	ticks, err := s.Archive.Ticks(ctx, subject)
	if err != nil {
		return checkListJSON{}, err
	}
	last := map[string]tiles.Tick{}
	for _, t := range ticks {
		last[t.Item] = t
	}
	j := checkListJSON{Standing: Standing}
	for _, item := range tiles.CheckList() {
		number, _ := strconv.Atoi(strings.TrimPrefix(item, "caution-"))
		t, told := last[item]
		one := tickJSON{Item: item, Says: CautionText(CautionNumber(number)), Done: t.Done, By: t.By, ClockTrusted: t.Trusted}
		if told {
			one.At = s.moment(t.At)
		}
		if !t.Done {
			j.Open++
		}
		j.Items = append(j.Items, one)
	}
	return j, nil
}

func (s *Server) keepTick(ctx context.Context, subject, id string, b tickBody) (tiles.PutResult, error) {
	t := tiles.Tick{ID: id, Subject: subject, Item: b.Item, Done: b.Done, By: b.By}
	if err := t.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	return s.Archive.PutTick(ctx, t, s.Now())
}

type LoadTickPath struct {
	LoadPath
	Tick string `path:"tick" doc:"UUIDv7 made by whoever ticks"`
}

type putLoadTickInput struct {
	LoadTickPath
	Body tickBody
}

func (s *Server) getLoadTicks(ctx context.Context, in *LoadPath) (*body[checkListJSON], error) {
	l, err := s.Archive.Load(ctx, in.ID)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.checkList(ctx, l.ID)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[checkListJSON]{j}, nil
}

func (s *Server) putLoadTick(ctx context.Context, in *putLoadTickInput) (*kept[checkListJSON], error) {
	l, err := s.Archive.Load(ctx, in.ID)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return s.ticked(ctx, l.ID, in.Tick, in.Body)
}

type FiringTickPath struct {
	FiringPath
	Tick string `path:"tick" doc:"UUIDv7 made by whoever ticks"`
}

type putFiringTickInput struct {
	FiringTickPath
	Body tickBody
}

func (s *Server) getFiringTicks(ctx context.Context, in *FiringPath) (*body[checkListJSON], error) {
	f, err := s.findFiring(ctx, kiln.FiringID(in.ID))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.checkList(ctx, string(f.ID))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[checkListJSON]{j}, nil
}

func (s *Server) putFiringTick(ctx context.Context, in *putFiringTickInput) (*kept[checkListJSON], error) {
	f, err := s.findFiring(ctx, kiln.FiringID(in.ID))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return s.ticked(ctx, string(f.ID), in.Tick, in.Body)
}

func (s *Server) ticked(ctx context.Context, subject, id string, b tickBody) (*kept[checkListJSON], error) {
	k, err := s.keepTick(ctx, subject, id, b)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.checkList(ctx, subject)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &kept[checkListJSON]{status(k), j}, nil
}

// postTicks keeps what changed on the check list of a load. A form sent twice keeps it once.
func (s *Server) postTicks(w http.ResponseWriter, r *http.Request) error {
	form, err := sent(r)
	if err != nil {
		return err
	}
	l, err := s.Archive.Load(r.Context(), r.PathValue("load"))
	if err != nil {
		return err
	}
	now, err := s.checkList(r.Context(), l.ID)
	if err != nil {
		return err
	}
	base, err := uuid.Parse(form.Get("id"))
	if err != nil {
		return problem("missing", "The form has lost its id; open the load again.", ProblemField{"id", "no UUID"})
	}
	for _, t := range now.Items {
		if done := form.Get(t.Item) == "yes"; done != t.Done {
			id := uuid.NewSHA1(base, []byte(t.Item)).String()
			if _, err := s.keepTick(r.Context(), l.ID, id, tickBody{t.Item, done, form.Get("by")}); err != nil {
				return err
			}
		}
	}
	http.Redirect(w, r, "/unpack/"+url.PathEscape(l.ID)+"#start", http.StatusSeeOther)
	return nil
}
