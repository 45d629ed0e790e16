package tiles

import (
	"math"
	"math/big"
	"strconv"
	"strings"
	"unicode/utf8"

	"lidwright/kiln/message"
)

// LengthUnit is the unit that a bare number is read in and that a length is shown in.
type LengthUnit string

const (
	MM       LengthUnit = "mm"
	CM       LengthUnit = "cm"
	Inch     LengthUnit = "in"    // decimal inches; 1 in is 25.4 mm exactly
	Inch32nd LengthUnit = "32nds" // inches, shown to the nearest 32nd: 3 23/32
)

// lengthUnits are all units, in the order of the unit switch.
var lengthUnits = [...]LengthUnit{MM, CM, Inch, Inch32nd}

// LengthUnits are all units, in the order of the unit switch.
func LengthUnits() []LengthUnit { return lengthUnits[:] }

// ParseLengthUnit reads the name of a unit; empty gives usual.
func ParseLengthUnit(field, text string, usual LengthUnit) (LengthUnit, error) {
	if text == "" {
		return usual, nil
	}
	for _, u := range lengthUnits {
		if string(u) == text {
			return u, nil
		}
	}
	return "", &Invalid{Field: field, Why: message.New("mm, cm, in or 32nds"), Type: UnknownValue}
}

// mm is the exact size of one of the unit, in millimetres.
func (u LengthUnit) mm() *big.Rat {
	switch u {
	case CM:
		return big.NewRat(10, 1)
	case Inch, Inch32nd:
		return big.NewRat(254, 10)
	default:
		return big.NewRat(1, 1)
	}
}

// Length is a length as somebody wrote it. The text is kept; the exact value follows from
// it, so that 3 23/32 in stays 94.45625 mm and never becomes its nearest float.
type Length struct {
	Typed string     // as typed, without blanks around it
	Unit  LengthUnit // unit that it was read in: its suffix, in for a bare fraction, else the switch

	exact *big.Rat // mm
}

// Millimetre is the float64 nearest to the exact length.
func (l Length) Millimetre() Millimetre {
	if l.exact == nil {
		return 0
	}
	f, _ := l.exact.Float64()
	return Millimetre(f)
}

// ParseLength reads a length as people write it: 104.5, 104,5, 10.45cm, 3.75in, 3 23/32,
// 3-23/32", 4½ in. A suffix (mm, cm, in, ") wins over unit; a fraction without one is
// inches. The error is an *Invalid of field: length-unreadable, or out-of-range for a
// negative, an endless or a not-a-number. Zero is a length: the caller knows whether it may be.
func ParseLength(field, text string, unit LengthUnit) (Length, error) {
	typed := strings.TrimSpace(text)
	if typed == "" {
		return Length{}, &Invalid{Field: field, Why: message.New("no length given"), Type: Missing}
	}
	unreadable := func(why message.Key, args ...any) (Length, error) {
		return Length{}, &Invalid{Field: field, Why: message.New(why, args...), Type: LengthUnreadable}
	}
	if utf8.RuneCountInString(typed) > LongestLength {
		return unreadable("too long to be a length: write 104.5, 104,5 or 3 23/32")
	}
	number, suffix := cutUnit(tidyLength(typed))
	// what would be a number but for its sign is told so, and is not unreadable
	if rest, minus := strings.CutPrefix(number, "-"); minus || isNoNumber(number) {
		if _, _, ok := parseNumber(rest); ok || isNoNumber(rest) {
			return Length{}, &Invalid{Field: field, Why: message.New("a length is a number from 0 up"),
				Type: OutOfRange}
		}
	}
	value, fraction, ok := parseNumber(number)
	if !ok {
		return unreadable("cannot read {1}: write 104.5, 104,5 or 3 23/32", strconv.Quote(typed))
	}
	// the suffix says the unit; else a fraction is inches; else the switch of the page
	switch {
	case suffix != "":
		unit = suffix
	case fraction && unit != Inch32nd:
		unit = Inch
	case unit == "":
		unit = MM
	}
	return Length{Typed: typed, Unit: unit, exact: value.Mul(value, unit.mm())}, nil
}

// ParsePiece reads a length measured on a pot or a bar: besides the errors of ParseLength,
// unit-unclear if it is under 5 or over 2000 mm.
func ParsePiece(field, text string, unit LengthUnit) (Length, error) {
	l, err := ParseLength(field, text, unit)
	if err != nil {
		return l, err
	}
	if mm := l.Millimetre(); mm < ShortestPiece || mm > LongestPiece {
		return Length{}, &Invalid{Field: field, Type: UnitUnclear,
			Why: message.New("{1} would be {2}: which unit was meant?", l.Typed, MM.Format(mm))}
	}
	return l, nil
}

// tidyLength makes one way of writing out of several that phones have: lower case, one kind
// of blank, plain quotes and slashes, 1/2 for ½.
func tidyLength(text string) string {
	return strings.Join(strings.Fields(lengthSigns.Replace(strings.ToLower(text))), " ")
}

// lengthSigns are the signs that phones and word processors put in place of plain ones.
var lengthSigns = strings.NewReplacer("½", " 1/2", "¼", " 1/4", "¾", " 3/4",
	"⅛", " 1/8", "⅜", " 3/8", "⅝", " 5/8", "⅞", " 7/8",
	"″", `"`, "”", `"`, "“", `"`, "⁄", "/", "\u00a0", " ", "\u202f", " ")

// cutUnit takes the suffix off a tidied text.
func cutUnit(text string) (number string, unit LengthUnit) {
	for _, s := range [...]struct {
		suffix string
		unit   LengthUnit
	}{{"mm", MM}, {"cm", CM}, {"in", Inch}, {`"`, Inch}} {
		if rest, ok := strings.CutSuffix(text, s.suffix); ok {
			return strings.TrimRight(rest, " "), s.unit
		}
	}
	return text, ""
}

// isNoNumber reports whether text is how programs write what is no number or has no end.
func isNoNumber(text string) bool {
	return text == "nan" || text == "inf" || text == "+inf" || text == "infinity" || text == "∞"
}

// parseNumber reads 104.5, 23/32, 3 23/32 or 3-23/32 exactly.
func parseNumber(text string) (value *big.Rat, fraction, ok bool) {
	whole, part := "", text
	if i := strings.LastIndexAny(text, " -"); i >= 0 {
		whole, part = text[:i], text[i+1:]
	}
	above, below, fraction := strings.Cut(part, "/")
	if !fraction {
		if whole != "" || part != text {
			return nil, false, false
		}
		value, ok = parseDecimal(text)
		return value, false, ok
	}
	// of a fraction: no nought above, 2 to 64 below
	n, okN := parseDigits(above)
	d, okD := parseDigits(below)
	if !okN || !okD || d < 2 || d > 64 || n == 0 {
		return nil, false, false
	}
	value = big.NewRat(n, d)
	if part == text {
		return value, true, true
	}
	w, okW := parseDigits(whole)
	if !okW || n >= d { // 3 35/32 is a slip of the finger
		return nil, false, false
	}
	return value.Add(value, big.NewRat(w, 1)), true, true
}

// parseDecimal reads digits, or digits, one point or comma, and digits.
func parseDecimal(text string) (*big.Rat, bool) {
	whole, tail, dotted := strings.Cut(strings.Replace(text, ",", ".", 1), ".")
	if !allDigits(whole) || dotted && !allDigits(tail) {
		return nil, false
	}
	if !dotted {
		tail = "0"
	}
	return new(big.Rat).SetString(whole + "." + tail)
}

// parseDigits reads digits alone, below 2^31.
func parseDigits(text string) (int64, bool) {
	if !allDigits(text) {
		return 0, false
	}
	n, err := strconv.ParseInt(text, 10, 32)
	return n, err == nil
}

// allDigits reports whether text is nothing but digits, and not empty.
func allDigits(text string) bool {
	for _, c := range []byte(text) {
		if c < '0' || c > '9' {
			return false
		}
	}
	return text != ""
}

// Format writes a length for a reader: 94.35 mm, 9.435 cm, 3.7146 in, 3 23/32 in; to 0.01
// mm, 0.001 cm, 0.0001 in or the nearest 32nd.
func (u LengthUnit) Format(l Millimetre) string {
	if math.IsNaN(float64(l)) || math.IsInf(float64(l), 0) {
		return "no length"
	}
	switch u {
	case CM:
		return trimmed(float64(l)/10, 3) + " cm"
	case Inch:
		return trimmed(float64(l)/25.4, 4) + " in"
	case Inch32nd:
		n, _ := new(big.Float).SetFloat64(math.RoundToEven(float64(l) / 25.4 * 32)).Int(nil)
		return in32nds(n)
	default:
		return trimmed(float64(l), 2) + " mm"
	}
}

// Shown is a length as a page shows it, as fine as callipers know it: an inch to 0.001, what Format has
// elsewhere.
func (u LengthUnit) Shown(l Millimetre) string {
	if u == Inch && !math.IsNaN(float64(l)) && !math.IsInf(float64(l), 0) {
		return trimmed(float64(l)/25.4, 3) + " in"
	}
	return u.Format(l)
}

// Bare is Format without the unit.
func (u LengthUnit) Bare(l Millimetre) string {
	text := u.Format(l)
	for i := len(text) - 1; i >= 0; i-- {
		if text[i] == ' ' {
			return text[:i]
		}
	}
	return text
}

// trimmed writes v with at most places decimals, and at least one.
func trimmed(v float64, places int) string {
	text := strings.TrimRight(strconv.FormatFloat(v, 'f', places, 64), "0")
	if strings.HasSuffix(text, ".") {
		text += "0"
	}
	return text
}

// in32nds writes n thirty-seconds of an inch in lowest terms.
func in32nds(n *big.Int) string {
	sign := ""
	if n.Sign() < 0 {
		sign, n = "-", new(big.Int).Neg(n)
	}
	whole, rest := new(big.Int).QuoRem(n, big.NewInt(32), new(big.Int))
	if rest.Sign() == 0 {
		return sign + whole.String() + " in"
	}
	part := new(big.Rat).SetFrac(rest, big.NewInt(32)).String()
	if whole.Sign() == 0 {
		return sign + part + " in"
	}
	return sign + whole.String() + " " + part + " in"
}
