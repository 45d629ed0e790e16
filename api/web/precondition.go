package web

import (
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln/message"
)

// The ETag of a thing that can be edited begins with its revision: "17-8mVh3s". The whole of it
// tells one answer from another (If-None-Match); an edit asks for the revision alone (If-Match),
// which the store compares while it writes, so that of two who edit at once one is told.

// editTag is the whole ETag of a thing: the revision that the handler told, and what was answered.
func editTag(revision string, body []byte) string {
	return `"` + revision + "-" + strings.Trim(tagOf(body), `"`) + `"`
}

// Edits says in the document that a PUT takes If-Match, and lets it.
func Edits(a huma.API, path string) {
	op := a.OpenAPI().Paths[path].Put
	op.Metadata = map[string]any{"edits": true}
	text := &huma.Schema{Type: huma.TypeString}
	op.Parameters = append(op.Parameters,
		&huma.Param{Name: "If-Match", In: "header", Schema: text,
			Description: "ETag of what is edited: 412 if somebody changed it meanwhile; * if it must be there"},
		&huma.Param{Name: "If-None-Match", In: "header", Schema: text,
			Description: "* to keep something new alone: 412 if it is there"})
}

// Preconditions reads If-Match and If-None-Match of every change in one place and hands them to
// the store with the context. A saying that is repeated word for word is answered before they are
// asked (a safe retry); that is the store's to see.
func Preconditions(ctx huma.Context, next func(huma.Context)) {
	op, must, mustNot := ctx.Operation(), ctx.Header("If-Match"), ctx.Header("If-None-Match")
	if !Unsafe(op.Method) || must == "" && mustNot == "" {
		next(ctx)
		return
	}
	m, p := readMatch(must, mustNot)
	if p == nil && must != "" && op.Metadata["edits"] == nil {
		p = NewProblem("changed-meanwhile",
			message.New("Nothing that is kept at this address is ever edited, so no ETag can match; send it without If-Match."), wire.Field{Name: "If-Match", Says: message.New("is not taken here")})
	}
	if p != nil {
		p.Instance = ctx.URL().Path
		ctx.SetHeader("Content-Type", p.ContentType(""))
		ctx.SetStatus(p.Status)
		ctx.BodyWriter().Write(EncodeJSON(p))
		return
	}
	next(huma.WithValue(ctx, usecase.PreconditionKey{}, m))
}

// readMatch reads the two headers of RFC 9110, 13.1.1 and 13.1.2. A tag that is not of our making,
// or weak, matches nothing.
func readMatch(must, mustNot string) (m usecase.Precondition, p *Problem) {
	switch strings.TrimSpace(mustNot) {
	case "":
	case "*":
		m.New = true
	default:
		return m, NewProblem("unknown-value", message.New("On a change If-None-Match can only be *."),
			wire.Field{Name: "If-None-Match", Says: message.New("can only be *")})
	}
	switch strings.TrimSpace(must) {
	case "":
	case "*":
		m.There = true
	default:
		m.Revisions = []int64{}
		for one := range strings.SplitSeq(must, ",") {
			tag, ok := strings.CutPrefix(strings.TrimSpace(one), `"`)
			number, _, _ := strings.Cut(strings.TrimSuffix(tag, `"`), "-")
			if n, err := strconv.ParseInt(number, 10, 64); ok && err == nil && n > 0 {
				m.Revisions = append(m.Revisions, n)
			}
		}
	}
	return m, nil
}
