package api

import (
	"net/http"
	"strings"

	"lidwright/api/tables"
)

// tables gives tables out and takes them in.
func (s *Server) tables() tables.Tables { return tables.Tables{Studio: s.Studio} }

// Tables are the names of what can be had as a table, at /NAME.csv.
func Tables() []string { return tables.Names() }

// TablesIn are the names of those that can be taken in, in the order in which they should be.
func TablesIn() []string { return tables.In() }

// tableOf serves a table; bars.csv and readings.csv, in import.go, stand beside them.
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
