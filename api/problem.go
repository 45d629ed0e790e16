package api

import (
	"context"

	"lidwright/api/pages"
	"lidwright/api/web"
	"lidwright/api/wire"
)

// problem makes a problem of a kind that web.Kinds lists.
func problem(kind, detail string, fields ...wire.Field) *web.Problem {
	return web.NewProblem(kind, detail, fields...)
}

// problemFrom turns an error of the trade or the store into a problem.
func (s *Server) problemFrom(ctx context.Context, err error) *web.Problem {
	return s.troubles.Problem(ctx, err)
}

// onPage is a problem as a page shows it.
func onPage(p *web.Problem) *pages.Problem {
	shown := &pages.Problem{Title: p.Title, Detail: p.Detail}
	if name, says := p.About(); name != "" {
		shown.About, shown.Detail = name, says
	}
	for _, f := range p.Fields {
		shown.Fields = append(shown.Fields, pages.FieldProblem(f))
	}
	return shown
}
