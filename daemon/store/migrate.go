package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"slices"
)

//go:embed schema/*.sql
var embedded embed.FS

// schema has the files; a test puts those of a program to come in its place.
var schema fs.FS = embedded

// schemaFiles are the texts of the schema files in order. A released one is never edited.
func schemaFiles() []string {
	names, _ := fs.Glob(schema, "schema/*.sql") // the pattern is good
	slices.Sort(names)
	texts := make([]string, len(names))
	for i, name := range names {
		text, _ := fs.ReadFile(schema, name) // it was just listed
		texts[i] = string(text)
	}
	return texts
}

// migrate applies the schema files that the file has not had, all of them in one transaction: what
// stops in the middle leaves the file that the older program knows. Where there is something to lose
// a copy is made first. ErrUpgrade where the one or the other fails, ErrNewer where the file has had more.
func (s *Store) migrate(ctx context.Context, files []string) error {
	have, err := schemaOf(ctx, s.writer)
	if err != nil {
		return err
	}
	if err := notNewer(have.number, len(files), have.program); err != nil {
		return err
	}
	if have.number == len(files) {
		return nil
	}
	if have.number > 0 {
		if err := s.makeCopy(ctx); err != nil {
			return fmt.Errorf("%w: copy it before its tables change: %w", ErrUpgrade, busy(err))
		}
	}
	// A table that others refer to is made anew with this off (sqlite.org/lang_altertable.html, 7); what
	// refers to what is looked through before the commit.
	if _, err := s.writer.ExecContext(ctx, `PRAGMA foreign_keys = 0`); err != nil {
		return busy(err)
	}
	defer s.writer.ExecContext(context.WithoutCancel(ctx), `PRAGMA foreign_keys = 1`)
	err = s.writeAnywhere(ctx, func(tx *sql.Tx) error {
		for n := have.number; n < len(files); n++ {
			if _, err := tx.ExecContext(ctx, files[n]); err != nil {
				return fmt.Errorf("schema %d: %w", n+1, err)
			}
		}
		rows, err := tx.QueryContext(ctx, `PRAGMA foreign_key_check`)
		if err != nil {
			return err
		}
		defer rows.Close()
		if rows.Next() {
			return errors.New("a row refers to one that is not there")
		}
		if err := rows.Err(); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `INSERT INTO program (one, version) VALUES (1, ?) ON CONFLICT DO UPDATE SET version = excluded.version`, s.version); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, fmt.Sprintf(`PRAGMA user_version = %d`, len(files)))
		return err
	})
	if err != nil && have.number > 0 {
		return fmt.Errorf("%w: bring the tables from schema %d to %d: %w", ErrUpgrade,
			have.number, len(files), err)
	}
	if err != nil {
		return fmt.Errorf("bring the tables from schema %d to %d: %w", have.number, len(files), err)
	}
	return nil
}

// schemaHad is what a file says of its tables.
type schemaHad struct {
	number  int
	program string // that brought them there, "" where it does not say
}

func schemaOf(ctx context.Context, q querier) (h schemaHad, err error) {
	if err := q.QueryRowContext(ctx, `PRAGMA user_version`).Scan(&h.number); err != nil {
		return h, busy(err)
	}
	if h.number > 0 && q.QueryRowContext(ctx, `SELECT version FROM program`).Scan(&h.program) != nil {
		h.program = ""
	}
	return h, nil
}

// notNewer refuses a file whose schema this program does not know, and says which program does.
func notNewer(have, files int, program string) error {
	if have <= files {
		return nil
	}
	if program == "" {
		program = "the newer version"
	} else {
		program = "version " + program + " or newer"
	}
	return fmt.Errorf("%w: it has schema %d, this program knows %d; install %s again, or put back a copy of before (lidwright copy restore)", ErrNewer, have, files, program)
}
