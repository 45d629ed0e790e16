package api

import (
	"cmp"
	"context"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"lidwright/api/caution"
	"lidwright/api/chart"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// fiveToLookAt is how many bars of a class whoever teaches is asked to look at.
const fiveToLookAt = 5

// oddBar is a bar of a class with how odd it is.
type oddBar struct {
	pages.ClassBar
	odd float64
}

// classPage has the bars of a class on one screen: those that are practice, or by mark all that
// somebody made; what is worth a look first, then what to throw.
func (s clayRoutes) classPage(w http.ResponseWriter, r *http.Request) error {
	ctx, q, l := r.Context(), r.URL.Query(), s.localeOf(r.Context())
	data := pages.ClassPage{Frame: s.page(ctx, "more").Frame, Clay: q.Get("clay"),
		By: strings.TrimSpace(q.Get("by")), All: q.Get("all") == "yes",
		Cautions: pages.Cautions(caution.Texts(caution.Classroom, caution.Students))}
	data.Which = []pages.Tab{tab(r.URL, "all", "", l.T("practice")),
		tab(r.URL, "all", "yes", l.T("all bars"))}
	data.Of = []pages.Tab{tab(r.URL, "clay", "", l.T("every clay"))}
	clays, err := s.Clays().List(ctx)
	if err != nil {
		return err
	}
	for _, c := range clays {
		one := tab(r.URL, "clay", c.Clay, c.Name)
		one.Name = true
		data.Of = append(data.Of, one)
	}
	bars, err := s.classBars(ctx, data.Clay, data.By, data.All)
	if err != nil {
		return err
	}
	look := worthALook(bars)
	var codes []string
	for _, b := range bars {
		if b.Shrunk != nil || len(b.Readings) > 0 {
			data.Measured++
		}
		if i := slices.IndexFunc(look, func(o oddBar) bool { return o.Bar == b.Bar }); i >= 0 {
			b.Why = look[i].Why
		}
		data.Bars, codes = append(data.Bars, b.ClassBar), append(codes, b.Bar)
	}
	for _, b := range look {
		data.Look = append(data.Look, b.ClassBar)
	}
	data.Codes = strings.Join(codes[:min(len(codes), 200)], " ")
	drawClass(&data, l)
	if data.Throw, err = s.classThrows(ctx, l.Unit, data.Clay); err != nil {
		return err
	}
	if data.Out, err = s.CrossedOut(ctx, s.Now().Wall.Add(-usecase.ThisEvening)); err != nil {
		return err
	}
	return s.show(w, data)
}

// classBars are the bars of a class: of one clay or of all, by one mark or by all, practice alone or all.
func (s clayRoutes) classBars(ctx context.Context, clay, by string, all bool) (out []oddBar, err error) {
	f := tiles.BarFilter{Clay: tiles.ClayID(clay), Limit: 500}
	if practice := true; !all {
		f.Practice = &practice
	}
	bars, err := s.Archive.Bars(ctx, f, s.Channel)
	for _, b := range bars {
		one := oddBar{ClassBar: pages.ClassBar{BarJSON: s.Bars().BarJSON(b.Bar)}}
		if by == "" || strings.EqualFold(one.By, by) ||
			slices.ContainsFunc(one.Readings,
				func(rd wire.Reading) bool { return strings.EqualFold(rd.By, by) }) {
			out = append(out, one)
		}
	}
	return out, err
}

// drawClass sets what the bars shrank beside one another, at the stage that most of them are measured at.
func drawClass(d *pages.ClassPage, l pages.Locale) {
	count := map[string]int{}
	for _, b := range d.Bars {
		for _, stage := range stageWords() {
			if r := b.Read(stage); r != nil && r.TotalRatio != nil {
				count[stage]++
			}
		}
	}
	for _, stage := range stageWords() {
		if count[stage] > 1 && count[stage] >= count[d.Strip] {
			d.Strip = stage
		}
	}
	c := chart.Strip{Figure: l.Decimal}
	var said []string
	for _, b := range d.Bars {
		if r := b.Read(d.Strip); r != nil && r.TotalRatio != nil {
			c.Dots = append(c.Dots, chart.StripDot{Name: b.Bar, At: 100 * *r.TotalRatio})
			said = append(said, b.Bar+" "+l.Percent(r.TotalRatio)+" %")
		}
	}
	if len(c.Dots) > 0 {
		c.Title = strings.Join(said, ", ")
		c.Width = 326
		d.Phone = pages.Drawn(c.SVG())
		c.Width = 510
		d.Desk = pages.Drawn(c.SVG())
	}
}

// worthALook picks the bars of a class to look at: an unusual reading first, then what lies
// furthest from the middle of the class at the same stage of the same clay, over half a point.
func worthALook(bars []oddBar) []oddBar {
	shrunk := map[string][]float64{}
	key := func(b oddBar, r wire.Reading) string { return b.Clay + "/" + b.Batch + " " + r.Stage }
	for _, b := range bars {
		for _, r := range b.Readings {
			if r.TotalRatio != nil && r.Struck == nil {
				shrunk[key(b, r)] = append(shrunk[key(b, r)], *r.TotalRatio)
			}
		}
	}
	var look []oddBar
	for _, b := range bars {
		for _, r := range b.Readings {
			if r.Struck != nil {
				continue
			}
			if r.Unusual && r.Needs != "" && b.odd < 1 {
				b.odd, b.Why = 1, message.New("{1}: {2}", message.Word(r.Stage), questionOf(r))
			}
			all := shrunk[key(b, r)]
			if r.TotalRatio == nil || len(all) < 3 || b.odd >= 1 {
				continue
			}
			slices.Sort(all)
			const tells = 0.005
			if off := *r.TotalRatio - all[len(all)/2]; math.Abs(off) > max(tells, b.odd) {
				b.odd = math.Abs(off)
				says := message.Key("{1}: shrank {2} % more than the middle of the class")
				if *r.TotalRatio < all[len(all)/2] {
					says = "{1}: shrank {2} % less than the middle of the class"
				}
				b.Why = message.New(says, message.Word(r.Stage),
					message.Number{Value: 100 * math.Abs(off), Places: 1})
			}
		}
		if !b.Why.IsZero() {
			look = append(look, b)
		}
	}
	slices.SortStableFunc(look, func(a, b oddBar) int { return cmp.Compare(b.odd, a.odd) })
	return look[:min(len(look), fiveToLookAt)]
}

// questionOf is what was asked about an unusual reading.
func questionOf(r wire.Reading) message.Message {
	if r.Question.IsZero() {
		return message.New("an unusual length")
	}
	return r.Question
}

// classThrows says for each clay, or for one, how wide to throw for some fired widths.
func (s clayRoutes) classThrows(ctx context.Context, unit, only string) ([]pages.ClassThrow, error) {
	clays, err := s.Clays().List(ctx)
	if err != nil {
		return nil, err
	}
	var out []pages.ClassThrow
	fired := []float64{60, 80, 100, 120}
	if unit == "in" || unit == "32nds" {
		fired = []float64{2 * 25.4, 3 * 25.4, 4 * 25.4, 5 * 25.4}
	}
	for _, c := range clays {
		if only != "" && c.Clay != only {
			continue
		}
		one := pages.ClassThrow{ID: c.Clay, Name: c.Name}
		j, _, err := s.askShrinkage(ctx, tiles.ClayID(c.Clay), url.Values{})
		if err != nil {
			one.Why = s.troubles.Problem(ctx, err).Detail
			out = append(out, one)
			continue
		}
		one.Rate = &j
		if j.MultiplyFiredBy != nil {
			for _, mm := range fired {
				one.Lengths = append(one.Lengths, pages.ThrownTo{FiredMM: mm, WetMM: mm * *j.MultiplyFiredBy})
			}
		}
		out = append(out, one)
	}
	return out, nil
}

// postClass says of bars whether they are practice: those named in the field codes.
func (s clayRoutes) postClass(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	codes := form["bar"]
	if len(codes) == 0 {
		return web.NewProblem("missing", message.New("Tick the bars first."),
			wire.Field{Name: "bar", Says: message.New("none is ticked")})
	}
	want := form.Get("practice") == "yes"
	if err := s.practiceUnchanged(r.Context(), form, want); err != nil {
		return err
	}
	for _, c := range codes {
		b, err := s.Bars().KeptBar(r.Context(), wire.BarPath{Bar: c})
		if err != nil {
			return err
		}
		if b.Practice != want {
			b.Practice = want
			if _, err := s.Archive.PutBar(r.Context(), b.Bar, usecase.Precondition{Revision: b.Revision},
				s.Now()); err != nil {
				return err
			}
			s.Shrink.Touch(b.Code)
		}
	}
	http.Redirect(w, r, "/class?"+url.Values{"all": {form.Get("all")},
		"clay": {form.Get("clay")}}.Encode(), http.StatusSeeOther)
	return nil
}

// practiceUnchanged refuses the ticks where somebody changed one of those bars since they were made, and it
// is otherwise by now than is wanted.
func (s clayRoutes) practiceUnchanged(ctx context.Context, form url.Values, want bool) error {
	return unchanged(s.Server, ctx, form, func() (stale, error) {
		seen := strings.Fields(form.Get("revision"))
		c := stale{page: "/class?" + url.Values{"all": {"yes"}}.Encode()}
		now := []string{"-"}
		says := map[bool]message.Message{true: message.New("practice"), false: message.New("counts")}
		for _, code := range form["bar"] {
			b, err := s.Bars().KeptBar(ctx, wire.BarPath{Bar: code})
			if err != nil {
				return c, err
			}
			if b.Practice {
				now = append(now, code)
			}
			if b.Practice != slices.Contains(seen, code) && b.Practice != want {
				c.both = append(c.both,
					pages.Both{Name: message.New("bar {1}", code), Now: says[b.Practice], Yours: says[want]})
			}
		}
		if c.mark = strings.Join(now, " "); len(c.both) == 0 {
			c.mark = form.Get("revision")
		}
		return c, nil
	})
}

// postClassBars hands out codes of practice bars to a class, one for each maker's mark.
func (s clayRoutes) postClassBars(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	marks := strings.FieldsFunc(form.Get("marks"),
		func(c rune) bool { return c == ' ' || c == ',' || c == '\n' || c == '\r' || c == ';' })
	if len(marks) == 0 || len(marks) > 50 {
		return web.NewProblem("out-of-range",
			message.New("Write the maker's marks of the class, 1 to 50, blanks between."),
			wire.Field{Name: "marks", Says: message.New("1 to 50 marks")})
	}
	codes, err := s.Bars().FreeCodes(r.Context(), len(marks))
	if err != nil {
		return err
	}
	for i, code := range codes {
		body := wire.BarBody{ID: s.MakeID(), Clay: form.Get("clay"), Forming: form.Get("forming"),
			By: marks[i], Practice: form.Get("practice") == "yes"}
		if _, err := s.Bars().KeepBar(r.Context(), wire.BarPath{Bar: code}, body,
			usecase.Precondition{New: true}); err != nil {
			return err
		}
	}
	http.Redirect(w, r, "/class?all="+map[bool]string{true: "",
		false: "yes"}[form.Get("practice") == "yes"], http.StatusSeeOther)
	return nil
}
