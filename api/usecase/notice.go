package usecase

import (
	"context"
	"time"

	"lidwright/kiln/message"
)

// TestNotices sends a test to every receiver and waits for what comes of it; refused where none is set.
func (s *Studio) TestNotices(ctx context.Context) error {
	if len(s.Notices.Receivers()) == 0 {
		return refuse("out-of-range", message.New("No receiver is set: write a [notice.webhook.NAME] with its url into the settings."))
	}
	return s.Notices.Test(ctx)
}

// Notices is what tells people; the daemon has it.
type Notices interface {
	// Last gives the newest messages with what came of them, newest first.
	Last(ctx context.Context, limit int) ([]NoticeTold, error)
	// Test sends a test message to every receiver.
	Test(ctx context.Context) error
	Receivers() []string
	// Counts counts deliveries since the start by event and outcome: told, sent, gave_up.
	Counts() map[[2]string]uint64
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
