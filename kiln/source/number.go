package source

import (
	"math"
	"strconv"
	"strings"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

var (
	errNumber = message.NewError("not a number")
	errBreak  = message.NewError("an open couple, in words")
	errUnit   = message.NewError("another unit than the settings say")
)

// openWords are what controllers write in place of a temperature when the couple is open or out of
// their range. Common practice, no source.
var openWords = map[string]bool{
	"": true, "nan": true, "-nan": true, "inf": true, "+inf": true, "-inf": true, "null": true, "none": true,
	"n/a": true, "na": true,
	"open": true, "o.c.": true, "oc": true, "break": true, "burnout": true, "b.out": true, "fault": true,
	"fail": true,
	"err":  true, "error": true, "over": true, "under": true, "ovr": true, "udr": true,
	"ovfl": true, "or": true,
	"ur": true, "ol": true,
	"hhhh": true, "hhh": true, "llll": true, "lll": true, "uuuu": true, "uuu": true,
	"nc": true, "invalid": true,
}

// isOpen reports whether text says that there is no temperature: a word for it, or a row of dashes,
// stars or question marks.
func isOpen(text string) bool {
	if openWords[strings.ToLower(text)] {
		return true
	}
	return len(text) >= 2 && (strings.Trim(text, "-") == "" || strings.Trim(text,
		"*") == "" || strings.Trim(text, "?") == "")
}

// parseNumber reads what one channel said, in the unit of the settings ("" takes none). It is
// stricter than strconv, which takes hexadecimal, underscores and words: a garbled number should
// not become another one. A unit behind the number is read and must be that of the settings.
//
// errBreak says that the text stands for an open couple, errUnit that the device tells another
// unit (the number is given all the same), errNumber that it makes no sense.
func parseNumber(text, unit string, comma bool) (float64, error) {
	text = strings.Trim(text, " \t\"'")
	if isOpen(text) {
		return math.NaN(), errBreak
	}
	digits, said := cutUnit(text)
	if comma {
		if strings.Contains(digits, ".") {
			return math.NaN(), errNumber
		}
		digits = strings.Replace(digits, ",", ".", 1)
	}
	if !plain(digits) {
		return math.NaN(), errNumber
	}
	v, err := strconv.ParseFloat(digits, 64)
	if err != nil {
		return math.NaN(), errNumber
	}
	switch {
	case math.Abs(v) >= 9.9e36: // SCPI-1999 vol. 1, 7.2: 9.91E37 is not a number, 9.9E37 infinity
		return math.NaN(), errBreak
	case said != "" && unit != "" && said != unit:
		return v, errUnit
	}
	return v, nil
}

// cutUnit cuts a unit from the end of text: °C, C, degC, F, K or mV. It gives "" for none.
func cutUnit(text string) (digits, unit string) {
	for _, u := range [...]string{"mv", "c", "f", "k"} {
		n, ok := cutFold(text, u)
		if !ok {
			continue
		}
		n, _ = cutFold(n, "deg")
		n, _ = cutFold(n, "°")
		n, _ = cutFold(n, "\xb0") // the degree sign in Latin-1
		return strings.TrimRight(n, " \t"), u
	}
	return text, ""
}

// cutFold cuts tail from the end of text, in either case.
func cutFold(text, tail string) (string, bool) {
	at := len(text) - len(tail)
	if at < 0 || !strings.EqualFold(text[at:], tail) {
		return text, false
	}
	return text[:at], true
}

// plain reports whether text is a sign at most, one to nine digits, a point with one to nine more,
// and an exponent of at most two digits.
func plain(text string) bool {
	i := 0
	digits := func() (n int) {
		for i < len(text) && text[i] >= '0' && text[i] <= '9' {
			i, n = i+1, n+1
		}
		return n
	}
	sign := func() {
		if i < len(text) && (text[i] == '+' || text[i] == '-') {
			i++
		}
	}
	sign()
	before, after := digits(), 0
	if i < len(text) && text[i] == '.' {
		i++
		after = digits()
		if after == 0 {
			return false
		}
	}
	if before+after == 0 || before > 9 || after > 9 {
		return false
	}
	if i < len(text) && (text[i] == 'e' || text[i] == 'E') {
		i++
		sign()
		if n := digits(); n == 0 || n > 2 {
			return false
		}
	}
	return i == len(text)
}

// Belief is the range of temperatures that a kiln or its room can have, in °C. Own choice.
const (
	leastBelief kiln.Celsius = -50
	mostBelief  kiln.Celsius = 1850
)

// fullScale reports whether a number outside belief is one that converters give when the couple is
// open: the ends of a 16-bit number or a row of nines, wherever the decimal point is. Common
// practice, no source.
func fullScale(text string) bool {
	var digits []byte
	for _, b := range []byte(text) {
		if b >= '0' && b <= '9' {
			digits = append(digits, b)
		}
	}
	d := strings.TrimLeft(string(digits), "0")
	switch d {
	case "32767", "32768", "65535", "65534":
		return true
	}
	return len(d) >= 4 && strings.Trim(d, "9") == ""
}
