package usecase

import (
	"context"
)

func (s *Studio) TestNotices(ctx context.Context) error {
	if len(s.Notices.Receivers()) == 0 {
		return refuse("out-of-range", "No receiver is set: write a [notice.webhook.NAME] with its url into the settings.")
	}
	return s.Notices.Test(ctx)
}
