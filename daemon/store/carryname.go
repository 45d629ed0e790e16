package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"math"
	"strings"

	"lidwright/daemon/store/codec"
	"lidwright/kiln"
)

// renameSaid puts the new names into the record of changes and the summaries of firings of other.
func renameSaid(ctx context.Context, tx *sql.Tx, names map[string]map[string]string) error {
	type said struct {
		seq            int64
		kind, id, body string
	}
	last := int64(math.MinInt64)
	for { // a part at a time: a record may be long
		rows, err := tx.QueryContext(ctx, `SELECT seq, kind, id, body FROM other.change WHERE seq > ? ORDER BY seq LIMIT 200`, last)
		if err != nil {
			return err
		}
		part, err := collect(rows, "changes", func(s *said) error {
			return rows.Scan(&s.seq, &s.kind, &s.id, &s.body)
		})
		if err != nil {
			return err
		}
		if len(part) == 0 {
			break
		}
		last = part[len(part)-1].seq
		for _, s := range part {
			id, body := s.id, s.body
			switch s.kind {
			case "clay", "bar", "kiln":
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
				if _, err := tx.ExecContext(ctx, `UPDATE other.change SET id = ?, body = ? WHERE seq = ?`, id,
					body, s.seq); err != nil {
					return err
				}
			}
		}
	}
	if len(names["kiln"]) == 0 {
		return nil
	}
	last = math.MinInt64
	for {
		var row int64
		var k kiln.KilnID
		var data []byte
		err := tx.QueryRowContext(ctx, `SELECT row, kiln, summary FROM other.firing WHERE row > ? ORDER BY row LIMIT 1`, last).Scan(&row, &k, &data)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		if err != nil {
			return err
		}
		last = row
		f, err := codec.ReadSummary(data)
		if err != nil || f.Kiln == k {
			continue // one that does not read back is told as damaged when it is read
		}
		f.Kiln = k
		if _, err := tx.ExecContext(ctx, `UPDATE other.firing SET summary = ? WHERE row = ?`,
			codec.WriteSummary(f), row); err != nil {
			return err
		}
	}
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
					ref, parts, _ := strings.Cut(one, "=")
					now := renamedRef(names["clay"], ref)
					if parts != "" {
						now += "=" + parts
					}
					if member == "parents" && now != one {
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
