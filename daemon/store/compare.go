package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"lidwright/kiln/message"
)

// facts are the tables whose rows stay as they were said until a change with a later number: each with what
// names a row, the number of the change it rests on, and a column that other facts move. A bar may be taken
// out of a load; a firing counts its own changes. Which firings a load went through other facts move.
var facts = []struct{ table, names, rests, but string }{
	{"firing", "id || ' as it was at change ' || revision", "0", ""},
	{"change", "seq", "seq", ""},
	{"clay", "clay", "rev", ""},
	{"batch", "clay || '/' || batch", "rev", ""},
	{"bar", "code", "rev", ""},
	{"reading", "id", "seq", "struck"},
	{"act", "op || ' of ' || kind || ' ' || id", "seq", ""},
	{"load", "id", "rev", ""},
	{"load_bar", "bar || ' in load ' || load", "seq", "measured"},
	{"lid_result", "id", "seq", ""},
	{"pot", "id", "rev", ""},
	{"cone", "id", "seq", ""},
	{"note", "id", "seq", ""},
	{"tick", "id", "seq", ""},
	{"probe", "id", "rev", ""},
	{"kiln", "kiln", "rev", ""},
	{"usual", "id", "seq", ""},
	{"unpacking_mark", "id", "seq", ""},
}

// Compare holds what was said against the newest copy: a bit that is another one inside a number or a text
// is a whole row to SQLite, and the two files tell it. It says which facts are not alike, "" if all are,
// and Health says so until the store is opened again; which of the two files is right, people must look.
// Nothing is compared where the copy has other tables, or a maker was forgotten, a clock put right or a
// kiln renamed since: that alters old rows, and the next copy has them so.
func (s *Store) Compare(ctx context.Context) (told message.Message, err error) {
	copies, err := copiesOf(s.folder)
	if err != nil || len(copies) == 0 {
		return told, err
	}
	_, made, _ := parseCopy(filepath.Base(copies[0]))
	db, err := sql.Open("sqlite", dsn(readerDSN, s.path()))
	if err != nil {
		return told, err
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	unlike, err := s.unlike(ctx, db, copies[0])
	if err != nil {
		return told, fmt.Errorf("compare %s with the copy %s: %w", s.path(), copies[0], err)
	}
	n := len(unlike)
	if n == 0 {
		return told, nil
	}
	look := message.Plain(strings.Join(unlike[:min(n, 5)], ", "))
	if n > 5 {
		look = message.New("{1} and {2} more", look, n-5)
	}
	told = message.New("The store and its copy of {1} do not agree, so that one of the two files is damaged. Look at {2}.",
		made.Format(time.RFC3339), look)
	s.mu.Lock()
	s.unlikeCopy = told
	s.mu.Unlock()
	return told, nil
}

func (s *Store) unlike(ctx context.Context, db *sql.DB, copied string) (unlike []string, err error) {
	if _, err := db.ExecContext(ctx, `ATTACH DATABASE ? AS copied`,
		dsn("file:%s?immutable=1&mode=ro", copied)); err != nil {
		return nil, err
	}
	tx, err := db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true}) // one moment of the store for all tables
	if err != nil {
		return nil, err
	}
	defer tx.Rollback()
	var now, then, reached, altered int64
	if err := tx.QueryRowContext(ctx, `SELECT (SELECT user_version FROM pragma_user_version), (SELECT coalesce(max(seq), 0) FROM copied.change)`).Scan(&now, &reached); err != nil {
		return nil, err
	}
	if err := tx.QueryRowContext(ctx, `PRAGMA copied.user_version`).Scan(&then); err != nil {
		return nil, err
	}
	if err := tx.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM main.change WHERE seq > ?1 AND (op = 'forget' OR kind = 'boot'))
		+ (SELECT count(*) FROM main.kiln_was WHERE rev > ?1)`, reached).Scan(&altered); err != nil {
		return nil, err
	}
	if then != now || altered > 0 {
		return nil, nil
	}
	for _, f := range facts {
		columns, err := columnsOf(ctx, tx, f.table)
		if err != nil {
			return nil, err
		}
		of := strings.Join(slices.DeleteFunc(columns, func(c string) bool { return c == f.but }), ", ")
		here := fmt.Sprintf(`SELECT %s AS names, %s FROM main.%s WHERE %s <= %d`, f.names, of,
			f.table, f.rests, reached)
		there := fmt.Sprintf(`SELECT %s AS names, %s FROM copied.%s`, f.names, of, f.table)
		gone := fmt.Sprintf(`%s WHERE names NOT IN (SELECT %s FROM main.%s WHERE %s > %d)`, there, f.names,
			f.table, f.rests, reached)
		switch f.table {
		case "firing":
			here = fmt.Sprintf(`SELECT * FROM (%s) WHERE names IN (SELECT %s FROM copied.firing)`, here,
				f.names)
			gone = fmt.Sprintf(`%s WHERE names IN (SELECT %s FROM main.firing)`, there, f.names)
		case "load_bar":
			gone = there + ` WHERE 0`
		}
		rows, err := tx.QueryContext(ctx, fmt.Sprintf(`SELECT DISTINCT names FROM (SELECT * FROM (%s EXCEPT %s) UNION ALL SELECT * FROM (%s EXCEPT %s))`, here, there, gone, here))
		if err != nil {
			return nil, err
		}
		names, err := collect(rows, f.table, func(name *string) error { return rows.Scan(name) })
		if err != nil {
			return nil, err
		}
		for _, name := range names {
			unlike = append(unlike, strings.ReplaceAll(f.table, "_", " ")+" "+name)
		}
	}
	return unlike, nil
}

// columnsOf are the columns of a table that are written, not worked out.
func columnsOf(ctx context.Context, q querier, table string) ([]string, error) {
	rows, err := q.QueryContext(ctx, `SELECT name FROM pragma_table_info(?)`, table)
	if err != nil {
		return nil, err
	}
	names, err := collect(rows, "columns", func(name *string) error { return rows.Scan(name) })
	if err == nil && len(names) == 0 {
		err = errors.New("no table " + table)
	}
	return names, err
}
