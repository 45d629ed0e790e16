package api

import (
	"lidwright/api/pages"
	"lidwright/api/web"
)

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
