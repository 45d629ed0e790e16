package store

import (
	"context"
	"database/sql"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/daemon/store/codec"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// Sent is a studio's record as it was sent to a collector.
type Sent struct {
	Site, Life string
	Boots      []wire.PushBoot
	// in order, some at a time; none at the end
	Facts   func(ctx context.Context, after int64) ([]wire.PushFact, error)
	Firings []wire.SentFiring
	Curve   func(ctx context.Context, firing string) ([]byte, error) // none: nil
}

// Replayed says what came of it.
type Replayed struct {
	Facts int // that were made
	Left  []string
}

// ErrAnew means that what came since alters what came before: it is to be made anew from the beginning.
var ErrAnew = errors.New("the record was altered behind us")

// Replay makes a record again of what was sent of it, all of it or nothing, and goes on where it ended the
// last time. What a program of another version said and this one has no place for is named in Left; it stays
// in the record of changes where that takes it. Errors: ErrAnew, trouble with the disk.
func Replay(ctx context.Context, s *Store, sent Sent) (r Replayed, err error) {
	err = s.write(ctx, func(tx *sql.Tx) error {
		s.within = tx
		defer func() { s.within = nil }()
		r, err = replay(ctx, s, tx, sent)
		return err
	})
	if err != nil {
		return Replayed{}, fmt.Errorf("make the record of %s again: %w", sent.Site, err)
	}
	return r, nil
}

func replay(ctx context.Context, s *Store, tx *sql.Tx, sent Sent) (r Replayed, err error) {
	var site, life string
	switch err := tx.QueryRowContext(ctx, `SELECT id, life FROM site`).Scan(&site, &life); {
	case errors.Is(err, sql.ErrNoRows):
		_, err = tx.ExecContext(ctx, `INSERT INTO site (one, id, life) VALUES (1, ?, ?)`, sent.Site,
			sent.Life)
		if err != nil {
			return r, err
		}
	case err != nil:
		return r, err
	case site != sent.Site || life != sent.Life:
		return r, ErrAnew
	}
	for _, b := range sent.Boots {
		if _, err := tx.ExecContext(ctx, `INSERT INTO boot (id, offset_ms) VALUES (?, ?) ON CONFLICT (id) DO NOTHING`, b.ID, b.OffsetMS); err != nil {
			return r, err
		}
	}
	p := replayer{Store: s, tx: tx, loads: map[string]string{}}
	for _, f := range sent.Firings {
		if err := p.firing(ctx, f, sent); err != nil {
			return r, fmt.Errorf("firing %s: %w", f.ID, err)
		}
	}
	if err := tx.QueryRowContext(ctx, `SELECT coalesce(max(seq), 0) FROM change`).Scan(&p.last); err != nil {
		return r, err
	}
	p.first = p.last == 0
	for {
		facts, err := sent.Facts(ctx, p.last)
		if err != nil || len(facts) == 0 {
			return p.r, err
		}
		for _, f := range facts {
			if f.Seq <= p.last { // it came about with the one before it
				p.r.Facts++
				continue
			}
			if err := p.fact(ctx, f); err != nil {
				return r, fmt.Errorf("change %d: %w", f.Seq, err)
			}
		}
	}
}

// replayer makes one record again.
type replayer struct {
	*Store
	tx    *sql.Tx
	r     Replayed
	first bool              // the record is made from its beginning
	last  int64             // number of the newest change that is there
	loads map[string]string // of a firing, by the summary: its load
}

// fact makes one fact, under its own number.
func (p *replayer) fact(ctx context.Context, f wire.PushFact) error {
	if f.Kind == "verdict" { // as a studio sent it before schema 11
		f.Kind = "lid_result"
	}
	if !p.first && (f.Op == "forget" || f.Kind == "boot") {
		return ErrAnew // marks were blanked, or times moved, in what is here already
	}
	if _, err := p.tx.ExecContext(ctx, `UPDATE sqlite_sequence SET seq = ?1 WHERE name = 'change' AND seq <> ?1`, f.Seq-1); err != nil {
		return err
	}
	if _, err := p.tx.ExecContext(ctx, `INSERT INTO sqlite_sequence (name, seq) SELECT 'change', ?1 WHERE NOT EXISTS (SELECT 1 FROM sqlite_sequence WHERE name = 'change')`, f.Seq-1); err != nil {
		return err
	}
	if _, err := p.tx.ExecContext(ctx, `SAVEPOINT fact`); err != nil {
		return err
	}
	failed := p.apply(ctx, f)
	if errors.Is(failed, usecase.ErrBusy) || ctx.Err() != nil {
		return failed
	}
	if failed != nil {
		p.r.Left = append(p.r.Left, fmt.Sprintf("%d (%s %s %s): %v", f.Seq, f.Kind, f.Op, f.ID, failed))
		if _, err := p.tx.ExecContext(ctx, `ROLLBACK TO fact`); err != nil {
			return err
		}
	} else {
		p.r.Facts++
	}
	_, err := p.tx.ExecContext(ctx, `
		INSERT INTO change (seq, kind, op, id, at_ms, trusted, boot, body) SELECT ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8 WHERE NOT EXISTS (SELECT 1 FROM change WHERE seq = ?1)`,
		f.Seq, f.Kind, f.Op, f.ID, f.At.UnixMilli(), f.ClockTrusted, f.Boot, inOrder(f))
	if err := busy(err); errors.Is(err, usecase.ErrBusy) {
		return err
	}
	if err != nil && failed == nil { // a kind that this program does not know
		p.r.Facts--
		p.r.Left = append(p.r.Left, fmt.Sprintf("%d (%s %s %s): this program does not know it", f.Seq,
			f.Kind, f.Op, f.ID))
	}
	if f.Op == "forget" {
		if err := raise(ctx, p.tx, f.Kind, f.ID, f.Seq); err != nil {
			return err
		}
	}
	if _, err := p.tx.ExecContext(ctx, `RELEASE fact`); err != nil {
		return err
	}
	p.last = f.Seq
	var newest int64
	if err := p.tx.QueryRowContext(ctx, `SELECT coalesce(max(seq), 0) FROM change`).Scan(&newest); err != nil {
		return err
	}
	p.last = max(p.last, newest)
	return nil
}

// inOrder is a body in the form in which the record holds it: a collector keeps no order of members.
func inOrder(f wire.PushFact) string {
	again := func(v any) string {
		if json.Unmarshal(f.Body, v) == nil {
			if text, err := json.Marshal(v); err == nil {
				return string(text)
			}
		}
		return string(f.Body)
	}
	switch {
	case f.Kind == "firing" && f.Op != "put":
		return again(new(firingTold))
	case f.Kind == "firing":
		var said map[string]any
		if json.Unmarshal(f.Body, &said); said["kiln"] == nil && said["source"] == nil {
			return again(new(saidBody))
		}
		return again(new(wire.FiringBody))
	case f.Op == "forget":
		return again(new(forgotten))
	case f.Kind == "boot":
		return again(new(bootRighted))
	}
	return again(new(map[string]any))
}

// edit names the revision that stands, so that what is said again counts as said anew.
func (p *replayer) edit(ctx context.Context, query string, args ...any) (m usecase.Precondition, err error) {
	err = p.tx.QueryRowContext(ctx, query, args...).Scan(&m.Revision)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	return m, err
}

// apply does what a fact says, by the same way as when it was said.
func (p *replayer) apply(ctx context.Context, f wire.PushFact) error {
	at := kiln.Stamp{Wall: f.At, Boot: kiln.BootID(f.Boot), Trusted: f.ClockTrusted}
	if f.Found == nil {
		f.Found = &wire.PushFound{}
	}
	switch f.Kind + " " + f.Op {
	case "clay put", "batch put":
		return p.clay(ctx, f, at)
	case "bar put":
		return p.bar(ctx, f, at)
	case "load put", "load close":
		return p.load(ctx, f, at)
	case "reading put":
		return p.reading(ctx, f, at)
	case "lid_result put", "pot put":
		return p.lid(ctx, f, at)
	case "kiln put":
		return p.kiln(ctx, f, at)
	case "cone put", "note put", "tick put", "probe put", "mark put":
		return p.beside(ctx, f, at)
	case "firing put":
		var b struct{ Kiln, Source string }
		if json.Unmarshal(f.Body, &b); b.Kiln == "" && b.Source == "" { // what was said beside it
			return nil
		}
		fallthrough
	case "firing begin", "firing end":
		return joinLoad(ctx, p.tx, kiln.Firing{ID: kiln.FiringID(f.ID), Load: p.loads[f.ID]})
	}
	var said struct{ By, Why string }
	switch f.Op {
	case "strike", "restore", "supersede", "confirm", "count":
		if err := json.Unmarshal(f.Body, &said); err != nil {
			return err
		}
	}
	switch f.Kind + " " + f.Op {
	case "reading strike", "reading supersede", "reading confirm", "reading count":
		var bar tiles.Code
		if err := p.tx.QueryRowContext(ctx, `SELECT bar FROM reading WHERE id = ?`,
			f.ID).Scan(&bar); err != nil {
			return missing(err, tiles.ErrNoReading)
		}
		return p.readingAct(ctx, bar, f.ID, f.Op, said.By, said.Why, at)
	case "reading restore", "lid_result restore", "cone restore", "note restore":
		_, err := p.Restore(ctx, f.Kind, f.ID, said.By, at)
		return err
	case "lid_result strike":
		return p.StrikeLidResult(ctx, f.ID, said.By, said.Why, at)
	case "cone strike":
		return p.StrikeCone(ctx, f.ID, said.By, said.Why, at)
	case "note strike":
		return p.StrikeNote(ctx, f.ID, said.By, said.Why, at)
	}
	return nil
}

func (p *replayer) clay(ctx context.Context, f wire.PushFact, at kiln.Stamp) error {
	if f.Kind == "clay" {
		var b clayBody
		m, err := p.edit(ctx, `SELECT rev FROM clay WHERE clay = ?`, f.ID)
		if err = errors.Join(err, json.Unmarshal(f.Body, &b)); err != nil {
			return err
		}
		_, err = p.PutClay(ctx, tiles.Clay{ID: tiles.ClayID(f.ID), Name: b.Name, MakerCode: b.MakerCode,
			MaturesCone: b.MaturesCone,
			Matures:     kiln.NoTemperature(), Stated: tiles.Ratio(b.Stated),
			StatedCone: b.StatedCone, Grog: b.Grog,
			Note: b.Note}, m, at)
		return err
	}
	var b batchBody
	ref, err := tiles.ParseBatchRef("id", f.ID)
	if err = errors.Join(err, json.Unmarshal(f.Body, &b)); err != nil {
		return err
	}
	batch := tiles.Batch{BatchRef: ref, Kind: tiles.BatchKind(b.Kind), Stamp: b.Stamp, Arrived: b.Arrived,
		Open: b.Open, Note: b.Note}
	if batch.Parents, batch.Shares, err = tiles.ParseParents("parents", b.Parents); err != nil {
		return err
	}
	m, err := p.edit(ctx, `SELECT rev FROM batch WHERE clay = ? AND batch = ?`, ref.Clay, ref.Batch)
	if err != nil {
		return err
	}
	_, err = p.PutBatch(ctx, batch, m, at)
	return err
}

// kiln is one that was added or has another name, or what was said of a usual firing.
func (p *replayer) kiln(ctx context.Context, f wire.PushFact, at kiln.Stamp) error {
	var b kilnBody
	var u usualBody
	if err := errors.Join(json.Unmarshal(f.Body, &b), json.Unmarshal(f.Body, &u)); err != nil {
		return err
	}
	switch {
	case u.What != "":
		said := tiles.UsualSaid{ID: f.ID, Kiln: kiln.KilnID(u.Kiln), Kind: kiln.Kind(u.Kind),
			Atmosphere: kiln.Atmosphere(u.Atmosphere), What: u.What,
			Name: u.Name, HeatWork: kiln.NoTemperature(), By: u.By}
		if u.HeatWork != nil {
			said.HeatWork = kiln.Celsius(*u.HeatWork)
		}
		_, err := p.PutUsual(ctx, said, at)
		return err
	case b.Was != "":
		_, err := p.RenameKiln(ctx, kiln.KilnID(b.Was), kiln.KilnID(b.Kiln), at)
		return err
	}
	m, err := p.edit(ctx, `SELECT rev FROM kiln WHERE kiln = ?`, b.Kiln)
	if err != nil {
		return err
	}
	_, err = p.PutKiln(ctx, tiles.AddedKiln{ID: kiln.KilnID(b.Kiln), Fuel: b.Fuel}, m, at)
	return err
}

func (p *replayer) bar(ctx context.Context, f wire.PushFact, at kiln.Stamp) error {
	var b barBody
	m, err := p.edit(ctx, `SELECT rev FROM bar WHERE code = ?`, f.ID)
	if err = errors.Join(err, json.Unmarshal(f.Body, &b)); err != nil {
		return err
	}
	bar := tiles.Bar{Code: tiles.Code(f.ID), ID: b.ID,
		BatchRef: tiles.BatchRef{Clay: tiles.ClayID(b.Clay), Batch: tiles.BatchID(b.Batch)},
		Forming:  tiles.Forming(b.Forming), MarkLength: tiles.Millimetre(b.MarkLength), Marks: b.Marks,
		MadeOn: b.MadeOn, By: b.By, Practice: b.Practice, Note: b.Note}
	for _, flag := range b.Flags {
		bar.Flags = append(bar.Flags, tiles.Flag(flag))
	}
	_, err = p.PutBar(ctx, bar, m, at)
	return err
}

func (p *replayer) load(ctx context.Context, f wire.PushFact, at kiln.Stamp) error {
	if f.Op == "close" {
		var b struct {
			By         string    `json:"by"`
			UnpackedAt time.Time `json:"unpacked_at"`
		}
		if err := json.Unmarshal(f.Body, &b); err != nil {
			return err
		}
		if f.Found.UnpackedMS != 0 {
			b.UnpackedAt = fromMilli(f.Found.UnpackedMS)
		}
		return p.CloseLoad(ctx, f.ID, b.UnpackedAt, b.By, at)
	}
	var b loadBody
	if err := json.Unmarshal(f.Body, &b); err != nil {
		return err
	}
	if b.Kind == "" { // the firing alone
		return p.AttachLoad(ctx, f.ID, kiln.FiringID(b.Firing), at)
	}
	m, err := p.edit(ctx, `SELECT rev FROM load WHERE id = ?`, f.ID)
	if err != nil {
		return err
	}
	l := tiles.Load{ID: f.ID, Kiln: kiln.KilnID(b.Kiln), Kind: kiln.Kind(b.Kind),
		Atmosphere: kiln.Atmosphere(b.Atmosphere),
		Firing:     kiln.FiringID(b.Firing), PackedBy: b.PackedBy, Note: b.Note,
		Stated: kiln.Celsius(b.Stated)}
	for _, slot := range b.Bars {
		l.Bars = append(l.Bars, tiles.Placed{Bar: tiles.Code(slot.Bar), Shelf: slot.Shelf})
	}
	_, err = p.PutLoad(ctx, l, m, at)
	return err
}

func (p *replayer) reading(ctx context.Context, f wire.PushFact, at kiln.Stamp) error {
	var b readingBody
	if err := json.Unmarshal(f.Body, &b); err != nil {
		return err
	}
	r := tiles.Reading{ID: f.ID, Bar: tiles.Code(b.Bar), Mark: b.Mark, Stage: tiles.Stage(b.Stage),
		AsTyped: b.Length, Unit: b.Unit,
		Instrument: b.Instrument, Step: tiles.Millimetre(b.Step), By: b.By, Supersedes: b.Supersedes,
		Queued:  time.Duration(math.Round(f.Found.QueuedS * float64(time.Second))),
		Unusual: f.Found.Unusual, Outside: f.Found.Outside, EntryError: tiles.EntryError(f.Found.Slip),
		Question: message.Read(f.Found.Question)}
	switch {
	case b.Dry != 0:
		r.Mass = &tiles.Mass{Dry: b.Dry, Saturated: b.Saturated, Suspended: b.Suspended, Step: b.StepG}
	case f.Found.LengthMM != nil:
		r.Length = tiles.Millimetre(*f.Found.LengthMM)
	default:
		r.Length = typedLength(b.Length, b.Unit)
	}
	at.Wall = at.Wall.Add(r.Queued) // it is told less the time that the entry waited
	_, err := p.PutReading(ctx, r, at)
	return err
}

func (p *replayer) lid(ctx context.Context, f wire.PushFact, at kiln.Stamp) error {
	refs := func(texts ...string) (all []tiles.BatchRef, err error) {
		for _, text := range texts {
			ref, err := tiles.ParseBatchRef("lid", text)
			if err != nil {
				return nil, err
			}
			all = append(all, ref)
		}
		return all, nil
	}
	if f.Kind == "lid_result" {
		var b lidResultBody
		if err := json.Unmarshal(f.Body, &b); err != nil {
			return err
		}
		of, err := refs(b.Body, b.Lid)
		if err != nil {
			return err
		}
		v := lid.Result{ID: f.ID, Load: b.Load, Pots: b.Pots, Form: b.Form,
			Maker: b.Maker, Seat: lid.Seat(b.Seat),
			SeatGlazed: b.SeatGlazed,
			Body:       of[0], Lid: of[1], Sat: lid.Outcomes(b.Counts), Losses: lid.Losses(b.Losses),
			Plays: lengths(b.Plays), Thrown: lengths(b.Thrown), By: b.By}
		if l := f.Found; l.LeastPlay != nil && l.MostPlay != nil && l.Bearing != nil {
			v.Limits = &lid.Limits{LeastPlay: tiles.Millimetre(*l.LeastPlay),
				MostPlay: tiles.Millimetre(*l.MostPlay),
				Bearing:  tiles.Millimetre(*l.Bearing)}
		}
		_, err = p.PutLidResult(ctx, v, at)
		return err
	}
	var b potBody
	m, err := p.edit(ctx, `SELECT rev FROM pot WHERE id = ?`, f.ID)
	if err = errors.Join(err, json.Unmarshal(f.Body, &b)); err != nil {
		return err
	}
	of, err := refs(b.Body, b.Lid)
	if err != nil {
		return err
	}
	card := lid.PotCard{ID: f.ID, Mark: b.Mark, Number: b.Number, Form: b.Form, Seat: lid.Seat(b.Seat),
		SeatGlazed: b.SeatGlazed,
		Collar:     lengths(b.Collar), Stage: tiles.Stage(b.Stage), Opening: tiles.Millimetre(b.Opening),
		Body: of[0], Lid: of[1], Set: tiles.Millimetre(b.Set), Measured: tiles.Millimetre(b.Measured),
		MadeOn: b.MadeOn, Note: b.Note}
	asText(&card.Together, b.Together)
	_, err = p.PutPot(ctx, card, m, at)
	return err
}

func asText[T ~string](into *T, text string) { *into = T(text) }

func lengths(list []float64) []tiles.Millimetre {
	out := make([]tiles.Millimetre, len(list))
	for i, v := range list {
		out[i] = tiles.Millimetre(v)
	}
	return out
}

// beside makes what people saw of a firing and what is known of a kiln.
func (p *replayer) beside(ctx context.Context, f wire.PushFact, at kiln.Stamp) (err error) {
	switch f.Kind {
	case "cone":
		var b coneBody
		if err = json.Unmarshal(f.Body, &b); err == nil {
			c := tiles.ConeSeen{ID: f.ID, Firing: kiln.FiringID(b.Firing), Cone: b.Cone, Series: b.Series,
				Shelf: b.Shelf, Seen: b.Seen, By: b.By}
			if b.Tilt != nil {
				c.Tilt, c.Tilted = *b.Tilt, true
			}
			_, err = p.PutCone(ctx, c, at)
		}
	case "note":
		var b noteBody
		if err = json.Unmarshal(f.Body, &b); err == nil {
			_, err = p.PutNote(ctx, tiles.Note{ID: f.ID, Firing: kiln.FiringID(b.Firing),
				Text: b.Text, Happened: b.At,
				Incident: b.Incident, By: b.By}, at)
		}
	case "tick":
		var b tickBody
		if err = json.Unmarshal(f.Body, &b); err == nil {
			_, err = p.PutTick(ctx, tiles.Tick{ID: f.ID, Subject: b.Subject, Item: b.Item,
				Done: b.Done, By: b.By}, at)
		}
	case "mark":
		var b markBody
		if err = json.Unmarshal(f.Body, &b); err == nil {
			_, err = p.PutKeepShut(ctx, tiles.KeepShut{ID: f.ID, Kiln: kiln.KilnID(b.Kiln),
				Mark:   kiln.Celsius(b.Mark),
				Reason: b.Reason, By: b.By}, at)
		}
	case "probe":
		var b probeBody
		var m usecase.Precondition
		m, err = p.edit(ctx, `SELECT rev FROM probe WHERE id = ?`, f.ID)
		if err = errors.Join(err, json.Unmarshal(f.Body, &b)); err == nil {
			_, err = p.PutProbe(ctx, tiles.ProbeLife{ID: f.ID, Kiln: kiln.KilnID(b.Kiln),
				Channel: kiln.ChannelID(b.Channel), Type: b.Type, Class: b.Class,
				Fitted: b.Fitted, Removed: b.Removed, Note: b.Note}, m, at)
		}
	}
	return err
}

// firing puts a firing down as it is now, with its curve, unless it stands here so.
func (p *replayer) firing(ctx context.Context, f wire.SentFiring, sent Sent) error {
	whole, err := codec.ReadSummary(f.Summary)
	if err != nil {
		return err
	}
	p.loads[f.ID] = whole.Load
	var over any
	if f.OverAt != nil {
		over = f.OverAt.UnixMilli()
	}
	var had int64
	err = p.tx.QueryRowContext(ctx, `SELECT revision FROM firing WHERE id = ?`, f.ID).Scan(&had)
	if err != nil && !errors.Is(err, sql.ErrNoRows) || had == f.Revision && f.Status != string(kiln.Running) {
		return err
	}
	var peak any // known once it is over
	if whole.Source = f.Source; f.Status != string(kiln.Running) {
		peak = peakOf(whole)
	}
	var row int64
	err = p.tx.QueryRowContext(ctx, `
		INSERT INTO firing (id, kiln, number, revision, status, source, began_ms, over_ms, trusted, heat_model, said_kind, said_atmosphere, said_status, said_note, summary, peak_c)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT (id) DO UPDATE SET kiln = excluded.kiln, number = excluded.number, revision = excluded.revision, status = excluded.status, source = excluded.source,
			began_ms = excluded.began_ms, over_ms = excluded.over_ms, trusted = excluded.trusted, heat_model = excluded.heat_model, said_kind = excluded.said_kind,
			said_atmosphere = excluded.said_atmosphere, said_status = excluded.said_status, said_note = excluded.said_note, summary = excluded.summary,
			peak_c = excluded.peak_c
		RETURNING row`,
		f.ID, f.Kiln, f.Number, f.Revision, f.Status, f.Source, f.BeganAt.UnixMilli(), over,
		f.TimesTrusted, f.HeatModel,
		orNull(f.SaidKind), orNull(f.SaidAtmosphere), orNull(f.SaidStatus), orNull(f.SaidNote), f.Summary,
		peak).Scan(&row)
	if err != nil {
		return err
	}
	curve, err := sent.Curve(ctx, f.ID)
	if err != nil {
		return err
	}
	for _, table := range []string{"run", "curve", "envelope"} {
		if _, err := p.tx.ExecContext(ctx, `DELETE FROM `+table+` WHERE firing = ?`, row); err != nil {
			return err
		}
	}
	if len(curve) == 0 {
		return nil
	}
	blocks, err := cutBlocks(curve)
	if err != nil {
		return err
	}
	if f.Status == string(kiln.Running) {
		for _, b := range blocks {
			samples, err := codec.Decode(b, kiln.KilnID(f.Kiln))
			if err != nil || len(samples) == 0 {
				return errors.Join(codec.ErrCoded, err)
			}
			if _, err := p.tx.ExecContext(ctx,
				`INSERT INTO run (firing, rows, sealed, data) VALUES (?, ?, 1, ?)`, row,
				len(samples), b); err != nil {
				return err
			}
		}
		return nil
	}
	if err := keepCurve(ctx, p.tx, row, blocks); err != nil {
		return err
	}
	return p.envelop(ctx, p.tx, row, whole, blocks)
}

// cutBlocks are the blocks of a curve that is one piece, the length before each.
func cutBlocks(data []byte) (blocks [][]byte, err error) {
	for len(data) > 0 {
		n, size := binary.Uvarint(data)
		if size <= 0 || n > uint64(len(data)-size) {
			return nil, fmt.Errorf("%w: it is cut short", codec.ErrCoded)
		}
		blocks, data = append(blocks, data[size:size+int(n)]), data[size+int(n):]
	}
	return blocks, nil
}
