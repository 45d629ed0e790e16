package store

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"lidwright/daemon/store/codec"
	"lidwright/kiln"
	"lidwright/kiln/detect"
)

// blocks are all the blocks of a firing in order: those of its curve, and those that are still
// to be laid into it. What was heard after a person ended its record is not among them.
func (s FiringStore) blocks(ctx context.Context, q querier, firing int64) ([][]byte, error) {
	var blocks [][]byte
	var data []byte
	err := q.QueryRowContext(ctx, `SELECT data FROM curve WHERE firing = ?`, firing).Scan(&data)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return nil, err
	}
	for len(data) > 0 {
		n, size := binary.Uvarint(data)
		if size <= 0 || n > uint64(len(data)-size) {
			blocks = append(blocks, data) // decode will refuse it, and it is not lost
			break
		}
		blocks = append(blocks, data[size:size+int(n)])
		data = data[size+int(n):]
	}
	rows, err := q.QueryContext(ctx, `SELECT data FROM run WHERE firing = ?1 AND NOT EXISTS (SELECT 1 FROM stopped WHERE firing = ?1) ORDER BY row`, firing)
	if err != nil {
		return nil, err
	}
	open, err := collect(rows, "a firing under way", func(b *[]byte) error { return rows.Scan(b) })
	return append(blocks, open...), err
}

// each hands the blocks of a firing to f, with their clocks put right, and how many of their
// samples were heard before the firing was over. A block that does not read back is passed over:
// what is missing shows as a gap, and Health tells of it.
func (s FiringStore) each(ctx context.Context, q querier, firing kiln.Firing, blocks [][]byte,
	f func(b *codec.Block, n int)) error {
	harmed := 0
	defer func() { s.harmed(firing.ID, harmed) }()
	for _, data := range blocks {
		b, err := codec.DecodeBlock(data)
		if err != nil {
			harmed++
			continue
		}
		over, err := hand(ctx, q, firing, b, f)
		if err != nil || over {
			return err
		}
	}
	return nil
}

// hand is each for one block, and reports whether the firing was over in it.
func hand(ctx context.Context, q querier, firing kiln.Firing, b *codec.Block,
	f func(b *codec.Block, n int)) (over bool, err error) {
	if err := settle(ctx, q, b); err != nil {
		return false, err
	}
	n := len(b.Since)
	if firing.Over.Boot != "" {
		n, over = b.Cut(firing.Over)
	}
	f(b, n)
	return over, nil
}

// Samples gives every sample of a firing in order, or kiln.ErrNoFiring. A day of them takes tens
// of megabytes: whoever wants the curve asks for Curve or Envelopes.
func (s FiringStore) Samples(ctx context.Context, id kiln.FiringID) (samples []kiln.Sample, err error) {
	f, blocks, err := s.find(ctx, id)
	if err == nil {
		err = s.each(ctx, s.read, f, blocks, func(b *codec.Block, n int) {
			samples = append(samples, b.Samples(f.Kiln)[:n]...)
		})
	}
	if err != nil {
		return nil, fmt.Errorf("read the samples of firing %s: %w", id, err)
	}
	return samples, nil
}

// find gives a firing and its blocks.
func (s FiringStore) find(ctx context.Context, id kiln.FiringID) (kiln.Firing, [][]byte, error) {
	f, row, err := s.firing(ctx, id)
	if err != nil {
		return f, nil, err
	}
	blocks, err := s.blocks(ctx, s.read, row)
	return f, blocks, err
}

// Curve gives the curve of a firing with the channels named, with all that it has if none is; see
// kiln.Lay. Whoever loads it cannot tell rows from blocks. kiln.ErrNoFiring if there is no such
// firing; one without any sample has an empty curve.
func (s FiringStore) Curve(ctx context.Context, id kiln.FiringID, channels []kiln.ChannelID,
	gapAfter time.Duration) (kiln.Curve, error) {
	f, blocks, err := s.find(ctx, id)
	var c kiln.Curve
	if err == nil {
		c, err = s.curve(ctx, s.read, f, blocks, channels, gapAfter)
	}
	if err != nil {
		return kiln.Curve{}, fmt.Errorf("read the curve of firing %s: %w", id, err)
	}
	return c, nil
}

func (s FiringStore) curve(ctx context.Context, q querier, f kiln.Firing, blocks [][]byte,
	channels []kiln.ChannelID, gapAfter time.Duration) (kiln.Curve, error) {
	l := kiln.NewResampler(channels, gapAfter)
	err := s.each(ctx, q, f, blocks, func(b *codec.Block, n int) { b.Lay(l, n) })
	return l.Curve(), err
}

// Envelopes gives the lowest and highest reading of each step of a firing, and its gaps: of the
// channels named, of all that it has if none is. Minutes and what is made of them come from the
// stored envelope; a finer step, and a firing under way, from the readings. points asks for at
// most so many steps, and then step does not count. A step below a second gives each reading.
func (s FiringStore) Envelopes(ctx context.Context, id kiln.FiringID, channels []kiln.ChannelID,
	step time.Duration, points int) ([]kiln.Envelope, []kiln.Gap, error) {
	f, row, err := s.firing(ctx, id)
	if err != nil {
		return nil, nil, fmt.Errorf("read the curve of firing %s: %w", id, err)
	}
	var minutes []kiln.Envelope
	if points > 0 || step >= codec.EnvelopeStep && step%codec.EnvelopeStep == 0 {
		var data []byte
		err := s.read.QueryRowContext(ctx, `SELECT data FROM envelope WHERE firing = ?`, row).Scan(&data)
		if err == nil {
			minutes, err = codec.ReadEnvelope(data)
		}
		if err != nil && !errors.Is(err, sql.ErrNoRows) && !errors.Is(err, codec.ErrCoded) {
			return nil, nil, fmt.Errorf("read the envelope of firing %s: %w", id, err)
		}
	}
	if minutes == nil { // none is stored, or it is damaged
		fine := step
		if points > 0 || step >= codec.EnvelopeStep && step%codec.EnvelopeStep == 0 {
			fine = codec.EnvelopeStep
		}
		blocks, err := s.blocks(ctx, s.read, row)
		thin := kiln.NewDownsampler(channels, fine)
		if err == nil {
			err = s.each(ctx, s.read, f, blocks, func(b *codec.Block, n int) { b.Thin(thin, n) })
		}
		if err != nil {
			return nil, nil, fmt.Errorf("read the curve of firing %s: %w", id, err)
		}
		minutes = thin.Envelopes()
		if fine == step {
			return minutes, f.Gaps, nil
		}
	}
	var out []kiln.Envelope
	for _, e := range minutes {
		if len(channels) > 0 && !slices.Contains(channels, e.Channel) {
			continue
		}
		if points > 0 {
			e = e.Points(points)
		} else {
			e = e.Merge(int(step / codec.EnvelopeStep))
		}
		out = append(out, e)
	}
	return out, f.Gaps, nil
}

// Firing gives one firing, or kiln.ErrNoFiring.
func (s FiringStore) Firing(ctx context.Context, id kiln.FiringID) (kiln.Firing, error) {
	f, _, err := s.firing(ctx, id)
	if err != nil {
		return kiln.Firing{}, fmt.Errorf("firing %s: %w", id, err)
	}
	return f, nil
}

func (s FiringStore) firing(ctx context.Context, id kiln.FiringID) (kiln.Firing, int64, error) {
	all, rows, err := s.firings(ctx, 1, `WHERE f.id = ?`, id)
	if err == nil && len(all) == 0 {
		err = kiln.ErrNoFiring
	}
	if err != nil {
		return kiln.Firing{}, 0, err
	}
	return all[0], rows[0], nil
}

// Firings gives those that the filter lets pass, newest first. No curve is looked at.
func (s FiringStore) Firings(ctx context.Context, w kiln.FiringFilter) ([]kiln.Firing, error) {
	limit := w.Limit
	if limit == 0 {
		limit = -1
	}
	before := int64(math.MaxInt64)
	if w.Before != (time.Time{}) {
		before = w.Before.UnixMilli()
	}
	many := w.Limit
	if many == 0 {
		if err := s.read.QueryRowContext(ctx, `SELECT count(*) FROM firing`).Scan(&many); err != nil {
			return nil, fmt.Errorf("list firings: %w", err)
		}
	}
	of := `?1 = ''`
	if w.Kiln != "" {
		of = `f.kiln = ?1` // by its index, past the firings of other kilns
	}
	all, _, err := s.firings(ctx, min(many, 2000), `WHERE `+of+` AND (?2 = '' OR f.stands = ?2)
		AND f.began_ms < ?3 ORDER BY f.began_ms DESC, f.row DESC LIMIT ?4`,
		string(w.Kiln), string(w.Status), before, limit)
	if err != nil {
		return nil, fmt.Errorf("list firings: %w", err)
	}
	return slices.DeleteFunc(all, func(f kiln.Firing) bool {
		return w.Kind != "" && f.Kind != w.Kind || w.Atmosphere != "" && f.Atmosphere != w.Atmosphere
	}), nil
}

// firings reads summaries, with what people said of them over what was worked out, and the rows
// in which they stand. There are about so many.
func (s FiringStore) firings(ctx context.Context, many int, where string, args ...any) ([]kiln.Firing,
	[]int64, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT f.row, f.number, f.stands, f.summary, l.load, f.said_kind, f.said_atmosphere, f.said_note
		FROM firing f LEFT JOIN load_firing l ON l.firing = f.id `+where, args...)
	if err != nil {
		return nil, nil, err
	}
	at := make([]int64, 0, many)
	var broken []int // summaries that do not read back
	var row int64
	var number int
	var status, data, load, kind, atmosphere, note sql.RawBytes
	all, err := collectInto(make([]kiln.Firing, 0, many), rows, "firings", func(f *kiln.Firing) error {
		err := rows.Scan(&row, &number, &status, &data, &load, &kind, &atmosphere, &note)
		if err != nil {
			return err
		}
		if *f, err = codec.ReadSummary(data); err != nil {
			broken = append(broken, len(at))
		}
		at = append(at, row)
		f.Number, f.Status = number, kiln.Status(status)
		if load != nil {
			f.Load = string(load)
		}
		if kind != nil {
			f.Kind, f.KindFrom = kiln.Kind(kind), detect.FromFact
		}
		if atmosphere != nil {
			f.Atmosphere = kiln.Atmosphere(atmosphere)
		}
		if note != nil {
			f.Note = string(note)
		}
		return nil
	})
	for _, i := range broken {
		if err := s.bare(ctx, at[i], &all[i]); err != nil {
			return nil, nil, err
		}
	}
	return all, at, err
}

// bare fills in what the columns say of a firing whose summary is damaged; the rest is not known.
func (s FiringStore) bare(ctx context.Context, row int64, f *kiln.Firing) error {
	var began int64
	f.Peak = kiln.NoTemperature()
	err := s.read.QueryRowContext(ctx, `SELECT id, kiln, source, began_ms, trusted FROM firing WHERE row = ?`,
		row).Scan(&f.ID, &f.Kiln, &f.Source, &began, &f.Began.Trusted)
	f.Began.Wall = fromMilli(began)
	s.harmed(f.ID, 1)
	return err
}
