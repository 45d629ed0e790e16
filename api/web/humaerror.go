package web

import (
	"cmp"
	"errors"
	"net/http"
	"regexp"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"lidwright/api/wire"
	"lidwright/kiln/message"
)

// missingProperty finds the name of a member that is not there in huma's words, whose place is the object around it.
var missingProperty = regexp.MustCompile(`^expected required property (\S+) to be present$`)

// HumaError gives huma's own refusals our types. It never echoes what was sent.
func HumaError(status int, msg string, errs ...error) huma.StatusError {
	var fields []wire.Field
	detail := message.Plain(msg)
	kind := ""
	for _, e := range errs {
		var p *Problem
		if errors.As(e, &p) {
			return p
		}
		d, ok := e.(huma.ErrorDetailer)
		if !ok {
			continue
		}
		ed := d.ErrorDetail()
		name := strings.TrimPrefix(strings.TrimPrefix(strings.TrimPrefix(ed.Location, "body."), "query."), "path.")
		if name == "body" {
			name = ""
		}
		says := ed.Message
		why := message.Plain(says) // in the words of the library
		switch {
		case strings.Contains(says, "unexpected property"), strings.Contains(says, "unknown query parameter"):
			kind = "unknown-parameter" // told first: a misspelt name also makes another missing
		case strings.Contains(says, "required property"), strings.Contains(says, "is missing"):
			kind = cmp.Or(kind, "missing")
			if m := missingProperty.FindStringSubmatch(says); m != nil {
				name, says = strings.TrimPrefix(name+"."+m[1], "."), ""
				why = message.New("is needed")
			}
		case strings.Contains(says, "expected value to be one of"), strings.Contains(says, "expected string"), strings.Contains(says, "expected object"),
			strings.Contains(says, "expected array"), strings.Contains(says, "expected boolean"):
			kind = cmp.Or(kind, "unknown-value")
		}
		if status != http.StatusBadRequest {
			fields = append(fields, wire.Field{Name: name, Says: why})
		}
	}
	switch status {
	case http.StatusBadRequest:
		kind, detail = "not-json", message.New("The body could not be read as JSON.")
	case http.StatusRequestEntityTooLarge:
		kind, detail = "too-large", message.New("The body is over the limit.")
	case http.StatusUnsupportedMediaType:
		kind, detail = "wrong-type", message.New("Send the body as application/json.")
	case http.StatusRequestTimeout:
		kind, detail = "not-json", message.New("The body did not arrive in time.")
	case http.StatusInternalServerError:
		kind, detail = "trouble", message.Plain(msg) // for the log; Where
		if strings.Contains(msg, "request body") {   // what was announced did not come
			kind, detail = "not-json", message.New("The body broke off.")
		}
	case http.StatusUnprocessableEntity:
		kind = cmp.Or(kind, "out-of-range")
		if len(fields) > 0 {
			detail = sayField(fields[0].Name, fields[0].Says)
		}
	}
	return NewProblem(kind, detail, fields...)
}
