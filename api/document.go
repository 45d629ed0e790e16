package api

import (
	"reflect"
	"strings"

	"github.com/danielgtaylor/huma/v2"
)

// sayNulls puts into the document what is left out of it otherwise: that a member which is a
// pointer to a structure may be null. Every structure of an answer is walked, not a list of names.
func sayNulls(a huma.API) {
	registry := a.OpenAPI().Components.Schemas
	for name, schema := range registry.Map() {
		t := registry.TypeFromRef("#/components/schemas/" + name)
		if t == nil || t.Kind() != reflect.Struct {
			continue
		}
		for _, f := range reflect.VisibleFields(t) {
			member, options, _ := strings.Cut(f.Tag.Get("json"), ",")
			property := schema.Properties[member]
			if f.Type.Kind() != reflect.Pointer || property == nil || property.Ref == "" || strings.Contains(options, "omitempty") {
				continue
			}
			schema.Properties[member] = &huma.Schema{AnyOf: []*huma.Schema{{Ref: property.Ref}, {Type: "null"}}, Description: property.Description}
		}
	}
}
