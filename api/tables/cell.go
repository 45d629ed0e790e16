package tables

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
)

// Cell is a value as a table of CSV has it: numbers with a point and as many digits as they need, empty
// for nil and for NaN, times with the studio's offset.
func (s Tables) Cell(v any) string {
	number := func(f float64) string {
		if f != f {
			return ""
		}
		return strconv.FormatFloat(f, 'f', -1, 64)
	}
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		return tiles.SafeCell(v)
	case *string:
		if v == nil {
			return ""
		}
		return tiles.SafeCell(*v)
	case float64:
		return number(v)
	case *float64:
		if v == nil {
			return ""
		}
		return number(*v)
	case tiles.Millimetre:
		if v == 0 {
			return ""
		}
		return number(float64(v))
	case []tiles.Millimetre:
		all := make([]string, len(v))
		for i, mm := range v {
			all[i] = number(float64(mm))
		}
		return strings.Join(all, " ")
	case kiln.Celsius:
		return number(float64(v))
	case time.Time:
		if v.IsZero() {
			return ""
		}
		return v.In(s.Site.Zone).Format(time.RFC3339)
	}
	return fmt.Sprint(v) // whole numbers, yes or no
}

// EachFiring gives every firing, newest first.
func (s Tables) EachFiring(ctx context.Context, f func(kiln.Firing) error) error {
	all, err := s.Archive.Firings(ctx, kiln.FiringFilter{})
	for _, one := range all {
		if err := f(one); err != nil {
			return err
		}
	}
	return err
}

// Rows are the rows of a table as they stand in it.
func (s Tables) Rows(ctx context.Context, t Table) ([][]string, error) {
	var rows [][]string
	err := t.Rows(s.Studio, ctx, func(cells ...any) {
		row := make([]string, len(cells))
		for i, c := range cells {
			row[i] = s.Cell(c)
		}
		rows = append(rows, row)
	})
	return rows, err
}
