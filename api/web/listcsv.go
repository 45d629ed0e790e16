package web

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"maps"
	"net/http"
	"net/url"
	"reflect"
	"strings"

	"lidwright/tiles"
)

// Lists are the columns of the answers that are lists, by the pattern of their route. Whoever asks one for
// text/csv gets a table in its place: a row an item, a column a member, what is nested as JSON (RFC 4180).
type Lists map[string][]string

// WantsCSV reports whether an asker takes a table before anything else.
func WantsCSV(accept string) bool { return strings.HasPrefix(accept, "text/csv") }

// Columns are the members of a structure in the order in which they are written.
func Columns(t reflect.Type) []string {
	var out []string
	for _, f := range reflect.VisibleFields(t) {
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if f.IsExported() && !f.Anonymous && name != "" && name != "-" {
			out = append(out, name)
		}
	}
	return out
}

// Handler has next answer in JSON and makes a table of it. Where the list goes on, the header Link says at
// what address (RFC 8288). An answer that is no list, such as a problem, goes out as it is.
func (l Lists) Handler(next http.Handler, patternOf func(*http.Request) string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		columns := l[patternOf(r)]
		if columns == nil || !WantsCSV(r.Header.Get("Accept")) {
			next.ServeHTTP(w, r)
			return
		}
		asked := r.Clone(r.Context())
		asked.Header.Set("Accept", "application/json")
		held := &held{header: http.Header{}, status: http.StatusOK}
		next.ServeHTTP(held, asked)
		body, more := held.body.Bytes(), ""
		if held.status == http.StatusOK {
			if table, after, err := tableOf(body, columns); err == nil {
				body, more = table, after
				held.header.Set("Content-Type", "text/csv; charset=utf-8; header=present")
				held.header.Del("Content-Length")
			}
		}
		maps.Copy(w.Header(), held.header)
		if more != "" {
			q := r.URL.Query()
			q.Set("after", more)
			w.Header().Set("Link", "<"+(&url.URL{Path: r.URL.Path, RawQuery: q.Encode()}).String()+
				`>; rel="next"`)
		}
		w.WriteHeader(held.status)
		w.Write(body)
	})
}

// tableOf makes a table of a list in JSON; more is where it goes on.
func tableOf(body []byte, columns []string) (table []byte, more string, err error) {
	var list struct {
		Items []map[string]json.RawMessage `json:"items"`
		Next  json.RawMessage              `json:"next"`
	}
	if err := json.Unmarshal(body, &list); err != nil {
		return nil, "", err
	}
	var b bytes.Buffer
	out := csv.NewWriter(&b)
	out.UseCRLF = true
	out.Write(columns)
	for _, item := range list.Items {
		row := make([]string, len(columns))
		for i, c := range columns {
			row[i] = cell(item[c])
		}
		out.Write(row)
	}
	out.Flush()
	return b.Bytes(), cell(list.Next), out.Error()
}

// cell is a value of JSON as a table has it: a text bare and so that no spreadsheet works it out, nothing for
// null.
func cell(raw json.RawMessage) string {
	var text string
	switch {
	case len(raw) == 0 || string(raw) == "null":
		return ""
	case json.Unmarshal(raw, &text) == nil:
		return tiles.SafeCell(text)
	}
	return string(raw)
}

// held keeps an answer until it is whole.
type held struct {
	header http.Header
	status int
	body   bytes.Buffer
}

func (h *held) Header() http.Header         { return h.header }
func (h *held) WriteHeader(status int)      { h.status = status }
func (h *held) Write(p []byte) (int, error) { return h.body.Write(p) }
