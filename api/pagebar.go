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

	"lidwright/api/auth"
	"lidwright/api/caution"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// barsPage is where bars begin and end; /bars?kiln= comes from the QR code on the kiln room door.
func (s barRoutes) barsPage(w http.ResponseWriter, r *http.Request) error {
	return s.showBarsHome(w, r, pages.Form{})
}

// showBarsHome shows what waits to be measured and the loads that are packed, with the form of a load to pack
// as it was typed.
func (s barRoutes) showBarsHome(w http.ResponseWriter, r *http.Request, form pages.Form) error {
	base := s.page(r.Context(), "bars")
	data := pages.BarsHomePage{Frame: base.Frame, ID: base.ID, Kilns: kilnNames(s.KilnNames()), Form: form,
		Cautions: barCautions()}
	if id := form.Get("id"); id != "" {
		data.ID = id
	}
	waiting, err := s.Archive.Loads(r.Context(), tiles.LoadFilter{Waiting: true,
		Kiln: r.URL.Query().Get("kiln"), Limit: 20})
	if err != nil {
		return err
	}
	for i, l := range waiting {
		one, err := homeRoutes(s).toMeasure(r.Context(), l)
		if err != nil {
			return err
		}
		one.First = i == 0
		data.Waiting = append(data.Waiting, one)
	}
	open, err := s.Archive.Loads(r.Context(), tiles.LoadFilter{Open: true, Limit: 20})
	if err != nil {
		return err
	}
	for _, l := range open {
		j := s.Loads().LoadJSON(l)
		data.Open = append(data.Open, pages.OpenLoad{ID: l.ID, Kiln: j.Kiln, Kind: j.Kind,
			StateWords: j.StateWords, Number: l.Number, Bars: len(l.Bars)})
	}
	if err := s.likeLast(r.Context(), &data, r.URL.Query().Get("like")); err != nil {
		return err
	}
	clays, err := s.Clays().List(r.Context())
	if err != nil {
		return err
	}
	for _, c := range clays {
		data.Clays = append(data.Clays, pages.Named{ID: c.Clay, Name: c.Name})
	}
	bars, err := s.Archive.Bars(r.Context(), tiles.BarFilter{Limit: listed}, s.Channel)
	if err != nil {
		return err
	}
	data.Any, data.New = len(bars) > 0, withoutWet(bars, clays)
	return s.show(w, data)
}

// likeLast finds the load that the next one is packed like: the one asked for, else the newest.
func (s barRoutes) likeLast(ctx context.Context, d *pages.BarsHomePage, like string) error {
	var of tiles.KeptLoad
	if like != "" {
		l, err := s.Archive.Load(ctx, like)
		if err != nil {
			return err
		}
		of, d.Like = l, true
	} else {
		newest, err := s.Archive.Loads(ctx, tiles.LoadFilter{Limit: 1})
		if err != nil || len(newest) == 0 {
			return err
		}
		of = newest[0]
	}
	j := s.Loads().LoadJSON(of)
	d.Last = &j
	return nil
}

// withoutWet are the bars that nobody measured yet, by their batch.
func withoutWet(bars []tiles.KeptBar, clays []wire.ClayJSON) (all []pages.NewBars) {
	name := map[string]string{}
	for _, c := range clays {
		name[c.Clay] = c.Name
	}
	at := map[tiles.BatchRef]int{}
	for _, b := range bars {
		if len(b.Readings) > 0 || len(b.Flags) > 0 || len(b.Firings) > 0 {
			continue
		}
		i, ok := at[b.BatchRef]
		if !ok {
			i = len(all)
			at[b.BatchRef] = i
			all = append(all, pages.NewBars{Clay: name[string(b.Clay)], Batch: string(b.Batch)})
		}
		all[i].Codes = append(all[i].Codes, string(b.Code))
	}
	return all
}

// barCautions are those of whoever takes bars out of a kiln: two in sight, the others behind the second.
func barCautions() []pages.Cautioned {
	two := pages.Cautions(caution.Texts(caution.ColdBars, caution.OneSpot))
	for _, n := range caution.BeforeReachingIn {
		if n != caution.ColdBars && n != caution.OneSpot {
			two[1].More = append(two[1].More, caution.Text(n))
		}
	}
	return two
}

// kilnNames are kilns as a form lists them.
func kilnNames(ids []kiln.KilnID) []string {
	var names []string
	for _, id := range ids {
		names = append(names, string(id))
	}
	return names
}

// postLoad keeps a load from the form: the bars' codes in one field, blanks between. One that is refused
// comes back as it was typed.
func (s barRoutes) postLoad(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	b := wire.LoadBody{Kiln: form.Get("kiln"), Kind: form.Get("kind"), Atmosphere: form.Get("atmosphere"),
		PackedBy: form.Get("by"), Move: form.Get("move") != "",
		Bars: slotsIn(form.Get("bars"), form.Get("shelf"))}
	b.Like = form.Get("like")
	if _, err := s.Loads().KeepLoad(r.Context(), form.Get("id"), b, usecase.Precondition{}); err != nil {
		p, ok := s.again(w, r, err)
		if !ok {
			return err
		}
		return s.showBarsHome(w, r, pages.Form{Values: form, Problem: p})
	}
	http.Redirect(w, r, "/load/"+url.PathEscape(form.Get("id")), http.StatusSeeOther)
	return nil
}

// slotsIn are codes with blanks or commas between them, each with its shelf after an @, or on shelf.
func slotsIn(text, shelf string) (all []wire.Slot) {
	for _, one := range codesIn(text) {
		code, own, _ := strings.Cut(one, "@")
		all = append(all, wire.Slot{Bar: code, Shelf: cmp.Or(own, shelf)})
	}
	return all
}

// codesIn are codes with blanks or commas between them.
func codesIn(text string) []string {
	return strings.FieldsFunc(text, func(c rune) bool {
		return c == ' ' || c == ',' || c == ';' ||
			c == '\n' || c == '\r' || c == '\t'
	})
}

// sentOf is the entry as it was sent, to send it again unchanged.
func sentOf(form url.Values) map[string]string {
	out := map[string]string{}
	for _, name := range []string{"length", "unit", "stage", "mark", "instrument", "step_mm", "by",
		"supersedes", "again"} {
		out[name] = form.Get(name)
	}
	return out
}

// askAgain makes d the page that asks for the second reading of the one with that id; it stays the page
// of the bar if there is none such that waits.
func askAgain(d *pages.BarPage, id string) {
	for i, r := range d.Bar.Readings {
		if r.ID == id && r.Needs == "confirm" {
			d.Again = &d.Bar.Readings[i]
		}
	}
}

// correct makes the form of d take the place of the reading with that id; it stays as it is if there is none.
func correct(d *pages.BarPage, id string) {
	for i, r := range d.Bar.Readings {
		if r.ID == id && r.Struck == nil && r.Mass == nil {
			d.Correct = &d.Bar.Readings[i]
			d.Form.Values.Set("supersedes", id)
			d.Form.Values.Set("stage", r.Stage)
			d.Form.Values.Set("mark", strconv.Itoa(max(r.Mark, 1)))
		}
	}
}

// inAWord reports whether whoever asks may confirm a reading without a second one.
func inAWord(ctx context.Context, s *Server) bool {
	return s.Access.Codes == nil || auth.CallerOf(ctx).Who == auth.Owner
}

func (s barRoutes) barPageOf(ctx context.Context, bar tiles.KeptBar) pages.BarPage {
	base := s.page(ctx, "bars")
	d := pages.BarPage{Frame: base.Frame, ID: base.ID, MassID: s.MakeID(),
		Bar:  s.Bars().Settled(ctx, bar.Bar),
		Seen: markOf(bar.Flags), ClayName: string(bar.Clay), Stages: stageWords(),
		Word: inAWord(ctx, s.Server),
		Unit: string(s.unitOf(ctx)), Form: pages.Form{Values: url.Values{}}}
	for _, u := range tiles.LengthUnits() {
		d.Units = append(d.Units, string(u))
	}
	for _, f := range tiles.Flags() {
		d.Flags = append(d.Flags, string(f))
	}
	if c, err := s.Clays().OneClay(ctx, bar.Clay); err == nil {
		d.ClayName = c.Name
	}
	return d
}

func (s barRoutes) barPage(w http.ResponseWriter, r *http.Request) error {
	bar, err := s.Bars().KeptBar(r.Context(), wire.BarPath{Bar: r.PathValue("bar")})
	if err != nil {
		return err
	}
	data := s.barPageOf(r.Context(), bar)
	data.Load = r.URL.Query().Get("load")
	askAgain(&data, r.URL.Query().Get("again"))
	if id := r.URL.Query().Get("saved"); id != "" {
		for i, rd := range data.Bar.Readings {
			if rd.ID == id {
				data.Saved = &data.Bar.Readings[i]
				data.Saved.Earlier = s.Bars().Doubted(bar.Bar, bar.Readings[i])
			}
		}
	}
	which := r.URL.Query().Get("which")
	if err := s.askWhich(r.Context(), &data, bar.Bar, cmp.Or(which, r.URL.Query().Get("saved")),
		which != ""); err != nil {
		return err
	}
	correct(&data, r.URL.Query().Get("correct"))
	return s.show(w, data)
}

// postReading keeps a reading from the form. A refused one is shown again as it was typed. One that
// is not believed is asked about before it is kept; who insists has it kept not confirmed. One from the page
// that hides what was read before confirms that.
func (s barRoutes) postReading(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	p := wire.ReadingPath{BarPath: wire.BarPath{Bar: r.PathValue("bar")}, ID: form.Get("id")}
	back, bowl := measureBack(form)
	body, err := readingForm(form)
	a := usecase.Asked{}
	if err == nil {
		if err := readingUnchanged(s, r.Context(), p, form); err != nil {
			return err
		}
		a, err = s.Bars().ReadReading(r.Context(), p, body)
	}
	if form.Get("again") == "" {
		a.Reading.Confirms = "" // its page showed the lengths of before
	}
	if err == nil && a.Reading.Unusual && a.Reading.Confirms == "" && form.Get("keep") == "" {
		j := s.Bars().AskedJSON(a)
		if bowl {
			return measureRoutes(s).askMeasured(w, r, back, form, &j, nil)
		}
		return s.barAgain(w, r, form, &j, nil)
	}
	var j wire.Reading
	if err == nil {
		_, j, err = s.Bars().KeepAsked(r.Context(), p, a)
	}
	if err != nil && bowl {
		return measureRoutes(s).askMeasured(w, r, back, form, nil, err)
	}
	if err != nil {
		problem, ok := s.again(w, r, err)
		if !ok {
			return err
		}
		return s.barAgain(w, r, form, nil, problem)
	}
	if bowl { // on to the next bar, with the same instrument
		for _, name := range []string{"instrument", "step_mm"} {
			if v := strings.TrimSpace(form.Get(name)); v != "" {
				back = withQuery(back, name, v)
			}
		}
		http.Redirect(w, r, withQuery(back, "saved", j.Bar), http.StatusSeeOther)
		return nil
	}
	http.Redirect(w, r, "/bar/"+j.Bar+"?saved="+url.QueryEscape(j.ID), http.StatusSeeOther)
	return nil
}

// readingUnchanged refuses a correction where somebody else corrected the same reading since its form was
// made, or crossed it out.
func readingUnchanged(s barRoutes, ctx context.Context, p wire.ReadingPath, form url.Values) error {
	return unchanged(s.Server, ctx, form, func() (stale, error) {
		bar, err := s.Bars().KeptBar(ctx, p.BarPath)
		l, old := s.localeOf(ctx), form.Get("supersedes")
		c := stale{mark: old, send: url.Values{}, page: "/bar/" + url.PathEscape(p.Bar)}
		for _, r := range bar.Readings {
			switch {
			case r.ID == p.ID: // sent twice
				return stale{mark: form.Get("revision")}, err
			case r.ID == old && r.Struck != nil:
				c.mark, c.both = "", []pages.Both{{Name: message.New("{1}", message.Word(r.Stage)),
					Now: message.New("crossed out")}}
			case r.Supersedes == old && old != "" && r.Struck == nil:
				c.mark, c.both = r.ID, []pages.Both{{Name: message.New("{1}", message.Word(r.Stage)),
					Now: message.Plain(l.Length(float64(r.Length)))}}
			}
		}
		if len(c.both) > 0 {
			c.both[0].Yours = message.Plain(strings.TrimSpace(form.Get("length")+" "+form.Get("parts")) +
				" " + form.Get("unit"))
		}
		c.send.Set("supersedes", c.mark)
		return c, err
	})
}

// barAgain shows the page of a bar with the form of a length as it was typed: asked about, or refused.
func (s barRoutes) barAgain(w http.ResponseWriter, r *http.Request, form url.Values, asked *wire.Reading,
	problem *pages.Problem) error {
	bar, err := s.Bars().KeptBar(r.Context(), wire.BarPath{Bar: r.PathValue("bar")})
	if err != nil {
		return err
	}
	data := s.barPageOf(r.Context(), bar)
	askAgain(&data, form.Get("again"))
	correct(&data, form.Get("supersedes"))
	data.Form, data.Asked, data.Sent = pages.Form{Values: form, Problem: problem}, asked, sentOf(form)
	return s.show(w, data)
}

// readingForm is a reading as the page's form sends it: a length, or masses. In 32nds the whole inches and
// the parts have a field each.
func readingForm(form url.Values) (wire.ReadingBody, error) {
	b := wire.ReadingBody{Stage: form.Get("stage"), Length: cmp.Or(form.Get("fix"), form.Get("length")),
		Unit: form.Get("unit"), Instrument: form.Get("instrument"), By: form.Get("by"),
		Supersedes: form.Get("supersedes")}
	if parts := strings.TrimSpace(form.Get("parts")); parts != "" && form.Get("fix") == "" {
		b.Length = strings.TrimSpace(b.Length+" "+parts) + "/32"
	}
	rd := newReader(form, tiles.MM)
	if v, ok := rd.number("mark", 1, tiles.MostMarks); ok {
		b.Mark = int(v)
	}
	b.Step, _ = rd.limited("step_mm")
	if form.Has("dry_g") {
		b.Mass = &wire.MassBody{}
		for _, m := range []struct {
			to    *float64
			field string
		}{{&b.Mass.Dry, "dry_g"}, {&b.Mass.Saturated, "saturated_g"}, {&b.Mass.Suspended, "suspended_g"},
			{&b.Mass.Step, "step_g"}} {
			*m.to, _ = rd.limited(m.field)
		}
	}
	if len(rd.wrong) > 0 {
		return b, rd.wrong
	}
	return b, nil
}

// postFlags keeps what is ticked as wrong with a bar; from the page of a load it leads back there. Where
// somebody changed the bar since the form was made, both are shown, and nothing is kept before one is chosen.
func (s barRoutes) postFlags(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	p := wire.BarPath{Bar: r.PathValue("bar")}
	page := "/bar/" + url.PathEscape(p.Bar)
	err = unchanged(s.Server, r.Context(), form, func() (stale, error) {
		bar, err := s.Bars().KeptBar(r.Context(), p)
		return stale{mark: markOf(bar.Flags), page: page}, err
	})
	if err == nil {
		_, err = s.Bars().Flag(r.Context(), p, form["flag"], usecase.Precondition{})
	}
	if err != nil {
		return err
	}
	to := page
	if load := form.Get("load"); load != "" {
		to = "/load/" + url.PathEscape(load) + "#bars"
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
	return nil
}

func (s barRoutes) postStrike(w http.ResponseWriter, r *http.Request) error {
	return s.postAct(w, r, s.Archive.StrikeReading, "/strike")
}

func (s barRoutes) postConfirm(w http.ResponseWriter, r *http.Request) error {
	return s.postAct(w, r, s.Archive.ConfirmReading, "")
}

func (s barRoutes) postCount(w http.ResponseWriter, r *http.Request) error {
	return s.postAct(w, r, s.Archive.CountReading, "/count")
}

// postAct does something to a reading; why names the act that needs a reason, and comes back where none is
// given.
func (s barRoutes) postAct(w http.ResponseWriter, r *http.Request, do act, why string) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	bar, err := s.Bars().KeptBar(r.Context(), wire.BarPath{Bar: r.PathValue("bar")})
	if err != nil {
		return err
	}
	if why != "" && strings.TrimSpace(form.Get("why")) == "" {
		p, _ := s.again(w, r, web.NewProblem("missing", message.New("Say why."),
			wire.Field{Name: "why", Says: message.New("is needed")}))
		data := s.barPageOf(r.Context(), bar)
		data.Act, data.ActWhat = pages.Form{Values: form, Problem: p}, pages.Word(why)
		return s.show(w, data)
	}
	a := tiles.Act{By: form.Get("by"), Why: form.Get("why")}
	if err := a.Validate(why != ""); err != nil {
		return err
	}
	if err := do(r.Context(), bar.Code, form.Get("reading"), a.By, a.Why, s.Now()); err != nil {
		return err
	}
	s.Shrink.Touch(bar.Code)
	to, bowl := measureBack(form)
	if !bowl {
		to = "/bar/" + string(bar.Code)
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
	return nil
}

func (s barRoutes) claysPage(w http.ResponseWriter, r *http.Request) error {
	return s.showClays(w, r, pages.Form{})
}

// showClays lists the clays, with the form of a new one as it was typed.
func (s barRoutes) showClays(w http.ResponseWriter, r *http.Request, form pages.Form) error {
	all, err := s.Clays().List(r.Context())
	if err != nil {
		return err
	}
	data := pages.ClaysPage{Frame: s.page(r.Context(), "clays").Frame, Form: form}
	for _, c := range all {
		one := pages.OneClay{ID: c.Clay, Name: c.Name}
		if j, _, err := (clayRoutes(s)).askShrinkage(r.Context(), tiles.ClayID(c.Clay), nil); err == nil {
			one.Rate = &j
		} else {
			one.Why = s.troubles.Problem(r.Context(), err).Detail
		}
		data.Clays = append(data.Clays, one)
	}
	return s.show(w, data)
}

// postClay keeps a new clay; one that is refused comes back as it was typed.
func (s barRoutes) postClay(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	id := form.Get("clay")
	if id == "" {
		id = slug(form.Get("name"))
	}
	rd := newReader(form, s.Unit())
	stated := rd.percent("stated_total_ratio", float64(tiles.HighestStated))
	clay := tiles.Clay{ID: tiles.ClayID(id), Name: form.Get("name"), MaturesCone: form.Get("matures_cone"),
		Stated: stated}
	rd.refuse(clay.Validate()) // all that is wrong is said at once
	if len(rd.wrong) > 0 {
		err = rd.wrong
	} else if err = clayUnchanged(s, r.Context(), form, clay); errors.As(err, new(*stale)) {
		return err
	} else if err == nil {
		_, err = s.Clays().KeepClay(r.Context(), id, wire.ClayBody{Name: clay.Name,
			MaturesCone: clay.MaturesCone, Stated: float64(stated)})
	}
	if err != nil {
		p, ok := s.again(w, r, err)
		if !ok {
			return err
		}
		return s.showClays(w, r, pages.Form{Values: form, Problem: p})
	}
	http.Redirect(w, r, "/clay/"+url.PathEscape(id), http.StatusSeeOther)
	return nil
}

// clayUnchanged refuses a new clay where there is one of its name by now that is otherwise.
func clayUnchanged(s barRoutes, ctx context.Context, form url.Values, yours tiles.Clay) error {
	return unchanged(s.Server, ctx, form, func() (stale, error) {
		c := stale{mark: pages.NoneYet, page: "/clays"}
		now, err := s.Clays().OneClay(ctx, yours.ID)
		if errors.Is(err, tiles.ErrNoClay) {
			return c, nil
		}
		percent := func(share float64) message.Message {
			if share == 0 {
				return message.Message{}
			}
			return message.New("{1} %", message.Number{Value: 100 * share, Places: 1})
		}
		if is := (tiles.Clay{ID: yours.ID, Name: now.Name, MaturesCone: now.MaturesCone,
			Stated: tiles.Ratio(now.Stated)}); is != yours {
			c.mark = markOf(now.Name, now.MaturesCone, now.Stated)
		}
		c.both = []pages.Both{
			{Name: message.New("name"), Now: message.Plain(now.Name), Yours: message.Plain(yours.Name)},
			{Name: message.New("cone"), Now: message.Plain(now.MaturesCone),
				Yours: message.Plain(yours.MaturesCone)},
			{Name: message.New("shrinkage from the bag"), Now: percent(now.Stated),
				Yours: percent(float64(yours.Stated))}}
		return c, err
	})
}

// slug makes an id of a name: its letters and digits, lower case, with hyphens between.
func slug(name string) string {
	id := strings.Trim(strings.Join(strings.FieldsFunc(strings.ToLower(name),
		func(r rune) bool { return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9') }), "-"), "-")
	return id[:min(len(id), 32)]
}

// postBars hands out codes for new bars of a clay; what is refused comes back on the page of the clay.
func (s barRoutes) postBars(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	n, err := howManyBars(form, s.Unit())
	if err == nil {
		err = newBars(s.Server, w, r, n, wire.BarBody{Clay: r.PathValue("clay"), Batch: form.Get("batch"),
			Forming: form.Get("forming"), By: form.Get("by")})
	}
	if err == nil {
		return nil
	}
	p, ok := s.again(w, r, err)
	if !ok {
		return err
	}
	return clayRoutes(s).showClay(w, r, url.Values{"batch": {form.Get("batch")}},
		pages.Form{Values: form, Problem: p})
}

// howManyBars reads how many bars somebody wants.
func howManyBars(form url.Values, unit tiles.LengthUnit) (int, error) {
	rd := newReader(form, unit)
	if n, ok := rd.number("count", 1, 50); ok {
		return int(n), nil
	}
	return 0, web.NewProblem("out-of-range", message.New("Say how many bars, 1 to 50."),
		wire.Field{Name: "count", Says: message.New("must lie from 1 to 50")})
}

// newBars makes n bars like one and leads to the page that takes their wet lengths.
func newBars(s *Server, w http.ResponseWriter, r *http.Request, n int, like wire.BarBody) error {
	codes, err := s.Bars().FreeCodes(r.Context(), n)
	if err != nil {
		return err
	}
	for _, code := range codes {
		like.ID = s.MakeID()
		if _, err := s.Bars().KeepBar(r.Context(), wire.BarPath{Bar: code}, like,
			usecase.Precondition{New: true}); err != nil {
			return err
		}
	}
	http.Redirect(w, r, "/bars/measure?"+url.Values{"codes": {strings.Join(codes, " ")},
		"stage": {string(tiles.Wet)}}.Encode(), http.StatusSeeOther)
	return nil
}

// mostAsked is how many firings are offered by name; others are told by theirs.
const mostAsked = 3

// askWhich makes d the page that asks which firing the reading of that id came out of: where that is not
// known, or where somebody wants to say it all the same.
func (s barRoutes) askWhich(ctx context.Context, d *pages.BarPage, b tiles.Bar,
	id string, wanted bool) error {
	at := slices.IndexFunc(b.Readings, func(r tiles.Reading) bool { return r.ID == id })
	if at < 0 || at >= len(d.Bar.Readings) || !wanted && !asksWhich(d.Bar.Readings[at]) {
		return nil
	}
	if stage := b.Readings[at].Stage; stage != tiles.Biscuit && stage != tiles.Fired {
		return nil
	}
	firings, err := s.Bars().WhichAsked(ctx, b, b.Readings[at], mostAsked)
	if err != nil {
		return err
	}
	d.Which = &pages.WhichAsked{Reading: d.Bar.Readings[at]}
	l := heatwork.MainConeScale()
	for _, f := range firings {
		one := pages.WhichFiring{ID: string(f.ID), Name: f.Name(), Kind: string(f.Kind),
			At: s.Moment(f.PeakPassed())}
		if w, ok := f.WorkOn(s.Channel(f.Kiln, ""), ""); ok && w.C.Known() {
			one.Cone = l.Words(l.Position(w.C))
		}
		d.Which.Firings = append(d.Which.Firings, one)
	}
	return nil
}

// asksWhich reports whether the firing of a reading is not known.
func asksWhich(r wire.Reading) bool {
	if r.HeatAssumed != nil {
		return true
	}
	return r.WhyNot != nil && slices.Contains([]string{string(tiles.NoFiring), string(tiles.HeatAssumed)},
		r.WhyNot.Code)
}

// postWhich keeps the answer.
func (s barRoutes) postWhich(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	p := wire.ReadingPath{BarPath: wire.BarPath{Bar: r.PathValue("bar")}, ID: form.Get("reading")}
	to := "/bar/" + url.PathEscape(p.Bar) + "?saved=" + url.QueryEscape(p.ID)
	var told wire.WhichFiring
	switch which := form.Get("which"); which {
	case "usual": // it counts at what is assumed: nothing to keep
		http.Redirect(w, r, "/bar/"+url.PathEscape(p.Bar), http.StatusSeeOther)
		return nil
	case "cone":
		told.Cone = form.Get("cone")
	case "other":
		told.Firing = form.Get("firing")
	default:
		told.Firing = which
	}
	if _, err = s.Bars().TellFiring(r.Context(), p, told); err == nil {
		http.Redirect(w, r, to, http.StatusSeeOther)
		return nil
	}
	bar, barErr := s.Bars().KeptBar(r.Context(), p.BarPath)
	if barErr != nil {
		return barErr
	}
	problem, ok := s.again(w, r, err)
	if !ok {
		return err
	}
	data := s.barPageOf(r.Context(), bar)
	for name, v := range form {
		data.Form.Values[name] = v
	}
	data.Form.Problem = problem
	if err := s.askWhich(r.Context(), &data, bar.Bar, p.ID, true); err != nil {
		return err
	}
	return s.show(w, data)
}

const listed = 50 // bars or loads on one page of their list

// allBarsPage lists bars by code: of a clay, or those that wait to be measured.
func (s barRoutes) allBarsPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	data := pages.AllBarsPage{Frame: s.page(r.Context(), "bars").Frame, Clay: q.Get("clay"),
		Form: pages.Form{Values: q}}
	status := http.StatusOK
	if code := q.Get("code"); code != "" { // asked for by name
		bar, err := s.Bars().Bar(r.Context(), wire.BarPath{Bar: code})
		if err == nil {
			http.Redirect(w, r, "/bar/"+url.PathEscape(string(bar.Code)), http.StatusSeeOther)
			return nil
		}
		p := s.troubles.Problem(r.Context(), err)
		if p.Status >= http.StatusInternalServerError {
			return err
		}
		if len(p.Fields) == 0 {
			p.Fields = []wire.Field{{Name: "bar", Says: p.Detail}}
		}
		data.Form.Problem, status = onPage(p), p.Status
	}
	l := s.pages.Locale(data.Frame.Speak)
	clays, err := s.Clays().List(r.Context())
	if err != nil {
		return err
	}
	data.Waiting = []pages.Tab{tab(r.URL, "waiting", "", l.T("all")), tab(r.URL, "waiting", "yes",
		l.T("to measure"))}
	data.Clays = []pages.Tab{tab(r.URL, "clay", "", l.T("every clay"))}
	for _, c := range clays {
		one := tab(r.URL, "clay", c.Clay, c.Name)
		one.Name = true
		data.Clays = append(data.Clays, one)
	}
	bars, err := s.Archive.Bars(r.Context(),
		tiles.BarFilter{Clay: tiles.ClayID(data.Clay), Waiting: q.Get("waiting") == "yes",
			After: tiles.Code(strings.ToUpper(q.Get("after"))), Limit: listed + 1}, s.Channel)
	if err != nil {
		return err
	}
	for i, b := range bars {
		if i == listed {
			data.More = withQuery(r.URL.String(), "after", data.Bars[i-1].Bar)
			break
		}
		data.Bars = append(data.Bars, s.Bars().BarJSON(b.Bar))
	}
	if status != http.StatusOK {
		w.WriteHeader(status)
	}
	return s.show(w, data)
}

// tab is a list with one of the members of its address set, from its beginning; an empty value takes it out.
func tab(address *url.URL, name, value, text string) pages.Tab {
	q := address.Query()
	on := q.Get(name) == value
	q.Del("after")
	q.Set(name, value)
	if value == "" {
		q.Del(name)
	}
	to := address.Path
	if len(q) > 0 {
		to += "?" + q.Encode()
	}
	return pages.Tab{Text: text, Href: to, On: on}
}
