package api

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"lidwright/api/caution"
	"lidwright/api/chart"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// What is counted of a board, named by its act.
var (
	seen = []pages.Count{
		{Name: "too_big", Act: "Set it on: it won't go in", Word: "too big"},
		{Name: "tight", Act: "Turn it full circle: it binds one way", Word: "tight"},
		{Name: "good", Act: "It turns, stays on the ledge, does not rattle", Word: "good"},
		{Name: "loose", Act: "Let go: it rattles", Word: "loose"},
		{Name: "drops_in", Act: "Push it to one side: it slips past the ledge", Word: "drops in"},
	}
	lost = []pages.Count{
		{Name: "glued", Act: "Held by glaze", Word: "glued"},
		{Name: "rocks", Act: "Warped", Word: "rocks"},
		{Name: "chipped", Act: "Broken at the edge", Word: "chipped"},
		{Name: "dropped", Act: "It fell", Word: "dropped"},
		{Name: "not_looked_at", Act: "Nobody tried it", Word: "not looked at"},
	}
)

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
			boards = append(boards, boardOfPots{First: c.ID, Form: c.Form, Mark: c.Mark,
				MadeOn: c.MadeOn, Body: c.Body.String()})
		}
		boards[i].Pots = append(boards[i].Pots, potOf(c.PotCard))
	}
	return boards
}

const shownCards = 300 // newest pot cards that boards are made of

func (s resultRoutes) lidResultsPage(w http.ResponseWriter, r *http.Request) error {
	return s.showResults(w, r, "", pages.Form{})
}

// showResults shows how lids sat. struck is a board whose crossing out was refused, and its form.
func (s resultRoutes) showResults(w http.ResponseWriter, r *http.Request, struck string,
	form pages.Form) error {
	ctx := r.Context()
	l := s.localeOf(ctx)
	list, err := s.Lids().LidResults(ctx, lid.ResultFilter{Limit: 30})
	if err != nil {
		return err
	}
	cards, err := s.Archive.Pots(ctx, lid.PotFilter{Limit: shownCards})
	if err != nil {
		return err
	}
	data := pages.ResultsPage{Frame: s.page(ctx, "pots").Frame, LeftOut: list.LeftOut, Struck: struck,
		Strike: form,
		Held:   heldSays(l, list.Held, list.HeldOf)}
	if data.Waiting, data.Unfired, err = s.waitingBoards(ctx, cards); err != nil {
		return err
	}
	numbers := map[string]lid.PotCard{}
	for _, c := range cards {
		numbers[c.ID] = c.PotCard
	}
	cautions := false
	for _, v := range list.Items {
		cautions = cautions || v.Counts.Tight+v.Counts.TooBig+v.Losses.Glued > 0 && v.Struck == nil
		data.Boards = append(data.Boards, resultRow(l, v, numbers))
	}
	for _, t := range list.Tally {
		data.Forms = append(data.Forms, formResult(l, t))
	}
	for _, m := range list.Makers {
		data.Makers = append(data.Makers, makerTrue(l, m))
	}
	if id := r.URL.Query().Get("saved"); id != "" {
		if j, err := s.Lids().LidResultKept(ctx, id); err == nil {
			saved := &pages.SavedBoard{Row: resultRow(l, j.LidResult, numbers), Form: j.Form, Says: j.Says}
			if j.WhyNot == nil {
				saved.Moved = upperFirst(differsSays(l, j.LidDifference))
			} else {
				saved.Says = nil
			}
			data.Saved = saved
		}
	}
	if cautions {
		data.Cautions = grinding()
	}
	return s.show(w, data)
}

// grinding are the cautions of whoever frees or grinds a lid: two in sight, the others behind the second.
func grinding() []pages.Cautioned {
	texts := caution.Texts(caution.WetGrinding, caution.Silica, caution.NoSweeping, caution.Eyes)
	two := pages.Cautions([]message.Message{texts[0], texts[3]})
	two[0].More = texts[1:3]
	return two
}

// waitingBoards are the boards of cards that went through a glaze firing since they were made and of which
// nobody said how their lids sat, and how many there are that were not fired yet.
func (s resultRoutes) waitingBoards(ctx context.Context, cards []lid.KeptPot) (all []pages.WaitingBoard,
	unfired int,
	err error) {
	results, err := s.Archive.LidResults(ctx, lid.ResultFilter{Limit: shownCards})
	if err != nil {
		return nil, 0, err
	}
	judged := map[string]bool{}
	for _, v := range results {
		for _, id := range v.Pots {
			judged[id] = judged[id] || v.Struck == nil
		}
	}
	loads, err := s.firedLoads(ctx)
	if err != nil {
		return nil, 0, err
	}
	for _, b := range boardsOfPots(cards) {
		switch {
		case slices.ContainsFunc(b.Pots, func(p wire.Pot) bool { return judged[p.ID] }):
		case s.loadOf(b, loads) == "":
			unfired++
		case len(all) < mostWaiting:
			all = append(all, pages.WaitingBoard{Card: b.First, Form: b.Form, Pots: b.numbers(), Body: b.Body,
				Lids: len(b.Pots)})
		}
	}
	return all, unfired, nil
}

const mostWaiting = 6 // boards that are shown as waiting for a look

// firedLoads are the newest loads that went through a last firing: lids that were bisqued alone tell nothing.
func (s resultRoutes) firedLoads(ctx context.Context) (all []tiles.KeptLoad, err error) {
	loads, err := s.Archive.Loads(ctx, tiles.LoadFilter{Limit: 60})
	for _, l := range loads {
		if state := l.State(); l.Kind != kiln.Bisque && (state == tiles.LoadFired ||
			state == tiles.LoadUnpacked || state == tiles.LoadDone) {
			all = append(all, l)
		}
	}
	return all, err
}

// loadOf is the id of the newest load that may have held a board: packed on the day that it was made or
// later.
func (s *Server) loadOf(b boardOfPots, fired []tiles.KeptLoad) string {
	made, err := time.ParseInLocation(time.DateOnly, b.MadeOn, s.Site.Zone)
	for _, l := range fired {
		if err != nil || !l.Opened.Before(made) {
			return l.ID
		}
	}
	return ""
}

// lidResultBoardPage asks how the lids of one board sat.
func (s resultRoutes) lidResultBoardPage(w http.ResponseWriter, r *http.Request) error {
	return s.showBoardResult(w, r, r.URL.Query().Get("card"), pages.Form{})
}

// showBoardResult shows the form of one board, as it was typed.
func (s resultRoutes) showBoardResult(w http.ResponseWriter, r *http.Request, card string,
	form pages.Form) error {
	ctx := r.Context()
	base := s.page(ctx, "pots")
	data := pages.BoardResultPage{Frame: base.Frame, ID: cmp.Or(form.Get("id"), base.ID), Card: card,
		Form: form,
		Unit: cmp.Or(form.Get("unit"), base.Speak.Unit), Counts: slices.Clone(seen),
		Losses: slices.Clone(lost)}
	for _, list := range [][]pages.Count{data.Counts, data.Losses} {
		for i := range list {
			list[i].Value = form.Get(string(list[i].Name))
		}
	}
	var b boardOfPots
	if card != "" {
		var err error
		if b, err = s.boardWith(ctx, card); err != nil {
			return err
		}
		data.FormName, data.Range = b.Form, strings.Trim(b.numbers()+", "+b.Body, ", ")
		for _, p := range b.Pots {
			data.Pots = append(data.Pots, pages.BoardPot{ID: p.ID, Number: p.Number,
				Ticked: !form.Sent() || slices.Contains(form.Values["pot"], p.ID)})
		}
	}
	loads, err := s.firedLoads(ctx)
	if err != nil {
		return err
	}
	l := s.localeOf(ctx)
	for _, one := range loads[:min(len(loads), 12)] {
		j := s.Loads().LoadJSON(one)
		data.Loads = append(data.Loads, pages.Named{ID: one.ID, Name: l.T("{1}, {2}, {3}, packed {4}",
			l.Tell(j.Name), j.Kiln, l.Say(j.Kind), l.Day(one.Opened))})
	}
	switch {
	case form.Sent():
		data.Load = form.Get("load")
	case r.URL.Query().Get("load") != "":
		data.Load = r.URL.Query().Get("load")
	default:
		data.Load = s.loadOf(b, loads)
	}
	return s.show(w, data)
}

// boardWith is the board on which a card stands.
func (s resultRoutes) boardWith(ctx context.Context, card string) (boardOfPots, error) {
	first, err := s.Archive.Pot(ctx, card)
	if err != nil {
		return boardOfPots{}, err
	}
	cards, err := s.Archive.Pots(ctx, lid.PotFilter{Find: first.Form, Limit: shownCards})
	if err != nil {
		return boardOfPots{}, err
	}
	for _, b := range boardsOfPots(cards) {
		if slices.ContainsFunc(b.Pots, func(p wire.Pot) bool { return p.ID == card }) {
			return b, nil
		}
	}
	return boardsOfPots([]lid.KeptPot{first})[0], nil
}

func (s resultRoutes) postLidResult(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	b, err := s.lidResultSent(r.Context(), form)
	if err == nil {
		_, _, err = s.Lids().KeepLidResult(r.Context(), form.Get("id"), b)
	}
	if err != nil {
		p, ok := s.again(w, r, err)
		if !ok {
			return err
		}
		return s.showBoardResult(w, r, form.Get("card"), pages.Form{Values: form, Problem: p})
	}
	http.Redirect(w, r, "/lid-results?saved="+url.QueryEscape(form.Get("id")), http.StatusSeeOther)
	return nil
}

// lidResultSent reads the form of how the lids sat; every field that cannot be read is told, not just the
// first.
func (s resultRoutes) lidResultSent(ctx context.Context, form url.Values) (wire.LidResultBody, error) {
	rd := s.formReader(ctx, form)
	b := wire.LidResultBody{Load: form.Get("load"), Pots: form["pot"], Form: form.Get("form"),
		Maker: form.Get("maker"), Body: form.Get("body"), By: form.Get("by")}
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
	b.Counts = wire.Sat{TooBig: whole("too_big"), Tight: whole("tight"), Good: whole("good"),
		Loose: whole("loose"), DropsIn: whole("drops_in"), NotLookedAt: whole("not_looked_at")}
	b.Losses = wire.Losses{Glued: whole("glued"), Rocks: whole("rocks"), Chipped: whole("chipped"),
		Dropped: whole("dropped")}
	for name, to := range map[string]*[]float64{"plays": &b.Plays, "thrown": &b.Thrown} {
		v, _ := rd.text(name)
		for _, one := range strings.FieldsFunc(v, func(c rune) bool {
			return c == ';' ||
				c == '\n' || c == '\r'
		}) {
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

func (s resultRoutes) postLidResultStrike(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	if strings.TrimSpace(form.Get("why")) == "" {
		err = web.NewProblem("missing", message.New("Say why the board is crossed out."),
			wire.Field{Name: "why", Says: message.New("is needed")})
	} else if a := (tiles.Act{By: form.Get("by"), Why: form.Get("why")}); a.Validate(true) != nil {
		err = a.Validate(true)
	} else {
		err = s.Archive.StrikeLidResult(r.Context(), r.PathValue("id"), a.By, a.Why, s.Now())
	}
	if err != nil {
		if p, ok := s.again(w, r, err); ok && len(p.Fields) > 0 {
			return s.showResults(w, r, r.PathValue("id"), pages.Form{Values: form, Problem: p})
		}
		return err
	}
	http.Redirect(w, r, "/lid-results#boards", http.StatusSeeOther)
	return nil
}

// Widths of the diary's drawings, px: of a phone and of a desk.
const (
	diaryPhone = 358
	diaryDesk  = 672
)

// lidDiary is what the boards of a form taught, as one person reads it.
func (s resultRoutes) lidDiary(ctx context.Context, l pages.Locale, form string) (*pages.LidDiary, error) {
	d, err := s.Lids().Diary(ctx, form, boardsShown)
	if err != nil {
		return nil, err
	}
	out := &pages.LidDiary{Form: form, Good: d.Sat.Good, Of: d.Sat.Looked(), Rest: max(0, d.Of-len(d.Boards))}
	scale := gapScale(l, d.Boards)
	if scale.To > 0 {
		phone, desk := scale, scale
		phone.Width, desk.Width = diaryPhone, diaryDesk
		out.ScalePhone, out.ScaleDesk = pages.Drawn(phone.SVG()), pages.Drawn(desk.SVG())
	}
	for i, b := range d.Boards {
		row := resultRow(l, b.LidResult, nil)
		row.Pots = strings.TrimSpace(b.Maker + " " + numberRange(b.Numbers))
		row.Learned = movedSays(l, float64(b.Moved))
		if scale.To > 0 && (len(b.Plays) > 0 || !math.IsNaN(float64(b.Predicted))) {
			row.Phone, row.Desk = drawnBoard(l, scale, b)
		}
		if i == 0 && row.Learned != "" && row.Struck == "" {
			out.Learned = l.T("Your last board ({1}) {2}.", row.Sat, row.Learned)
		}
		out.Boards = append(out.Boards, row)
	}
	return out, nil
}

// gapScale is the line on which the boards of a form stand; its end is 0 where no limits are known.
func gapScale(l pages.Locale, boards []usecase.DiaryBoard) chart.GapScale {
	per, unit := l.PerMM()
	d := chart.GapScale{Unit: unit, Tight: l.T("tight"), Good: l.T("good"), Loose: l.T("loose"),
		Said:      l.T("predicted"),
		Predicted: math.NaN(), Figure: l.Decimal}
	to := 0.0
	for _, b := range boards {
		if b.LeastPlayMM == nil || b.MostPlayMM == nil {
			continue
		}
		if to == 0 {
			d.Low, d.High = per**b.LeastPlayMM, per**b.MostPlayMM
			d.Predicted = per * float64(b.Predicted)
		}
		to = max(to, *b.MostPlayMM*1.2)
		for _, p := range b.Plays {
			to = max(to, p*1.05)
		}
	}
	d.To = per * math.Ceil(2*to) / 2
	return d
}

// drawnBoard draws one board for each width.
func drawnBoard(l pages.Locale, scale chart.GapScale, b usecase.DiaryBoard) (phone, desk pages.Drawn) {
	per, unit := l.PerMM()
	one := chart.GapStrip{GapScale: scale}
	one.Predicted = per * float64(b.Predicted)
	if b.LeastPlayMM != nil && b.MostPlayMM != nil {
		one.Low, one.High = per**b.LeastPlayMM, per**b.MostPlayMM
	}
	one.Counted = [3]int{b.Counts.Tight + b.Counts.TooBig, b.Counts.Good, b.Counts.Loose + b.Counts.DropsIn}
	var measured []string
	for _, p := range b.Plays {
		at := per * p
		one.Measured = append(one.Measured, at)
		measured = append(measured, l.Decimal(at, 2))
		class := 1
		if at < one.Low {
			class = 0
		} else if at > one.High {
			class = 2
		}
		one.Counted[class] = max(0, one.Counted[class]-1) // it stands as a dot
	}
	one.Title = l.T("Gap measured {1} {2}, good from {3} to {4}", cmp.Or(strings.Join(measured, "; "), "–"),
		unit,
		l.Decimal(one.Low, 2), l.Decimal(one.High, 2))
	if !math.IsNaN(one.Predicted) {
		one.Title += "; " + l.T("predicted {1}", l.Decimal(one.Predicted, 2))
	}
	one.Width = diaryPhone
	phone = pages.Drawn(one.SVG())
	one.Width = diaryDesk
	return phone, pages.Drawn(one.SVG())
}

// movedSays is how far a board moved the next lid; empty where it taught nothing.
func movedSays(l pages.Locale, mm float64) string {
	switch {
	case math.IsNaN(mm):
		return ""
	case math.Abs(mm) < 0.05:
		return l.T("as predicted: the next lid stays")
	case mm < 0:
		return l.T("moved the next lid {1} smaller", smallLength(l, -mm))
	}
	return l.T("moved the next lid {1} larger", smallLength(l, mm))
}

// smallLength is a small length with its unit: to 0.1 mm, 0.01 cm, 0.01 in.
func smallLength(l pages.Locale, mm float64) string {
	per, unit := l.PerMM()
	places := 2
	if unit == "mm" {
		places = 1
	}
	return l.Decimal(per*mm, places) + " " + unit
}

// resultRow is one board as a row. cards are those that are known; nil: its pots are not named.
func resultRow(l pages.Locale, v wire.LidResult, cards map[string]lid.PotCard) pages.DiaryRow {
	row := pages.DiaryRow{ID: v.ID, Sat: satSays(l, v.Counts, v.Losses), WhyNot: v.WhyNot}
	if v.At != nil {
		if at, err := time.Parse(time.RFC3339, *v.At); err == nil {
			row.Day = l.Day(at)
		}
	}
	if v.Struck != nil {
		row.Struck, row.WhyNot = v.Struck.Why, nil
	}
	if cards == nil {
		return row
	}
	var numbers []string
	for _, id := range v.Pots {
		if c, ok := cards[id]; ok && c.Number != "" {
			numbers = append(numbers, c.Number)
		}
	}
	row.Pots = strings.Join(slices.DeleteFunc([]string{v.Form,
		strings.TrimSpace(v.Maker + " " + numberRange(numbers))},
		func(s string) bool { return s == "" }), ", ")
	var gaps []string
	for _, p := range v.Plays {
		gaps = append(gaps, smallLength(l, p))
	}
	if len(gaps) > 0 {
		row.Learned = l.T("gap of {1}", strings.Join(gaps, "; "))
		if v.ExpectedMM != nil {
			row.Learned += ", " + l.T("by the rates alone {1}", smallLength(l, *v.ExpectedMM))
		}
	}
	return row
}

// numbers are those of the board's pots with their mark.
func (b boardOfPots) numbers() string {
	var all []string
	for _, p := range b.Pots {
		if p.Number != "" {
			all = append(all, p.Number)
		}
	}
	return strings.TrimSpace(b.Mark + " " + numberRange(all))
}

// numberRange writes numbers that follow one another by their ends.
func numberRange(numbers []string) string {
	var whole []int
	for _, n := range numbers {
		v, err := strconv.Atoi(n)
		if err != nil {
			return strings.Join(numbers, ", ")
		}
		whole = append(whole, v)
	}
	slices.Sort(whole)
	n := len(whole)
	if n < 3 || whole[n-1]-whole[0] != n-1 {
		return strings.Trim(strings.ReplaceAll(fmt.Sprint(whole), " ", ", "), "[]")
	}
	return fmt.Sprintf("%d–%d", whole[0], whole[n-1])
}

// satSays is how the lids of a board sat and what became of the others, in words.
func satSays(l pages.Locale, c wire.Sat, o wire.Losses) string {
	var all []string
	for _, one := range []struct {
		n    int
		word string
	}{{c.TooBig, "too big"}, {c.Tight, "tight"}, {c.Good, "good"}, {c.Loose, "loose"}, {c.DropsIn,
		"drops in"},
		{c.NotLookedAt, "not looked at"}, {o.Glued, "glued"}, {o.Rocks, "rocks"}, {o.Chipped, "chipped"},
		{o.Dropped, "dropped"}} {
		if one.n > 0 {
			all = append(all, fmt.Sprint(one.n)+" "+l.Say(one.word))
		}
	}
	return strings.Join(all, ", ")
}

// differsSays is by how much lids shrink other than their pots.
func differsSays(l pages.Locale, d wire.LidDifference) string {
	if d.Value == nil {
		return ""
	}
	share := l.Decimal(100*math.Abs(*d.Value), 1)
	switch {
	case d.Fits == 0:
		return l.T("taken to shrink as your pots do: no board of it counts")
	case math.Abs(*d.Value) < 0.0005:
		return l.T("your lids shrink as your pots do, {1} lids looked at", d.Fits)
	case *d.Value > 0:
		return l.T("your lids shrink {1} % more than your pots, {2} lids looked at", share, d.Fits)
	}
	return l.T("your lids shrink {1} % less than your pots, {2} lids looked at", share, d.Fits)
}

// upperFirst is a sentence that begins with a capital.
func upperFirst(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

func formResult(l pages.Locale, t wire.Tally) pages.FormResult {
	body := t.Body
	if t.Lid != "" && t.Lid != t.Body {
		body += " / " + t.Lid
	}
	f := pages.FormResult{Form: t.Form, Body: body, Maker: t.Maker, Sat: satSays(l, t.Counts, t.Losses),
		Differs: upperFirst(differsSays(l, t.LidDifference))}
	if r := t.LidDifference.Likely; len(r) == 2 && r[0] != nil && r[1] != nil {
		f.Likely = l.T("likely {1} to {2}", shareSays(l, *r[0]), shareSays(l, *r[1]))
	}
	return f
}

// shareSays is a share by which lids shrink other than pots, without a sign.
func shareSays(l pages.Locale, share float64) string {
	text := l.Decimal(100*math.Abs(share), 1)
	switch {
	case math.Abs(share) < 0.0005:
		return l.T("as much")
	case share > 0:
		return l.T("{1} % more", text)
	}
	return l.T("{1} % less", text)
}

func heldSays(l pages.Locale, held, of int) string {
	if of == 0 {
		return ""
	}
	return l.T("Our own ranges held {1} times of {2}.", held, of)
}

func makerTrue(l pages.Locale, m wire.Accuracy) pages.MakerTrue {
	fine := func(mm *float64) string {
		if mm == nil {
			return "–"
		}
		per, unit := l.PerMM()
		places := 3
		if unit == "mm" {
			places = 2
		}
		return l.Decimal(per**mm, places) + " " + unit
	}
	t := pages.MakerTrue{Mark: m.Maker, Lids: m.Lids, Readings: m.Readings, Throws: fine(m.ThrowSD),
		Reads: fine(m.MeasureSD)}
	if off := m.BiasMM; off != nil {
		size := math.Abs(*off)
		t.Off = l.T("{1} larger than told", fine(&size))
		if *off < 0 {
			t.Off = l.T("{1} smaller than told", fine(&size))
		}
	}
	return t
}
