package api

import (
	"context"
	"encoding/csv"
	"errors"
	"io"
	"net/http"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"

	"github.com/danielgtaylor/huma/v2"

	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// importJSON says what a table brings, or would bring.
type importJSON struct {
	DryRun   bool           `json:"dry_run"`
	Kept     bool           `json:"kept" doc:"false: nothing of the table was kept"`
	Rows     int            `json:"rows"`
	NewBars  int            `json:"new_bars"`
	Codes    []string       `json:"codes" doc:"Codes handed out to rows without one, in the order of the rows"`
	Readings int            `json:"new_readings"`
	Same     int            `json:"readings_known" doc:"Said before: nothing is done about them"`
	Loads    int            `json:"loads"`
	Bad      []badRowJSON   `json:"bad_rows"`
	Asked    []askedRowJSON `json:"asked" doc:"Kept not confirmed, and out of the fit until a second reading confirms them, or the owner confirms or counts them"`
}

type badRowJSON struct {
	Line  int    `json:"line"`
	Field string `json:"field"`
	Says  string `json:"says"`
}

type askedRowJSON struct {
	Line     int    `json:"line"`
	Bar      string `json:"bar"`
	Stage    string `json:"stage"`
	Slip     string `json:"slip"`
	Question string `json:"question"`
	Needs    string `json:"needs"`
}

type progressJSON struct {
	Done int `json:"done" doc:"Facts that are written so far"`
	Of   int `json:"of"`
}

// takeTable reads a table of bars and, unless it is a dry run or a row is bad, keeps it whole.
func (s *Server) takeTable(ctx context.Context, text string, dry bool, told func(done, of int)) (importJSON, error) {
	out := importJSON{DryRun: dry, Codes: []string{}, Bad: []badRowJSON{}, Asked: []askedRowJSON{}}
	rows, bad, err := tiles.ReadSheet(text, s.unit(), s.Codes)
	for i := range rows {
		if rows[i].Bar.MarkLength == 0 {
			rows[i].Bar.MarkLength = s.Site.MarkLength
		}
	}
	if err != nil {
		return out, err
	}
	have, err := s.sheetNeeds(ctx, rows)
	if err != nil {
		return out, err
	}
	taken, more := tiles.TakeSheet(rows, have)
	bad = append(bad, more...)
	slices.SortStableFunc(bad, func(a, b tiles.BadRow) int { return a.Line - b.Line })
	for _, b := range bad {
		out.Bad = append(out.Bad, badRowJSON{b.Line, b.Field, b.Why})
	}
	for _, a := range taken.Asked {
		out.Asked = append(out.Asked, askedRowJSON{a.Line, string(a.Bar), string(a.Stage), string(a.EntryError), a.Question, a.Needs})
	}
	out.Rows, out.Readings, out.Same, out.Loads = len(rows), taken.Number, taken.Same, len(taken.Loads)
	for _, b := range taken.Bars {
		if !taken.There[b.Code] {
			out.NewBars++
		}
		if slices.Contains(have.Free, b.Code) {
			out.Codes = append(out.Codes, string(b.Code))
		}
	}
	if dry || len(bad) > 0 {
		return out, nil
	}
	if err := s.Archive.KeepSheet(ctx, taken, s.Now(), told); err != nil {
		return out, err
	}
	out.Kept = true
	s.Shrink.Touch()
	return out, nil
}

// sheetNeeds gathers what is there of what the rows refer to.
func (s *Server) sheetNeeds(ctx context.Context, rows []tiles.SheetRow) (tiles.SheetNeeds, error) {
	fit := s.lastFit()
	have := tiles.SheetNeeds{Batches: map[tiles.ClayID][]tiles.Batch{}, Bars: map[tiles.Code]tiles.Bar{}, At: s.Now().Wall,
		Judge: func(bar tiles.Bar, r *tiles.Reading) { shrinkage.Judge(bar, r, fit) },
		NewID: func(text string) string {
			return uuid.NewSHA1(uuid.NameSpaceURL, []byte("lidwright table: "+text)).String()
		}}
	batches, err := s.Archive.Batches(ctx)
	if err != nil {
		return have, err
	}
	for _, b := range batches {
		have.Batches[b.Clay] = append(have.Batches[b.Clay], b.Batch)
	}
	used, err := s.Archive.UsedCodes(ctx)
	if err != nil {
		return have, err
	}
	var named []tiles.Code
	without := 0
	in := map[tiles.Code]bool{}
	loads := false
	for _, r := range rows {
		switch {
		case r.Bar.Code == "":
			without++
		case used[r.Bar.Code]:
			named = append(named, r.Bar.Code)
		}
		in[r.Bar.Code] = true
		loads = loads || r.LoadBisque != "" || r.LoadFired != ""
	}
	if len(named) > 0 {
		bars, err := s.Archive.Bars(ctx, tiles.BarFilter{Codes: named}, s.channel)
		if err != nil {
			return have, err
		}
		for _, b := range bars {
			have.Bars[b.Code] = b.Bar
		}
	}
	if without > 0 {
		free, err := s.Codes.Free(without, func(c tiles.Code) bool { return used[c] || in[c] }, s.dice())
		if err != nil {
			return have, problem("out-of-range", sentence(err.Error()), ProblemField{"code", "not enough free codes"})
		}
		have.Free = free
	}
	if loads {
		all, err := s.Archive.Loads(ctx, tiles.LoadFilter{})
		if err != nil {
			return have, err
		}
		for _, l := range all {
			have.Loads = append(have.Loads, l.Load)
		}
	}
	return have, nil
}

const importWait = 2 * time.Minute // for a large table on a slow card

// sayImport describes what takes tables in: their bodies are no JSON, so huma does not register it.
func sayImport(a huma.API) {
	schemas := a.OpenAPI().Components.Schemas
	refusal := &huma.MediaType{Schema: schemas.Schema(reflect.TypeFor[Problem](), true, "import")}
	answersOf := func(outcome *huma.MediaType, taken map[string]*huma.MediaType) map[string]*huma.Response {
		answers := map[string]*huma.Response{
			"200": {Description: "What was taken in, or would be; with progress=true a line of JSON now and then, this one last", Content: taken},
			"422": {Description: "Nothing was taken in, and why", Content: map[string]*huma.MediaType{"application/json": outcome, "application/problem+json": refusal}},
		}
		for _, status := range []int{400, 401, 403, 409, 413, 415, 421, 429, 500, 503} {
			answers[strconv.Itoa(status)] = &huma.Response{Description: http.StatusText(status), Content: map[string]*huma.MediaType{"application/problem+json": refusal}}
		}
		return answers
	}
	outcome := &huma.MediaType{Schema: schemas.Schema(reflect.TypeFor[importJSON](), true, "import")}
	answers := answersOf(outcome, map[string]*huma.MediaType{"application/json": outcome, "application/x-ndjson": {Schema: &huma.Schema{Type: huma.TypeString}}})
	old := &huma.MediaType{Schema: schemas.Schema(reflect.TypeFor[oldLogJSON](), true, "oldlog")}
	flag := &huma.Schema{Type: huma.TypeString, Enum: []any{"true", "false"}}
	a.OpenAPI().AddOperation(&huma.Operation{OperationID: "import", Method: http.MethodPost, Path: "/v1/import", Summary: "Take a table of bars in, all or nothing",
		Parameters: []*huma.Param{
			{Name: "kind", In: "query", Schema: &huma.Schema{Type: huma.TypeString, Enum: []any{"bars"}}, Description: "bars if not said"},
			{Name: "dry_run", In: "query", Schema: flag, Description: "Only tell what would change, and every bad row"},
			{Name: "progress", In: "query", Schema: flag, Description: "Tell how far it is"}},
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{"text/csv": {Schema: &huma.Schema{Type: huma.TypeString}}}},
		Responses:   answers})
	text := &huma.Schema{Type: huma.TypeString}
	ask := []*huma.Param{{Name: "id", In: "path", Required: true, Schema: text, Description: "UUID of the firing, made by the sender"}}
	for _, name := range oldLogAsks {
		ask = append(ask, &huma.Param{Name: name, In: "query", Schema: text})
	}
	a.OpenAPI().AddOperation(&huma.Operation{OperationID: "import-curve", Method: http.MethodPost, Path: "/v1/firings/{id}/curve",
		Summary: "Take the curve of an old firing in from the table of another logger, all or nothing", Parameters: ask,
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{"text/csv": {Schema: text}}},
		Responses:   answersOf(old, map[string]*huma.MediaType{"application/json": old})})
}

// postImport takes a table in: text/csv. With progress=true the answer is a line of JSON now and then
// while it goes on, and the outcome as the last one.
func (s *Server) postImport(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	for name := range q {
		if !slices.Contains([]string{"kind", "dry_run", "progress"}, name) {
			writeProblem(w, r, problem("unknown-parameter", "There are kind, dry_run and progress.", ProblemField{name, "not known"}))
			return
		}
	}
	if kind := q.Get("kind"); kind != "" && kind != "bars" {
		writeProblem(w, r, problem("unknown-value", "Tables of bars can be taken in: kind=bars.", ProblemField{"kind", "not bars"}))
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
			err = problem("too-large", "A table may have 4 MB; send it in parts.")
		}
		writeProblem(w, r, s.problemFrom(r.Context(), err))
		return
	}
	var told func(done, of int)
	said := func() {}
	if q.Get("progress") == "true" {
		told, said = tellProgress(w)
	}
	out, err := s.takeTable(r.Context(), string(text), q.Get("dry_run") == "true", told)
	said()
	switch {
	case err != nil && w.Header().Get("Content-Type") != "":
		w.Write(encodeJSON(s.problemFrom(r.Context(), err)))
		return
	case err != nil:
		writeProblem(w, r, s.problemFrom(r.Context(), err))
		return
	}
	if w.Header().Get("Content-Type") == "" {
		w.Header().Set("Content-Type", "application/json")
		if len(out.Bad) > 0 && !out.DryRun {
			w.WriteHeader(http.StatusUnprocessableEntity)
		}
	}
	w.Write(encodeJSON(out))
}

// tellProgress gives what takes in how far it is, without waiting for the reader of it, and what
// waits until all of that is said.
func tellProgress(w http.ResponseWriter) (told func(done, of int), said func()) {
	far := make(chan progressJSON, 64)
	var writing sync.WaitGroup
	writing.Go(func() {
		for p := range far {
			w.Header().Set("Content-Type", "application/x-ndjson")
			w.Write(encodeJSON(p))
			http.NewResponseController(w).Flush()
		}
	})
	told = func(done, of int) {
		select {
		case far <- progressJSON{done, of}:
		default: // a slow reader misses one
		}
	}
	return told, func() { close(far); writing.Wait() }
}

// barsCSV is every bar as a sheet that can be taken in again: the lengths that count, in mm.
func (s *Server) barsCSV(w http.ResponseWriter, r *http.Request) error {
	bars, err := s.Archive.Bars(r.Context(), tiles.BarFilter{Clay: tiles.ClayID(r.URL.Query().Get("clay"))}, s.channel)
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
		row := map[string]string{"code": string(b.Code), "clay": string(b.Clay), "batch": string(b.BatchRef.Batch), "forming": string(b.Forming),
			"mark_length_mm": strconv.FormatFloat(float64(b.MarkLength), 'f', -1, 64), "unit": "mm", "by": b.By, "note": b.Note}
		if b.Practice {
			row["practice"] = "yes"
		}
		for _, rd := range b.Readings { // the last that counts of each stage; readings.csv has them all
			if rd.Counts() && rd.Mass == nil && rd.Mark <= 1 {
				row[string(rd.Stage)], row["instrument"] = strconv.FormatFloat(float64(rd.Length), 'f', -1, 64), rd.Instrument
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
func (s *Server) readingsCSV(w http.ResponseWriter, r *http.Request) error {
	bars, err := s.Archive.Bars(r.Context(), tiles.BarFilter{Clay: tiles.ClayID(r.URL.Query().Get("clay"))}, s.channel)
	if err != nil {
		return err
	}
	out := s.table(w, "readings.csv", strings.Split("id,bar,mark,stage,length_mm,as_typed,unit,instrument,step_mm,dry_g,saturated_g,suspended_g,by,at,clock_trusted,queued_s,unusual,slip,confirmed_at,counted_at,struck_at,struck_why,struck_by,supersedes", ","))
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
			m, struck := tiles.Mass{}, tiles.Act{}
			if rd.Mass != nil {
				m = *rd.Mass
			}
			if rd.Struck != nil {
				struck = *rd.Struck
			}
			cells := []string{rd.ID, string(rd.Bar), strconv.Itoa(rd.Mark), string(rd.Stage), number(float64(rd.Length)), rd.AsTyped, rd.Unit, rd.Instrument, number(float64(rd.Step)),
				number(m.Dry), number(m.Saturated), number(m.Suspended), rd.By, rd.At.In(s.Site.Zone).Format(time.RFC3339), strconv.FormatBool(rd.Trusted), number(rd.Queued.Seconds()),
				strconv.FormatBool(rd.Unusual), string(rd.EntryError), at(rd.Confirmed), at(rd.Counted), at(rd.Struck), struck.Why, struck.By, rd.Supersedes}
			for i := range cells {
				cells[i] = tiles.SafeCell(cells[i])
			}
			out.Write(cells)
		}
	}
	out.Flush()
	return out.Error()
}

func (s *Server) table(w http.ResponseWriter, name string, header []string) *csv.Writer {
	w.Header().Set("Content-Type", "text/csv; charset=utf-8; header=present")
	w.Header().Set("Content-Disposition", `attachment; filename="`+name+`"`)
	out := csv.NewWriter(w)
	out.UseCRLF = true // RFC 4180
	out.Write(header)
	return out
}
