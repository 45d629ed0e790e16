package api

import (
	"context"
	"fmt"
	"html/template"
	"maps"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"lidwright/api/caution"
	"lidwright/api/chart"
	"lidwright/api/wire"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// asking is what the pages share that ask how wide to throw lids: their forms send the API's own
// parameters, so that a link to an answer works anywhere.
type asking struct {
	page
	Q          url.Values
	Asked      template.URL // the same as a query; made by url.Values, so safe in a link
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
	Caution    []string
}

// askedField is one parameter of a form and what stands above it.
type askedField struct{ Name, Label string }

var rateFields = []askedField{{"body_drying_ratio", "Pot: drying"}, {"body_firing_ratio", "Pot: firing"}, {"body_bisque_ratio", "Pot: bisque, if measured bisque"},
	{"lid_drying_ratio", "Lid: drying, if another"}, {"lid_firing_ratio", "Lid: firing, if another"}, {"lid_bisque_ratio", "Lid: bisque"}, {"lid_leather_ratio", "Lid: gone already"},
	{"doubt_ratio", "How far each may be wrong, one sd"}}

var moreFields = []askedField{{"play", "Play wanted after firing, across"}, {"least_play", "Least good play"}, {"most_play", "Most good play"},
	{"bearing", "Least bearing when pushed aside"}, {"glaze", "Glaze across in all, if glazed"}, {"step", "Step you can set"},
	{"measure_sd", "How true you read, one sd"}, {"throw_sd", "How true you throw, one sd"}}

// asking fills in what a form shows. The error is the store's.
func (s lidRoutes) asking(ctx context.Context, q url.Values) (asking, error) {
	clays, err := s.Clays().List(ctx)
	a := asking{page: s.page(ctx, "lid"), Q: q, Asked: template.URL(q.Encode()), Clays: clays, Stages: stageWords(), Seats: lid.Seats(),
		Kinds: []string{"glaze", "once", "bisque", "other"}, Units: []tiles.LengthUnit{tiles.MM, tiles.CM, tiles.Inch, tiles.Inch32nd}, Unit: s.fieldUnit(ctx, q), Show: s.unitOf(ctx),
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
func (a asking) Sure() template.URL { return a.accept("unusual", "wide") }
func (a asking) Wide() template.URL { return a.accept("wide", "unusual") }

// accept is the query with accept set to word; to all where the other was accepted before.
func (a asking) accept(word, other string) template.URL {
	q := maps.Clone(a.Q)
	if was := q.Get("accept"); was == other || was == "all" {
		word = "all"
	}
	q.Set("accept", word)
	return template.URL(q.Encode())
}

func (a *asking) caution(ids []string) {
	for _, id := range ids {
		if t := CautionOf(id); t != "" {
			a.Caution = append(a.Caution, t)
		}
	}
}

// lidView is an answer in words, lengths in the unit of the page.
type lidView struct {
	Question          lid.Kind
	Sets              string // which width is set
	Number, Other     string // the width to set, bare; and in the other measure
	NotOver, NotUnder string
	Chance            string
	HeldBack          string
	Play, Likely      string
	Spread, Also      []string
	Steps             []string // what to do beside throwing to the width
	Check             string
	Drawing, Written  string
	Why               []askedField // name and what is said
	JSON              wire.Lid
}

var doubtWords = map[string]string{"piece": "piece to piece", "position": "place in the kiln", "reading": "reading the callipers", "throwing": "throwing to them",
	"part_difference": "how lids differ from bodies", "rate": "the shrink rate", "gone": "the drying already gone"}

func lidWords(a lid.Answer, j wire.Lid, unit tiles.LengthUnit) *lidView {
	sets := a.Asked.Seat.LidName()
	if a.Question == lid.AskGallery {
		sets = a.Asked.Seat.CollarName()
	}
	v := &lidView{Question: a.Question, Sets: sets, HeldBack: a.HeldBack, Chance: percentOf(a.FitChance), JSON: j,
		NotOver: bare(unit.Format(a.NotOver)), NotUnder: bare(unit.Format(a.NotUnder)),
		Play: unit.Format(a.Fired.Play), Likely: unit.Format(a.Fired.Likely[0]) + " to " + unit.Format(a.Fired.Likely[1])}
	other := tiles.Inch32nd
	if unit == tiles.Inch || unit == tiles.Inch32nd {
		other = tiles.MM
	}
	if !math.IsNaN(float64(a.Set)) {
		v.Number = bare(unit.Format(a.Set))
		v.Other = "about " + other.Format(a.Set)
	}
	for _, sp := range a.Spread {
		if len(slices.Compact(slices.Clone(sp.Sizes))) == 1 {
			sp.Sizes = sp.Sizes[:1]
		}
		v.Spread = append(v.Spread, fmt.Sprintf("%s of %s: %s", plural(sp.Lids, "one", "two", "three"), joined(sp.Sizes, unit), percentOf(sp.FitChance)))
	}
	for _, p := range a.Also {
		limit, word := p.NotOver, "not over"
		if math.IsNaN(float64(limit)) {
			limit, word = p.NotUnder, "not under"
		}
		v.Also = append(v.Also, strings.ReplaceAll(p.Part, "_", " ")+" "+word+" "+unit.Format(limit))
	}
	if c := a.AtCheck; c != nil {
		v.Check = fmt.Sprintf("At %s the play to expect is %s, likely %s to %s.", c.Stage, unit.Format(c.Play), unit.Format(c.Likely[0]), unit.Format(c.Likely[1]))
	}
	v.steps(a, unit)
	section := a.Section(unit)
	v.Drawing, v.Written = chart.Section(section), section.Says
	why := func(name, says string) {
		if says != "" {
			v.Why = append(v.Why, askedField{name, says})
		}
	}
	why("trust", a.Trust.Words()+": "+a.TrustWhy)
	if j.Asked.Cone != nil {
		why("firing", fmt.Sprintf("%s, cone %s (heat work %.0f °C)", j.Asked.Kind, *j.Asked.Cone, *j.Asked.HeatWorkC))
	}
	fired := fmt.Sprintf("gallery %s, lid %s, play %s, likely %s", unit.Format(a.Fired.Collar), unit.Format(a.Fired.Lid), v.Play, v.Likely)
	if !math.IsNaN(float64(a.Fired.LeastBearing)) {
		fired += ", bearing " + unit.Format(a.Fired.LeastBearing) + " when pushed to one side"
	}
	why("fired", fired)
	why("limits", "over: "+a.LimitsBy[1].In(unit)+"; under: "+a.LimitsBy[0].In(unit))
	if !math.IsNaN(float64(a.OutOfRound)) {
		why("out of round", unit.Format(a.OutOfRound)+" between the directions")
	}
	p := a.PartDifference
	if p.SD > 0 {
		why("lids less bodies", fmt.Sprintf("%+.1f points, likely %+.1f to %+.1f (%d lids looked at)", p.Mean, p.Low, p.High, p.Fits))
	}
	why("accuracy", fmt.Sprintf("reading %s, throwing %s, one sd each (%s)", unit.Format(a.MeasureSD), unit.Format(*a.Asked.ThrowSD), a.Asked.Accuracy))
	if j.AnswersHeldOf > 0 {
		why("our score", fmt.Sprintf("our ranges held %.0f times of %d", *j.AnswersHeld*float64(j.AnswersHeldOf), j.AnswersHeldOf))
	}
	var doubts []string
	for _, d := range a.Doubt.Causes() {
		if d.SD >= 0.005 {
			doubts = append(doubts, doubtWords[d.Cause]+" "+unit.Format(d.SD))
		}
	}
	why("doubt, one sd", strings.Join(doubts, "; "))
	var better []string
	for _, s := range a.Sharpen {
		better = append(better, fmt.Sprintf("%s: %s", s.Does, percentOf(s.FitChance)))
	}
	why("what would help most", strings.Join(better, "; "))
	return v
}

// steps are what to do beside throwing to the width.
func (v *lidView) steps(a lid.Answer, unit tiles.LengthUnit) {
	if a.Trim != nil {
		v.Steps = append(v.Steps, a.Trim.Says(unit))
		if a.Asked.LidNow != 0 {
			v.Sets = "lid, trimmed at leather-hard"
		} else {
			v.Steps = append(v.Steps, fmt.Sprintf("Measure it just thrown and at leather-hard, and ask again with both: %.0f %% come out too small to trim.", 100*a.Trim.TooSmall))
		}
	}
	if a.Bowl != nil {
		v.Steps = append(v.Steps, a.Bowl.Says(unit))
	}
	v.Steps = append(v.Steps, a.Cheapest.Says(unit)...)
}

func percentOf(p float64) string { return fmt.Sprintf("%.0f %%", 100*p) }

func plural(n int, words ...string) string {
	if n >= 1 && n <= len(words) {
		return words[n-1]
	}
	return fmt.Sprint(n)
}

// joined writes sizes as "102.0, 102.5 and 103.0 mm".
func joined(sizes []tiles.Millimetre, unit tiles.LengthUnit) string {
	var b strings.Builder
	for i, size := range sizes {
		switch {
		case i == len(sizes)-1 && i > 0:
			b.WriteString(" and ")
		case i > 0:
			b.WriteString(", ")
		}
		text := unit.Format(size)
		if i < len(sizes)-1 {
			text = bare(text)
		}
		b.WriteString(text)
	}
	return b.String()
}

// lidPage asks the lid question with the API's own parameters.
func (s lidRoutes) lidPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	just := q.Get("just") != ""
	q.Del("just")
	form, err := s.asking(r.Context(), q)
	if err != nil {
		return err
	}
	data := struct {
		asking
		Answer *lidView
	}{asking: form}
	if !anyGiven(q, "collar", "collar_mm", "lid", "lid_mm") {
		return s.render(w, "lid", data)
	}
	a, j, err := s.askLid(r.Context(), q)
	if err != nil {
		data.Error = s.problemFrom(r.Context(), err)
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.WriteHeader(data.Error.Status)
		return s.render(w, "lid", data)
	}
	data.Answer = lidWords(a, j, form.Show)
	data.caution(j.Cautions)
	if just {
		return s.render(w, "just", data)
	}
	return s.render(w, "lid", data)
}

func anyGiven(q url.Values, names ...string) bool {
	for _, n := range names {
		if len(given(q[n])) > 0 {
			return true
		}
	}
	return false
}

// boardPage asks the board question with the API's own parameters.
func (s lidRoutes) boardPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	form, err := s.asking(r.Context(), q)
	if err != nil {
		return err
	}
	data := struct {
		asking
		Answer *wire.Board
		Sizes  []askedField // count and width
		Pairs  []boardPairView
		Whole  bool // every pot has a lid
		OneBy  string
	}{asking: form}
	if !anyGiven(q, "galleries", "gauge", "gauge_mm") {
		return s.render(w, "board", data)
	}
	fail := func(err error) error {
		p := *s.problemFrom(r.Context(), err)
		p.Fields = slices.Clone(p.Fields)
		for i, f := range p.Fields {
			p.Fields[i].Says = boardField(f.Name) + f.Says
		}
		data.Error = &p
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.WriteHeader(p.Status)
		return s.render(w, "board", data)
	}
	question, at, err := readBoard(q, s.Unit())
	if err != nil {
		return fail(err)
	}
	if err := s.Lids().AsForm(r.Context(), &question.Common, q.Has("seat_glazed")); err != nil {
		return fail(err)
	}
	a, m, err := s.Lids().SizeBoard(r.Context(), question, at)
	if err != nil {
		return fail(err)
	}
	j := s.Lids().BoardJSON(question, a, m, form.Show)
	data.Answer = &j
	data.caution(j.Cautions)
	if !math.IsNaN(a.OneToOneChance) {
		data.OneBy = percentOf(a.OneToOneChance)
	}
	for _, size := range a.Sizes {
		data.Sizes = append(data.Sizes, askedField{fmt.Sprint(size.Count), form.Show.Format(size.Size)})
	}
	data.Whole = true
	for _, p := range a.Pairs {
		data.Whole = data.Whole && p.Lid != ""
		v := boardPairView{Pot: potName(question, p.Gallery), Lid: p.Lid}
		if p.Gallery < len(question.Galleries) {
			v.Collar = joined(question.Galleries[p.Gallery].Collar, form.Show)
		}
		if v.Chance = percentOf(p.FitChance); p.Lid == "" {
			v.Chance, v.Set = "", form.Show.Format(p.Set)
		}
		data.Pairs = append(data.Pairs, v)
	}
	return s.render(w, "board", data)
}

// boardPairView is one pot and its lid, in words.
type boardPairView struct{ Pot, Collar, Lid, Chance, Set string }

// boardField says which pot or lid a field at fault belongs to.
func boardField(name string) string {
	var i int
	if n, _ := fmt.Sscanf(name, "galleries[%d]", &i); n == 1 {
		return fmt.Sprintf("Pot %d, %s: ", i+1, map[bool]string{true: "ledge opening", false: "gallery"}[strings.HasSuffix(name, "opening_mm")])
	}
	if n, _ := fmt.Sscanf(name, "measured_lids[%d]", &i); n == 1 {
		return fmt.Sprintf("Measured lid %d: ", i+1)
	}
	return strings.ReplaceAll(strings.TrimSuffix(name, "_mm"), "_", " ") + ": "
}

// CautionOf is the text that a caution id of an answer stands for.
func CautionOf(id string) string {
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
		return "Computed from the rates you stated, not from your bars."
	case lid.NoUsualYet:
		return "No firing of this kind was recorded yet: the cone on the bag was taken."
	case lid.LedgeTooNarrow:
		return "The ledge is too narrow: no width both clears the collar and stays on the ledge."
	case lid.LedgeNotGiven:
		return "The ledge opening was not given, so this does not know when the lid slips past the ledge."
	case lid.MeasureWet:
		return "The pot was not measured wet. Even slight drying moves the fit: measure it as wet as possible, or keep a companion bar beside the pot, scribed when it was thrown and read with it."
	case lid.LeatherGuessed:
		return "How much of the drying is gone was guessed by what is usual."
	case lid.OutOfRound:
		return "The pot is out of round; its tightest direction rules how much play there is, the other end how far the lid can be pushed aside."
	case lid.PlayOutside:
		return "The play you asked for lies outside the usual window."
	case lid.AskedUnusual:
		return "A size is unusual; look at it again."
	}
	return ""
}
