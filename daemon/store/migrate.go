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
var schema embed.FS

// schemaFiles are the texts of the schema files in order. A released one is never edited.
func schemaFiles() []string {
	names, _ := fs.Glob(schema, "schema/*.sql") // the pattern is good
	slices.Sort(names)
	texts := make([]string, len(names))
	for i, name := range names {
		text, _ := schema.ReadFile(name) // it was just listed
		texts[i] = string(text)
	}
	return texts
}

// migrate applies the schema files that the file has not had, each in its own transaction. Where
// there is something to lose a copy is made first. ErrNewer where the file has had more.
func (s *Store) migrate(ctx context.Context, files []string) error {
	var have int
	if err := s.writer.QueryRowContext(ctx, `PRAGMA user_version`).Scan(&have); err != nil {
		return busy(err)
	}
	if err := notNewer(have, len(files)); err != nil {
		return err
	}
	if 0 < have && have < len(files) {
		if err := s.makeCopy(ctx); err != nil {
			return fmt.Errorf("copy the store before its tables change: %w", err)
		}
	}
	for n := have; n < len(files); n++ {
		err := s.write(ctx, func(tx *sql.Tx) error {
			if _, err := tx.ExecContext(ctx, files[n]); err != nil {
				return err
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
			_, err = tx.ExecContext(ctx, fmt.Sprintf(`PRAGMA user_version = %d`, n+1))
			return err
		})
		if err != nil {
			return fmt.Errorf("bring the tables to schema %d: %w", n+1, err)
		}
	}
	return nil
}

// notNewer refuses a file whose schema this program does not know.
func notNewer(have, files int) error {
	if have > files {
		return fmt.Errorf("%w: it has schema %d, this program knows %d; install the newer version again", ErrNewer, have, files)
	}
	return nil
}
