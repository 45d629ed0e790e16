package api

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"lidwright/api/caution"
	"lidwright/api/chart"
	"lidwright/api/pages"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/board"
	"lidwright/tiles/lid"
)

// asking is what the pages share that ask how wide to throw lids: their forms send the API's own
// parameters, so that a link to an answer works anywhere.
type asking struct {
	page
	Q          url.Values
	Clays      []wire.ClayJSON
	Stages     []string
	Seats      []lid.Seat
	Kinds      []string
	Units      []tiles.LengthUnit
	Unit       tiles.LengthUnit // of bare lengths on this page
	Show       tiles.LengthUnit // of the answer
	CollarName string           // by seat
	Rates      bool             // rates are stated
	RateFields []askedField
	MoreFields []askedField
	Caution    []message.Message
}

// askedField is one parameter of a form and what stands above it.
type askedField struct{ Name, Label string }

var rateFields, moreFields = fieldsOf(true), fieldsOf(false)

// asking fills in what a form shows. The error is the store's.
func (s lidRoutes) asking(ctx context.Context, q url.Values) (asking, error) {
	clays, err := s.Clays().List(ctx)
	a := asking{page: s.page(ctx, "lid"), Q: q, Clays: clays, Stages: stageWords(), Seats: lid.Seats(),
		Kinds: []string{"glaze", "once", "bisque", "other"},
		Units: []tiles.LengthUnit{tiles.MM, tiles.CM, tiles.Inch, tiles.Inch32nd},
		Unit:  s.fieldUnit(ctx, q), Show: s.unitOf(ctx),
		RateFields: rateFields, MoreFields: moreFields}
	if u := tiles.LengthUnit(q.Get("unit")); slices.Contains(a.Units, u) {
		a.Show = u
	}
	for _, f := range rateFields {
		a.Rates = a.Rates || q.Get(f.Name) != ""
	}
	a.CollarName = lid.Inset.CollarName()
	if seat := lid.Seat(q.Get("seat")); slices.Contains(lid.Seats(), seat) {
		a.CollarName = seat.CollarName()
	}
	return a, err
}

// Unusual reports whether the form is asked whether a size is right.
func (a asking) Unusual() bool { return a.Error != nil && a.Error.Type == "/problems/unusual-size" }

// Sure is the query that answers though a size was asked about, Wide the one that gives what was held back.
func (a asking) Sure() string { return a.accept("unusual", "wide") }

// Wide is the query with a width given that would be held back.
func (a asking) Wide() string { return a.accept("wide", "unusual") }

// accept is the query with accept set to word; to all where the other was accepted before.
func (a asking) accept(word, other string) string {
	q := maps.Clone(a.Q)
	if was := q.Get("accept"); was == other || was == "all" {
		word = "all"
	}
	q.Set("accept", word)
	return q.Encode()
}

func (a *asking) caution(ids []string) {
	for _, id := range ids {
		if t := CautionOf(id); !t.IsZero() {
			a.Caution = append(a.Caution, t)
		}
	}
}

// clay is the clay that a form asks about: as it was said, else the one that was worked with last, but where
// rates are stated or a batch is named, which no clay may be guessed for.
func (a asking) clay(q url.Values) string {
	if q.Has("clay") || a.Rates || len(a.Clays) == 0 || anyGiven(q, "batch", "lid_batch") {
		return q.Get("clay")
	}
	return a.Clays[0].Clay
}

// lidAsking is the lid page as it asks: what was typed, the drawing, the fields.
func lidAsking(q url.Values, a asking) (pages.LidPage, chart.Seat) {
	d := pages.LidPage{Frame: a.Frame, Q: shownAs(q, a.Unit), Unit: pages.Word(a.Unit), Stages: a.Stages,
		OwnRates: a.Rates,
		Rates:    lidFields(a.RateFields), Fine: lidFields(a.MoreFields)}
	for _, v := range a.Seats {
		d.Seats = append(d.Seats, pages.Word(v))
	}
	for _, u := range a.Units {
		d.Units = append(d.Units, pages.Word(u))
	}
	for _, c := range a.Clays {
		d.Clays = append(d.Clays, pages.LidClay{ID: c.Clay, Name: c.Name})
	}
	seat := chart.Seat{Seat: lid.Inset}
	if v := lid.Seat(q.Get("seat")); slices.Contains(lid.Seats(), v) {
		seat.Seat = v
	}
	d.Seat, d.LidName = pages.Word(seat.Seat), shortName(seat.Seat.LidName())
	d.Clay = a.clay(q)
	d.LidAt = seat.At("lid")
	for _, size := range []pages.LidSize{{Name: "collar", Label: shortName(a.CollarName)},
		{Name: "opening", Label: "ledge opening"}} {
		if size.At = seat.At(string(size.Name)); size.At == 0 {
			continue
		}
		if size.Name == "opening" && seat.Seat == lid.Over {
			size.Label = "mouth"
		}
		d.Sizes = append(d.Sizes, size)
	}
	for _, name := range sortedKeys(q) {
		if slices.Contains(lidCarried, name) && len(given(q[name])) > 0 {
			d.Carry = append(d.Carry, pages.Hidden{Name: name, Value: q.Get(name)})
		}
	}
	return d, seat
}

// lidCarried are parameters of a link to the page that no field of it has.
var lidCarried = []string{"atmosphere", "heat_work_c", "kiln", "rim_checked", "lid_leather_ratio"}

// shortName is the name of a width without where it is taken.
func shortName(name string) string {
	name, _, _ = strings.Cut(name, ",")
	return name
}

func lidFields(fields []askedField) (all []pages.LidField) {
	for _, f := range fields {
		all = append(all, pages.LidField(f))
	}
	return all
}

// shownAs is what was typed with lengths in the unit of the fields bare: 104.5mm in a field of mm is 104.5.
// What was given as a number of mm stands in its field with its unit.
func shownAs(q url.Values, unit tiles.LengthUnit) url.Values {
	shown := url.Values{}
	for name, all := range q {
		for _, v := range all {
			plain, mm := strings.CutSuffix(name, "_mm")
			if v = strings.TrimSpace(v); mm && v != "" {
				v += " mm"
			}
			if bare, ok := strings.CutSuffix(v, string(unit)); ok && unit != tiles.Inch32nd {
				v = strings.TrimSpace(bare)
			}
			shown.Add(plain, v)
		}
	}
	return shown
}

// cardOf is the page of a pot's card by its id, or of those found by what else was written of it.
func (s lidRoutes) cardOf(ctx context.Context, pot string) string {
	if _, err := s.Archive.Pot(ctx, pot); err == nil {
		return "/pot/" + url.PathEscape(pot)
	}
	return "/pots?" + url.Values{"find": {pot}}.Encode()
}

// lidPage asks the lid question with the API's own parameters; a pot is asked for on its card.
func (s lidRoutes) lidPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	// its card asks for the lid, with what is known of it
	if pot := strings.TrimSpace(q.Get("pot")); pot != "" {
		http.Redirect(w, r, s.cardOf(r.Context(), pot), http.StatusSeeOther)
		return nil
	}
	just := q.Get("just") != ""
	q.Del("just")
	form, err := s.asking(r.Context(), q)
	if err != nil {
		return err
	}
	d, seat := lidAsking(q, form)
	speak := form.Frame.Speak
	speak.Unit = string(form.Show)
	l := s.pages.Locale(speak)
	seat.Says = d.Usual(l)
	d.Drawing = pages.Drawn(seat.SVG())
	if !anyGiven(q, "collar", "collar_mm", "lid", "lid_mm") && !q.Has("collar") {
		return s.show(w, d)
	}
	if !q.Has("clay") && d.Clay != "" { // a link that names none: the one worked with last
		q.Set("clay", d.Clay)
	}
	a, j, err := s.askLid(r.Context(), q)
	if err != nil {
		p := s.troubles.Problem(r.Context(), err)
		s.lidFaults(&d, form, p)
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.WriteHeader(p.Status)
		return s.show(w, d)
	}
	answer := lidWords(l, form, a, j)
	d.Answer = &answer
	var heeded []message.Message
	for _, id := range j.Cautions {
		if slices.Contains([]string{lid.WillFuse, lid.WetGrinding, lid.EyeProtection}, id) {
			heeded = append(heeded, CautionOf(id))
		} else if says := CautionOf(id); !says.IsZero() {
			d.Answer.Notes = append(d.Answer.Notes, says)
		}
	}
	d.Cautions = pages.Cautions(heeded)
	if just {
		return s.show(w, pages.LidNumberPage{Frame: d.Frame, Answer: *d.Answer, Cautions: d.Cautions})
	}
	seat = seatOf(a)
	seat.Says = answer.Written
	d.Drawing = pages.Drawn(seat.SVG())
	return s.show(w, d)
}

// seatOf draws an answered question: widths to scale as fired.
func seatOf(a lid.Answer) chart.Seat {
	d := chart.Seat{Seat: a.Asked.Seat, Collar: a.Fired.Collar, Lid: a.Fired.Lid}
	if len(a.Asked.Collar) > 0 { // the opening was measured with the collar: it is to its scale
		d.Opening = a.Fired.Collar * a.Asked.Opening / slices.Min(a.Asked.Collar)
	}
	return d
}

// labelOf is what stands above a field of a page: a parameter's own label, or the one that the page gives it.
func labelOf(name string, ofPage func(name string) string) string {
	if i := slices.IndexFunc(lidTable, func(p Parameter) bool { return p.Name == name }); i >= 0 &&
		lidTable[i].Label != "" {
		return lidTable[i].Label
	}
	return cmp.Or(ofPage(name), strings.ReplaceAll(name, "_", " "))
}

// lidFaults puts what is wrong beside its fields, with what was probably meant.
func (s lidRoutes) lidFaults(d *pages.LidPage, form asking, p *web.Problem) {
	form.Error = p
	if len(p.Fields) == 0 {
		d.Trouble = p.Detail
	}
	for _, f := range p.Fields {
		name := strings.TrimSuffix(f.Name, "_mm")
		label := labelOf(name, pages.LidLabel)
		switch name {
		case "collar":
			label = shortName(form.CollarName)
		case "opening":
			label = "ledge opening"
		}
		for _, size := range d.Sizes { // as the drawing calls it
			if string(size.Name) == name {
				label = string(size.Label)
			}
		}
		d.Wrong = append(d.Wrong, pages.LidFault{Field: pages.Word(name), Label: label, Says: f.Says})
	}
	if !form.Unusual() {
		return
	}
	d.Sure = form.Sure()
	for _, f := range p.Fields { // one size in doubt: what it may have been
		name := strings.TrimSuffix(f.Name, "_mm")
		texts := given(d.Q[name])
		if len(p.Fields) != 1 || len(texts) != 1 {
			return
		}
		l, err := tiles.ParseLength(name, texts[0], form.Unit)
		if err != nil {
			return
		}
		for _, meant := range lid.Seat(d.Seat).Meant(name, l.Millimetre(), form.Unit) {
			q := maps.Clone(form.Q)
			q.Del(name + "_mm")
			q.Set(name, meant)
			d.Meant = append(d.Meant, pages.LidMeant{Says: meant, Query: q.Encode()})
		}
	}
}

var doubtWords = map[string]string{"piece": "piece to piece", "position": "place in the kiln",
	"reading": "reading the callipers", "throwing": "throwing to them",
	"lid_difference": "how lids differ from bodies", "rate": "the shrink rate",
	"gone": "the drying already gone"}

// lidWords is an answer as one person reads it.
func lidWords(l pages.Locale, form asking, a lid.Answer, j wire.Lid) pages.LidAnswer {
	unit := form.Show
	v := pages.LidAnswer{Question: pages.Word(a.Question), Sets: pages.Word(a.Asked.Seat.LidName()),
		HeldBack: l.Tell(a.HeldBack), Fits: percentOf(a.FitChance), Query: form.Q.Encode(),
		Unit: string(unit), NotOver: l.Bare(float64(a.NotOver)), NotUnder: l.Bare(float64(a.NotUnder)),
		Play:    gapSays(l, a.Fired.Play),
		Likely:  l.T("{1} to {2}", gapSays(l, a.Fired.Likely[0]), gapSays(l, a.Fired.Likely[1])),
		Wide:    form.Wide(),
		LeftOut: j.LeftOut, Written: l.Tell(a.SectionSays(unit))}
	if unit == tiles.Inch32nd {
		v.Unit = "in"
	}
	if a.Question == lid.AskGallery {
		v.Sets = pages.Word(a.Asked.Seat.CollarName())
	}
	other := tiles.Inch32nd
	if unit == tiles.Inch || unit == tiles.Inch32nd {
		other = tiles.MM
	}
	set, chances := a.Set, a.Chances
	if a.WhatIf != nil {
		v.WhatIf, set, chances = true, a.WhatIf.Width, a.WhatIf.Chances
	}
	switch {
	case a.Question == lid.AskGap:
		v.Number = v.Play
	case !math.IsNaN(float64(set)):
		v.Number, v.Other = l.Bare(float64(set)), l.T("about {1}", other.Format(set))
	}
	if chances != (lid.Chances{}) {
		c := wholePercent(chances)
		v.Chances, v.Fits = &c, percentOf(chances.Fits)
		if a.Question != lid.AskGap {
			v.Less, v.More = form.trying(a, set, -1), form.trying(a, set, 1)
		}
	}
	for _, sp := range a.Spread {
		if sp.Lids > 1 {
			v.Spread = append(v.Spread, spreadSays(l, sp))
		}
	}
	if c := a.AtCheck; c != nil {
		v.Check = l.T("At {1} the play to expect is {2}, likely {3} to {4}.", c.Stage,
			unit.Of(c.Play), unit.Of(c.Likely[0]), unit.Of(c.Likely[1]))
		if c.Wide {
			v.CheckLittle = l.T(checkTellsLittle)
		}
	}
	if a.Trim != nil && a.Asked.LidNow != 0 {
		v.Sets = "lid, trimmed at leather-hard"
	}
	v.Steps, v.Wheel, v.Why = lidSteps(l, a, unit), lidWheel(l, a), lidWhy(a, j, unit)
	v.Asked, v.Learned, v.Card = lidAsked(l, a, j), lidLearned(l, a), potQuery(a)
	return v
}

// wholePercent are chances in whole per cent that add to 100; the one in the middle is rounded as it is
// anywhere.
func wholePercent(c lid.Chances) pages.LidChances {
	fits, tight := int(math.Round(100*c.Fits)), int(math.Round(100*c.TooTight))
	tight = min(tight, 100-fits)
	return pages.LidChances{TooTight: tight, Fits: fits, Rattles: 100 - fits - tight}
}

// trying is the query that tries the width some steps on.
func (a asking) trying(answer lid.Answer, from tiles.Millimetre, steps float64) string {
	step := *answer.Asked.Step
	if step == 0 {
		step = 0.5
	}
	q := maps.Clone(a.Q)
	q.Del("try")
	q.Set("try_mm", strconv.FormatFloat(float64(from)+steps*float64(step), 'f', -1, 64))
	return q.Encode()
}

// spreadSays is what some lids of one or more sizes come to.
func spreadSays(l pages.Locale, sp lid.Spares) string {
	var sizes []string
	for _, size := range slices.Compact(slices.Clone(sp.Sizes)) {
		sizes = append(sizes, l.Bare(float64(size)))
	}
	if sp.Lids == 2 {
		return l.T("Two lids of {1}: {2} that one fits.", strings.Join(sizes, ", "), percentOf(sp.FitChance))
	}
	return l.T("{1} lids of {2}: {3} that one fits.", sp.Lids, strings.Join(sizes, ", "),
		percentOf(sp.FitChance))
}

// gapSays is a gap of a lid, to 0.1 mm: no more of it can be told.
func gapSays(l pages.Locale, mm tiles.Millimetre) string {
	if l.Unit == string(tiles.MM) {
		return l.Decimal(float64(mm), 1)
	}
	return l.Bare(float64(mm))
}

// lidWheel are the widths in the order of the work.
func lidWheel(l pages.Locale, a lid.Answer) (rows []pages.WheelRow) {
	bare := func(v tiles.Millimetre) string { return l.Bare(float64(v)) }
	stage := func(s tiles.Stage) string { return l.Say(string(s)) }
	q := a.Asked
	for i, c := range q.Collar {
		row := pages.WheelRow{Name: l.Say(shortName(q.Seat.CollarName())),
			Under: l.T("as measured, {1}", stage(q.CollarStage)), Figure: bare(c)}
		if i > 0 {
			row.Name = l.T("in another direction")
		}
		rows = append(rows, row)
	}
	if q.Opening != 0 {
		rows = append(rows, pages.WheelRow{Name: l.T("ledge opening"),
			Under: l.T("as measured, {1}", stage(q.CollarStage)), Figure: bare(q.Opening)})
	}
	if a.Bowl != nil {
		rows = append(rows, pages.WheelRow{Name: l.T("bowl before its rim is turned out"),
			Under: l.T("learned from {1} lids", a.Bowl.Pairs), Figure: bare(a.Bowl.Before)})
	}
	switch {
	case a.Question == lid.AskGap:
		rows = append(rows, pages.WheelRow{Name: l.T("lid at hand"), Under: stage(q.LidStage),
			Figure: bare(q.Lid), Main: true})
	case !math.IsNaN(float64(a.Set)):
		name := l.T("width to throw")
		if a.Question == lid.AskGallery {
			name = l.T("gallery to throw")
		} else if q.LidNow != 0 {
			name = l.T("trim to")
		}
		rows = append(rows, pages.WheelRow{Name: name,
			Under:  l.T("not over {1} · not under {2}", bare(a.NotOver), bare(a.NotUnder)),
			Figure: bare(a.Set), Main: true})
	}
	for _, p := range a.Also {
		limit, says := p.NotOver, l.T("not over")
		if math.IsNaN(float64(limit)) {
			limit, says = p.NotUnder, l.T("not under")
		}
		rows = append(rows, pages.WheelRow{Name: l.Say(strings.ReplaceAll(p.Part, "_", " ")), Under: says,
			Figure: bare(limit)})
	}
	if t := a.Trim; t != nil && q.LidNow == 0 && !math.IsNaN(float64(t.To)) {
		rows = append(rows, pages.WheelRow{Name: l.T("at leather-hard, trim to"), Figure: bare(t.To)})
	}
	if a.Question != lid.AskGap {
		rows = append(rows, pages.WheelRow{Name: l.T("gap when fired, across"),
			Under: l.T("likely {1}", l.T("{1} to {2}", gapSays(l, a.Fired.Likely[0]),
				gapSays(l, a.Fired.Likely[1]))), Figure: gapSays(l, a.Fired.Play)})
	}
	return rows
}

// lidAsked is the question in one sentence, its parts said.
func lidAsked(l pages.Locale, a lid.Answer, j wire.Lid) []string {
	q := a.Asked
	parts := []string{l.Say(strings.ReplaceAll(string(q.Seat), "_", " "))}
	if len(q.Collar) > 0 {
		parts = append(parts, l.Bare(float64(slices.Min(q.Collar)))+" "+l.Say(string(q.CollarStage)))
	}
	if q.Opening != 0 {
		parts = append(parts, l.T("ledge {1}", l.Bare(float64(q.Opening))))
	}
	if q.SeatGlazed {
		parts = append(parts, l.T("rim glazed"))
	}
	if j.Asked.Body != nil {
		parts = append(parts, *j.Asked.Body)
	} else {
		parts = append(parts, l.T("my own rates"))
	}
	if j.Asked.Cone != nil && j.Asked.Kiln != nil {
		parts = append(parts, l.T("{1} in {2}, cone {3}", l.Say(j.Asked.Kind), *j.Asked.Kiln, *j.Asked.Cone))
	} else if j.Asked.Cone != nil {
		parts = append(parts, l.T("{1}, cone {2}", l.Say(j.Asked.Kind), *j.Asked.Cone))
	}
	return parts
}

// lidLearned is what lids that were looked at have moved, as a sentence without a minus sign.
func lidLearned(l pages.Locale, a lid.Answer) string {
	p := a.LidDifference
	moved := math.Abs(float64(a.Set) * float64(p.Mean) / 100)
	if p.Fits == 0 || !(moved >= 0.05) {
		return ""
	}
	share := l.Decimal(math.Abs(float64(p.Mean)), 1)
	if p.Mean > 0 {
		return l.T("Your lids shrink {1} % more than your pots, {2} lids looked at: this width is {3} wider for it.", share, p.Fits, l.Length(moved))
	}
	return l.T("Your lids shrink {1} % less than your pots, {2} lids looked at: this width is {3} narrower for it.", share, p.Fits, l.Length(moved))
}

// potQuery fills in a new pot card with what was asked and answered; empty where that is no pot of a clay.
func potQuery(a lid.Answer) string {
	q := a.Asked
	if a.Question != lid.AskWidth || q.Body.Clay == "" || q.CollarStage == tiles.Fired ||
		math.IsNaN(float64(a.Set)) {
		return ""
	}
	card := url.Values{"seat": {string(q.Seat)}, "body": {string(q.Body.Clay)}, "collar": {inMM(q.Collar[0])},
		"collar_stage": {string(q.CollarStage)},
		"set":          {inMM(a.Set)}, "form": {q.Form}, "mark": {q.Maker}}
	if q.Opening != 0 {
		card.Set("opening", inMM(q.Opening))
	}
	if q.SeatGlazed {
		card.Set("seat_glazed", "yes")
	}
	return card.Encode()
}

// lidWhy is what an answer rests on, by name.
func lidWhy(a lid.Answer, j wire.Lid, unit tiles.LengthUnit) (rows []pages.LidReason) {
	why := func(name string, says message.Message) {
		if !says.IsZero() {
			rows = append(rows, pages.LidReason{Name: name, Says: says})
		}
	}
	why("trust", message.New("{1}: {2}", message.Word(a.Trust.Words()), a.TrustWhy))
	why("for", j.For)
	if j.Asked.Cone != nil {
		why("firing", message.New("{1}, cone {2} (heat work {3})", message.Word(j.Asked.Kind), *j.Asked.Cone,
			kiln.Celsius(*j.Asked.HeatWorkC)))
	}
	fired := message.New("gallery {1}, lid {2}, play {3}, likely {4} to {5}", unit.Of(a.Fired.Collar),
		unit.Of(a.Fired.Lid), unit.Of(a.Fired.Play),
		unit.Of(a.Fired.Likely[0]), unit.Of(a.Fired.Likely[1]))
	if !math.IsNaN(float64(a.Fired.LeastBearing)) {
		fired = message.Join(", ", fired, message.New("bearing {1} when pushed to one side",
			unit.Of(a.Fired.LeastBearing)))
	}
	why("fired", fired)
	why("limits", message.Join("; ", message.New("over: {1}", a.LimitsBy[1].In(unit)),
		message.New("under: {1}", a.LimitsBy[0].In(unit))))
	if !math.IsNaN(float64(a.OutOfRound)) {
		why("out of round", message.New("{1} between the directions", unit.Of(a.OutOfRound)))
	}
	one := func(v tiles.LogPercent) message.Number { return message.Number{Value: float64(v), Places: 1} }
	if p := a.LidDifference; p.SD > 0 {
		why("lids less bodies", message.New("{1} points, likely {2} to {3} ({4} lids looked at)", one(p.Mean),
			one(p.Low), one(p.High), p.Fits))
	}
	why("accuracy", message.New("reading {1}, throwing {2}, one sd each ({3})", unit.Of(a.MeasureSD),
		unit.Of(*a.Asked.ThrowSD),
		message.Word(a.Asked.Accuracy)))
	if j.AnswersHeldOf > 0 {
		why("our score", message.New("our ranges held {1} times of {2}",
			message.Number{Value: *j.AnswersHeld * float64(j.AnswersHeldOf)}, j.AnswersHeldOf))
	}
	var doubts, better []message.Message
	for _, d := range a.Doubt.Causes() {
		if d.SD >= 0.005 {
			doubts = append(doubts, message.New("{1} {2}", message.Word(doubtWords[d.Cause]), unit.Of(d.SD)))
		}
	}
	why("doubt, one sd", message.Join("; ", doubts...))
	for _, s := range a.Sharpen {
		better = append(better, message.New("{1}: {2}", s.Does, percentOf(s.FitChance)))
	}
	why("what would help most", message.Join("; ", better...))
	return rows
}

// lidSteps are what to do beside throwing to the width.
func lidSteps(l pages.Locale, a lid.Answer, unit tiles.LengthUnit) (steps []string) {
	if a.Trim != nil {
		steps = append(steps, l.Tell(a.Trim.Says(unit)))
		if a.Asked.LidNow == 0 {
			steps = append(steps, l.T("Measure it just thrown and at leather-hard, and ask again with both: "+
				"{1} % come out too small to trim.", message.Percent(a.Trim.TooSmall, 0)))
		}
	}
	if a.Bowl != nil {
		steps = append(steps, l.Tell(a.Bowl.Says(unit)))
	}
	for _, s := range a.Cheapest.Says(unit) {
		steps = append(steps, l.Tell(s))
	}
	return steps
}

func percentOf(p float64) string { return fmt.Sprintf("%.0f %%", 100*p) }

func anyGiven(q url.Values, names ...string) bool {
	for _, n := range names {
		if len(given(q[n])) > 0 {
			return true
		}
	}
	return false
}

// boardPage asks the board question with the API's own parameters. An opening that all pots share stands in a
// field of its own, and goes to each pot that names none.
func (s lidRoutes) boardPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	form, err := s.asking(r.Context(), q)
	if err != nil {
		return err
	}
	d := boardAsking(q, form)
	if !anyGiven(q, "galleries", "gauge", "gauge_mm") && !q.Has("galleries") {
		return s.show(w, d)
	}
	asked := maps.Clone(q)
	opening := strings.TrimSpace(q.Get("opening"))
	if asked.Del("opening"); d.Ledge {
		asked.Set("galleries", pages.WithOpening(q.Get("galleries"), opening))
	}
	if !q.Has("clay") && d.Clay != "" {
		asked.Set("clay", d.Clay)
	}
	fail := func(err error) error {
		p := s.troubles.Problem(r.Context(), err)
		s.boardFaults(&d, form, p)
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.WriteHeader(p.Status)
		return s.show(w, d)
	}
	if opening != "" && d.Ledge { // told once, beside its field, and not for each pot
		if _, err := tiles.ParseLength("opening", opening, s.Unit()); err != nil {
			return fail(err)
		}
	}
	read, err := readBoard(asked, s.Unit())
	if err != nil {
		return fail(err)
	}
	a, m, err := s.sizeBoard(r.Context(), read)
	if err != nil {
		return fail(err)
	}
	j := s.Lids().BoardJSON(read.board, a, m, form.Show)
	speak := form.Frame.Speak
	speak.Unit = string(form.Show)
	answer := boardWords(s.pages.Locale(speak), form, read.board, a, j)
	answer.Query = asked.Encode()
	form.caution(j.Cautions)
	d.Answer, d.Cautions = &answer, pages.Cautions(form.Caution[:min(2, len(form.Caution))])
	if more := form.Caution[len(d.Cautions):]; len(more) > 0 {
		d.Cautions[1].More = append(d.Cautions[1].More, more...)
	}
	return s.show(w, d)
}

// boardAsking is the page as it asks: what was typed, the fields.
func boardAsking(q url.Values, a asking) pages.BoardPage {
	d := pages.BoardPage{Frame: a.Frame, Q: pages.Form{Values: shownAs(q, a.Unit)}, Unit: pages.Word(a.Unit),
		Stages: a.Stages, Kinds: a.Kinds, OwnRates: a.Rates, Rates: lidFields(a.RateFields),
		Fine:    lidFields(a.MoreFields),
		Gallery: shortName(a.CollarName), Seat: pages.Word(lid.Inset)}
	for _, v := range a.Seats {
		d.Seats = append(d.Seats, pages.Word(v))
	}
	if seat := lid.Seat(q.Get("seat")); slices.Contains(lid.Seats(), seat) {
		d.Seat = pages.Word(seat)
	}
	d.Ledge = !slices.Contains([]lid.Seat{lid.Flange, lid.Cap, lid.Stopper}, lid.Seat(d.Seat))
	for _, u := range a.Units {
		d.Units = append(d.Units, string(u))
	}
	for _, c := range a.Clays {
		d.Clays = append(d.Clays, pages.LidClay{ID: c.Clay, Name: c.Name})
	}
	d.Clay = a.clay(q)
	return d
}

// boardFaults puts what is wrong beside its fields.
func (s lidRoutes) boardFaults(d *pages.BoardPage, form asking, p *web.Problem) {
	form.Error = p
	if len(p.Fields) == 0 {
		d.Trouble = p.Detail
	}
	d.Q.Problem = &pages.Problem{Title: p.Title, Detail: p.Detail}
	for _, f := range p.Fields {
		name, says := strings.TrimSuffix(f.Name, "_mm"), f.Says
		label := labelOf(name, pages.BoardLabel)
		switch field, _, many := strings.Cut(name, "["); {
		case many:
			name, label, says = field, labelOf(field, pages.BoardLabel), boardField(f.Name, f.Says)
			if field == "galleries" {
				label = shortName(form.CollarName)
			}
		case name == "galleries":
			label = shortName(form.CollarName)
		case name == "gauge.count":
			name, label = "gauge_count", pages.BoardLabel("gauge_count")
		}
		d.Wrong = append(d.Wrong, pages.LidFault{Field: pages.Word(name), Label: label, Says: says})
		d.Q.Problem.Fields = append(d.Q.Problem.Fields, pages.FieldProblem{Name: name, Says: says})
	}
	if form.Unusual() {
		d.Sure = form.Sure()
	}
}

// boardWords is an answer as one person reads it.
func boardWords(l pages.Locale, form asking, q board.Question, a board.Answer,
	j wire.Board) pages.BoardAnswer {
	v := pages.BoardAnswer{Pots: j.Galleries, Lids: j.Lids, Unit: string(form.Show),
		Expected: l.Decimal(a.ExpectedPairs, 1),
		HeldBack: l.Tell(a.HeldBack), Wide: form.Wide(), Trust: j.Trust,
		TrustWhy: l.Tell(j.TrustWhy)}
	if form.Show == tiles.Inch32nd {
		v.Unit = "in"
	}
	if !math.IsNaN(a.OneToOneChance) {
		v.OneBy = percentOf(a.OneToOneChance)
	}
	for _, size := range a.Sizes {
		v.Sizes = append(v.Sizes, pages.BoardSize{Count: size.Count, Figure: l.Bare(float64(size.Size))})
	}
	v.All = percentOf(a.AllPairChance)
	for _, p := range a.Pairs {
		one := pages.BoardPair{Pot: potName(q, p.Gallery), Lid: p.Lid}
		if p.Gallery < len(q.Galleries) {
			one.Gallery = l.T("gallery {1}", l.Bare(float64(q.Galleries[p.Gallery].Collar[0])))
		}
		if one.Chance = percentOf(p.FitChance); p.Lid == "" {
			one.Chance, one.Set, v.All = "", l.Length(float64(p.Set)), ""
		}
		v.Pairs = append(v.Pairs, one)
	}
	v.Asked = boardAsked(l, q, j)
	return v
}

// boardAsked is the question in one sentence.
func boardAsked(l pages.Locale, q board.Question, j wire.Board) string {
	var low, high tiles.Millimetre
	for i, g := range q.Galleries {
		if i == 0 || g.Collar[0] < low {
			low = g.Collar[0]
		}
		high = max(high, g.Collar[0])
	}
	if q.Gauge != nil {
		low, high = q.Gauge.Collar, q.Gauge.Collar
	}
	seat, stage := cmp.Or(q.Common.Seat, lid.Inset), l.Say(string(cmp.Or(q.Common.CollarStage, tiles.Wet)))
	parts := []string{l.T("{1} pots", j.Galleries), l.Say(strings.ReplaceAll(string(seat), "_", " "))}
	if low == high {
		parts = append(parts, l.Bare(float64(low))+" "+stage)
	} else {
		parts = append(parts, l.T("{1} to {2}", l.Bare(float64(low)), l.Bare(float64(high)))+" "+stage)
	}
	if q.Common.SeatGlazed {
		parts = append(parts, l.T("rim glazed"))
	}
	if body := q.Common.Body; body.Batch != "" {
		parts = append(parts, body.String())
	} else if body.Clay != "" {
		parts = append(parts, string(body.Clay))
	} else {
		parts = append(parts, l.T("my own rates"))
	}
	return strings.Join(parts, ", ")
}

// boardField says which pot or lid a field at fault belongs to.
func boardField(name string, says message.Message) message.Message {
	var i int
	if n, _ := fmt.Sscanf(name, "galleries[%d]", &i); n == 1 {
		if strings.HasSuffix(name, "opening_mm") {
			return message.New("Pot {1}, ledge opening: {2}", i+1, says)
		}
		return message.New("Pot {1}, gallery: {2}", i+1, says)
	}
	if n, _ := fmt.Sscanf(name, "measured_lids[%d]", &i); n == 1 {
		return message.New("Measured lid {1}: {2}", i+1, says)
	}
	return message.New("{1}: {2}", message.Word(strings.ReplaceAll(strings.TrimSuffix(name, "_mm"), "_",
		" ")), says)
}

// CautionOf is the text that a caution id of an answer stands for.
func CautionOf(id string) message.Message {
	switch id {
	case lid.WillFuse:
		return caution.Text(caution.WillFuse)
	case lid.WetGrinding:
		return caution.Text(caution.WetGrinding)
	case lid.EyeProtection:
		return caution.Text(caution.Eyes)
	case lid.ShrinkVaries:
		return caution.Text(caution.ShrinkVaries)
	case lid.RatesStated:
		return message.New("Computed from the rates you stated, not from your bars.")
	case lid.NoUsualYet:
		return message.New("No firing of this kind was recorded yet: the cone on the bag was taken.")
	case lid.LedgeTooNarrow:
		return message.New("The ledge is too narrow: no width both clears the collar and stays on the ledge.")
	case lid.StepTooCoarse:
		return message.New("Your step is coarser than the window: no width on it fits, so the middle is told. Ask again with a finer step.")
	case lid.LedgeNotGiven:
		return message.New("The ledge opening was not given, so this does not know when the lid slips past the ledge.")
	case lid.MeasureWet:
		return message.New("The pot was not measured wet. Even slight drying moves the fit: measure it as wet as possible, or keep a companion bar beside the pot, scribed when it was thrown and read with it.")
	case lid.LeatherGuessed:
		return message.New("How much of the drying is gone at leather-hard was guessed by what is usual. Keep a companion bar, weigh a piece wet and now, or read three bars leather-hard too: then it is told by your own.")
	case lid.LeatherOwn:
		return message.New("How much of the drying is gone at leather-hard was taken from your own bars that were read then.")
	case lid.OutOfRound:
		return message.New("The pot is out of round; its tightest direction rules how much play there is, the other end how far the lid can be pushed aside.")
	case lid.PlayOutside:
		return message.New("The play you asked for lies outside the usual window.")
	case lid.AskedUnusual:
		return message.New("A size is unusual; look at it again.")
	}
	return message.Message{}
}

// checkTellsLittle is said of a gap on the way that may be anything from too tight to too loose.
const checkTellsLittle = "That tells little, since the range is wider than the play that fits: keep a companion bar beside pot and lid, scribed when they were thrown, or weigh a piece then and now, and enter it here."
