package web

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
)

// To huma every operation takes the same question and gives the same answer: huma.Register is made anew by the
// compiler for each pair of types that it is called with, 30 kB of the program each, and there would be eighty.
// What the types of an operation say in their tags is read here, once, and means what it means to huma.

// question is what huma hands to an operation.
type question struct{ c huma.Context }

// Resolve is called by huma before the handler.
func (q *question) Resolve(c huma.Context) []error {
	q.c = c
	return nil
}

// answered writes an answer.
type answered struct{ Body func(huma.Context) }

// taker is what one operation reads from a request, and what it answers with.
type taker struct {
	api       huma.API
	op        *huma.Operation
	in        reflect.Type
	params    []parameter
	known     map[string]bool // parameters after the ? that can be asked with; nil: any
	resolvers [][]int         // parts of in that read the request themselves
	body      []int           // of in; nil where it takes none
	needed    bool            // the body
	schema    *huma.Schema    // of the body
	headers   []reflect.StructField
	status    []int // of the answer; nil where it is always the same
	says      []int // body of the answer; nil where it has none
}

// parameter is a field of a question that is not its body.
type parameter struct {
	index            []int
	kind             reflect.Kind
	place, name      string
	usual            string // what counts where it is not given
	required, repeat bool
	schema           *huma.Schema
}

// places are where a parameter can stand, by the names of their tags.
var places = []string{"path", "query", "header", "cookie"}

var resolver = reflect.TypeFor[huma.Resolver]()

// Register puts an operation into the API and its document. f is given a pointer to an in, and answers with a
// pointer to an out or nil.
func Register(a huma.API, op huma.Operation, in, out reflect.Type,
	f func(ctx context.Context, in any) (any, error)) {
	t := &taker{api: a, in: in}
	closed := op.RejectUnknownQueryParameters
	op.RejectUnknownQueryParameters = false
	t.takes(&op)
	if closed {
		t.known = map[string]bool{}
		for _, p := range t.params {
			t.known[p.name] = t.known[p.name] || p.place == "query"
		}
	}
	t.answers(&op, out)
	huma.Register(a, op, func(ctx context.Context, q *question) (*answered, error) {
		v := reflect.New(t.in)
		if err := t.read(q.c, v.Elem()); err != nil {
			return nil, err
		}
		said, err := f(ctx, v.Interface())
		if err != nil {
			return nil, err
		}
		return &answered{func(c huma.Context) { t.write(c, said) }}, nil
	})
	item := a.OpenAPI().Paths[op.Path]
	t.op = map[string]*huma.Operation{http.MethodGet: item.Get, http.MethodPut: item.Put,
		http.MethodPost: item.Post, http.MethodDelete: item.Delete}[op.Method]
	if t.body != nil {
		t.schema.PrecomputeMessages()
		t.op.RequestBody = &huma.RequestBody{Required: t.needed,
			Content: map[string]*huma.MediaType{"application/json": {Schema: t.schema}}}
	}
}

// takes finds what a question is made of, and says it in the document.
func (t *taker) takes(op *huma.Operation) {
	registry := t.api.OpenAPI().Components.Schemas
	t.resolvers = resolversOf(t.in, nil)
	for _, f := range reflect.VisibleFields(t.in) {
		if f.Name == "Body" && len(f.Index) == 1 {
			t.body = f.Index
			t.needed = f.Tag.Get("required") == "true" || f.Type.Kind() != reflect.Pointer
			t.schema = huma.SchemaFromField(registry, f, hint(t.in, "Body", op.OperationID+"Request"))
			continue
		}
		i := slices.IndexFunc(places, func(place string) bool { return f.Tag.Get(place) != "" })
		if f.Anonymous || i < 0 {
			continue
		}
		name, how, _ := strings.Cut(f.Tag.Get(places[i]), ",")
		p := parameter{index: f.Index, kind: f.Type.Kind(), place: places[i], name: name,
			usual: f.Tag.Get("default"), repeat: how == "explode",
			required: i == 0 || f.Tag.Get("required") == "true", schema: huma.SchemaFromField(registry, f, "")}
		t.params = append(t.params, p)
		same := func(o *huma.Param) bool { return o.Name == p.name && o.In == p.place }
		if slices.ContainsFunc(op.Parameters, same) {
			continue
		}
		said := &huma.Param{Name: p.name, In: p.place, Required: p.required, Schema: p.schema,
			Description: p.schema.Description}
		if p.place == "query" {
			said.Explode = &p.repeat
		}
		op.Parameters = append(op.Parameters, said)
	}
}

// resolversOf finds the parts of a question that read the request themselves.
func resolversOf(t reflect.Type, at []int) (found [][]int) {
	if reflect.PointerTo(t).Implements(resolver) {
		return [][]int{at}
	}
	for i := range t.NumField() {
		if f := t.Field(i); f.Anonymous && f.Type.Kind() == reflect.Struct {
			found = append(found, resolversOf(f.Type, append(slices.Clone(at), i))...)
		}
	}
	return found
}

// hint is what a type without a name is called in the document.
func hint(parent reflect.Type, field, other string) string {
	if parent.Name() == "" {
		return other
	}
	return parent.Name() + field
}

// answers finds what an answer is made of, and says it in the document.
func (t *taker) answers(op *huma.Operation, out reflect.Type) {
	registry := t.api.OpenAPI().Components.Schemas
	op.DefaultStatus = cmp.Or(op.DefaultStatus, http.StatusNoContent)
	if f, ok := out.FieldByName("Body"); ok {
		t.says, op.DefaultStatus = f.Index, http.StatusOK
	}
	status := strconv.Itoa(op.DefaultStatus)
	if op.Responses == nil {
		op.Responses = map[string]*huma.Response{}
	}
	said := op.Responses[status]
	if said == nil {
		said = &huma.Response{Description: http.StatusText(op.DefaultStatus)}
		op.Responses[status] = said
	}
	if f, ok := out.FieldByName("Body"); ok && f.Type.Kind() != reflect.Func && said.Content == nil {
		said.Content = map[string]*huma.MediaType{"application/json": {
			Schema: huma.SchemaFromField(registry, f, hint(out, "Body", op.OperationID+"Response"))}}
	}
	for _, f := range reflect.VisibleFields(out) {
		switch {
		case f.Anonymous || f.Name == "Body":
		case f.Name == "Status":
			t.status = f.Index
		default:
			name := cmp.Or(f.Tag.Get("header"), f.Name)
			as := f
			if as.Type.Kind() == reflect.Struct {
				as.Type = reflect.TypeFor[string]() // a cookie is told as text
			}
			if said.Headers == nil {
				said.Headers = map[string]*huma.Header{}
			}
			said.Headers[name] = &huma.Header{Schema: huma.SchemaFromField(registry, as,
				hint(out, f.Name, op.OperationID+status+name))}
			f.Name = name
			t.headers = append(t.headers, f)
		}
	}
}

// read fills a question from a request, or says all that is wrong with it.
func (t *taker) read(c huma.Context, v reflect.Value) error {
	var res huma.ValidateResult
	path := huma.NewPathBuffer(make([]byte, 0, 64), 0)
	if t.known != nil {
		u := c.URL()
		for name := range u.Query() {
			if !t.known[name] {
				path.Reset()
				path.Push("query")
				path.Push(name)
				res.Add(path, "", "unknown query parameter")
			}
		}
		if len(res.Errors) > 0 {
			return huma.NewErrorWithContext(c, http.StatusUnprocessableEntity, "validation failed", res.Errors...)
		}
	}
	for i := range t.params {
		t.params[i].read(t, c, v, path, &res)
	}
	status := http.StatusUnprocessableEntity
	if t.body != nil {
		failed, err := t.readBody(c, v.FieldByIndex(t.body), path, &res)
		if err != nil {
			return err
		}
		status = cmp.Or(failed, status)
	}
	for _, at := range t.resolvers {
		reads := v.FieldByIndex(at).Addr().Interface().(huma.Resolver)
		res.Errors = append(res.Errors, reads.Resolve(c)...)
	}
	if len(res.Errors) > 0 {
		return huma.NewErrorWithContext(c, status, "validation failed", res.Errors...)
	}
	return nil
}

// read takes one parameter from a request.
func (p *parameter) read(t *taker, c huma.Context, v reflect.Value, path *huma.PathBuffer,
	res *huma.ValidateResult) {
	path.Reset()
	path.Push(p.place)
	path.Push(p.name)
	given := ""
	switch p.place {
	case "path":
		given = c.Param(p.name)
	case "query":
		given = c.Query(p.name)
	case "header":
		given = c.Header(p.name)
	case "cookie":
		for _, one := range huma.ReadCookies(c) {
			if one.Name == p.name {
				given = one.Value
			}
		}
	}
	if given = cmp.Or(given, p.usual); given == "" {
		if p.required {
			res.Add(path, "", "required "+p.place+" parameter is missing")
		}
		return
	}
	value, err := p.parse(c, v.FieldByIndex(p.index), given)
	if err != nil {
		res.Add(path, given, err.Error())
		return
	}
	huma.Validate(t.api.OpenAPI().Components.Schemas, p.schema, path, huma.ModeWriteToServer, value, res)
}

// parse sets a field from text, and gives what is checked against its schema.
func (p *parameter) parse(c huma.Context, f reflect.Value, given string) (any, error) {
	switch p.kind {
	case reflect.String:
		f.SetString(given)
		return given, nil
	case reflect.Int, reflect.Int64:
		n, err := strconv.ParseInt(given, 10, 64)
		f.SetInt(n)
		return n, orErr(err, "invalid integer")
	case reflect.Float64:
		n, err := strconv.ParseFloat(given, 64)
		f.SetFloat(n)
		return n, orErr(err, "invalid float")
	case reflect.Bool:
		b, err := strconv.ParseBool(given)
		f.SetBool(b)
		return b, orErr(err, "invalid boolean")
	case reflect.Slice:
		all := strings.Split(given, ",")
		if u := c.URL(); p.repeat {
			all = u.Query()[p.name]
		}
		f.Set(reflect.ValueOf(all))
		return all, nil
	}
	panic("parameter " + p.name + " is of a type that cannot be read")
}

func orErr(err error, says string) error {
	if err == nil {
		return nil
	}
	return errors.New(says)
}

// readBody fills a body. Zero is the status where it is as it must be, or where res alone says why not.
func (t *taker) readBody(c huma.Context, into reflect.Value, path *huma.PathBuffer,
	res *huma.ValidateResult) (status int, refused error) {
	c.SetReadDeadline(time.Now().Add(5 * time.Second))
	from := c.BodyReader()
	if from == nil {
		from = http.NoBody
	}
	text, err := io.ReadAll(io.LimitReader(from, t.op.MaxBodyBytes))
	var slow net.Error
	switch {
	case int64(len(text)) == t.op.MaxBodyBytes:
		return 0, huma.NewErrorWithContext(c, http.StatusRequestEntityTooLarge,
			fmt.Sprintf("request body is too large limit=%d bytes", t.op.MaxBodyBytes))
	case errors.As(err, &slow) && slow.Timeout():
		return 0, huma.NewErrorWithContext(c, http.StatusRequestTimeout, "request body read timeout", res.Errors...)
	case err != nil:
		return 0, huma.NewErrorWithContext(c, http.StatusInternalServerError, "cannot read request body", err)
	case len(text) == 0 && t.needed:
		return 0, huma.NewErrorWithContext(c, http.StatusBadRequest, "request body is required", res.Errors...)
	case len(text) == 0:
		return 0, nil
	}
	kind := cmp.Or(c.Header("Content-Type"), "application/json")
	var parsed any
	if err := t.api.Unmarshal(kind, text, &parsed); err != nil {
		res.Errors = append(res.Errors, &huma.ErrorDetail{Location: "body", Message: err.Error(),
			Value: string(text)})
		if errors.Is(err, huma.ErrUnknownContentType) {
			return http.StatusUnsupportedMediaType, nil
		}
		return http.StatusBadRequest, nil
	}
	before := len(res.Errors)
	path.Reset()
	path.Push("body")
	huma.Validate(t.api.OpenAPI().Components.Schemas, t.schema, path, huma.ModeWriteToServer, parsed, res)
	if len(res.Errors) > before {
		return http.StatusUnprocessableEntity, nil
	}
	if err := t.api.Unmarshal(kind, text, into.Addr().Interface()); err != nil {
		res.Errors = append(res.Errors, &huma.ErrorDetail{Location: "body", Message: err.Error(),
			Value: string(text)})
	}
	return 0, nil
}

// write writes an answer, a pointer to a struct; nil is one without anything in it.
func (t *taker) write(c huma.Context, said any) {
	if said == nil {
		c.SetStatus(t.op.DefaultStatus)
		return
	}
	v := reflect.ValueOf(said).Elem()
	kind := ""
	for _, h := range t.headers {
		f := v.FieldByIndex(h.Index)
		text := ""
		if s, ok := f.Addr().Interface().(fmt.Stringer); ok {
			text = s.String()
		} else {
			text = f.String()
		}
		if h.Name == "Content-Type" {
			kind = text
		}
		if text != "" {
			c.SetHeader(h.Name, text)
		}
	}
	status := t.op.DefaultStatus
	if t.status != nil {
		status = int(v.FieldByIndex(t.status).Int())
	}
	if t.says == nil {
		c.SetStatus(status)
		return
	}
	switch body := v.FieldByIndex(t.says).Interface().(type) {
	case func(huma.Context):
		body(c)
	case []byte:
		c.SetStatus(status)
		c.BodyWriter().Write(body)
	default:
		t.writeBody(c, status, kind, body)
	}
}

// writeBody writes what an answer says, in the form that the asker takes.
func (t *taker) writeBody(c huma.Context, status int, kind string, body any) {
	if kind == "" {
		var err error
		if kind, err = t.api.Negotiate(c.Header("Accept")); err != nil {
			status, kind = http.StatusNotAcceptable, "application/problem+json"
			body = huma.NewErrorWithContext(c, status, "unable to marshal response", err)
		}
		c.SetHeader("Content-Type", kind)
	}
	body, err := t.api.Transform(c, strconv.Itoa(status), body)
	if err != nil {
		panic(fmt.Errorf("answer of %s %s: %w", t.op.Method, t.op.Path, err))
	}
	c.SetStatus(status)
	if status == http.StatusNoContent || status == http.StatusNotModified {
		return
	}
	if err := t.api.Marshal(c.BodyWriter(), kind, body); err != nil && c.Context().Err() == nil {
		panic(fmt.Errorf("answer of %s %s: %w", t.op.Method, t.op.Path, err))
	}
}

// Taken makes of a handler of two types one that knows neither.
func Taken[I, O any](f func(context.Context, *I) (*O, error)) (in, out reflect.Type,
	handle func(context.Context, any) (any, error)) {
	return reflect.TypeFor[I](), reflect.TypeFor[O](), func(ctx context.Context, in any) (any, error) {
		if out, err := f(ctx, in.(*I)); out != nil && err == nil {
			return out, nil
		} else {
			return nil, err
		}
	}
}
