package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	"lidwright/daemon/notice"
)

// mostNotices are kept; of more the oldest go.
const mostNotices = 1000

// PutNotice keeps a message and whom it goes to.
func (s NoticeStore) PutNotice(ctx context.Context, m notice.Message, body []byte, to []string) error {
	at, err := time.Parse(time.RFC3339, m.At)
	if err != nil {
		return fmt.Errorf("keep notice %s: %w", m.Event, err)
	}
	return s.writeAnywhere(ctx, func(tx *sql.Tx) error {
		r, err := tx.ExecContext(ctx, `INSERT INTO notice (id, event, state, kiln, link, at_ms, body) VALUES (?, ?, ?, ?, ?, ?, ?)`,
			m.ID, m.Event, m.State, m.Kiln, m.Link, at.UnixMilli(), string(body))
		if err != nil {
			return err
		}
		n, err := r.LastInsertId()
		if err != nil {
			return err
		}
		for _, name := range to {
			if _, err := tx.ExecContext(ctx,
				`INSERT INTO delivery (n, receiver, outcome, tries, answer, at_ms) VALUES (?, ?, 'waiting', 0, '', ?)`, n, name, at.UnixMilli()); err != nil {
				return err
			}
		}
		_, err = tx.ExecContext(ctx, `DELETE FROM notice WHERE n <= ?`, n-mostNotices)
		return err
	})
}

// WaitingNotices are the deliveries that were neither taken nor given up, oldest first.
func (s NoticeStore) WaitingNotices(ctx context.Context) ([]notice.Delivery, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT n.id, d.receiver, n.event, n.body, d.tries FROM delivery d JOIN notice n USING (n) WHERE d.outcome = 'waiting' ORDER BY n.n, d.receiver`)
	if err != nil {
		return nil, fmt.Errorf("read notices: %w", err)
	}
	return collect(rows, "notices", func(d *notice.Delivery) error {
		return rows.Scan(&d.Notice, &d.Receiver, &d.Event, &d.Body, &d.Tries)
	})
}

// TriedNotice keeps what came of a try.
func (s NoticeStore) TriedNotice(ctx context.Context, id, receiver, outcome, answer string,
	at time.Time) error {
	return s.writeAnywhere(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE delivery SET outcome = ?, answer = ?, at_ms = ?, tries = tries + 1 WHERE receiver = ? AND n = (SELECT n FROM notice WHERE id = ?)`,
			outcome, answer, at.UnixMilli(), receiver, id)
		return err
	})
}

// StandingNotices are the beginnings that were told and not cleared.
func (s NoticeStore) StandingNotices(ctx context.Context) ([]notice.Message, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT body FROM notice a WHERE state = 'began' AND NOT EXISTS
		(SELECT 1 FROM notice b WHERE b.event = a.event AND b.kiln = a.kiln AND b.n > a.n) ORDER BY n`)
	if err != nil {
		return nil, fmt.Errorf("read notices: %w", err)
	}
	return collect(rows, "notices", scanMessage(rows))
}

// ToldSince reports whether event was told of link after a moment of the clock on the wall.
func (s NoticeStore) ToldSince(ctx context.Context, event, link string, after time.Time) (bool, error) {
	var told bool
	err := s.read.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM notice WHERE event = ? AND link = ? AND at_ms > ?)`, event, link, after.UnixMilli()).Scan(&told)
	if err != nil {
		err = fmt.Errorf("read notices: %w", err)
	}
	return told, err
}

// Notices are the newest messages with what came of them, newest first.
func (s NoticeStore) Notices(ctx context.Context, limit int) ([]notice.Told, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT n, body FROM notice ORDER BY n DESC LIMIT ?`, limit)
	if err != nil {
		return nil, fmt.Errorf("read notices: %w", err)
	}
	at := map[int64]int{}
	out, err := collect(rows, "notices", func(t *notice.Told) error {
		var n int64
		var body string
		if err := rows.Scan(&n, &body); err != nil {
			return err
		}
		at[n] = len(at)
		return json.Unmarshal([]byte(body), &t.Message)
	})
	if err != nil || len(out) == 0 {
		return out, err
	}
	rows, err = s.read.QueryContext(ctx, `SELECT n, receiver, outcome, tries, answer, at_ms FROM delivery WHERE n IN (SELECT n FROM notice ORDER BY n DESC LIMIT ?) ORDER BY n, receiver`, limit)
	if err != nil {
		return nil, fmt.Errorf("read notices: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var n, ms int64
		var d notice.Fate
		if err := rows.Scan(&n, &d.Receiver, &d.Outcome, &d.Tries, &d.Answer, &ms); err != nil {
			return nil, fmt.Errorf("read notices: %w", err)
		}
		d.At = time.UnixMilli(ms).UTC()
		if i, ok := at[n]; ok {
			out[i].Fates = append(out[i].Fates, d)
		}
	}
	return out, rows.Err()
}

func scanMessage(rows *sql.Rows) func(*notice.Message) error {
	return func(m *notice.Message) error {
		var body string
		if err := rows.Scan(&body); err != nil {
			return err
		}
		return json.Unmarshal([]byte(body), m)
	}
}
