package api

import (
	"context"
	"net/http"
	"time"
)

// Notices is what tells people; the daemon has it.
type Notices interface {
	// Last gives the newest messages with what came of them, newest first.
	Last(ctx context.Context, limit int) ([]NoticeTold, error)
	// Test sends a test message to every receiver.
	Test(ctx context.Context) error
	Receivers() []string
	// Counts counts deliveries by event and outcome.
	Counts(ctx context.Context) (map[[2]string]int, error)
}

// NoticeTold is a message that went out or is to go.
type NoticeTold struct {
	ID        string       `json:"id"`
	Event     string       `json:"event" example:"kiln.quiet"`
	State     string       `json:"state" enum:"began,cleared,once"`
	At        string       `json:"at" format:"date-time"`
	Kiln      string       `json:"kiln,omitempty"`
	Says      string       `json:"says" doc:"A message and no safety device"`
	Link      string       `json:"link" doc:"Path of the page that it speaks of"`
	Receivers []NoticeFate `json:"receivers" nullable:"false"`
}

// NoticeFate is what came of a message at one receiver.
type NoticeFate struct {
	Receiver string    `json:"receiver" doc:"Name from the settings"`
	Outcome  string    `json:"outcome" enum:"waiting,sent,gave_up"`
	Tries    int       `json:"tries"`
	Answer   string    `json:"answer" doc:"Status of the last answer, or no answer"`
	At       time.Time `json:"at" doc:"Of the last try"`
}

type noticesAnswer struct {
	Body struct {
		Receivers []string     `json:"receivers" nullable:"false"`
		Items     []NoticeTold `json:"items" nullable:"false"`
	}
}

const lastNotices = 20

func (s *Server) getNotices(ctx context.Context, _ *struct{}) (*noticesAnswer, error) {
	told, err := s.Notices.Last(ctx, lastNotices)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	a := &noticesAnswer{}
	a.Body.Receivers, a.Body.Items = append([]string{}, s.Notices.Receivers()...), append([]NoticeTold{}, told...)
	for i, t := range a.Body.Items {
		a.Body.Items[i].Receivers = append([]NoticeFate{}, t.Receivers...)
	}
	return a, nil
}

// testNotice sends a test message to every receiver; what came of it stands in the list of notices.
func (s *Server) testNotice(ctx context.Context, _ *struct{}) (*noticesAnswer, error) {
	if err := s.testNotices(ctx); err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return s.getNotices(ctx, nil)
}

// testNoticePage is the button of the settings page.
func (s *Server) testNoticePage(w http.ResponseWriter, r *http.Request) error {
	if err := s.testNotices(r.Context()); err != nil {
		return err
	}
	http.Redirect(w, r, "/settings#notices", http.StatusSeeOther)
	return nil
}
