package store

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"strings"

	"lidwright/daemon/store/codec"
	"lidwright/kiln"
	"lidwright/kiln/record"
)

const (
	sealAfter = 3600 // samples of a firing make a block: an hour at one a second
	mostLine  = 256  // bytes of a raw line that are kept
)

// BeginFiring opens a firing with its pre-roll in one commit. Said again it gives the number
// that the first saying was given.
func (s FiringStore) BeginFiring(ctx context.Context, f kiln.Firing,
	preroll []kiln.Sample) (number int, err error) {
	err = s.write(ctx, func(tx *sql.Tx) error {
		err := tx.QueryRowContext(ctx, `SELECT number FROM firing WHERE id = ?`, f.ID).Scan(&number)
		if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		f.Status = kiln.Running
		if f.Began, err = settled(ctx, tx, f.Began); err != nil {
			return err
		}
		row, n, err := addFiring(ctx, tx, f)
		if err != nil {
			return err
		}
		number = n
		if err := joinLoad(ctx, tx, f); err != nil {
			return err
		}
		for part := range slices.Chunk(preroll, sealAfter) {
			if err := addRun(ctx, tx, row, part, len(part) == sealAfter); err != nil {
				return err
			}
		}
		if err := tellFiring(ctx, tx, "begin", "", row, f, s.orNow(f.Began)); err != nil {
			return err
		}
		return s.trust(ctx, tx, preroll)
	})
	if err != nil {
		return 0, fmt.Errorf("begin firing %s: %w", f.ID, err)
	}
	s.trusts(preroll)
	return number, nil
}

// orNow is a moment of a firing, or now where it has none.
func (s FiringStore) orNow(at kiln.Stamp) kiln.Stamp {
	if at.Wall.IsZero() {
		return s.now()
	}
	return at
}

// addFiring puts a firing down under the next number of its kiln.
func addFiring(ctx context.Context, tx *sql.Tx, f kiln.Firing) (row int64, number int, err error) {
	if f.Source == "" {
		f.Source = "serial"
	}
	began, over, trusted := codec.TimesOf(f)
	err = tx.QueryRowContext(ctx, `
		INSERT INTO firing (id, kiln, number, revision, status, source, began_ms, over_ms, trusted, heat_model, summary, peak_c)
		VALUES (?1, ?2, (SELECT coalesce(max(number), 0) + 1 FROM firing WHERE kiln = ?2), 1, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10) RETURNING row, number`,
		f.ID, f.Kiln, f.Status, f.Source, began, over, trusted,
		codec.ModelOf(f.HeatWork), codec.WriteSummary(f),
		peakOf(f)).Scan(&row, &number)
	return row, number, err
}

// peakOf is the peak of a firing as its row has it: NULL where it is not known. Of one logged by hand it is
// that of the points that somebody typed, and says nothing.
func peakOf(f kiln.Firing) any {
	if !f.Peak.Known() || f.Source == "hand" {
		return nil
	}
	return float64(f.Peak)
}

// joinLoad attaches the load that was packed to its firing, unless the firing has another or the load was
// called off.
func joinLoad(ctx context.Context, tx *sql.Tx, f kiln.Firing) error {
	if f.Load == "" {
		return nil
	}
	_, err := tx.ExecContext(ctx, `INSERT INTO load_firing (firing, load) SELECT ?1, id FROM load WHERE id = ?2 AND called_off_ms IS NULL ON CONFLICT (firing) DO NOTHING`, f.ID, f.Load)
	return err
}

// AppendCurve writes a batch in one commit, which touches one page as a rule. What was written
// before is left alone when it is said again. Where an hour is full it is sealed in the same
// commit: what was coded is read back and compared before its parts are deleted.
func (s FiringStore) AppendCurve(ctx context.Context, id kiln.FiringID, batch []kiln.Sample) error {
	if len(batch) == 0 {
		return nil
	}
	write := s.writeReadings
	if s.news(batch) { // moments of what people noted are put right with it
		write = s.write
	}
	err := write(ctx, func(tx *sql.Tx) error {
		row, k, err := firingRow(ctx, tx, id)
		if err != nil {
			return err
		}
		last, open, err := openRuns(ctx, tx, row, k)
		if err != nil {
			return err
		}
		fresh := batch
		for len(fresh) > 0 && last.Boot == fresh[0].At.Boot && fresh[0].At.Since <= last.Since {
			fresh = fresh[1:]
		}
		if len(fresh) == 0 {
			return nil
		}
		if err := addRun(ctx, tx, row, fresh, false); err != nil {
			return err
		}
		if err := s.trust(ctx, tx, fresh); err != nil {
			return err
		}
		if open+len(fresh) < sealAfter {
			return nil
		}
		return s.seal(ctx, tx, row, k)
	})
	if err != nil {
		return fmt.Errorf("append to firing %s: %w", id, err)
	}
	s.trusts(batch)
	return nil
}

func firingRow(ctx context.Context, q querier, id kiln.FiringID) (row int64, k kiln.KilnID, err error) {
	err = q.QueryRowContext(ctx, `SELECT row, kiln FROM firing WHERE id = ?`, id).Scan(&row, &k)
	return row, k, missing(err, kiln.ErrNoFiring)
}

// openRuns gives the stamp of the last sample written of a firing, zero if there is none, and how
// many are not sealed.
func openRuns(ctx context.Context, tx *sql.Tx, firing int64, k kiln.KilnID) (last kiln.Stamp,
	open int, err error) {
	var data []byte
	err = tx.QueryRowContext(ctx, `SELECT data FROM run WHERE firing = ? ORDER BY row DESC LIMIT 1`,
		firing).Scan(&data)
	if errors.Is(err, sql.ErrNoRows) {
		return last, 0, nil
	}
	if err != nil {
		return last, 0, err
	}
	if samples, err := codec.Decode(data, k); err == nil && len(samples) > 0 {
		last = samples[len(samples)-1].At
	}
	err = tx.QueryRowContext(ctx, `SELECT coalesce(sum(rows), 0) FROM run WHERE firing = ? AND sealed = 0`,
		firing).Scan(&open)
	return last, open, err
}

// addRun writes samples as they come, or as a block, which is read back and compared. The first line of a
// reading that was not good goes beside those that come: one in five seconds is what a day's megabyte has
// room for.
func addRun(ctx context.Context, tx *sql.Tx, firing int64, samples []kiln.Sample, sealed bool) error {
	var line any
	if i := slices.IndexFunc(samples, func(s kiln.Sample) bool { return s.Raw != "" }); i >= 0 && !sealed {
		raw := samples[i].Raw
		line = fmt.Sprintf("%.3f\t%s", samples[i].At.Since.Seconds(),
			strings.ToValidUTF8(raw[:min(len(raw), mostLine)], "?"))
	}
	_, data, err := coded(samples, sealed)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO run (firing, rows, sealed, data, line) VALUES (?, ?, ?, ?, ?)`,
		firing, len(samples), sealed, data, line)
	return err
}

// coded writes a block and, if it is to stay, reads it back and compares.
func coded(samples []kiln.Sample, sealed bool) (*codec.Block, []byte, error) {
	b := codec.BlockOf(samples)
	data := b.Encode(sealed)
	if sealed {
		if back, err := codec.DecodeBlock(data); err != nil || !back.Same(b) {
			return nil, nil, fmt.Errorf("seal: what was coded does not read back the same: %w",
				errors.Join(codec.ErrCoded, err))
		}
	}
	return b, data, nil
}

// seal joins the samples of a firing that are not sealed into a block. What does not read back is
// left as it is.
func (s FiringStore) seal(ctx context.Context, tx *sql.Tx, firing int64, k kiln.KilnID) error {
	rows, err := tx.QueryContext(ctx, `SELECT row, data, coalesce(line, '') FROM run WHERE firing = ? AND sealed = 0 ORDER BY row`, firing)
	if err != nil {
		return err
	}
	type run struct {
		row  int64
		data []byte
		line string
	}
	runs, err := collect(rows, "what is not sealed", func(r *run) error {
		return rows.Scan(&r.row, &r.data, &r.line)
	})
	if err != nil {
		return err
	}
	var samples []kiln.Sample
	var lines []byte
	for _, r := range runs {
		part, err := codec.Decode(r.data, k)
		if err != nil {
			if _, err := tx.ExecContext(ctx, `UPDATE run SET sealed = 1 WHERE row = ?`, r.row); err != nil {
				return err
			}
			continue
		}
		samples = append(samples, part...)
		if r.line != "" && len(lines)+len(r.line) < mostLines {
			lines = append(append(lines, r.line...), '\n')
		}
	}
	if len(samples) == 0 {
		return nil
	}
	if _, err := tx.ExecContext(ctx, `DELETE FROM run WHERE firing = ? AND sealed = 0`, firing); err != nil {
		return err
	}
	if err := addLines(ctx, tx, firing, samples[len(samples)-1].At, lines); err != nil {
		return err
	}
	return addRun(ctx, tx, firing, samples, true)
}

// EndFiring closes a firing: its last samples are sealed, its blocks are laid into one row, and
// its summary and its envelope are kept.
func (s FiringStore) EndFiring(ctx context.Context, f kiln.Firing) error {
	err := s.write(ctx, func(tx *sql.Tx) error {
		_, err := s.end(ctx, tx, f)
		return err
	})
	if err != nil {
		return fmt.Errorf("end firing %s: %w", f.ID, err)
	}
	return nil
}

func (s FiringStore) end(ctx context.Context, tx *sql.Tx, f kiln.Firing) (row int64, err error) {
	row, k, err := firingRow(ctx, tx, f.ID)
	if err != nil {
		return 0, err
	}
	if err := s.seal(ctx, tx, row, k); err != nil {
		return 0, err
	}
	if err := joinLoad(ctx, tx, f); err != nil {
		return 0, err
	}
	if f.Began, err = settled(ctx, tx, f.Began); err != nil {
		return 0, err
	}
	if f.Over, err = settled(ctx, tx, f.Over); err != nil {
		return 0, err
	}
	began, over, trusted := codec.TimesOf(f)
	if _, err := tx.ExecContext(ctx, `
		UPDATE firing SET revision = revision + 1, status = ?, began_ms = ?, over_ms = ?, trusted = ?, heat_model = ?, summary = ?, peak_c = ? WHERE row = ?`,
		f.Status, began, over, trusted, codec.ModelOf(f.HeatWork), codec.WriteSummary(f), peakOf(f),
		row); err != nil {
		return 0, err
	}
	if err := tellFiring(ctx, tx, "end", "", row, f, s.orNow(f.Over)); err != nil {
		return 0, err
	}
	return row, s.lay(ctx, tx, row, f)
}

// PassPeak keeps what an open firing has reached when its peak is passed, or that it was not after all. What
// stands already is not written again, and a firing that is over stays as it ended.
func (s FiringStore) PassPeak(ctx context.Context, f kiln.Firing) error {
	err := s.write(ctx, func(tx *sql.Tx) error {
		row, _, err := firingRow(ctx, tx, f.ID)
		if err != nil {
			return err
		}
		f.Status = kiln.Running
		if f.Began, err = settled(ctx, tx, f.Began); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `UPDATE firing SET revision = revision + 1, heat_model = ?1, summary = ?2 WHERE row = ?3 AND status = 'running' AND summary <> ?2`,
			codec.ModelOf(f.HeatWork), codec.WriteSummary(f), row)
		return err
	})
	if err != nil {
		return fmt.Errorf("keep the peak of firing %s: %w", f.ID, err)
	}
	return nil
}

// lay puts the blocks of a firing that is over into one row and makes its envelope.
func (s FiringStore) lay(ctx context.Context, tx *sql.Tx, row int64, f kiln.Firing) error {
	blocks, err := s.blocks(ctx, tx, row)
	if err != nil || len(blocks) == 0 {
		return err
	}
	if err := keepCurve(ctx, tx, row, blocks); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, `DELETE FROM run WHERE firing = ?`, row); err != nil {
		return err
	}
	return s.envelop(ctx, tx, row, f, blocks)
}

// keepCurve writes down the blocks of a firing that is over.
func keepCurve(ctx context.Context, tx *sql.Tx, row int64, blocks [][]byte) error {
	var data []byte
	for _, b := range blocks {
		data = append(binary.AppendUvarint(data, uint64(len(b))), b...)
	}
	_, err := tx.ExecContext(ctx, `INSERT INTO curve (firing, data) VALUES (?, ?) ON CONFLICT (firing) DO UPDATE SET data = excluded.data`, row, data)
	return err
}

// envelop keeps the lowest and highest reading of each minute.
func (s FiringStore) envelop(ctx context.Context, tx *sql.Tx, row int64, f kiln.Firing,
	blocks [][]byte) error {
	thin := kiln.NewDownsampler(nil, codec.EnvelopeStep)
	if err := s.each(ctx, tx, f, blocks, func(b *codec.Block, n int) { b.Thin(thin, n) }); err != nil {
		return err
	}
	return keepEnvelope(ctx, tx, row, thin.Envelopes())
}

func keepEnvelope(ctx context.Context, tx *sql.Tx, row int64, channels []kiln.Envelope) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO envelope (firing, data) VALUES (?, ?) ON CONFLICT (firing) DO UPDATE SET data = excluded.data`, row, codec.WriteEnvelope(channels))
	return err
}

// Unfinished gives the firings left open, each with every sample written so far.
func (s FiringStore) Unfinished(ctx context.Context) ([]record.Unfinished, error) {
	open, err := s.Firings(ctx, kiln.FiringFilter{Status: kiln.Running})
	if err != nil {
		return nil, err
	}
	var all []record.Unfinished
	for _, f := range open {
		samples, err := s.Samples(ctx, f.ID)
		if err != nil {
			return nil, err
		}
		all = append(all, record.Unfinished{Firing: f, Samples: samples})
	}
	stopped, err := s.stoppedFirings(ctx)
	return append(all, stopped...), err
}
