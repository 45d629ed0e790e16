package usecase

import (
	"context"
	"errors"
	"testing"

	"golang.org/x/sync/singleflight"
)

// Who waits for what another works out gets it; where that one goes away first, who waited works it out.
func TestTogether(t *testing.T) {
	var working singleflight.Group
	begun, gone := make(chan struct{}), make(chan error)
	first, leave := context.WithCancel(t.Context())
	go func() {
		_, err := together(first, &working, "key", func() (int, error) {
			close(begun)
			<-first.Done()
			return 0, first.Err()
		})
		gone <- err
	}()
	<-begun
	got := make(chan int)
	go func() {
		n, err := together(t.Context(), &working, "key", func() (int, error) { return 7, nil })
		if err != nil {
			t.Error(err)
		}
		got <- n
	}()
	leave()
	if err := <-gone; !errors.Is(err, context.Canceled) {
		t.Errorf("who went away: %v", err)
	}
	if n := <-got; n != 7 {
		t.Errorf("who stayed got %d", n)
	}
	if _, err := together(t.Context(), &working, "key", func() (int, error) {
		return 0,
			context.DeadlineExceeded
	}); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("trouble of the work itself: %v", err)
	}
}
