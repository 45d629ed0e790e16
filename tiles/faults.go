package tiles

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"lidwright/kiln/message"

	"golang.org/x/text/unicode/norm"
)

// Faults gathers what is wrong with a form.
type Faults struct{ all InvalidFields }

// Add takes down one fault: kind is its type, why one line for whoever filled in the form, args fill its
// places.
func (f *Faults) Add(kind, field string, why message.Key, args ...any) {
	f.all = append(f.all, &Invalid{Field: field, Why: message.New(why, args...), Type: kind})
}

// take adds the faults of err, which a check of one field gave.
func (f *Faults) take(err error) {
	switch e := err.(type) {
	case *Invalid:
		f.all = append(f.all, e)
	case InvalidFields:
		f.all = append(f.all, e...)
	}
}

// Err is all of them as InvalidFields; nil if there is none.
func (f *Faults) Err() error {
	if len(f.all) == 0 {
		return nil
	}
	return f.all
}

// Text puts *s into NFC without blanks around it and checks that it can be shown: no longer than the limit of
// its field, no control or format characters (which could hide or turn a text), but line ends in a note.
func (f *Faults) Text(field string, s *string) {
	if !utf8.ValidString(*s) {
		f.Add(OutOfRange, field, "is not UTF-8 text")
		return
	}
	most := LongestName
	if l, is := LimitOf(field); is {
		most = l.Longest
	}
	*s = strings.TrimSpace(norm.NFC.String(*s))
	// control and format characters hide or turn what is read; a note may have lines
	for _, r := range *s {
		if unicode.In(r, unicode.Cc, unicode.Cf, unicode.Co, unicode.Zl, unicode.Zp) &&
			!(r == '\n' && most == LongestNote) {
			f.Add(OutOfRange, field, "holds a sign that cannot be shown ({1})", fmt.Sprintf("%U", r))
			return
		}
	}
	if n := utf8.RuneCountInString(*s); n > most {
		f.Add(OutOfRange, field, "has {1} characters, at most {2} fit", n, most)
	}
}

// Needed is text that must not be empty.
func (f *Faults) Needed(field string, s *string) {
	f.Text(field, s)
	if *s == "" {
		f.Add(Missing, field, "is needed")
	}
}

// Maker is the text of a maker's mark: initials or a stamp, at most 8 characters.
func (f *Faults) Maker(field string, s *string) { f.Text(field, s) }

var (
	idPattern   = pattern(`^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$`)
	namePattern = pattern(`^[a-z0-9-]{1,32}$`)
	slotPattern = pattern(`^[A-Za-z0-9][A-Za-z0-9.-]{0,31}$`)
)

// pattern is compiled when it is first used: a start has no time for those that it does not need.
func pattern(text string) func() *regexp.Regexp {
	return sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(text) })
}

// ID checks a UUID in its usual form; capitals are made small.
func (f *Faults) ID(field string, s *string) {
	*s = strings.ToLower(strings.TrimSpace(*s))
	if *s == "" {
		f.Add(Missing, field, "is needed: a UUID made by whoever sends it")
	} else if !idPattern().MatchString(*s) {
		f.Add(UnknownValue, field, "is no UUID, such as 0193c0c1-0000-7000-8000-000000000001")
	}
}

// IDOrNone allows an empty id.
func (f *Faults) IDOrNone(field string, s *string) {
	if *s != "" {
		f.ID(field, s)
	}
}

// name checks the id of a clay or kiln.
func (f *Faults) name(field, s string) {
	if s == "" {
		f.Add(Missing, field, "is needed")
	} else if !namePattern().MatchString(s) {
		f.Add(UnknownValue, field, "small letters, digits and hyphens only, at most 32")
	}
}

// batchName checks the name of a batch within its clay.
func (f *Faults) batchName(field, s string) {
	if s == "" {
		f.Add(Missing, field, "is needed")
	} else if !slotPattern().MatchString(s) {
		f.Add(UnknownValue, field, "letters, digits, points and hyphens only, at most 32")
	}
}

// BatchRef checks that clay and batch are both named.
func (f *Faults) BatchRef(field string, r BatchRef) {
	if r.Clay == "" || r.Batch == "" {
		f.Add(Missing, field, "is needed: clay and batch, such as tern/B")
		return
	}
	f.name(field, string(r.Clay))
	f.batchName(field, string(r.Batch))
}

// OneOf checks that s is one of a list.
func OneOf[T ~string](f *Faults, field string, s T, list ...T) {
	if slices.Contains(list, s) {
		return
	}
	if s == "" {
		f.Add(Missing, field, "is needed: one of {1}", join(list))
		return
	}
	f.Add(UnknownValue, field, "is none of {1}", join(list))
}

// OneOfOrNone is OneOf that allows nothing.
func OneOfOrNone[T ~string](f *Faults, field string, s T, list ...T) {
	if s != "" {
		OneOf(f, field, s, list...)
	}
}

// join is a list for people, with commas.
func join[T ~string](list []T) string {
	texts := make([]string, len(list))
	for i, s := range list {
		texts[i] = string(s)
	}
	return strings.Join(texts, ", ")
}

// Number checks that v lies in low to high; NaN and infinities do not.
func (f *Faults) Number(field string, v, low, high float64) {
	if math.IsNaN(v) || v < low || v > high {
		f.Add(OutOfRange, field, "is {1}, must be {2} to {3}", Decimal(v), Decimal(low), Decimal(high))
	}
}

// Within checks a number against the limit of its field.
func (f *Faults) Within(field string, v float64) {
	if l, is := LimitOf(field); is && !(l.Optional && v == 0) {
		f.Number(field, v, l.Least, l.Most)
	}
}

// Decimal writes v with as many digits as it needs: 0.3, 104.5, 20000.
func Decimal(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// Date checks an ISO 8601 date, 2026-01-08, or nothing.
func (f *Faults) Date(field, s string) {
	if s == "" {
		return
	}
	if _, err := time.Parse(time.DateOnly, s); err != nil {
		f.Add(UnknownValue, field, "is no date such as 2026-01-08")
	}
}

// instant checks an RFC 3339 time with its offset, or nothing.
func (f *Faults) instant(field, s string) {
	if s == "" {
		return
	}
	if _, err := time.Parse(time.RFC3339, s); err != nil {
		f.Add(UnknownValue, field, "is no time such as 2026-01-13T19:00:00+01:00")
	}
}

// Piece checks a length measured on a pot, in mm; 0 stands for none.
func (f *Faults) Piece(field string, l Millimetre) {
	if l == 0 {
		return
	}
	f.Number(field, float64(l), float64(ShortestPiece), float64(LongestPiece))
}

// PieceOf checks a length measured on a pot. Outside 5 to 2000 mm the unit is in doubt, and
// the fault says what it would be in inches.
func (f *Faults) PieceOf(field string, l Millimetre, what message.Key) {
	if l >= ShortestPiece && l <= LongestPiece {
		return
	}
	if !(l >= 0) {
		f.Number(field, float64(l), float64(ShortestPiece), float64(LongestPiece))
		return
	}
	why := message.New("At most {1} is believed", MM.Of(LongestPiece))
	if l < ShortestPiece {
		why = message.New("{1} in would be {2}, {1} cm {3}", Decimal(float64(l)), MM.Format(l*25.4),
			MM.Format(l*10))
	}
	f.Add(UnitUnclear, field, "{1} is no {2}: which unit was meant? {3}", MM.Format(l), message.New(what),
		why)
}

// cones of the series that a bag or a sitter may name, besides half cones: 022 to 14.
var conePattern = pattern(`^(0(1|2|3|4|5|6|7|8|9|10|11|12|13|14|15|16|17|18|19|20|21|22)|[1-9]|1[0-4])$`)

// seriesCone is any cone of any series that is read, Seger cones and half cones included.
var seriesCone = pattern(`^(0[0-9]{1,2}a?|[0-9]{1,2}a?|3[12]\.5|5\.5)$`)

// cone checks a cone of the main series, or nothing.
func (f *Faults) cone(field, s string) {
	if s != "" && !conePattern().MatchString(s) {
		f.Add(UnknownValue, field, "is no cone from 022 to 14, such as 06 or 6")
	}
}
