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
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// fiveToLookAt is how many bars of a class whoever teaches is asked to look at.
const fiveToLookAt = 5

type classBar struct {
	wire.BarJSON
	Why message.Message // this one is worth a look; empty if nothing is odd
	odd float64
}

// Read is what was read of the bar at a stage, by the last reading that is not struck.
func (b classBar) Read(stage string) *wire.Reading {
	for i := len(b.Readings) - 1; i >= 0; i-- {
		if r := &b.Readings[i]; r.Stage == stage && r.Struck == nil && r.Mass == nil {
			return r
		}
	}
	return nil
}

type classThrow struct {
	Clay    wire.ClayJSON
	Rate    *wire.Shrinkage
	Why     message.Message // where there is no rate
	Lengths []thrownTo      // examples
}

type thrownTo struct{ Fired, Wet float64 } // mm

// classPage has the bars of a class on one screen: those that are practice, or by mark all that
// somebody made; what is worth a look first, then what to throw.
func (s clayRoutes) classPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	data := struct {
		page
		Bars     []classBar
		Look     []classBar
		Throw    []classThrow
		Stages   []string
		Clay, By string
		All      bool
		Codes    string
		Cautions []message.Message
		Out      []wire.CrossedOut
	}{page: s.page(r.Context(), "more"), Clay: q.Get("clay"), By: strings.TrimSpace(q.Get("by")),
		All: q.Get("all") == "yes", Cautions: caution.Texts(caution.Classroom, caution.Students)}
	f := tiles.BarFilter{Clay: tiles.ClayID(data.Clay), Limit: 500}
	if practice := true; !data.All {
		f.Practice = &practice
	}
	bars, err := s.Archive.Bars(r.Context(), f, s.Channel)
	if err != nil {
		return err
	}
	var codes []string
	for _, b := range bars {
		one := classBar{BarJSON: s.Bars().BarJSON(b.Bar)}
		if data.By != "" && !strings.EqualFold(one.By, data.By) &&
			!slices.ContainsFunc(one.Readings,
				func(rd wire.Reading) bool { return strings.EqualFold(rd.By, data.By) }) {
			continue
		}
		data.Bars = append(data.Bars, one)
		codes = append(codes, one.Bar)
	}
	for _, stage := range stageWords() {
		if slices.ContainsFunc(data.Bars, func(b classBar) bool { return b.Read(stage) != nil }) {
			data.Stages = append(data.Stages, stage)
		}
	}
	data.Codes = strings.Join(codes[:min(len(codes), 200)], " ")
	data.Look = worthALook(data.Bars)
	if data.Throw, err = s.classThrows(r.Context(), data.Clay); err != nil {
		return err
	}
	if data.Out, err = s.CrossedOut(r.Context(), s.Now().Wall.Add(-usecase.ThisEvening)); err != nil {
		return err
	}
	return s.render(w, "class", data)
}

// worthALook picks the bars of a class to look at: an unusual reading first, then what lies
// furthest from the middle of the class at the same stage of the same clay, over half a point.
func worthALook(bars []classBar) []classBar {
	shrunk := map[string][]float64{}
	key := func(b classBar, r wire.Reading) string { return b.Clay + "/" + b.Batch + " " + r.Stage }
	for _, b := range bars {
		for _, r := range b.Readings {
			if r.TotalRatio != nil && r.Struck == nil {
				shrunk[key(b, r)] = append(shrunk[key(b, r)], *r.TotalRatio)
			}
		}
	}
	var look []classBar
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
				b.Why = message.New("{1}: shrank {2} points against the middle of the class",
					message.Word(r.Stage),
					message.Number{Value: 100 * off, Places: 1, Sign: true})
			}
		}
		if !b.Why.IsZero() {
			look = append(look, b)
		}
	}
	slices.SortStableFunc(look, func(a, b classBar) int { return cmp.Compare(b.odd, a.odd) })
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
func (s clayRoutes) classThrows(ctx context.Context, only string) ([]classThrow, error) {
	clays, err := s.Clays().List(ctx)
	if err != nil {
		return nil, err
	}
	var out []classThrow
	for _, c := range clays {
		if only != "" && c.Clay != only {
			continue
		}
		one := classThrow{Clay: c}
		j, _, err := s.askShrinkage(ctx, tiles.ClayID(c.Clay), url.Values{})
		if err != nil {
			one.Why = s.troubles.Problem(ctx, err).Detail
			out = append(out, one)
			continue
		}
		one.Rate = &j
		if j.MultiplyFiredBy != nil {
			for _, fired := range []float64{60, 80, 100, 120} {
				one.Lengths = append(one.Lengths, thrownTo{fired, fired * *j.MultiplyFiredBy})
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
	for _, c := range codes {
		b, err := s.Bars().KeptBar(r.Context(), wire.BarPath{Bar: c})
		if err != nil {
			return err
		}
		if practice := form.Get("practice") == "yes"; b.Practice != practice {
			b.Practice = practice
			if _, err := s.Archive.PutBar(r.Context(), b.Bar, usecase.Precondition{Revision: b.Revision}, s.Now()); err != nil {
				return err
			}
			s.Shrink.Touch(b.Code)
		}
	}
	http.Redirect(w, r, "/class?"+url.Values{"all": {form.Get("all")},
		"clay": {form.Get("clay")}}.Encode(), http.StatusSeeOther)
	return nil
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
		return web.NewProblem("out-of-range", message.New("Write the maker's marks of the class, 1 to 50, blanks between."),
			wire.Field{Name: "marks", Says: message.New("1 to 50 marks")})
	}
	codes, err := s.Bars().FreeCodes(r.Context(), len(marks))
	if err != nil {
		return err
	}
	for i, code := range codes {
		body := wire.BarBody{ID: s.MakeID(), Clay: form.Get("clay"), Forming: form.Get("forming"),
			By: marks[i], Practice: form.Get("practice") == "yes"}
		if _, err := s.Bars().KeepBar(r.Context(), wire.BarPath{Bar: code}, body, usecase.Precondition{New: true}); err != nil {
			return err
		}
	}
	http.Redirect(w, r, "/class?all="+map[bool]string{true: "",
		false: "yes"}[form.Get("practice") == "yes"], http.StatusSeeOther)
	return nil
}
