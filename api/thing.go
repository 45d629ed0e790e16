package api

import "strconv"

// thing answers with something that can be edited.
type thing[T any] struct {
	Revision string `header:"ETag" doc:"For If-Match on the next change, for If-None-Match on the next question"`
	Body     T
}

// edited is what the PUT of such a thing answers.
type edited[T any] struct {
	Status   int
	Revision string `header:"ETag" doc:"For If-Match on the next change"`
	Body     T
}

func revision(n int64) string { return strconv.FormatInt(n, 10) }
