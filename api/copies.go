package api

import (
	"context"
	"slices"
	"time"

	"lidwright/api/usecase"
	"lidwright/api/wire"
)

func (s studioRoutes) getCopies(ctx context.Context, _ *struct{}) (*body[wire.Copies], error) {
	return s.copies(ctx, nil)
}

func (s studioRoutes) postCopy(ctx context.Context, _ *struct{}) (*body[wire.Copies], error) {
	made, err := s.Copies.Make(context.WithoutCancel(ctx)) // on a slow card it may take longer than the asker waits
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return s.copies(ctx, &made)
}

func (s studioRoutes) renewCopies(ctx context.Context, _ *struct{}) (*body[wire.Renewed], error) {
	n, err := s.Copies.Renew(context.WithoutCancel(ctx))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.Renewed]{wire.Renewed{Renewed: n}}, nil
}

func (s studioRoutes) copies(ctx context.Context, made *bool) (*body[wire.Copies], error) {
	kept, err := s.Copies.List()
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	kept = slices.Clone(kept)
	for i := range kept {
		kept[i].Folder = "" // the list is open to readers
	}
	return &body[wire.Copies]{CopiesJSON(made, kept, s.Site.Zone)}, nil
}

// CopiesJSON is the answer about copies, as the command prints it too where no daemon runs.
func CopiesJSON(made *bool, kept []usecase.CopyKept, zone *time.Location) wire.Copies {
	return wire.Copies{Made: made, Items: copyList(kept, zone)}
}

func copyList(kept []usecase.CopyKept, zone *time.Location) []wire.Copy {
	items := []wire.Copy{}
	for _, k := range kept {
		items = append(items, wire.Copy{Name: k.Name, Folder: k.Folder,
			At: k.At.In(zone).Format(time.RFC3339), Bytes: k.Bytes, Second: k.Second})
	}
	return items
}
