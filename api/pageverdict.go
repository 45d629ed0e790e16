package api

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"lidwright/api/caution"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// count is one counter of a board, named by its act.
type count struct{ Name, Act, Word, Value string }

var verdictCounts = []count{
	{Name: "too_big", Act: "Set it on: it won't go in", Word: "too big"},
	{Name: "tight", Act: "Turn it full circle: it binds one way", Word: "tight"},
	{Name: "good", Act: "It turns, stays on the ledge, does not rattle", Word: "good"},
	{Name: "loose", Act: "Let go: it rattles", Word: "loose"},
	{Name: "drops_in", Act: "Push it to one side: it slips past the ledge", Word: "drops in"},
	{Name: "not_looked_at", Act: "Nobody tried it", Word: "not looked at"},
}

var lossCounts = []count{
	{Name: "glued", Act: "Held by glaze", Word: "glued"},
	{Name: "rocks", Act: "Warped", Word: "rocks"},
	{Name: "chipped", Act: "Broken at the edge", Word: "chipped"},
	{Name: "dropped", Act: "It fell", Word: "dropped"},
}

// boardOfPots are the pot cards that were made together: one form, maker, clay and day.
type boardOfPots struct {
	First, Form, Mark, MadeOn, Body string
	Pots                            []wire.Pot
}

// boardsOfPots puts the newest cards into boards, the newest board first.
func boardsOfPots(cards []lid.KeptPot) []boardOfPots {
	var boards []boardOfPots
	at := map[string]int{}
	for _, c := range cards {
		key := strings.Join([]string{c.Form, c.Mark, c.MadeOn, c.Body.String()}, "\x00")
		i, ok := at[key]
		if !ok {
			i = len(boards)
			at[key] = i
			boards = append(boards, boardOfPots{First: c.ID, Form: c.Form, Mark: c.Mark, MadeOn: c.MadeOn, Body: c.Body.String()})
		}
		boards[i].Pots = append(boards[i].Pots, potOf(c.PotCard))
	}
	return boards
}

const shownCards = 300 // newest pot cards that boards are made of

func (s resultRoutes) verdictsPage(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	list, err := s.Lids().Verdicts(ctx, lid.ResultFilter{Limit: 30})
	if err != nil {
		return err
	}
	cards, err := s.Archive.Pots(ctx, lid.PotFilter{Limit: shownCards})
	if err != nil {
		return err
	}
	judged := map[string]bool{}
	cautions := false
	for _, v := range list.Items {
		for _, id := range v.Pots {
			judged[id] = judged[id] || v.Struck == nil
		}
		cautions = cautions || v.Counts.Tight+v.Counts.TooBig+v.Losses.Glued > 0 && v.Struck == nil
	}
	data := struct {
		page
		List     wire.Verdicts
		Boards   []boardOfPots
		Saved    *wire.VerdictKept
		Cautions []string
	}{page: s.page(ctx, "more"), List: list}
	for _, b := range boardsOfPots(cards) {
		if !judged[b.First] && len(data.Boards) < 12 {
			data.Boards = append(data.Boards, b)
		}
	}
	if id := r.URL.Query().Get("saved"); id != "" {
		if j, err := s.Lids().VerdictKept(ctx, id); err == nil {
			data.Saved = &j
		}
	}
	if cautions {
		data.Cautions = grindingCautions()
	}
	return s.render(w, "verdicts", data)
}

func grindingCautions() []string {
	return caution.Texts(caution.WetGrinding, caution.Silica, caution.NoSweeping, caution.Eyes)
}

type verdictPageData struct {
	page
	Board          boardOfPots
	Ticked         map[string]bool
	Loads          []wire.Load
	Counts, Losses []count
	Typed          url.Values
}

// verdictBoardPage asks how the lids of one board sat.
func (s resultRoutes) verdictBoardPage(w http.ResponseWriter, r *http.Request) error {
	data, err := s.verdictForm(r.Context(), r.URL.Query().Get("card"), nil)
	if err != nil {
		return err
	}
	return s.render(w, "verdict", data)
}

func (s resultRoutes) verdictForm(ctx context.Context, card string, typed url.Values) (verdictPageData, error) {
	data := verdictPageData{page: s.page(ctx, "more"), Ticked: map[string]bool{}, Typed: typed, Counts: slices.Clone(verdictCounts), Losses: slices.Clone(lossCounts)}
	if card != "" {
		first, err := s.Archive.Pot(ctx, card)
		if err != nil {
			return data, err
		}
		cards, err := s.Archive.Pots(ctx, lid.PotFilter{Find: first.Form, Limit: shownCards})
		if err != nil {
			return data, err
		}
		for _, b := range boardsOfPots(cards) {
			for _, p := range b.Pots {
				if p.ID == card {
					data.Board = b
				}
			}
		}
		if data.Board.First == "" {
			data.Board = boardsOfPots([]lid.KeptPot{first})[0]
		}
		for _, p := range data.Board.Pots {
			data.Ticked[p.ID] = typed == nil || slices.Contains(typed["pot"], p.ID)
		}
	}
	for _, list := range [][]count{data.Counts, data.Losses} {
		for i := range list {
			list[i].Value = typed.Get(list[i].Name)
		}
	}
	loads, err := s.Archive.Loads(ctx, tiles.LoadFilter{Limit: 40})
	if err != nil {
		return data, err
	}
	for _, l := range loads {
		if l.Kind != kiln.Bisque && len(data.Loads) < 12 {
			data.Loads = append(data.Loads, s.Loads().LoadJSON(l))
		}
	}
	return data, nil
}

func (s resultRoutes) postVerdict(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	b, err := s.verdictSent(r.Context(), form)
	if err == nil {
		_, _, err = s.Lids().KeepVerdict(r.Context(), form.Get("id"), b)
	}
	if err != nil {
		data, formErr := s.verdictForm(r.Context(), form.Get("card"), form)
		if formErr != nil {
			return formErr
		}
		data.Error = s.troubles.Problem(r.Context(), err)
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.WriteHeader(data.Error.Status)
		return s.render(w, "verdict", data)
	}
	http.Redirect(w, r, "/verdicts?saved="+url.QueryEscape(form.Get("id")), http.StatusSeeOther)
	return nil
}

func (s resultRoutes) verdictSent(ctx context.Context, form url.Values) (wire.VerdictBody, error) {
	rd := s.formReader(ctx, form)
	b := wire.VerdictBody{Load: form.Get("load"), Pots: form["pot"], Form: form.Get("form"), Maker: form.Get("maker"), Body: form.Get("body"), By: form.Get("by")}
	whole := func(name string) int {
		v, ok := rd.text(name)
		if !ok {
			return 0
		}
		n, err := strconv.Atoi(strings.TrimSpace(v))
		if err != nil {
			rd.fault(name, tiles.OutOfRange, "not a whole number")
		}
		return n
	}
	b.Counts = wire.Sat{TooBig: whole("too_big"), Tight: whole("tight"), Good: whole("good"), Loose: whole("loose"), DropsIn: whole("drops_in"), NotLookedAt: whole("not_looked_at")}
	b.Losses = wire.Losses{Glued: whole("glued"), Rocks: whole("rocks"), Chipped: whole("chipped"), Dropped: whole("dropped")}
	for name, to := range map[string]*[]float64{"plays": &b.Plays, "thrown": &b.Thrown} {
		v, _ := rd.text(name)
		for _, one := range strings.FieldsFunc(v, func(c rune) bool { return c == ';' || c == '\n' || c == '\r' }) {
			if strings.TrimSpace(one) == "" {
				continue
			}
			l, err := tiles.ParseLength(name, strings.TrimSpace(one), rd.unit)
			if err != nil {
				rd.refuse(err)
				continue
			}
			*to = append(*to, float64(l.Millimetre()))
		}
	}
	if len(rd.wrong) > 0 {
		return b, rd.wrong
	}
	return b, nil
}

func (s resultRoutes) postVerdictStrike(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	if strings.TrimSpace(form.Get("why")) == "" {
		return web.NewProblem("missing", message.New("Say why the board is crossed out."),
			wire.Field{Name: "why", Says: message.New("is needed")})
	}
	if err := s.Archive.StrikeVerdict(r.Context(), r.PathValue("id"), form.Get("by"), form.Get("why"), s.Now()); err != nil {
		return err
	}
	http.Redirect(w, r, "/verdicts#boards", http.StatusSeeOther)
	return nil
}
