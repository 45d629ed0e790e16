package api

import (
	"context"
	"net/http"
	"strings"

	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

type barsInput struct {
	Clay     string `query:"clay"`
	Batch    string `query:"batch"`
	Load     string `query:"load"`
	Waiting  bool   `query:"waiting" doc:"Only those that a fired load waits for"`
	Practice string `query:"practice" enum:"true,false" doc:"Learners' bars alone, or none of them"`
	After    string `query:"after" doc:"The next of the answer before"`
	Limit    int    `query:"limit" default:"50" minimum:"1" maximum:"500"`
}

func (s barRoutes) getBars(ctx context.Context, in *barsInput) (*body[wire.List[wire.BarJSON]], error) {
	w := tiles.BarFilter{Clay: tiles.ClayID(in.Clay), Batch: tiles.BatchID(in.Batch), Load: in.Load,
		Waiting: in.Waiting, After: tiles.Code(in.After), Limit: in.Limit + 1}
	if in.Practice != "" {
		learners := in.Practice == "true"
		w.Practice = &learners
	}
	all, err := s.Archive.Bars(ctx, w, s.Channel)
	if err == nil && len(all) == 0 {
		err = s.Clays().Known(ctx, w.Clay)
	}
	if err != nil {
		return nil, err
	}
	return listOf(all, in.Limit, func(b tiles.KeptBar) string { return string(b.Code) },
		func(b tiles.KeptBar) wire.BarJSON { return s.Bars().BarJSON(b.Bar) }), nil
}

func (s barRoutes) getBar(ctx context.Context, in *wire.BarPath) (*thing[wire.BarJSON], error) {
	b, err := s.Bars().KeptBar(ctx, *in)
	if err != nil {
		return nil, err
	}
	return &thing[wire.BarJSON]{revision(b.Revision), s.Bars().Settled(ctx, b.Bar)}, nil
}

type putBarInput struct {
	wire.BarPath
	Body wire.BarBody
}

func (s barRoutes) putBar(ctx context.Context, in *putBarInput) (*edited[wire.BarJSON], error) {
	k, err := s.Bars().KeepBar(ctx, in.BarPath, in.Body, usecase.PreconditionOf(ctx))
	return s.editedBar(ctx, in.BarPath, k, err)
}

// editedBar is a bar as it stands now, after something about it was kept.
func (s barRoutes) editedBar(ctx context.Context, p wire.BarPath, k tiles.PutResult,
	err error) (*edited[wire.BarJSON], error) {
	if err != nil {
		return nil, err
	}
	b, err := s.Bars().KeptBar(ctx, p)
	if err != nil {
		return nil, err
	}
	return &edited[wire.BarJSON]{status(k), revision(b.Revision), s.Bars().Settled(ctx, b.Bar)}, nil
}

type putFlagsInput struct {
	wire.BarPath
	Body wire.FlagsBody
}

func (s barRoutes) putFlags(ctx context.Context, in *putFlagsInput) (*edited[wire.BarJSON], error) {
	k, err := s.Bars().Flag(ctx, in.BarPath, in.Body.Flags, usecase.PreconditionOf(ctx))
	return s.editedBar(ctx, in.BarPath, k, err)
}

type freeCodesInput struct {
	Count int `query:"count" default:"7" minimum:"1" maximum:"100"`
}

func (s barRoutes) getFreeCodes(ctx context.Context, in *freeCodesInput) (*body[wire.List[string]], error) {
	return answers(s.Bars().FreeCodes(ctx, in.Count))
}

type putReadingInput struct {
	wire.ReadingPath
	Ask  bool `query:"ask" doc:"Where there is a question, ask it and keep nothing (not_kept)"`
	Body wire.ReadingBody
}

func (s barRoutes) putReading(ctx context.Context, in *putReadingInput) (*kept[wire.Reading], error) {
	k, j, err := s.Bars().KeepReading(ctx, in.ReadingPath, in.Body, in.Ask)
	if err != nil {
		return nil, err
	}
	return &kept[wire.Reading]{status(k), j}, nil
}

type whichInput struct {
	wire.ReadingPath
	Body wire.WhichFiring
}

func (s barRoutes) putWhich(ctx context.Context, in *whichInput) (*body[wire.Reading], error) {
	return answer(s.Bars().TellFiring(ctx, in.ReadingPath, in.Body))
}

type actInput struct {
	wire.ReadingPath
	Body wire.ActBody
}

// act is something that is done to a reading.
type act = func(ctx context.Context, bar tiles.Code, id, by, why string, at kiln.Stamp) error

// readingAct makes the handler that strikes, confirms or counts a reading.
func (s barRoutes) readingAct(do func(usecase.Storage) act,
	needsWhy bool) func(context.Context, *actInput) (*body[wire.Reading], error) {
	return func(ctx context.Context, in *actInput) (*body[wire.Reading], error) {
		if needsWhy && strings.TrimSpace(in.Body.Why) == "" {
			return nil, web.NewProblem("missing", message.New("Say why."),
				wire.Field{Name: "why", Says: message.New("is needed")})
		}
		bar, err := s.Bars().Bar(ctx, in.BarPath)
		if err == nil {
			err = do(s.Archive)(ctx, bar.Code, in.ID, in.Body.By, in.Body.Why, s.Now())
		}
		if err != nil {
			return nil, err
		}
		s.Shrink.Touch(bar.Code)
		if bar, err = s.Bars().Bar(ctx, in.BarPath); err != nil {
			return nil, err
		}
		for _, r := range bar.Readings {
			if r.ID == in.ID {
				return &body[wire.Reading]{s.Bars().SettledReading(ctx, bar, r)}, nil
			}
		}
		return nil, web.NewProblem("unknown-reading", message.New("No such reading of this bar."))
	}
}

type forgetInput struct {
	Mark string `path:"mark" doc:"Maker's mark"`
	Body struct {
		Why string `json:"why,omitempty" doc:"For whoever asks; it is not kept, since it may name somebody"`
	}
}

// forgetMaker blanks a maker's mark everywhere and makes a copy without it. What was measured stays.
func (s studioRoutes) forgetMaker(ctx context.Context, in *forgetInput) (*body[wire.Forgotten], error) {
	return answer(s.forget(ctx, in.Mark))
}

// forget does so, for the API and for the page.
func (s studioRoutes) forget(ctx context.Context, named string) (j wire.Forgotten, err error) {
	mark, err := tiles.Maker("mark", named)
	if err != nil {
		return j, err
	}
	rows, err := s.Archive.ForgetMaker(ctx, mark, s.Now())
	if err != nil {
		return j, err
	}
	j = wire.Forgotten{Mark: mark, Rows: rows, Older: []wire.Copy{}, Aside: []string{}}
	if j.Copied, err = s.Copies.Make(context.WithoutCancel(ctx)); err != nil {
		j.Why = message.Stopped(message.Of(err)).String()
	}
	older, aside, err := s.Copies.WithForgotten(ctx)
	if err != nil {
		return j, err
	}
	j.Older, j.Aside = copyList(older, s.Site.Zone), append(j.Aside, aside...)
	return j, nil
}

func (s barRoutes) getStory(ctx context.Context, in *wire.BarPath) (*body[wire.Story], error) {
	return answer(s.Bars().Story(ctx, *in))
}

func (s barRoutes) storyPage(w http.ResponseWriter, r *http.Request) error {
	j, err := s.Bars().Story(r.Context(), wire.BarPath{Bar: r.PathValue("bar")})
	if err != nil {
		return err
	}
	return s.show(w, pages.BarStoryPage{Frame: s.page(r.Context(), "bars").Frame, Story: j})
}
