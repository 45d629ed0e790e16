package web

import (
	"errors"
	"net/http"
	"net/url"

	"lidwright/kiln/message"
)

// Form reads a form that was sent; a member that is not there is empty.
func Form(r *http.Request) (url.Values, error) {
	if err := r.ParseForm(); err != nil {
		var big *http.MaxBytesError
		if errors.As(err, &big) {
			return nil, NewProblem("too-large", message.New("The form is over the limit."))
		}
		return nil, NewProblem("not-json", message.New("The form cannot be read."))
	}
	return r.PostForm, nil
}
