package api

import (
	"errors"
	"math"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// Query is embedded by every question whose parameters we read ourselves, because they
// repeat, come with units, or are left out with a meaning. A page's form asks with the same
// parameters.
type Query struct {
	values url.Values
}

// Resolve is called by huma before the handler.
func (q *Query) Resolve(c huma.Context) []error {
	u := c.URL()
	v, err := url.ParseQuery(u.RawQuery)
	if err != nil {
		return []error{web.NewProblem("unknown-parameter",
			message.New("The question after the ? cannot be read."))}
	}
	q.values = v
	return nil
}

// reader takes parameters out of a question one by one and remembers what was wrong, so that
// everything at fault is told at once.
type reader struct {
	q     url.Values
	unit  tiles.LengthUnit // of bare lengths
	usual tiles.LengthUnit // the same where the question says nothing of it
	asked map[string]bool
	wrong tiles.InvalidFields
}

func newReader(q url.Values, unit tiles.LengthUnit) *reader {
	return &reader{q: q, unit: unit, usual: unit, asked: map[string]bool{}}
}

func (r *reader) fault(field, kind string, why message.Key, args ...any) {
	r.wrong = append(r.wrong, &tiles.Invalid{Field: field, Type: kind, Why: message.New(why, args...)})
}

// text is a parameter as it came; empty counts as not given, as a form sends it so.
func (r *reader) text(name string) (string, bool) {
	r.asked[name] = true
	v := given(r.q[name])
	if len(v) > 1 {
		r.fault(name, "unknown-parameter", "given more than once")
	}
	if len(v) == 0 {
		return "", false
	}
	return v[0], true
}

func given(v []string) []string {
	return slices.DeleteFunc(slices.Clone(v), func(s string) bool { return strings.TrimSpace(s) == "" })
}

// word is a parameter that must be one of known.
func (r *reader) word(name string, known ...string) string {
	v, _ := r.text(name)
	return r.oneOf(name, v, known)
}

// oneOf is v where it is one of known, empty where nothing was said.
func (r *reader) oneOf(name, v string, known []string) string {
	if v != "" && !slices.Contains(known, v) {
		r.fault(name, "unknown-value", "not one of {1}", strings.Join(known, ", "))
		return ""
	}
	return v
}

func (r *reader) yes(name string) (value, ok bool) {
	v := r.word(name, "yes", "no")
	return v == "yes", v != ""
}

// number is a plain decimal number from low to high; only what people type, which has no unit in its name,
// may have a decimal comma.
func (r *reader) number(name string, low, high float64) (float64, bool) {
	v, ok := r.text(name)
	if !ok {
		return 0, false
	}
	if !strings.HasSuffix(name, "_mm") {
		v = strings.Replace(v, ",", ".", 1)
	}
	f, err := strconv.ParseFloat(v, 64)
	if err != nil && !errors.Is(err, strconv.ErrRange) {
		r.fault(name, "out-of-range", "not a number: write one from {1} to {2}", trim(low), trim(high))
		return 0, false
	}
	return f, r.within(name, f, low, high)
}

// limited is a number within the limit of its field.
func (r *reader) limited(name string) (float64, bool) {
	l, _ := tiles.LimitOf(name)
	return r.number(name, l.Least, l.Most)
}

// within reports whether a number lies from low to high.
func (r *reader) within(name string, f, low, high float64) bool {
	if math.IsNaN(f) || math.IsInf(f, 0) || f < low || f > high {
		r.fault(name, "out-of-range", "must lie from {1} to {2}", trim(low), trim(high))
		return false
	}
	return true
}

// isWhole reports whether a number has no fraction.
func (r *reader) isWhole(name string, f float64) bool {
	if f != math.Trunc(f) {
		r.fault(name, "out-of-range", "must be a whole number")
		return false
	}
	return true
}

// whole is a number without a fraction.
func (r *reader) whole(name string, low, high int) (int, bool) {
	v, ok := r.number(name, float64(low), float64(high))
	return int(v), ok && r.isWhole(name, v)
}

func trim(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }

// ratio is a share: 0.06, or 6% or 6, for no share is 1 or more. A bare number between 0.3 and 1 could be
// either: asked back.
func (r *reader) ratio(name string, low, high float64) (tiles.Ratio, bool) {
	v, ok := r.text(name)
	if !ok {
		return 0, false
	}
	t := strings.Replace(strings.TrimSpace(v), ",", ".", 1)
	p, percent := strings.CutSuffix(t, "%")
	f, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
	switch {
	case err != nil && !errors.Is(err, strconv.ErrRange):
		r.fault(name, "out-of-range", "not a share such as 0.06 or 6%")
		return 0, false
	case percent || f >= 1:
		f /= 100
	case f > 0.3:
		r.fault(name, "unit-unclear", "a share is below 0.3; for per cent write {1}%", strings.TrimSpace(v))
		return 0, false
	}
	if math.IsNaN(f) || f < low || f > high {
		r.fault(name, "out-of-range", "must lie from {1} to {2}", trim(low), trim(high))
		return 0, false
	}
	return tiles.Ratio(f), true
}

// percent is a field with % behind it, up to a share: 11, 3.5 and 11 % are per cent. A bare number under a
// hundredth of that unit's use, as 0.12, is the share itself.
func (r *reader) percent(name string, high float64) tiles.Ratio {
	v, ok := r.text(name)
	if !ok {
		return 0
	}
	t := strings.Replace(strings.TrimSpace(v), ",", ".", 1)
	p, signed := strings.CutSuffix(t, "%")
	f, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
	if signed || f > high {
		f /= 100
	}
	switch {
	case err != nil || math.IsNaN(f):
		r.fault(name, "out-of-range", "not a number of per cent, such as 11 or 3.5")
		return 0
	case f < 0 || f > high:
		r.fault(name, "out-of-range", "not a number of per cent, such as 11 or 3.5")
		return 0
	}
	return tiles.Ratio(f)
}

// pointNumber is the form of a field that is named _mm: programs write those, and 104,106 is two numbers of
// theirs that ran together, or a thousand times as much.
var pointNumber = regexp.MustCompile(`^\s*[0-9]+(\.[0-9]+)?\s*$`)

// apartAtCommas takes apart what a client joined by commas, where no comma can be a decimal sign: with a
// point in each number, as 104.5,104.7, or behind a unit, as 96mm,97mm. 104,106 and 1.234,5 stay one text.
func apartAtCommas(texts []string) (out []string) {
	for _, t := range texts {
		parts := strings.Split(t, ",")
		behindUnits := !slices.ContainsFunc(parts[:len(parts)-1], func(p string) bool {
			p = strings.TrimSpace(p)
			return p == "" || p[len(p)-1] >= '0' && p[len(p)-1] <= '9'
		})
		pointed := !slices.ContainsFunc(parts, func(p string) bool { return !strings.Contains(p, ".") })
		if !behindUnits && !pointed {
			parts = []string{t}
		}
		out = append(out, parts...)
	}
	return out
}

// lengths reads X (as people write it) or X_mm (a number with a point alone, in mm), up to most times.
func (r *reader) lengths(name string, most int) []tiles.Millimetre {
	plain, mm := name, name+"_mm"
	r.asked[plain], r.asked[mm] = true, true
	p, m := given(r.q[plain]), given(r.q[mm])
	if len(p) > 0 && len(m) > 0 {
		r.fault(name, "given-twice", "give {1} or {2}, not both", plain, mm)
		return nil
	}
	field, unit, texts := plain, r.unit, p
	if len(m) > 0 {
		field, unit, texts = mm, tiles.MM, m
	}
	if most > 1 {
		texts = apartAtCommas(texts)
	}
	if len(texts) > most {
		kind := "unknown-parameter"
		r.fault(field, kind, "given more than {1} times", strconv.Itoa(most))
		return nil
	}
	var out []tiles.Millimetre
	for _, t := range texts {
		if field == mm && !pointNumber.MatchString(t) {
			if _, err := strconv.ParseFloat(strings.TrimSpace(t), 64); err != nil &&
				!errors.Is(err, strconv.ErrRange) {
				r.fault(field, "length-unreadable",
					"a number with a point alone, as 104.5; {1} takes 104,5 and units", plain)
				return nil
			}
		}
		l, err := tiles.ParseLength(field, t, unit)
		if err != nil {
			r.refuse(err)
			return nil
		}
		out = append(out, l.Millimetre())
	}
	return out
}

// refuse takes over what the trade said was wrong.
func (r *reader) refuse(err error) {
	var many tiles.InvalidFields
	var one *tiles.Invalid
	switch {
	case errors.As(err, &many):
		r.wrong = append(r.wrong, many...)
	case errors.As(err, &one):
		r.wrong = append(r.wrong, one)
	}
}

func (r *reader) length(name string) *tiles.Millimetre {
	l := r.lengths(name, 1)
	if len(l) == 0 {
		return nil
	}
	return &l[0]
}

// heatOf is what the clay is to feel, in °C, by a heat work or a cone; NaN where neither was said.
func (r *reader) heatOf(c float64, isC bool, cone string) kiln.Celsius {
	switch {
	case isC && cone != "":
		r.fault("cone", "given-twice", "give heat_work_c or cone, not both")
	case isC:
		return kiln.Celsius(c)
	case cone != "":
		h, err := heatwork.MainConeScale().Parse(cone)
		if err == nil {
			return h
		}
		r.fault("cone", "unknown-value", "{1}", message.Of(err))
	}
	return kiln.NoTemperature()
}

// err is everything that was wrong, with what nobody asked for last.
func (r *reader) err() error {
	for _, name := range sortedKeys(r.q) {
		if !r.asked[name] && len(given(r.q[name])) > 0 {
			r.fault(name, "unknown-parameter", "no such parameter here")
		}
	}
	if len(r.wrong) > 0 {
		return r.wrong
	}
	return nil
}

func sortedKeys(m url.Values) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// firing reads kind, atmosphere, heat and kiln.
func (r *reader) firing() usecase.FiringAsk {
	a := usecase.FiringAsk{Kind: kiln.Kind(r.word("kind", kindWords...))}
	if a.Kind == "" {
		a.Kind = kiln.Glaze
	}
	a.Atmosphere = kiln.Atmosphere(r.word("atmosphere", atmosphereWords...))
	k, _ := r.text("kiln")
	a.Kiln = kiln.KilnID(k)
	c, isC := r.limited("heat_work_c")
	cone, _ := r.text("cone")
	a.Heat = r.heatOf(c, isC, cone)
	return a
}

// Values keep their full precision until they are written; here, once, they are rounded:
// lengths to 2 figures after the point, ratios to 4, °C to 1. What is not known is null.

func lengthMM4(l tiles.Millimetre) *float64 { return usecase.Rounded(float64(l), 4) }
