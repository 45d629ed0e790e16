package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"strings"

	"lidwright/kiln"
)

// renameSaid puts the new names into the record of changes and the summaries of firings of other.
func renameSaid(ctx context.Context, tx *sql.Tx, names map[string]map[string]string) error {
	rows, err := tx.QueryContext(ctx, `SELECT seq, kind, id, body FROM other.change`)
	if err != nil {
		return err
	}
	type said struct {
		seq            int64
		kind, id, body string
	}
	all, err := collect(rows, "changes", func(s *said) error { return rows.Scan(&s.seq, &s.kind, &s.id, &s.body) })
	if err != nil {
		return err
	}
	for _, s := range all {
		id, body := s.id, s.body
		switch s.kind {
		case "clay", "bar":
			id = renamed(names[s.kind], s.id)
		case "batch":
			id = renamedRef(names["clay"], s.id)
		}
		var v map[string]any
		if json.Unmarshal([]byte(body), &v) == nil && renameIn(v, names) {
			text, err := json.Marshal(v)
			if err != nil {
				return err
			}
			body = string(text)
		}
		if id != s.id || body != s.body {
			if _, err := tx.ExecContext(ctx, `UPDATE other.change SET id = ?, body = ? WHERE seq = ?`, id, body, s.seq); err != nil {
				return err
			}
		}
	}
	if len(names["kiln"]) == 0 {
		return nil
	}
	rows, err = tx.QueryContext(ctx, `SELECT row, kiln, summary FROM other.firing`)
	if err != nil {
		return err
	}
	type summed struct {
		row  int64
		kiln kiln.KilnID
		data []byte
	}
	firings, err := collect(rows, "firings", func(f *summed) error { return rows.Scan(&f.row, &f.kiln, &f.data) })
	if err != nil {
		return err
	}
	for _, s := range firings {
		f, err := readSummary(s.data)
		if err != nil {
			continue // it is told as damaged when it is read
		}
		if f.Kiln == s.kiln {
			continue
		}
		f.Kiln = s.kiln
		if _, err := tx.ExecContext(ctx, `UPDATE other.firing SET summary = ? WHERE row = ?`, writeSummary(f), s.row); err != nil {
			return err
		}
	}
	return nil
}

func renamed(names map[string]string, was string) string {
	if now, ok := names[was]; ok {
		return now
	}
	return was
}

// renamedRef renames the clay of a batch: tern/B.
func renamedRef(names map[string]string, ref string) string {
	clay, batch, has := strings.Cut(ref, "/")
	if !has {
		return renamed(names, ref)
	}
	return renamed(names, clay) + "/" + batch
}

// renameIn puts new names into the members of a saying that hold names, and reports whether it did.
func renameIn(v map[string]any, names map[string]map[string]string) (did bool) {
	put := func(member string, now string) {
		if v[member] != now {
			v[member], did = now, true
		}
	}
	for member, value := range v {
		switch value := value.(type) {
		case string:
			switch member {
			case "clay":
				put(member, renamed(names["clay"], value))
			case "kiln":
				put(member, renamed(names["kiln"], value))
			case "bar":
				put(member, renamed(names["bar"], value))
			case "body", "lid":
				put(member, renamedRef(names["clay"], value))
			}
		case []any:
			for i, one := range value {
				switch one := one.(type) {
				case string:
					if now := renamedRef(names["clay"], one); member == "parents" && now != one {
						value[i], did = now, true
					}
				case map[string]any:
					did = renameIn(one, names) || did
				}
			}
		}
	}
	return did
}
