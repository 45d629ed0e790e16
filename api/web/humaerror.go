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

// missingProperty finds the name of a member that is not there in huma's words, whose place is the object
// around it.
var missingProperty = regexp.MustCompile(`^expected required property (\S+) to be present$`)

// plainWords are huma's refusals of a member in plain words, with what stands in their groups.
var plainWords = []struct {
	library *regexp.Regexp
	says    message.Key
}{
	{regexp.MustCompile(`^expected length <= (\d+)$`), "at most {1} characters"},
	{regexp.MustCompile(`^expected length >= 1$`), "is needed"},
	{regexp.MustCompile(`^expected length >= (\d+)$`), "at least {1} characters"},
	{regexp.MustCompile(`^required \w+ parameter is missing$`), "is needed"},
	{regexp.MustCompile(`^expected array length <= (\d+)$`), "at most {1} of them"},
	{regexp.MustCompile(`^expected array length >= 1$`), "is needed"},
	{regexp.MustCompile(`^expected array length >= (\d+)$`), "at least {1} of them"},
	{regexp.MustCompile(`^expected value to be one of "(.*)"$`), "not one of {1}"},
	{regexp.MustCompile(`^expected number >= (\S+)$`), "must be {1} or more"},
	{regexp.MustCompile(`^expected number > (\S+)$`), "must be more than {1}"},
	{regexp.MustCompile(`^expected number <= (\S+)$`), "must be {1} or less"},
	{regexp.MustCompile(`^expected number < (\S+)$`), "must be less than {1}"},
	{regexp.MustCompile(`^expected string to match pattern \^\[a-z0-9-\]\{1,32\}\$$`),
		"small letters, digits and hyphens only, at most 32"},
	{regexp.MustCompile(`^expected string to be RFC 3339 date-time$`), "write 2026-01-14T13:00:00+01:00"},
	{regexp.MustCompile(`^expected string to be RFC 3339 date$`), "write 2026-01-14"},
	{regexp.MustCompile(`^expected string to be RFC 4122 uuid`), "is no id"},
	{regexp.MustCompile(`^(?:expected|invalid) boolean$`), "must be true or false"},
	{regexp.MustCompile(`^(?:expected|invalid) integer$`), "must be a whole number"},
	{regexp.MustCompile(`^(?:expected number|invalid float|invalid number)$`), "must be a number"},
	{regexp.MustCompile(`^expected string$`), "must be a text"},
	{regexp.MustCompile(`^expected array$`), "must be a list"},
}

// inPlainWords says what huma says of a member; what is not known here stands in the words of the library.
func inPlainWords(says string) message.Message {
	for _, p := range plainWords {
		if m := p.library.FindStringSubmatch(says); m != nil {
			var places []any
			for _, text := range m[1:] {
				places = append(places, text)
			}
			return message.New(p.says, places...)
		}
	}
	return message.Plain(says)
}

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
		name := strings.TrimPrefix(strings.TrimPrefix(strings.TrimPrefix(ed.Location, "body."), "query."),
			"path.")
		if ed.Location == "body" { // the whole of it, and no member of that name
			name = ""
		}
		says := ed.Message
		why := inPlainWords(says)
		switch {
		case strings.Contains(says, "unexpected property"), strings.Contains(says, "unknown query parameter"):
			kind = "unknown-parameter" // told first: a misspelt name also makes another missing
		case strings.Contains(says, "required property"), strings.Contains(says, "is missing"):
			kind = cmp.Or(kind, "missing")
			if m := missingProperty.FindStringSubmatch(says); m != nil {
				name, says = strings.TrimPrefix(name+"."+m[1], "."), ""
				why = message.New("is needed")
			}
		case strings.Contains(says, "expected value to be one of"), strings.Contains(says, "expected string"),
			strings.Contains(says, "expected object"),
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
