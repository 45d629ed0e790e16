package api

import (
	"cmp"
	"context"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"lidwright/api/caution"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

type potsPageData struct {
	page
	Find   string
	Pots   []wire.Pot
	Clays  []wire.ClayJSON
	Seats  []lid.Seat
	Stages []string
	Made   int
	Typed  url.Values
}

// potsPage finds cards, and makes a board of them. Its form is filled in from the query: the lid page leads here
// with what was asked and answered.
func (s resultRoutes) potsPage(w http.ResponseWriter, r *http.Request) error {
	data, err := s.potsData(r, shownAs(r.URL.Query(), s.unitOf(r.Context())))
	if err != nil {
		return err
	}
	return s.render(w, "pots", data)
}

func (s resultRoutes) potsData(r *http.Request, typed url.Values) (potsPageData, error) {
	q := r.URL.Query()
	data := potsPageData{page: s.page(r.Context(), "more"), Find: q.Get("find"), Seats: lid.Seats(), Stages: stageWords(), Typed: typed}
	data.Made, _ = strconv.Atoi(q.Get("made"))
	cards, err := s.Archive.Pots(r.Context(), lid.PotFilter{Find: data.Find, Limit: 50})
	if err != nil {
		return data, err
	}
	for _, c := range cards {
		data.Pots = append(data.Pots, potOf(c.PotCard))
	}
	data.Clays, err = s.Clays().List(r.Context())
	return data, err
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
		data, formErr := s.potsData(r, form)
		if formErr != nil {
			return formErr
		}
		data.Error, data.Made = s.troubles.Problem(r.Context(), err), made
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.WriteHeader(data.Error.Status)
		return s.render(w, "pots", data)
	}
	http.Redirect(w, r, "/pots?made="+strconv.Itoa(made), http.StatusSeeOther)
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
		if cards[i], err = s.Lids().PotCard(r.Context(), uuid.NewSHA1(space, []byte(strconv.Itoa(i))).String(), b); err != nil {
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
	all := wire.PotBody{Mark: form.Get("mark"), Form: form.Get("form"), Seat: form.Get("seat"), SeatGlazed: form.Get("seat_glazed") == "yes", Together: form.Get("together"),
		Stage: form.Get("collar_stage"), Body: form.Get("body"), Lid: form.Get("lid"), MadeOn: cmp.Or(form.Get("made_on"), s.Now().Wall.In(s.Site.Zone).Format("2006-01-02"))}
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
	number := strings.TrimSpace(form.Get("number"))
	from, err := strconv.Atoi(number)
	for i := range out {
		out[i].Number = number
		if err == nil {
			out[i].Number = strconv.Itoa(from + i)
		} else if len(out) > 1 && number != "" {
			out[i].Number = number + "-" + strconv.Itoa(i+1)
		}
	}
	if len(rd.wrong) > 0 {
		return nil, rd.wrong
	}
	return out, nil
}

func (s resultRoutes) potPage(w http.ResponseWriter, r *http.Request) error {
	p, err := s.Archive.Pot(r.Context(), r.PathValue("pot"))
	if err != nil {
		return err
	}
	query := lidQuery(p.PotCard)
	again := lidQuery(p.PotCard) // a lid for it later: of what the card knows, fired apart
	again.Set("together", string(shrinkage.Apart))
	fired := lidQuery(p.PotCard)
	for _, name := range []string{"collar", "opening", "together"} {
		fired.Del(name)
	}
	fired.Set("collar_stage", string(tiles.Fired))
	if p.Stage == tiles.Wet { // what this very pot lost tells more than any bar
		for _, c := range p.Collar {
			fired.Add("wet_collar", inMM(c))
		}
	}
	data := struct {
		page
		Pot        wire.Pot
		Lid, Again string
		Fired      url.Values
		Cautions   []string
		Ledge      bool
		Check      string // the leather-hard check of the lid on the card; "" without one
		Board      string // the board question for it and the pots made with it; "" of too few
	}{page: s.page(r.Context(), "more"), Pot: potOf(p.PotCard), Lid: "/lid?" + query.Encode(), Again: "/lid?" + again.Encode(), Fired: fired, Cautions: caution.Texts(caution.ShrinkVaries, caution.NotFoodSafe), Ledge: p.Opening != 0}
	if p.SeatGlazed && p.Together == shrinkage.InPlace {
		data.Cautions = append([]string{caution.Text(caution.WillFuse)}, data.Cautions...)
	}
	if l := cmp.Or(p.Measured, p.Set); l > 0 {
		check := lidQuery(p.PotCard)
		check.Del("trim")
		check.Del("trim_most")
		check.Set("lid", inMM(l))
		check.Set("check_stage", string(tiles.Leather))
		data.Check = "/lid?" + check.Encode()
	}
	cards, err := s.Archive.Pots(r.Context(), lid.PotFilter{Limit: shownCards})
	if err != nil {
		return err
	}
	for _, b := range boardsOfPots(cards) {
		if slices.ContainsFunc(b.Pots, func(c wire.Pot) bool { return c.ID == p.ID }) && len(b.Pots) >= fewestOnBoard && len(b.Pots) <= mostOnBoard {
			data.Board = "/lid/board?" + boardOf(p.PotCard, b.Pots).Encode()
		}
	}
	return s.render(w, "pot", data)
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
	card, rd := p.PotCard, s.formReader(r.Context(), form)
	for field, to := range map[string]*tiles.Millimetre{"set": &card.Set, "lid": &card.Measured, "bowl": &card.Bowl, "trim_most": &card.TrimMost} {
		text := strings.TrimSpace(form.Get(field))
		if text == "" {
			continue
		}
		l, err := tiles.ParseLength(field, text, rd.unit)
		if err != nil {
			return err
		}
		*to = l.Millimetre()
	}
	if text := strings.TrimSpace(form.Get("fired")); text != "" {
		card.Fired = nil
		for part := range strings.SplitSeq(text, ";") {
			l, err := tiles.ParsePiece("fired", strings.TrimSpace(part), rd.unit)
			if err != nil {
				return err
			}
			card.Fired = append(card.Fired, l.Millimetre())
		}
	}
	if len(rd.wrong) > 0 {
		return rd.wrong
	}
	if card.Lid.Clay == "" {
		card.Lid = card.Body
	}
	if err := card.Validate(); err != nil {
		return err
	}
	if _, err := s.Archive.PutPot(r.Context(), card, usecase.Precondition{Revision: p.Revision}, s.Now()); err != nil {
		return err
	}
	http.Redirect(w, r, "/pot/"+card.ID, http.StatusSeeOther)
	return nil
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
