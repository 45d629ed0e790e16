package api

import (
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"
)

// sayAll puts into the document what huma leaves out of it: members that come with an embedded
// structure of ours (an answer embeds what was sent), and that a member which is a pointer to a
// structure may be null. Every structure is walked, not a list of names.
func sayAll(a huma.API) {
	registry := a.OpenAPI().Components.Schemas
	said := map[string]bool{}
	for again := true; again; {
		again = false
		for _, name := range names(registry) { // what is embedded may bring further structures
			if !said[name] {
				said[name], again = true, true
				sayMembers(registry, registry.TypeFromRef("#/components/schemas/"+name), registry.Map()[name])
			}
		}
	}
}

// dropAccept takes the header Accept out of the parameters: OpenAPI 3.1.0, section 4.8.12.1, has it told by the
// types of the answers alone, and a client made from the document would take it for one more member
// beside accept=wide.
func dropAccept(a huma.API) {
	for _, item := range a.OpenAPI().Paths {
		for _, op := range []*huma.Operation{item.Get, item.Put, item.Post, item.Delete} {
			if op != nil {
				op.Parameters = slices.DeleteFunc(op.Parameters, func(p *huma.Param) bool { return p.In == "header" && p.Name == "Accept" })
			}
		}
	}
}

func names(registry huma.Registry) []string {
	var all []string
	for name := range registry.Map() {
		all = append(all, name)
	}
	slices.Sort(all)
	return all
}

func sayMembers(registry huma.Registry, t reflect.Type, schema *huma.Schema) {
	if t == nil || t.Kind() != reflect.Struct || schema.Type != huma.TypeObject {
		return
	}
	for _, f := range reflect.VisibleFields(t) {
		member, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		always := !strings.Contains(options, "omitempty")
		if member == "" || member == "-" || !f.IsExported() {
			continue
		}
		if schema.Properties[member] == nil && len(f.Index) > 1 {
			schema.Properties[member] = huma.SchemaFromField(registry, f, t.Name()+f.Name)
			if always {
				schema.Required = append(schema.Required, member)
			}
		}
		if property := schema.Properties[member]; f.Type.Kind() == reflect.Pointer && property != nil && property.Ref != "" && always {
			schema.Properties[member] = &huma.Schema{AnyOf: []*huma.Schema{{Ref: property.Ref}, {Type: "null"}}, Description: property.Description}
		}
	}
}

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
