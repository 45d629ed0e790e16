package api

import (
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/tiles"
)

// apiVersion is that of the API, which what the document promises hangs on: the first number grows when a
// client of before would break, the second when something is added.
const apiVersion = "1.0.0"

// sayLists says in the document that a list comes as a table too, to whoever accepts text/csv, and gives the
// columns of each by the pattern of its route.
func sayLists(a huma.API) web.Lists {
	registry, lists := a.OpenAPI().Components.Schemas, web.Lists{}
	for path, item := range a.OpenAPI().Paths {
		if item.Get == nil || item.Get.Responses["200"] == nil {
			continue
		}
		content := item.Get.Responses["200"].Content
		if content["application/json"] == nil || content["text/csv"] != nil ||
			content["application/json"].Schema.Ref == "" {
			continue
		}
		t := registry.TypeFromRef(content["application/json"].Schema.Ref)
		if t == nil || t.Kind() != reflect.Struct {
			continue
		}
		items, is := t.FieldByName("Items")
		if !is || items.Type.Kind() != reflect.Slice || items.Type.Elem().Kind() != reflect.Struct {
			continue
		}
		lists["GET "+path] = web.Columns(items.Type.Elem())
		content["text/csv"] = &huma.MediaType{Schema: &huma.Schema{Type: huma.TypeString}}
	}
	return lists
}

// openAnswers lets the structures that stand in answers alone grow: a client that is strict about them would
// break at every member that is added. What is sent to us stays closed: a misspelt member is refused.
func openAnswers(a huma.API) {
	closed := sentSchemas(a)
	for name, s := range a.OpenAPI().Components.Schemas.Map() {
		if closed[name] {
			continue
		}
		if open, is := s.AdditionalProperties.(bool); is && !open {
			s.AdditionalProperties = nil
		}
		if id := s.Properties["id"]; name != "Change" && id != nil &&
			id.Type == huma.TypeString && id.Format == "" {
			id.Format = "uuid" // RFC 9562; of a change it is whatever the kind calls itself
		}
	}
}

// sentSchemas are the names of the structures that are sent to us.
func sentSchemas(a huma.API) map[string]bool {
	schemas, closed := a.OpenAPI().Components.Schemas.Map(), map[string]bool{}
	var close func(*huma.Schema)
	close = func(s *huma.Schema) {
		if s == nil {
			return
		}
		if name, is := strings.CutPrefix(s.Ref, "#/components/schemas/"); is && !closed[name] {
			closed[name] = true
			close(schemas[name])
		}
		for _, p := range s.Properties {
			close(p)
		}
		close(s.Items)
		for _, all := range [][]*huma.Schema{s.AnyOf, s.AllOf, s.OneOf} {
			for _, one := range all {
				close(one)
			}
		}
	}
	for _, item := range a.OpenAPI().Paths {
		for _, op := range []*huma.Operation{item.Put, item.Post, item.Delete} {
			if op != nil && op.RequestBody != nil {
				for _, m := range op.RequestBody.Content {
					close(m.Schema)
				}
			}
		}
	}
	return closed
}

// sayLimits puts what the table of limits says of each field into the document, by which requests are
// checked: of the members that are sent to us, and of parameters. A limit that stands at the member itself is
// left alone.
func sayLimits(a huma.API) {
	schemas := a.OpenAPI().Components.Schemas.Map()
	for name := range sentSchemas(a) {
		for member, s := range schemas[name].Properties {
			limit(member, s)
		}
		schemas[name].PrecomputeMessages()
	}
	for _, item := range a.OpenAPI().Paths {
		for _, op := range []*huma.Operation{item.Get, item.Put, item.Post, item.Delete} {
			if op == nil {
				continue
			}
			for _, p := range op.Parameters {
				field := p.Name
				if p.In == "path" && !slices.Contains([]string{"bar", "batch", "clay", "kiln", "mark"},
					field) {
					field = "id" // of whatever it is the name of
				}
				limit(field, p.Schema)
				p.Schema.PrecomputeMessages()
			}
		}
	}
}

// limit puts the limit of a field into its schema, or into that of its entries.
func limit(field string, s *huma.Schema) {
	l, is := tiles.LimitOf(field)
	if s.Items != nil {
		s = s.Items
	}
	switch own := len(s.Enum) > 0 || s.Pattern != "" || s.Format != "" && s.Type == huma.TypeString; {
	case !is || own:
	case s.Type == huma.TypeString && l.Longest > 0 && s.MaxLength == nil:
		s.MaxLength = &l.Longest
	case (s.Type == huma.TypeNumber || s.Type == huma.TypeInteger) && l.IsNumber() &&
		!l.AsksBack && s.Maximum == nil:
		if l.Optional {
			l.Least = min(0, l.Least)
		}
		s.Minimum, s.Maximum = &l.Least, &l.Most
	}
}

// aboutNouns says of each first word of an address what is found there; the document has it as tags.
var aboutNouns = map[string]string{
	"bars":        "Shrink bars, their readings and their story",
	"changes":     "What changed since a number, for whoever follows the record",
	"clays":       "Clays, their batches, and how much they shrink",
	"collector":   "The collector that the studio joined, if any",
	"compare":     "Firings laid over one another",
	"copies":      "Copies of the record",
	"crossed-out": "What was crossed out, and putting it back",
	"firings":     "Firings, their curves, cones, notes and checklists",
	"import":      "Tables and old notebooks taken in",
	"kilns":       "Kilns, their probes, and what they are kept shut above",
	"lid":         "How wide to throw a lid, its gap, or the gallery for it",
	"lids":        "Lids for a whole board of pots",
	"lines":       "What each kiln's serial line said in the last minute",
	"loads":       "What lay together in a kiln",
	"makers":      "Makers' marks, and removing a person's",
	"notices":     "Notices to people, and trying them",
	"now":         "What every kiln does now",
	"pots":        "Pot cards",
	"session":     "A passcode changed for a cookie, and back",
	"site":        "The site, the number of its newest change, the life of its record",
	"size":        "Any fired length or capacity to wet, and back",
	"stream":      "Changes as they come, as server-sent events",
	"trend":       "How firings and probes of a kiln went on over time",
	"lid-results": "How lids sat on their pots",
}

// sayUse says where the API is, what passcode it takes and what each address is about.
func sayUse(a huma.API) {
	doc := a.OpenAPI()
	doc.Servers = []*huma.Server{{URL: "/", Description: "The daemon that served this document"}}
	doc.Components.SecuritySchemes = map[string]*huma.SecurityScheme{"passcode": {Type: "http",
		Scheme:      "bearer",
		Description: "The bench's or the owner's passcode, where the settings name passcodes; 401 and 403 say which is needed"}}
	doc.Security = []map[string][]string{{"passcode": {}}, {}}
	said := map[string]bool{}
	for path, item := range doc.Paths {
		noun, _, _ := strings.Cut(strings.TrimPrefix(path, "/v1/"), "/")
		for _, op := range []*huma.Operation{item.Get, item.Put, item.Post, item.Delete} {
			if op != nil {
				op.Tags = []string{noun}
			}
		}
		if !said[noun] {
			said[noun] = true
			doc.Tags = append(doc.Tags, &huma.Tag{Name: noun, Description: aboutNouns[noun]})
		}
	}
	slices.SortFunc(doc.Tags, func(a, b *huma.Tag) int { return strings.Compare(a.Name, b.Name) })
}

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

// dropAccept takes the header Accept out of the parameters: OpenAPI 3.1.0, section 4.8.12.1, has it told by
// the types of the answers alone, and a client made from the document would take it for one more member
// beside accept=wide.
func dropAccept(a huma.API) {
	for _, item := range a.OpenAPI().Paths {
		for _, op := range []*huma.Operation{item.Get, item.Put, item.Post, item.Delete} {
			if op != nil {
				op.Parameters = slices.DeleteFunc(op.Parameters,
					func(p *huma.Param) bool { return p.In == "header" && p.Name == "Accept" })
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
		if property := schema.Properties[member]; f.Type.Kind() == reflect.Pointer && property != nil &&
			property.Ref != "" && always {
			schema.Properties[member] = &huma.Schema{AnyOf: []*huma.Schema{{Ref: property.Ref},
				{Type: "null"}}, Description: property.Description}
		}
	}
}

// said is what the body of a request says that need not have one.
func said[T any](body *T) (told T) {
	if body != nil {
		told = *body
	}
	return told
}

// either answers in JSON or, to whoever accepts only that, in text.
type either struct {
	ContentType string `header:"Content-Type"`
	Body        any
}

func inJSON(v any) *either { return &either{"application/json", v} }

func inText(text string) *either { return &either{"text/plain; charset=utf-8", []byte(text)} }

// body is an answer that is written out as it is.
type body[T any] struct{ Body T }

// answer is the answer of a handler whose use case answers with what is written out.
func answer[T any](v T, err error) (*body[T], error) {
	if err != nil {
		return nil, err
	}
	return &body[T]{v}, nil
}

// answers is answer for a list.
func answers[T any](all []T, err error) (*body[wire.List[T]], error) {
	return answer(wire.List[T]{Items: all}, err)
}

// kept is what a PUT answers: 201 when it was kept now, 200 when the very same was said before.
type kept[T any] struct {
	Status int
	Body   T
}

func status(k tiles.PutResult) int {
	if k.New {
		return 201
	}
	return 200
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
