package api

import (
	"context"
	"net/http"

	"lidwright/api/usecase"
)

type noticesAnswer struct {
	Body struct {
		Receivers []string             `json:"receivers" nullable:"false"`
		Items     []usecase.NoticeTold `json:"items" nullable:"false"`
	}
}

const lastNotices = 20

func (s studioRoutes) getNotices(ctx context.Context, _ *struct{}) (*noticesAnswer, error) {
	told, err := s.Notices.Last(ctx, lastNotices)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	a := &noticesAnswer{}
	a.Body.Receivers, a.Body.Items = append([]string{}, s.Notices.Receivers()...), append([]usecase.NoticeTold{}, told...)
	for i, t := range a.Body.Items {
		a.Body.Items[i].Receivers = append([]usecase.NoticeFate{}, t.Receivers...)
	}
	return a, nil
}

// testNotice sends a test message to every receiver; what came of it stands in the list of notices.
func (s studioRoutes) testNotice(ctx context.Context, _ *struct{}) (*noticesAnswer, error) {
	if err := s.TestNotices(ctx); err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return s.getNotices(ctx, nil)
}

// testNoticePage is the button of the settings page.
func (s studioRoutes) testNoticePage(w http.ResponseWriter, r *http.Request) error {
	if err := s.TestNotices(r.Context()); err != nil {
		return err
	}
	http.Redirect(w, r, "/settings#notices", http.StatusSeeOther)
	return nil
}
