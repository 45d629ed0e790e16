package delimited

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"

	"lidwright/kiln/message"
)

// Order is which of two numbers before the year is the day.
type Order string

const (
	Unasked    Order = ""            // no date of the table asks
	Unclear    Order = "unclear"     // each may be either
	DayFirst   Order = "day_first"   // 14/03/2023
	MonthFirst Order = "month_first" // 03/14/2023
)

// Days reads the days of a table. Those with a / or - between their numbers tell their order only where one
// of the numbers is over 12; the whole table is looked at first, and has one order.
type Days struct {
	Order Order  // as the table tells it or somebody said
	Line  int    // of the day that told the order, or of the first that asks; 0: it was said, or none told
	Told  string // that day

	Serial     int       // days told as a number that a spreadsheet counts
	SerialLine int       // of the first of them
	SerialCell string    // as it stands
	SerialDay  time.Time // the day that it would be, UTC
	Contrary   int       // line of a day that does not fit the order; 0: all do
}

var (
	dayClock = pattern(`(?is)^(.*?)(?:[ T,]+(\d{1,2}:\d{2}.*))?$`)
	clock    = pattern(`(?i)^(\d{1,2})[:.h](\d{2})(?::(\d{2})(?:[.,]\d+)?)?(?:\s*([ap])\.?m\.?)?(?:\s*(?:uhr|h))?\s*(z|[+-]\d{2}:?\d{2})?$`)
	ymd      = pattern(`^(\d{4})([-/.])(\d{1,2})[-/.](\d{1,2})$`)
	compact  = pattern(`^(19|20)(\d{2})(\d{2})(\d{2})$`)
	dmy      = pattern(`^(\d{1,2})\s*([-/.])\s*(\d{1,2})\s*[-/.]\s*(\d{4}|\d{2})$`)
	dayMonth = pattern(`^(\d{1,2})(?:st|nd|rd|th)?[-. ]+(\pL+)[-., ]+(\d{4}|\d{2})$`)
	monthDay = pattern(`^(\pL+)[-. ]+(\d{1,2})(?:st|nd|rd|th)?[-, ]+(\d{4}|\d{2})$`)
)

// pattern is compiled when it is first used: a start has no time for those that it does not need.
func pattern(text string) func() *regexp.Regexp {
	return sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(text) })
}

// months by the first letters of their English and German names.
var months = []struct {
	begins string
	month  time.Month
}{{"jan", 1}, {"jän", 1}, {"feb", 2}, {"mar", 3}, {"mär", 3}, {"mrz", 3}, {"apr", 4}, {"may", 5}, {"mai", 5},
	{"jun", 6}, {"jul", 7},
	{"aug", 8}, {"sep", 9}, {"oct", 10}, {"okt", 10}, {"nov", 11}, {"dec", 12}, {"dez", 12}}

// monthNamed is the month that a name begins as; 0 where none does.
func monthNamed(name string) time.Month {
	name = strings.ToLower(name)
	for _, m := range months {
		if strings.HasPrefix(name, m.begins) {
			return m.month
		}
	}
	return 0
}

// Spreadsheets count days from 1 = 1900-01-01 on and have a 29 February 1900 that never was (the 1900 date
// base, ISO/IEC 29500-1:2016, 18.17.4.1), so that from March 1900 on a number is so many days after
// 1899-12-30. Numbers from 1954 to 2119 are taken for days; smaller ones may be lengths or temperatures.
const (
	leastSerial = 20000
	mostSerial  = 80000
)

// SerialDay is the moment, by the clock on the wall in zone, that such a number stands for: whole days, and
// the part of a day. False for a number that is none.
func SerialDay(v float64, zone *time.Location) (time.Time, bool) {
	if v < leastSerial || v >= mostSerial {
		return time.Time{}, false
	}
	days := int(v)
	s := int(math.Round((v - float64(days)) * 86400))
	return time.Date(1899, 12, 30+days, 0, 0, s, 0, zone), true
}

// Look learns from a cell of a column of days, before any is read.
func (d *Days) Look(line int, cell string) {
	m := dayClock().FindStringSubmatch(strings.TrimSpace(cell))
	// a date whose order is told by its form, or a number that a spreadsheet counts
	n := dmy().FindStringSubmatch(m[1])
	if n == nil || n[2] == "." { // where points are written, days come first
		if v, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(cell), ",",
			".", 1), 64); err == nil {
			if at, ok := SerialDay(v, time.UTC); ok {
				if d.Serial++; d.Serial == 1 {
					d.SerialLine, d.SerialCell, d.SerialDay = line, strings.TrimSpace(cell), at
				}
			}
		}
		return
	}
	a, _ := strconv.Atoi(n[1])
	b, _ := strconv.Atoi(n[3])
	// a number over 12 is a day; two equal ones read the same either way
	says := Unclear
	switch {
	case a > 12 && b <= 12:
		says = DayFirst
	case b > 12 && a <= 12:
		says = MonthFirst
	case a == b || a > 12:
		return
	}
	switch {
	case d.Order == Unasked, d.Order == Unclear && says != Unclear:
		d.Order, d.Line, d.Told = says, line, strings.TrimSpace(cell)
	case says != Unclear && says != d.Order && d.Contrary == 0:
		d.Contrary = line
	}
}

// Say puts an order that somebody said in the place of what the table tells.
func (d *Days) Say(o Order) {
	if o == DayFirst || o == MonthFirst {
		d.Order, d.Line, d.Told, d.Contrary = o, 0, "", 0
	}
}

// Read gives the moment of a cell by the clock on the wall in zone; whole says that the cell tells a day
// alone, which is then its first moment. The error says in words what to write.
func (d Days) Read(cell string, zone *time.Location) (at time.Time, whole bool, err error) {
	cell = strings.TrimSpace(cell)
	if v, err := strconv.ParseFloat(strings.Replace(cell, ",", ".", 1), 64); err == nil {
		if at, ok := SerialDay(v, zone); ok {
			return at, v == math.Trunc(v), nil
		}
	}
	m := dayClock().FindStringSubmatch(cell)
	y, mo, day, ok := d.day(strings.Trim(m[1], " ,"))
	if !ok {
		return at, false, message.New("{1} is no day such as 2023-03-14 or 14.3.2023", strconv.Quote(cell))
	}
	// a date that runs over into the next month is none
	at = time.Date(y, mo, day, 0, 0, 0, 0, zone)
	if at.Month() != mo || at.Day() != day {
		return at, false, message.New("{1}: there is no such day", strconv.Quote(cell))
	}
	if m[2] == "" {
		return at, true, nil
	}
	at, err = At(at, m[2])
	return at, false, err
}

// day reads a date without its time of day; ok is false where it has no known form. That the day is there
// is not looked at.
func (d Days) day(text string) (y int, m time.Month, day int, ok bool) {
	number := func(s string) int { n, _ := strconv.Atoi(s); return n }
	if n := ymd().FindStringSubmatch(text); n != nil {
		return number(n[1]), time.Month(number(n[3])), number(n[4]), true
	}
	if n := compact().FindStringSubmatch(text); n != nil {
		return number(n[1] + n[2]), time.Month(number(n[3])), number(n[4]), true
	}
	if n := dmy().FindStringSubmatch(text); n != nil {
		a, b := number(n[1]), number(n[3])
		if n[2] != "." && d.Order == MonthFirst {
			a, b = b, a
		}
		return year(n[4]), time.Month(b), a, true
	}
	if n := dayMonth().FindStringSubmatch(text); n != nil {
		mo := monthNamed(n[2])
		return year(n[3]), mo, number(n[1]), mo > 0
	}
	if n := monthDay().FindStringSubmatch(text); n != nil {
		mo := monthNamed(n[1])
		return year(n[3]), mo, number(n[2]), mo > 0
	}
	return y, m, day, false
}

// year takes two digits as POSIX does (strptime, %y): 69 to 99 for 1969 to 1999.
func year(text string) int {
	y, _ := strconv.Atoi(text)
	switch {
	case len(text) == 4:
		return y
	case y >= 69:
		return 1900 + y
	}
	return 2000 + y
}

// At is the moment of a day that a cell tells as a time of day: 14:30, 2:30 pm, or the part of a day that
// spreadsheets write.
func At(day time.Time, cell string) (time.Time, error) {
	cell = strings.TrimSpace(cell)
	y, m, d := day.Date()
	if v, err := strconv.ParseFloat(strings.Replace(cell, ",", ".", 1), 64); err == nil && v >= 0 && v < 1 {
		return time.Date(y, m, d, 0, 0, int(math.Round(v*86400)), 0, day.Location()), nil
	}
	n := clock().FindStringSubmatch(cell)
	if n == nil {
		return day, message.New("{1} is no time of day such as 14:30", strconv.Quote(cell))
	}
	h, _ := strconv.Atoi(n[1])
	minute, _ := strconv.Atoi(n[2])
	s, _ := strconv.Atoi(n[3])
	half := strings.ToLower(n[4])
	if h > 23 || minute > 59 || s > 59 || half != "" && (h < 1 || h > 12) {
		return day, message.New("{1} is no time of day such as 14:30", strconv.Quote(cell))
	}
	if half != "" {
		if h %= 12; half == "p" {
			h += 12
		}
	}
	if zone := strings.ToUpper(n[5]); zone != "" {
		form := "-0700"
		switch {
		case zone == "Z":
			zone = "+0000"
		case strings.Contains(zone, ":"):
			form = "-07:00"
		}
		off, err := time.Parse(form, zone)
		if err != nil {
			return day, message.New("{1} is no time of day such as 14:30", strconv.Quote(cell))
		}
		_, seconds := off.Zone()
		return time.Date(y, m, d, h, minute, s, 0, time.FixedZone("", seconds)).In(day.Location()), nil
	}
	return time.Date(y, m, d, h, minute, s, 0, day.Location()), nil
}
