package tables

import (
	"cmp"
	"context"
	"strings"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

var lidPots = lid.PotFilter{}

// What each table says of one row. A row that is there already comes here where something was done to it
// since, and is kept by the same words, which changes nothing but that.

func (t *tableTaker) clay(r *tableRow) keeper {
	c := tiles.Clay{ID: tiles.ClayID(r.text("clay")), Name: cmp.Or(r.text("name"), r.text("clay")),
		MakerCode: r.text("maker_code"), MaturesCone: r.text("matures_cone"),
		Stated: tiles.Ratio(r.number("stated_total_ratio")), StatedCone: r.text("stated_cone"),
		Grog: r.text("grog"), Note: r.text("note")}
	r.fault(c.Validate())
	t.clays[c.ID] = true
	b := wire.ClayBody{Name: c.Name, MakerCode: c.MakerCode, MaturesCone: c.MaturesCone,
		Stated: float64(c.Stated), StatedCone: c.StatedCone, Grog: c.Grog, Note: c.Note}
	return func(ctx context.Context, _ kiln.Stamp) error {
		_, err := t.Clays().KeepClay(ctx, string(c.ID), b)
		return err
	}
}

func (t *tableTaker) batch(r *tableRow) keeper {
	b := tiles.Batch{BatchRef: tiles.BatchRef{Clay: tiles.ClayID(r.text("clay")),
		Batch: tiles.BatchID(r.text("batch"))}, Kind: tiles.BatchKind(cmp.Or(r.text("kind"),
		string(tiles.Bought))),
		Stamp: r.text("stamp"), Arrived: r.text("arrived_on"), Open: r.raw("open") == "" ||
			r.yes("open"), Note: r.text("note")}
	var err error
	b.Parents, b.Shares, err = tiles.ParseParents("parents", strings.Fields(r.text("parents")))
	r.fault(err)
	r.fault(b.Validate())
	if !t.clays[b.Clay] {
		r.faults.Add("unknown-clay", "clay", "{1} is no clay here: take the table of clays in first",
			string(b.Clay))
	}
	t.batches[b.BatchRef] = b
	return func(ctx context.Context, now kiln.Stamp) error {
		_, err := t.Archive.PutBatch(ctx, b, usecase.Precondition{}, now)
		return err
	}
}

// ref reads a clay with its batch, and sees that it is there.
func (t *tableTaker) ref(r *tableRow, name string) tiles.BatchRef {
	ref, err := tiles.ParseBatchRef(name, r.text(name))
	r.fault(err)
	if _, ok := t.batches[ref]; !ok && ref != (tiles.BatchRef{}) && err == nil {
		r.faults.Add("unknown-batch", name, "{1} is no batch here: take the table of batches in first",
			ref.String())
	}
	return ref
}

// kilnKnown sees that a kiln is in the settings.
func (t *tableTaker) kilnKnown(r *tableRow) kiln.KilnID {
	k := kiln.KilnID(r.text("kiln"))
	if _, ok := t.KilnNamed(k); !ok && len(t.KilnNames()) > 0 {
		r.faults.Add("unknown-kiln", "kiln", "{1} is not in the settings", string(k))
	}
	return k
}

// firing takes in what was logged by hand; the others have a curve, which does not stand in this table.
func (t *tableTaker) firing(r *tableRow) keeper {
	id := kiln.FiringID(r.text("id"))
	if source := r.text("source"); source != "hand" {
		r.left = message.New("was recorded, and its curve does not stand here: lidwright carry or lidwright firings import brings it")
		return nil
	}
	t.kilnKnown(r)
	began, ended := r.moment("started_at"), r.moment("ended_at")
	trusted := r.yes("clock_trusted")
	b := wire.FiringBody{Source: "hand", Kiln: r.text("kiln"), Kind: r.text("kind"),
		Atmosphere: r.text("atmosphere"), Status: r.text("status"), Note: r.text("note"),
		IntendedCone: r.text("intended_cone"), Overlaps: true}
	if !began.IsZero() {
		b.BeganAt = began.UTC().Format("2006-01-02T15:04:05Z07:00")
	}
	if !ended.IsZero() && (trusted || began.IsZero()) {
		b.EndedAt = ended.UTC().Format("2006-01-02T15:04:05Z07:00")
	}
	if cone := r.text("sitter_cone"); cone != "" {
		b.Sitter = &wire.SitterBody{Cone: cone, Series: r.text("sitter_series")}
		if at := r.moment("sitter_dropped_at"); !at.IsZero() {
			b.Sitter.DroppedAt = at.UTC().Format("2006-01-02T15:04:05Z07:00")
		}
	}
	if typed := strings.Fields(r.text("typed")); len(typed) > 0 {
		b.Typed = &wire.TypedBody{}
		for _, point := range typed {
			h, c, _ := strings.Cut(point, "=")
			hours, okH := r.table.Number(h)
			celsius, okC := r.table.Number(c)
			if !okH || !okC {
				r.faults.Add(tiles.UnknownValue, "typed", "{1} is no hour and temperature such as 3.5=600",
					point)
			}
			b.Typed.Hours, b.Typed.TemperatureC = append(b.Typed.Hours, hours), append(b.Typed.TemperatureC,
				celsius)
		}
	}
	var f tiles.Faults
	f.ID("id", (*string)(&id))
	r.fault(f.Err())
	r.fault(usecase.ValidFiring(&b))
	h, samples, err := t.Firings().ByHand(id, b)
	if err != nil {
		r.fault(err)
		return nil
	}
	if !trusted && ended.After(h.Began.Wall) {
		h.Length = ended.Sub(h.Began.Wall)
		h.Over.Since, h.Over.Wall = h.Length, ended
	}
	h.Began.Trusted, h.Over.Trusted = trusted, trusted
	t.firings[id] = h.Firing
	return func(ctx context.Context, now kiln.Stamp) error {
		_, err := t.Firings().KeepHand(ctx, h, samples, nil, b, usecase.Precondition{}, now)
		return err
	}
}

// firingOf sees that the firing that a row tells of is there.
func (t *tableTaker) firingOf(r *tableRow) kiln.FiringID {
	id := kiln.FiringID(r.text("firing"))
	if _, ok := t.firings[id]; !ok && id != "" {
		r.left = message.New("is of a firing that is not here")
	}
	return id
}

func (t *tableTaker) load(r *tableRow) keeper {
	l := tiles.Load{ID: r.text("id"), Kiln: kiln.KilnID(r.text("kiln")), Kind: kiln.Kind(r.text("kind")),
		Atmosphere: kiln.Atmosphere(cmp.Or(r.text("atmosphere"), "unknown")),
		Firing:     t.firingOf(r), PackedBy: r.text("packed_by"), Note: r.text("note"),
		Stated: kiln.NoTemperature()}
	if v := r.number("stated_heat_work_c"); v != 0 {
		l.Stated = kiln.Celsius(v)
	}
	opened, unpacked := r.moment("opened_at"), r.moment("unpacked_at")
	if l.Kiln != "" {
		r.fault(l.Validate())
	} else if !l.Stated.Known() { // one of a sheet of bars has no kiln
		r.faults.Add(tiles.Missing, "kiln", "is needed")
	}
	if _, ok := t.KilnNamed(l.Kiln); !ok && l.Firing == "" && !l.Stated.Known() && unpacked.IsZero() {
		r.faults.Add("unknown-kiln", "kiln", "{1} is not in the settings", string(l.Kiln))
	}
	was, there := t.loads[l.ID]
	return func(ctx context.Context, now kiln.Stamp) error {
		if !there {
			if _, err := t.Archive.PutLoad(ctx, l, usecase.Precondition{},
				stampAt(opened, true, now)); err != nil {
				return err
			}
		}
		if unpacked.IsZero() || !was.Unpacked.IsZero() {
			return nil
		}
		return t.Archive.CloseLoad(ctx, l.ID, unpacked, "", stampAt(unpacked, true, now))
	}
}

// loadBar puts bars into their loads, all of a load at once.
func (t *tableTaker) loadBar(r *tableRow) keeper {
	code, err := t.Codes.Parse("bar", r.text("bar"))
	r.fault(err)
	load, ok := t.loads[r.text("load")]
	switch {
	case !ok:
		r.left = message.New("is of a load that is not here")
	case err == nil && !t.bars[code]:
		r.faults.Add("unknown-bar", "bar", "{1} is no bar here: take the table of bars in first",
			string(code))
	}
	if !ok || len(r.bad()) > 0 {
		return nil
	}
	p := t.places[load.ID]
	first := p == nil
	if first {
		p = &placing{load: load.Load}
		t.places[load.ID] = p
	}
	p.bars = append(p.bars, tiles.Placed{Bar: code, Shelf: r.text("shelf")})
	return func(ctx context.Context, now kiln.Stamp) error {
		if !first {
			return nil // kept with the first
		}
		l := p.load
		l.Bars = append(l.Bars, p.bars...)
		_, err := t.Archive.PutLoad(ctx, l, usecase.Precondition{}, now)
		return err
	}
}

func (t *tableTaker) cone(r *tableRow) keeper {
	c := tiles.ConeSeen{ID: r.text("id"), Firing: t.firingOf(r), Cone: r.text("cone"),
		Series: r.text("series"),
		Shelf:  r.text("shelf"), Seen: r.text("seen"), By: r.text("by")}
	if tilt := r.text("tilt_deg"); tilt != "" {
		c.Tilt, c.Tilted = r.number("tilt_deg"), true
	}
	r.fault(c.Validate())
	if _, err := heatwork.MainConeScale().ReadCone(c.Reading()); err != nil {
		r.fault(&tiles.Invalid{Field: "cone", Why: message.Of(err), Type: tiles.UnknownValue})
	}
	strike := r.strike(c.ID, t.Archive.StrikeCone)
	return func(ctx context.Context, now kiln.Stamp) error {
		if _, err := t.Archive.PutCone(ctx, c, r.stamp(now)); err != nil {
			return err
		}
		return strike(ctx, now)
	}
}

func (t *tableTaker) note(r *tableRow) keeper {
	n := tiles.Note{ID: r.text("id"), Firing: t.firingOf(r), Text: r.text("text"),
		Happened: r.text("happened_at"), Incident: r.yes("incident"), By: r.text("by")}
	r.fault(n.Validate())
	strike := r.strike(n.ID, t.Archive.StrikeNote)
	return func(ctx context.Context, now kiln.Stamp) error {
		if _, err := t.Archive.PutNote(ctx, n, r.stamp(now)); err != nil {
			return err
		}
		return strike(ctx, now)
	}
}

func (t *tableTaker) probe(r *tableRow) keeper {
	p := tiles.ProbeLife{ID: r.text("id"), Kiln: t.kilnKnown(r), Channel: kiln.ChannelID(r.text("channel")),
		Type: r.text("type"), Class: r.whole("class"),
		Fitted: r.text("fitted_on"), Removed: r.text("removed_on"), Note: r.text("note")}
	r.fault(p.Validate())
	return func(ctx context.Context, now kiln.Stamp) error {
		_, err := t.Archive.PutProbe(ctx, p, usecase.Precondition{}, now)
		return err
	}
}

// keepShut takes in what a kiln was kept shut above. One that is older than the one in force would take its
// place, and is left out.
func (t *tableTaker) keepShut(r *tableRow) keeper {
	m := tiles.KeepShut{ID: r.text("id"), Kiln: t.kilnKnown(r),
		Mark:   kiln.Celsius(r.number("keep_shut_above_c")),
		Reason: r.text("keep_shut_reason"), By: r.text("by")}
	r.fault(m.Validate())
	at := r.moment("at")
	inForce, err := t.Archive.KeepShuts(context.Background(), m.Kiln)
	r.fault(err)
	if len(inForce) > 0 && !at.After(inForce[0].At) {
		r.left = message.New("is older than the one in force")
	}
	return func(ctx context.Context, now kiln.Stamp) error {
		k, err := t.Archive.PutKeepShut(ctx, m, r.stamp(now))
		if err == nil && k.New {
			t.Loads().TellKiln(ctx, detect.Fact{Kiln: m.Kiln, What: detect.MarkSet, At: now, Mark: m.Mark})
		}
		return err
	}
}

func (t *tableTaker) pot(r *tableRow) keeper {
	p := lid.PotCard{ID: r.text("id"), Mark: r.text("mark"), Number: r.text("number"), Form: r.text("form"),
		Seat: lid.Seat(cmp.Or(r.text("seat"), string(lid.Inset))), SeatGlazed: r.yes("seat_glazed"),
		Together: shrinkage.Together(r.text("together")),
		Collar:   usecase.FromMillimetres(r.numbers("collar_mm")),
		Stage:    tiles.Stage(cmp.Or(r.text("collar_stage"), string(tiles.Wet))),
		Opening:  tiles.Millimetre(r.number("opening_mm")), Body: t.ref(r, "body"), Lid: t.ref(r, "lid"),
		Set: tiles.Millimetre(r.number("set_mm")), Measured: tiles.Millimetre(r.number("lid_mm")),
		MadeOn: r.text("made_on"), Note: r.text("note")}
	r.fault(p.Validate())
	t.pots[p.ID] = true
	return func(ctx context.Context, now kiln.Stamp) error {
		_, err := t.Archive.PutPot(ctx, p, usecase.Precondition{}, now)
		return err
	}
}

func (t *tableTaker) lidResult(r *tableRow) keeper {
	v := lid.Result{ID: r.text("id"), Load: r.text("load"), Pots: strings.Fields(r.text("pots")),
		Form: r.text("form"), Maker: r.text("maker"),
		Seat:       lid.Seat(cmp.Or(r.text("seat"), string(lid.Inset))),
		SeatGlazed: r.yes("seat_glazed"), Body: t.ref(r, "body"), Lid: t.ref(r, "lid"),
		Sat: lid.Outcomes{TooBig: r.whole("too_big"), Tight: r.whole("tight"), Good: r.whole("good"),
			Loose: r.whole("loose"), DropsIn: r.whole("drops_in"), NotLookedAt: r.whole("not_looked_at")},
		Losses: lid.Losses{Glued: r.whole("glued"), Rocks: r.whole("rocks"), Chipped: r.whole("chipped"),
			Dropped: r.whole("dropped")},
		Plays:  usecase.FromMillimetres(r.numbers("plays_mm")),
		Thrown: usecase.FromMillimetres(r.numbers("thrown_mm")), By: r.text("by")}
	if v.Lid == (tiles.BatchRef{}) {
		v.Lid = v.Body
	}
	if r.raw("least_play_mm") != "" {
		v.Limits = &lid.Limits{LeastPlay: tiles.Millimetre(r.number("least_play_mm")),
			MostPlay: tiles.Millimetre(r.number("most_play_mm")),
			Bearing:  tiles.Millimetre(r.number("bearing_mm"))}
	}
	r.fault(v.Validate())
	if _, ok := t.loads[v.Load]; !ok && v.Load != "" {
		r.left = message.New("is of a load that is not here")
	}
	for _, p := range v.Pots {
		if !t.pots[p] {
			r.faults.Add("unknown-pot", "pots", "{1} is no pot card here: take the table of pots in first", p)
		}
	}
	strike := r.strike(v.ID, t.Archive.StrikeLidResult)
	return func(ctx context.Context, now kiln.Stamp) error {
		if _, err := t.Archive.PutLidResult(ctx, v, r.stamp(now)); err != nil {
			return err
		}
		return strike(ctx, now)
	}
}
