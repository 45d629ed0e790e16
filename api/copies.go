package api

import (
	"context"
	"slices"
	"time"
)

// CopyKept is one copy of the store.
type CopyKept struct {
	Name   string
	Folder string
	At     time.Time // when it was made, by the clock of then
	Bytes  int64
	Second bool // it lies in the second place
}

// Copies makes and lists copies of the whole store.
type Copies interface {
	// Make makes one and checks it; made is false where the newest has everything.
	Make(ctx context.Context) (made bool, err error)
	List() ([]CopyKept, error) // newest first
	// WithForgotten lists those that still have the mark of a maker who was forgotten, and the names of
	// files that were moved aside, which nothing takes a mark out of.
	WithForgotten(ctx context.Context) (copies []CopyKept, aside []string, err error)
	// Renew takes such marks out of them, and gives of how many.
	Renew(ctx context.Context) (int, error)
}

type copyJSON struct {
	Name   string `json:"name"`
	Folder string `json:"folder,omitempty" doc:"Where it lies; told by the command on the machine itself alone"`
	At     string `json:"at"`
	Bytes  int64  `json:"bytes"`
	Second bool   `json:"second_place" doc:"It lies in the folder that copy.target names"`
}

type renewedJSON struct {
	Renewed int `json:"renewed" doc:"Copies that had the mark of a forgotten maker and have it no more; 0: none had"`
}

type copiesJSON struct {
	Made  *bool      `json:"made,omitempty" doc:"false: the newest has everything"`
	Items []copyJSON `json:"items"`
}

func (s *Server) getCopies(ctx context.Context, _ *struct{}) (*body[copiesJSON], error) {
	return s.copies(ctx, nil)
}

func (s *Server) postCopy(ctx context.Context, _ *struct{}) (*body[copiesJSON], error) {
	made, err := s.Copies.Make(context.WithoutCancel(ctx)) // on a slow card it may take longer than the asker waits
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return s.copies(ctx, &made)
}

func (s *Server) renewCopies(ctx context.Context, _ *struct{}) (*body[renewedJSON], error) {
	n, err := s.Copies.Renew(context.WithoutCancel(ctx))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[renewedJSON]{renewedJSON{n}}, nil
}

func (s *Server) copies(ctx context.Context, made *bool) (*body[copiesJSON], error) {
	kept, err := s.Copies.List()
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	kept = slices.Clone(kept)
	for i := range kept {
		kept[i].Folder = "" // the list is open to readers
	}
	return &body[copiesJSON]{CopiesJSON(made, kept, s.Site.Zone)}, nil
}

// CopiesJSON is the answer about copies, as the command prints it too where no daemon runs.
func CopiesJSON(made *bool, kept []CopyKept, zone *time.Location) copiesJSON {
	return copiesJSON{Made: made, Items: copyList(kept, zone)}
}

func copyList(kept []CopyKept, zone *time.Location) []copyJSON {
	items := []copyJSON{}
	for _, k := range kept {
		items = append(items, copyJSON{k.Name, k.Folder, k.At.In(zone).Format(time.RFC3339), k.Bytes, k.Second})
	}
	return items
}
