package collectorpages

import (
	"net/http"
	"reflect"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"lidwright/api/wire"
)

// document answers with the OpenAPI document, made from the table of routes and the types of the wire.
func (s *Server) document(w http.ResponseWriter, _ *http.Request) {
	registry := huma.NewMapRegistry("#/components/schemas/", huma.DefaultSchemaNamer)
	schema := func(v any, hint string) *huma.Schema { return registry.Schema(reflect.TypeOf(v), true, hint) }
	api := huma.OpenAPI{OpenAPI: "3.1.0", Paths: map[string]*huma.PathItem{},
		Components: &huma.Components{Schemas: registry,
			SecuritySchemes: map[string]*huma.SecurityScheme{"key": {Type: "http", Scheme: "bearer",
				Description: "The studio's key, as join gave it"}}},
		Info: &huma.Info{Title: "lidwright-collect", Version: s.Version,
			Description: "What studios send to a collector. A collector can set nothing on a studio's own machine, and nothing of it reaches a kiln."}}
	for _, r := range s.routes() {
		if r.id == "" {
			continue
		}
		method, path, _ := strings.Cut(r.pattern, " ")
		op := &huma.Operation{OperationID: r.id, Method: method, Path: path, Summary: r.summary,
			Responses: map[string]*huma.Response{}}
		for part := range strings.SplitSeq(path, "/") {
			if name, is := strings.CutPrefix(part, "{"); is {
				op.Parameters = append(op.Parameters,
					&huma.Param{Name: strings.TrimSuffix(name, "}"), In: "path", Required: true,
						Schema: &huma.Schema{Type: "string", Format: "uuid"}})
			}
		}
		if r.id != "join" {
			op.Security = []map[string][]string{{"key": {}}}
		}
		switch body := r.takes.(type) {
		case nil:
		case []byte:
			one := 1.0
			op.Parameters = append(op.Parameters,
				&huma.Param{Name: "revision", In: "query", Required: true,
					Schema: &huma.Schema{Type: "integer", Minimum: &one}})
			op.RequestBody = &huma.RequestBody{Required: true,
				Content: map[string]*huma.MediaType{"application/octet-stream": {
					Schema: &huma.Schema{Type: "string", Format: "binary"}}}}
		default:
			op.RequestBody = &huma.RequestBody{Required: true,
				Content: map[string]*huma.MediaType{"application/json": {Schema: schema(body, r.id)}}}
		}
		if r.gives == nil {
			op.Responses["204"] = &huma.Response{Description: "Kept, now or before"}
		} else {
			op.Responses["200"] = &huma.Response{Description: "Kept, now or before",
				Content: map[string]*huma.MediaType{"application/json": {Schema: schema(r.gives, r.id)}}}
		}
		op.Responses["default"] = &huma.Response{Description: "Nothing was kept; 503 and 429 say in Retry-After when to come again", Content: map[string]*huma.MediaType{"application/json": {Schema: schema(wire.PushRefused{}, "refused")}}}
		item := api.Paths[path]
		if item == nil {
			item = &huma.PathItem{}
			api.Paths[path] = item
		}
		switch method {
		case http.MethodPost:
			item.Post = op
		case http.MethodPut:
			item.Put = op
		case http.MethodDelete:
			item.Delete = op
		}
	}
	writeJSON(w, http.StatusOK, &api)
}
