package api

import (
	"net/http"
	"strings"

	"lidwright/api/usecase"
)

// Tables are the names of what can be had as a table, at /NAME.csv.
func Tables() []string { return usecase.TableNames() }

// tableOf serves a table; bars.csv and readings.csv, in import.go, stand beside them.
func (s barRoutes) tableOf(t usecase.Table) func(http.ResponseWriter, *http.Request) error {
	return func(w http.ResponseWriter, r *http.Request) error {
		rows, err := s.Bars().TableRows(r.Context(), t)
		if err != nil {
			return err
		}
		out := s.table(w, t.Name+".csv", strings.Split(t.Columns, ","))
		out.WriteAll(rows)
		return out.Error()
	}
}
