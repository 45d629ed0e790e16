package api

import (
	"cmp"
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"lidwright/api/caution"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// potsPage tells what the boards of a form taught, finds cards, and makes a board of them. Its form is filled
// in from the query: the lid page leads here with what was asked and answered.
func (s resultRoutes) potsPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	typed := pages.Form{}
	if q.Get("collar") != "" || q.Get("collar_mm") != "" {
		typed.Values = shownAs(q, s.unitOf(r.Context()))
	}
	return s.showPots(w, r, typed)
}

const (
	cardsShown  = 12 // in the list of the page
	foundShown  = 50 // where words were typed
	boardsShown = 4  // in the diary of a form
)

// showPots shows the page, with the form of a board at the wheel as it was typed.
func (s resultRoutes) showPots(w http.ResponseWriter, r *http.Request, form pages.Form) error {
	ctx, q := r.Context(), r.URL.Query()
	l, base := s.localeOf(ctx), s.page(ctx, "pots")
	data := pages.PotsPage{Frame: base.Frame, Find: strings.TrimSpace(q.Get("find")),
		Cautions: pages.Cautions(caution.Texts(caution.ShrinkVaries, caution.NotFoodSafe))}
	data.Made, _ = strconv.Atoi(q.Get("made"))
	all, err := s.Archive.Pots(ctx, lid.PotFilter{Limit: shownCards})
	if err != nil {
		return err
	}
	found, most := all, cardsShown
	if data.Find != "" {
		most = foundShown
		if found, err = s.Archive.Pots(ctx, lid.PotFilter{Find: data.Find, Limit: most + 1}); err != nil {
			return err
		}
	}
	data.More = len(found) > most
	for _, c := range found[:min(len(found), most)] {
		data.Cards = append(data.Cards, potRow(l, s.dayOf(l, c.MadeOn), c.PotCard))
	}
	for _, c := range all {
		if !slices.Contains(data.Forms, c.Form) {
			data.Forms = append(data.Forms, c.Form)
		}
	}
	boards, _, err := s.waitingBoards(ctx, all)
	if err != nil {
		return err
	}
	data.Waiting = boards
	of := ""
	if asked := q.Get("form"); form.Values == nil && slices.Contains(data.Forms, asked) {
		of = asked
	} else if len(data.Forms) > 0 {
		of = data.Forms[0]
	}
	if of != "" {
		if data.Diary, err = s.lidDiary(ctx, l, of); err != nil {
			return err
		}
	}
	if data.New, err = s.newPots(ctx, form, data.Forms, all); err != nil {
		return err
	}
	data.New.Open = data.New.Open || q.Get("new") != ""
	return s.show(w, data)
}

// newPots is the form of a board at the wheel: where nothing was typed, with the clay and the mark of the
// last card.
func (s resultRoutes) newPots(ctx context.Context, form pages.Form, forms []string,
	all []lid.KeptPot) (pages.NewPots,
	error) {
	base := s.page(ctx, "pots")
	n := pages.NewPots{ID: cmp.Or(form.Get("id"), base.ID), Form: form, Unit: cmp.Or(form.Get("unit"),
		base.Speak.Unit),
		Forms: forms, Stages: stageWords(), Open: form.Values != nil || len(all) == 0}
	mark := form.Get("mark")
	if len(all) > 0 {
		n.Clay = string(all[0].Body.Clay)
		if form.Values == nil {
			mark = all[0].Mark
			n.Form.Values = url.Values{"mark": {mark}, "seat": {string(all[0].Seat)}}
		}
	}
	for _, seat := range lid.Seats() {
		n.Seats = append(n.Seats, pages.Word(seat))
	}
	clays, err := s.Clays().List(ctx)
	if err != nil {
		return n, err
	}
	for _, c := range clays {
		n.Clays = append(n.Clays, pages.LidClay{ID: c.Clay, Name: c.Name})
	}
	n.Next, err = s.Lids().NextNumber(ctx, mark)
	return n, err
}

// dayOf is a day of a card as people read it; as it stands where it is none.
func (s *Server) dayOf(l pages.Locale, day string) string {
	if made, err := time.ParseInLocation(time.DateOnly, day, s.Site.Zone); err == nil {
		return l.Day(made)
	}
	return day
}

// potRow is a card in a list.
func potRow(l pages.Locale, made string, c lid.PotCard) pages.PotRow {
	row := pages.PotRow{ID: c.ID, Form: c.Form, Made: made, Body: c.Body.String(),
		Name: strings.TrimSpace(c.Mark + " " + c.Number)}
	if row.Name == "" {
		row.Name, row.Form = c.Form, ""
	}
	var sizes []string
	for _, one := range []struct {
		says func() string
		mm   tiles.Millimetre
	}{{func() string { return l.T("gallery {1}", l.Bare(float64(c.Collar[0]))) }, 1},
		{func() string { return l.T("lid {1}", l.Bare(float64(cmp.Or(c.Measured, c.Set)))) },
			cmp.Or(c.Measured, c.Set)}} {
		if one.mm != 0 {
			sizes = append(sizes, one.says())
		}
	}
	row.Sizes = strings.Join(sizes, ", ")
	return row
}

// postPots makes the cards of a board: one for each gallery that was written down, or a number of
// them alike.
func (s resultRoutes) postPots(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	bodies, err := s.potsSent(r.Context(), form)
	made := 0
	if err == nil {
		made, err = s.keepPots(r, form.Get("id"), bodies)
	}
	if err != nil {
		p, ok := s.again(w, r, err)
		if !ok {
			return err
		}
		return s.showPots(w, r, pages.Form{Values: form, Problem: p})
	}
	http.Redirect(w, r, "/pots?"+url.Values{"made": {strconv.Itoa(made)}, "form": {bodies[0].Form}}.Encode(),
		http.StatusSeeOther)
	return nil
}

// keepPots checks all before the first is kept. Their ids follow from the form's, so that a form
// sent twice makes them once.
func (s resultRoutes) keepPots(r *http.Request, id string, bodies []wire.PotBody) (made int, err error) {
	space, err := uuid.Parse(id)
	if err != nil {
		return 0, &tiles.Invalid{Field: "id", Type: tiles.Missing,
			Why: message.New("is no id: open the page again")}
	}
	cards := make([]lid.PotCard, len(bodies))
	for i, b := range bodies {
		if cards[i], err = s.Lids().PotCard(r.Context(),
			uuid.NewSHA1(space, []byte(strconv.Itoa(i))).String(), b); err != nil {
			return 0, err
		}
	}
	for _, c := range cards {
		if _, err := s.Archive.PutPot(r.Context(), c, usecase.Precondition{}, s.Now()); err != nil {
			return made, err
		}
		made++
	}
	return made, nil
}

const mostPots = 60 // of one board

// potsSent reads the form: a line for each gallery (width; ledge opening; another way round), or
// one gallery and a count.
func (s resultRoutes) potsSent(ctx context.Context, form url.Values) ([]wire.PotBody, error) {
	rd := s.formReader(ctx, form)
	all := wire.PotBody{Mark: form.Get("mark"), Form: form.Get("form"), Seat: form.Get("seat"),
		SeatGlazed: form.Get("seat_glazed") == "yes", Together: form.Get("together"),
		Stage: form.Get("collar_stage"), Body: form.Get("body"), Lid: form.Get("lid"),
		MadeOn: cmp.Or(form.Get("made_on"), s.Now().Wall.In(s.Site.Zone).Format("2006-01-02"))}
	length := func(field, text string) *float64 {
		l, err := tiles.ParsePiece(field, strings.TrimSpace(text), rd.unit)
		if err != nil {
			rd.refuse(err)
			return nil
		}
		mm := float64(l.Millimetre())
		return &mm
	}
	if opening, ok := rd.text("opening"); ok {
		all.Opening = length("opening", opening)
	}
	if set, ok := rd.text("set"); ok {
		all.Set = length("set", set)
	}
	var out []wire.PotBody
	for line := range strings.Lines(form.Get("galleries")) {
		parts := strings.Split(strings.TrimSpace(line), ";")
		if strings.TrimSpace(line) == "" {
			continue
		}
		one := all
		for i, p := range parts {
			if strings.TrimSpace(p) == "" {
				continue
			}
			l := length("galleries", p)
			switch {
			case l == nil:
			case i == 1:
				one.Opening = l
			default:
				one.Collar = append(one.Collar, *l)
			}
		}
		out = append(out, one)
	}
	if len(out) == 0 {
		count, ok := rd.number("count", 1, mostPots)
		if !ok {
			count = 1
		}
		collar, _ := rd.text("collar")
		if l := length("collar", collar); l != nil {
			all.Collar = []float64{*l}
		}
		for range int(count) {
			out = append(out, all)
		}
	}
	if len(out) > mostPots {
		rd.fault("galleries", tiles.OutOfRange, "{1} lines; a board has at most {2}", len(out), mostPots)
	}
	if err := s.number(ctx, out, strings.TrimSpace(form.Get("mark")),
		strings.TrimSpace(form.Get("number"))); err != nil {
		return nil, err
	}
	if len(rd.wrong) > 0 {
		return nil, rd.wrong
	}
	return out, nil
}

// number numbers pots of a mark on from first, which may be words: then they are told apart by what is behind
// it. first "" is the next of the mark.
func (s resultRoutes) number(ctx context.Context, pots []wire.PotBody, mark, first string) error {
	if first == "" {
		next, err := s.Lids().NextNumber(ctx, mark)
		if err != nil {
			return err
		}
		first = strconv.Itoa(next)
	}
	from, err := strconv.Atoi(first)
	for i := range pots {
		pots[i].Number = first
		if err == nil {
			pots[i].Number = strconv.Itoa(from + i)
		} else if len(pots) > 1 {
			pots[i].Number = first + "-" + strconv.Itoa(i+1)
		}
	}
	return nil
}

func (s resultRoutes) potPage(w http.ResponseWriter, r *http.Request) error {
	p, err := s.Archive.Pot(r.Context(), r.PathValue("pot"))
	if err != nil {
		return err
	}
	return s.showPot(w, r, p, pages.Form{})
}

// showPot shows a card, with the form of what its lid measured as it was typed.
func (s resultRoutes) showPot(w http.ResponseWriter, r *http.Request, p lid.KeptPot, form pages.Form) error {
	base := s.page(r.Context(), "pots")
	data := pages.PotPage{Frame: base.Frame, Pot: potOf(p.PotCard), Made: s.dayOf(s.localeOf(r.Context()),
		p.MadeOn),
		Unit: cmp.Or(form.Get("unit"), base.Speak.Unit), Lid: lidQuery(p.PotCard).Encode(), Form: form,
		Seen:     lidMark(p.PotCard),
		Ledge:    p.Opening != 0,
		Cautions: pages.Cautions(caution.Texts(caution.ShrinkVaries, caution.NotFoodSafe))}
	again := lidQuery(p.PotCard) // a lid for it later: of what the card knows, fired apart
	again.Set("together", string(shrinkage.Apart))
	data.Again = again.Encode()
	fired := lidQuery(p.PotCard)
	for _, name := range []string{"collar", "opening", "together"} {
		fired.Del(name)
	}
	fired.Set("collar_stage", string(tiles.Fired))
	fired.Set("unit", base.Speak.Unit)
	if p.Stage == tiles.Wet { // what this very pot lost tells more than any bar
		for _, c := range p.Collar {
			fired.Add("wet_collar", inMM(c))
		}
	}
	for _, name := range sortedKeys(fired) {
		for _, v := range fired[name] {
			data.Fired = append(data.Fired, pages.Hidden{Name: name, Value: v})
		}
	}
	if p.SeatGlazed && p.Together == shrinkage.InPlace {
		data.Cautions = append(pages.Cautions(caution.Texts(caution.WillFuse)), data.Cautions...)
	}
	if l := cmp.Or(p.Measured, p.Set); l > 0 {
		check := lidQuery(p.PotCard)
		check.Del("trim")
		check.Del("trim_most")
		check.Set("lid", inMM(l))
		check.Set("check_stage", string(tiles.Leather))
		data.Check = check.Encode()
	}
	cards, err := s.Archive.Pots(r.Context(), lid.PotFilter{Limit: shownCards})
	if err != nil {
		return err
	}
	for _, b := range boardsOfPots(cards) {
		if slices.ContainsFunc(b.Pots, func(c wire.Pot) bool { return c.ID == p.ID }) &&
			len(b.Pots) >= fewestOnBoard && len(b.Pots) <= mostOnBoard {
			data.Board = boardOf(p.PotCard, b.Pots).Encode()
		}
	}
	return s.show(w, data)
}

// postPotLid writes the width of a lid, told or measured once after throwing, onto a card.
func (s resultRoutes) postPotLid(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	p, err := s.Archive.Pot(r.Context(), r.PathValue("pot"))
	if err != nil {
		return err
	}
	card, err := s.lidSent(r.Context(), p.PotCard, form)
	if err == nil {
		err = unchanged(s.Server, r.Context(), form, func() (stale, error) {
			p, err = s.Archive.Pot(r.Context(), p.ID)
			return s.lidChanged(r.Context(), p.PotCard, card), err
		})
		if errors.As(err, new(*stale)) {
			return err
		}
	}
	if err == nil {
		if card, err = s.lidSent(r.Context(), p.PotCard, form); err != nil { // of what stands there now
			return err
		}
		_, err = s.Archive.PutPot(r.Context(), card, usecase.Precondition{Revision: p.Revision}, s.Now())
	}
	if err != nil {
		problem, ok := s.again(w, r, err)
		if !ok {
			return err
		}
		return s.showPot(w, r, p, pages.Form{Values: form, Problem: problem})
	}
	http.Redirect(w, r, "/pot/"+card.ID, http.StatusSeeOther)
	return nil
}

// lidMark is the mark of what a card says of its lid.
func lidMark(c lid.PotCard) string {
	return markOf(c.Set, c.Measured, c.Bowl, c.TrimMost, c.Fired)
}

// lidChanged is how the card stands now beside what a form makes of it. A width that stands there by now and
// is not typed otherwise is kept, and nobody is asked.
func (s resultRoutes) lidChanged(ctx context.Context, now, yours lid.PotCard) stale {
	l, c := s.localeOf(ctx), stale{mark: lidMark(now), page: "/pot/" + url.PathEscape(now.ID)}
	say := func(name message.Message, is, typed []tiles.Millimetre) {
		widths := func(all []tiles.Millimetre) message.Message {
			var says []string
			for _, w := range all {
				says = append(says, l.Length(float64(w)))
			}
			return message.Plain(strings.Join(says, " / "))
		}
		if len(is) > 0 && is[0] != 0 && !slices.Equal(is, typed) && typed[0] != 0 {
			c.both = append(c.both, pages.Both{Name: name, Now: widths(is), Yours: widths(typed)})
		}
	}
	one := func(w tiles.Millimetre) []tiles.Millimetre { return []tiles.Millimetre{w} }
	say(message.New("Lid, just thrown"), one(now.Measured), one(yours.Measured))
	say(message.New("Callipers were set to"), one(now.Set), one(yours.Set))
	say(message.New("As a bowl, before its rim was turned out"), one(now.Bowl), one(yours.Bowl))
	say(message.New("May come off its rim at leather-hard, across"), one(now.TrimMost), one(yours.TrimMost))
	say(message.New("Gallery once fired"), now.Fired, yours.Fired)
	return c
}

// lidSent is a card with what the form tells of its lid. The error tells every fault.
func (s resultRoutes) lidSent(ctx context.Context, card lid.PotCard, form url.Values) (lid.PotCard, error) {
	rd := s.formReader(ctx, form)
	for _, one := range []struct {
		field string
		to    *tiles.Millimetre
	}{{"set", &card.Set}, {"lid", &card.Measured}, {"bowl", &card.Bowl}, {"trim_most", &card.TrimMost}} {
		text := strings.TrimSpace(form.Get(one.field))
		if text == "" {
			continue
		}
		l, err := tiles.ParseLength(one.field, text, rd.unit)
		if err != nil {
			rd.refuse(err)
			continue
		}
		*one.to = l.Millimetre()
	}
	if text := strings.TrimSpace(form.Get("fired")); text != "" {
		card.Fired = nil
		for part := range strings.SplitSeq(text, ";") {
			l, err := tiles.ParsePiece("fired", strings.TrimSpace(part), rd.unit)
			if err != nil {
				rd.refuse(err)
				continue
			}
			card.Fired = append(card.Fired, l.Millimetre())
		}
	}
	if len(rd.wrong) > 0 {
		return card, rd.wrong
	}
	if card.Lid.Clay == "" {
		card.Lid = card.Body
	}
	return card, card.Validate()
}

const fewestOnBoard, mostOnBoard = 8, 30 // pots of a board question

// boardOf asks for the lids of pots that were made together; what they share is on the card.
func boardOf(card lid.PotCard, pots []wire.Pot) url.Values {
	q := lidQuery(card)
	for _, name := range []string{"collar", "opening", "trim", "trim_most"} {
		q.Del(name)
	}
	var lines []string
	for _, p := range pots {
		line := ""
		if len(p.Collar) > 0 {
			line = inMM(tiles.Millimetre(p.Collar[0]))
		}
		if p.Opening != nil {
			line += "; " + inMM(tiles.Millimetre(*p.Opening))
		}
		lines = append(lines, line)
	}
	q.Set("galleries", strings.Join(lines, "\n"))
	return q
}
