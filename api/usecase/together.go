package usecase

import (
	"context"
	"errors"

	"golang.org/x/sync/singleflight"
)

// together gives what work gives to all who ask for the same at the same time. Where whoever worked it out
// went away before the end, another of them does.
func together[T any](ctx context.Context, working *singleflight.Group, key string, work func() (T, error)) (T,
	error) {
	for {
		v, err, shared := working.Do(key, func() (any, error) { return work() })
		if shared && errors.Is(err, context.Canceled) && ctx.Err() == nil {
			continue
		}
		got, _ := v.(T)
		return got, err
	}
}
