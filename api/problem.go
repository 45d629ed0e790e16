package api

import (
	"lidwright/api/pages"
	"lidwright/api/web"
	"lidwright/kiln/message"
)

// onPage is a problem as a page shows it.
func onPage(p *web.Problem) *pages.Problem {
	shown := &pages.Problem{Title: p.Title, Detail: p.Detail}
	if name, says := p.About(); name != "" {
		shown.Detail = message.New("{1}: {2}", name, says)
	}
	for _, f := range p.Fields {
		shown.Fields = append(shown.Fields, pages.FieldProblem(f))
	}
	return shown
}
