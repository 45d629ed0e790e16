package api

import (
	"cmp"
	"encoding/base64"
	"encoding/csv"
	"errors"
	"io"
	"net/http"
	"net/url"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lidwright/api/pages"
	"lidwright/api/tables"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln/delimited"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

const importWait = 2 * time.Minute // for a large table on a slow card

// sayImport describes what takes tables in: their bodies are no JSON, so huma does not register it.
func sayImport(a huma.API) {
	schemas := a.OpenAPI().Components.Schemas
	refusal := &huma.MediaType{Schema: schemas.Schema(reflect.TypeFor[web.Problem](), true, "import")}
	answersOf := func(outcome *huma.MediaType, taken map[string]*huma.MediaType) map[string]*huma.Response {
		answers := map[string]*huma.Response{
			"200": {Description: "What was taken in, or would be; with progress=true a line of JSON now and then, this one last", Content: taken},
			"422": {Description: "Nothing was taken in, and why",
				Content: map[string]*huma.MediaType{"application/json": outcome,
					"application/problem+json": refusal}},
		}
		for _, status := range []int{400, 401, 403, 409, 413, 415, 421, 429, 500, 503} {
			answers[strconv.Itoa(status)] = &huma.Response{Description: http.StatusText(status),
				Content: map[string]*huma.MediaType{"application/problem+json": refusal}}
		}
		return answers
	}
	outcome := &huma.MediaType{Schema: schemas.Schema(reflect.TypeFor[wire.Import](), true, "import")}
	answers := answersOf(outcome, map[string]*huma.MediaType{"application/json": outcome,
		"application/x-ndjson": {Schema: &huma.Schema{Type: huma.TypeString}}})
	old := &huma.MediaType{Schema: schemas.Schema(reflect.TypeFor[wire.OldLog](), true, "oldlog")}
	flag := &huma.Schema{Type: huma.TypeString, Enum: []any{"true", "false"}}
	a.OpenAPI().AddOperation(&huma.Operation{OperationID: "import", Method: http.MethodPost,
		Path: "/v1/import", Summary: "Take a table in: one of bars all or nothing, the others row by row once all are good",
		Parameters: []*huma.Param{
			{Name: "kind", In: "query", Schema: oneOf(tables.In()...), Description: "bars if not said"},
			{Name: "dry_run", In: "query", Schema: flag,
				Description: "Only tell what would change, and every bad row"},
			{Name: "days", In: "query", Schema: oneOf("day_first", "month_first"),
				Description: "Which number of a day such as 3/4/2023 comes first, where the table does not tell"},
			{Name: "others", In: "query", Schema: oneOf("note", "leave"),
				Description: "What becomes of columns that are not known: their texts go to the note of each bar, or are left out"},
			{Name: "lengths", In: "query", Schema: oneOf("leave"),
				Description: "Leave the lengths and loads of a table of bars out, where tables of their own bring them"},
			{Name: "progress", In: "query", Schema: flag, Description: "Tell how far it is"}},
		RequestBody: &huma.RequestBody{Required: true,
			Content: map[string]*huma.MediaType{"text/csv": {Schema: &huma.Schema{Type: huma.TypeString}}}},
		Responses: answers})
	text := &huma.Schema{Type: huma.TypeString}
	ask := []*huma.Param{{Name: "id", In: "path", Required: true, Schema: text,
		Description: "UUID of the firing, made by the sender"}}
	for _, name := range oldLogAsks {
		ask = append(ask, &huma.Param{Name: name, In: "query", Schema: text})
	}
	a.OpenAPI().AddOperation(&huma.Operation{OperationID: "import-curve", Method: http.MethodPost,
		Path:       "/v1/firings/{id}/curve",
		Summary:    "Take the curve of an old firing in from the table of another logger, all or nothing",
		Parameters: ask,
		RequestBody: &huma.RequestBody{Required: true,
			Content: map[string]*huma.MediaType{"text/csv": {Schema: text}}},
		Responses: answersOf(old, map[string]*huma.MediaType{"application/json": old})})
}

func oneOf(words ...string) *huma.Schema {
	s := &huma.Schema{Type: huma.TypeString}
	for _, w := range words {
		s.Enum = append(s.Enum, w)
	}
	return s
}

// importAsks are what may be said with a table.
var importAsks = []string{"kind", "dry_run", "progress", "days", "others", "lengths"}

// tableAsk reads what is said with a table.
func tableAsk(q url.Values) (tables.Ask, error) {
	ask := tables.Ask{Kind: cmp.Or(q.Get("kind"), "bars"), Dry: q.Get("dry_run") == "true",
		Days: q.Get("days"), Others: q.Get("others"), NoLengths: q.Get("lengths") == "leave"}
	for name := range q {
		if !slices.Contains(importAsks, name) {
			return ask, web.NewProblem("unknown-parameter",
				message.New("There are {1}.", strings.Join(importAsks, ", ")),
				wire.Field{Name: name, Says: message.New("not known")})
		}
	}
	for _, w := range []struct {
		field, value string
		known        []string
	}{{"kind", ask.Kind, tables.In()}, {"days", ask.Days, []string{"", "day_first", "month_first"}},
		{"others", ask.Others, []string{"", "note", "leave"}}, {"lengths", q.Get("lengths"),
			[]string{"", "leave"}}} {
		if !slices.Contains(w.known, w.value) {
			known := strings.TrimPrefix(strings.Join(w.known, ", "), ", ")
			return ask, web.NewProblem("unknown-value", message.New("There are {1}.", known),
				wire.Field{Name: w.field, Says: message.New("one of {1}", known)})
		}
	}
	return ask, nil
}

// postImport takes a table in: text/csv. With progress=true the answer is a line of JSON now and then
// while it goes on, and the outcome as the last one.
func (s barRoutes) postImport(w http.ResponseWriter, r *http.Request) {
	ask, err := tableAsk(r.URL.Query())
	if err != nil {
		web.WriteProblem(w, r, s.troubles.Problem(r.Context(), err))
		return
	}
	flow := http.NewResponseController(w)
	until := time.Now().Add(importWait)
	flow.SetReadDeadline(until)
	flow.SetWriteDeadline(until)
	text, err := io.ReadAll(r.Body)
	if err != nil {
		var big *http.MaxBytesError
		if errors.As(err, &big) {
			err = web.NewProblem("too-large", message.New("A table may have 16 MB; send it in parts."))
		}
		web.WriteProblem(w, r, s.troubles.Problem(r.Context(), err))
		return
	}
	said := func() {}
	if r.URL.Query().Get("progress") == "true" {
		ask.Told, said = tellProgress(w)
	}
	out, err := s.tables().Take(r.Context(), text, ask)
	said()
	switch {
	case err != nil && w.Header().Get("Content-Type") != "":
		w.Write(web.EncodeJSON(s.troubles.Problem(r.Context(), err)))
		return
	case err != nil:
		web.WriteProblem(w, r, s.troubles.Problem(r.Context(), err))
		return
	}
	if w.Header().Get("Content-Type") == "" {
		w.Header().Set("Content-Type", "application/json")
		if len(out.Bad)+len(out.Questions) > 0 && !out.DryRun {
			w.WriteHeader(http.StatusUnprocessableEntity)
		}
	}
	w.Write(web.EncodeJSON(out))
}

// tellProgress gives what takes in how far it is, without waiting for the reader of it, and what
// waits until all of that is said.
func tellProgress(w http.ResponseWriter) (told func(done, of int), said func()) {
	far := make(chan wire.Progress, 64)
	var writing sync.WaitGroup
	writing.Go(func() {
		for p := range far {
			w.Header().Set("Content-Type", "application/x-ndjson")
			w.Write(web.EncodeJSON(p))
			http.NewResponseController(w).Flush()
		}
	})
	told = func(done, of int) {
		select {
		case far <- wire.Progress{Done: done, Of: of}:
		default: // a slow reader misses one
		}
	}
	return told, func() { close(far); writing.Wait() }
}

// barsOfClay are the bars of the clay that is asked for, or all.
func (s barRoutes) barsOfClay(r *http.Request) ([]tiles.KeptBar, error) {
	clay := tiles.ClayID(r.URL.Query().Get("clay"))
	bars, err := s.Archive.Bars(r.Context(), tiles.BarFilter{Clay: clay}, s.Channel)
	if err == nil && len(bars) == 0 {
		err = s.Clays().Known(r.Context(), clay)
	}
	return bars, err
}

// barsCSV is every bar as a sheet that can be taken in again: the lengths that count, in mm.
func (s barRoutes) barsCSV(w http.ResponseWriter, r *http.Request) error {
	bars, err := s.barsOfClay(r)
	if err != nil {
		return err
	}
	loads, err := s.Archive.Loads(r.Context(), tiles.LoadFilter{})
	if err != nil {
		return err
	}
	number := map[string]tiles.KeptLoad{}
	for _, l := range loads {
		number[l.ID] = l
	}
	out := s.table(w, "bars.csv", tiles.SheetColumns)
	for _, b := range bars {
		row := map[string]string{"code": string(b.Code), "clay": string(b.Clay),
			"batch": string(b.BatchRef.Batch), "forming": string(b.Forming),
			"mark_length_mm": strconv.FormatFloat(float64(b.MarkLength), 'f', -1, 64), "unit": "mm",
			"by": b.By, "note": b.Note,
			"id": b.ID, "marks": strconv.Itoa(b.Marks), "made_on": b.MadeOn}
		if b.Practice {
			row["practice"] = "yes"
		}
		for _, f := range b.Flags {
			row["flags"] = strings.TrimSpace(row["flags"] + " " + string(f))
		}
		for _, rd := range b.Readings { // the last that counts of each stage; readings.csv has them all
			if rd.Counts() && rd.Mass == nil && rd.Mark <= 1 {
				row[string(rd.Stage)+"_on"] = rd.At.In(s.Site.Zone).Format(time.RFC3339)
				row[string(rd.Stage)], row["instrument"] = strconv.FormatFloat(float64(rd.Length),
					'f', -1, 64), rd.Instrument
			}
		}
		for _, h := range b.Firings {
			switch l := number[h.Load]; {
			case tiles.Measures(h.Kind) == tiles.Biscuit:
				row["load_bisque"] = strconv.Itoa(l.Number)
			case tiles.Measures(h.Kind) == tiles.Fired:
				row["load_fired"] = strconv.Itoa(l.Number)
			}
		}
		cells := make([]string, len(tiles.SheetColumns))
		for i, name := range tiles.SheetColumns {
			cells[i] = tiles.SafeCell(row[name])
		}
		out.Write(cells)
	}
	out.Flush()
	return out.Error()
}

// readingsCSV is every reading with all that was done to it, struck ones too.
func (s barRoutes) readingsCSV(w http.ResponseWriter, r *http.Request) error {
	bars, err := s.barsOfClay(r)
	if err != nil {
		return err
	}
	out := s.table(w, "readings.csv", strings.Split(tables.ReadingColumns, ","))
	number := func(v float64) string {
		if v == 0 {
			return ""
		}
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	at := func(a *tiles.Act) string {
		if a == nil {
			return ""
		}
		return a.At.In(s.Site.Zone).Format(time.RFC3339)
	}
	for _, b := range bars {
		for _, rd := range b.Readings {
			m, struck, confirmed, counted := tiles.Mass{}, tiles.Act{}, tiles.Act{}, tiles.Act{}
			if rd.Mass != nil {
				m = *rd.Mass
			}
			if rd.Struck != nil {
				struck = *rd.Struck
			}
			if rd.Confirmed != nil {
				confirmed = *rd.Confirmed
			}
			if rd.Counted != nil {
				counted = *rd.Counted
			}
			cells := []string{rd.ID, string(rd.Bar), strconv.Itoa(rd.Mark), string(rd.Stage),
				number(float64(rd.Length)), rd.AsTyped, rd.Unit, rd.Instrument, number(float64(rd.Step)),
				number(m.Dry), number(m.Saturated), number(m.Suspended), rd.By,
				rd.At.In(s.Site.Zone).Format(time.RFC3339), strconv.FormatBool(rd.Trusted),
				number(rd.Queued.Seconds()),
				strconv.FormatBool(rd.Unusual), string(rd.EntryError), at(rd.Confirmed), at(rd.Counted),
				at(rd.Struck), struck.Why, struck.By, rd.Supersedes,
				strconv.FormatBool(rd.Outside), rd.Question.String(), number(m.Step), confirmed.By,
				confirmed.Why, counted.By, counted.Why}
			for i := range cells {
				cells[i] = tiles.SafeCell(cells[i])
			}
			out.Write(cells)
		}
	}
	out.Flush()
	return out.Error()
}

func (s barRoutes) table(w http.ResponseWriter, name string, header []string) *csv.Writer {
	w.Header().Set("Content-Type", "text/csv; charset=utf-8; header=present")
	w.Header().Set("Content-Disposition", `attachment; filename="`+name+`"`)
	out := csv.NewWriter(w)
	out.UseCRLF = true // RFC 4180
	out.Write(header)
	return out
}

// tables gives tables out and takes them in.
func (s *Server) tables() tables.Tables { return tables.Tables{Studio: s.Studio} }

// Tables are the names of what can be had as a table, at /NAME.csv.
func Tables() []string { return tables.Names() }

// TablesIn are the names of those that can be taken in, in the order in which they should be.
func TablesIn() []string { return tables.In() }

// tableOf serves a table; bars.csv and readings.csv stand beside them.
func (s barRoutes) tableOf(t tables.Table) func(http.ResponseWriter, *http.Request) error {
	return func(w http.ResponseWriter, r *http.Request) error {
		rows, err := s.tables().Rows(r.Context(), t)
		if err != nil {
			return err
		}
		out := s.table(w, t.Name+".csv", strings.Split(t.Columns, ","))
		out.WriteAll(rows)
		return out.Error()
	}
}

// importPage takes a file or what is pasted, without script: first what it would bring, then, sent again, for
// good.
func (s barRoutes) importPage(w http.ResponseWriter, r *http.Request) error {
	return s.show(w, pages.ImportPage{Frame: s.page(r.Context(), "bars").Frame, Kinds: tables.In(),
		Kind: r.URL.Query().Get("kind")})
}

// postImportPage takes a table from the form of the import page, a file or pasted text; a refusal shows the
// form again.
func (s barRoutes) postImportPage(w http.ResponseWriter, r *http.Request) error {
	flow := http.NewResponseController(w)
	flow.SetReadDeadline(time.Now().Add(importWait))
	flow.SetWriteDeadline(time.Now().Add(importWait))
	data := pages.ImportPage{Frame: s.page(r.Context(), "bars").Frame, Kinds: tables.In()}
	status := http.StatusOK
	refused := func(err error) error {
		p := s.troubles.Problem(r.Context(), err)
		if len(p.Fields) == 0 {
			p.Fields = []wire.Field{{Name: "table", Says: p.Detail}}
		}
		data.Problem, status = onPage(p), p.Status
		data.Form.Problem = data.Problem
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.WriteHeader(status)
		return s.show(w, data)
	}
	text, form, err := uploaded(r)
	data.Kind, data.Days, data.Others, data.File = form["kind"], form["days"], form["others"], form["name"]
	if err != nil {
		return refused(err)
	}
	data.Pasted = form["pasted"]
	data.Held = base64.StdEncoding.EncodeToString(text)
	ask := tables.Ask{Kind: data.Kind, Days: data.Days, Others: data.Others, Dry: form["keep"] != "yes"}
	if ask.Kind == "" {
		ask.Kind = "bars"
		if name := strings.TrimSuffix(strings.ToLower(filepath.Base(data.File)),
			".csv"); slices.Contains(tables.In(), name) {
			ask.Kind = name
		}
	}
	out, err := s.tables().Take(r.Context(), text, ask)
	if err != nil {
		return refused(err)
	}
	data.Outcome = &out
	if out.Kept {
		data.Held, data.Pasted = "", ""
	}
	return s.show(w, data)
}

// uploaded reads the fields of a form with a file: the table out of what was chosen, pasted, or sent along
// before.
func uploaded(r *http.Request) (text []byte, form map[string]string, err error) {
	form = map[string]string{}
	parts, err := r.MultipartReader()
	if err != nil {
		return nil, form, web.NewProblem("not-json", message.New("The form cannot be read."))
	}
	for {
		part, err := parts.NextPart()
		if err == io.EOF {
			break
		}
		var body []byte
		if err == nil {
			body, err = io.ReadAll(part)
		}
		var big *http.MaxBytesError
		switch {
		case errors.As(err, &big):
			return nil, form, web.NewProblem("too-large",
				message.New("A table may have 16 MB; send it in parts."))
		case err != nil:
			return nil, form, web.NewProblem("not-json", message.New("The form cannot be read."))
		}
		switch name := part.FormName(); name {
		case "file":
			if len(body) > 0 {
				text, form["name"] = body, filepath.Base(part.FileName())
			}
		case "table":
			if text == nil && len(body) > 0 {
				text, form["pasted"] = body, string(body)
			}
		case "held":
			if text == nil && len(body) > 0 {
				if text, err = base64.StdEncoding.DecodeString(string(body)); err != nil {
					return nil, form, web.NewProblem("not-json", message.New("The form cannot be read."))
				}
			}
		default:
			if len(form) < 16 && len(body) < 1000 {
				form[name] = string(body)
			}
		}
	}
	if len(text) == 0 {
		return nil, form, web.NewProblem("missing", message.New("Choose a file, or paste a table."),
			wire.Field{Name: "file", Says: message.New("is needed")})
	}
	return text, form, nil
}

// aFile is a form with a table in it, which goes along in base64 the second time.
var aFile = web.Payload{Kind: "multipart/form-data", Limit: delimited.MostBytes*4/3 + 64<<10}
