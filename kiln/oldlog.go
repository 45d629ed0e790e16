package kiln

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// OldLog is the curve of a firing out of a file that some other logger wrote: a table whose first
// line names the columns, and which some of them are temperatures.
type OldLog struct {
	Began    time.Time       // of the first row, where the file tells times of day; zero where it counts
	Ages     []time.Duration // since the first row, rising
	Columns  []string        // names of the temperatures; channel "1" is the first of them
	Celsius  [][]Celsius     // of each column, one a row; NaN where the cell is empty
	Readings int             // cells with a number
}

// OldChoice says which columns count. What is empty is found by its name: hours, minutes, seconds or
// time; names that end in _c or _f.
type OldChoice struct {
	Time         string         // name of the column
	Temperatures []string       // names, each with =c or =f behind it where its end does not say
	Zone         *time.Location // of times of day without an offset
}

// OldBad is a row that cannot be read, or a column that is not there (line 1).
type OldBad struct {
	Line       int
	Field, Why string
}

// MostOldRows is how long such a file may be: 69 hours at a reading each second. Longer ones hold
// more than one firing.
const MostOldRows = 250_000

const mostOldBad = 100 // rows that are told

// Forms of a time of day.
var oldTimes = []string{time.RFC3339, "2006-01-02 15:04:05", "2006-01-02T15:04:05", "2006-01-02 15:04", "2006-01-02T15:04"}

// ReadOldLog reads such a file. The separator is the comma, semicolon or tab of the first line; with
// the last two a decimal comma is allowed. Fahrenheit is turned into °C. Any bad row spoils the
// whole; they are all told, up to a hundred.
func ReadOldLog(text []byte, choice OldChoice) (OldLog, []OldBad) {
	var l OldLog
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
	head, text, _ := bytes.Cut(text, []byte("\n"))
	sep := byte(',')
	for _, s := range []byte("\t;") {
		if bytes.IndexByte(head, s) >= 0 {
			sep = s
		}
	}
	o := oldReader{choice: choice, sep: sep, unit: time.Hour}
	if bad := o.columns(string(head), &l); len(bad) > 0 {
		return l, bad
	}
	l.Celsius = make([][]Celsius, len(o.at))
	var bad []OldBad
	cells := make([][]byte, 0, 16)
	var first time.Time
	for line := 2; len(text) > 0; line++ {
		var row []byte
		row, text, _ = bytes.Cut(text, []byte("\n"))
		row = bytes.TrimRight(row, "\r")
		if len(bytes.TrimSpace(row)) == 0 {
			continue
		}
		if len(l.Ages) == MostOldRows {
			return l, append(bad, OldBad{line, "", fmt.Sprintf("more than %d rows: one firing a file, please", MostOldRows)})
		}
		cells = cells[:0]
		for rest, more := row, true; more; {
			var cell []byte
			cell, rest, more = bytes.Cut(rest, []byte{sep})
			cells = append(cells, cell)
		}
		age, why := o.age(cells, &first)
		if n := len(l.Ages); why == "" && n > 0 && age <= l.Ages[n-1] {
			why = "is not later than the row before"
		}
		if why != "" {
			bad = append(bad, OldBad{line, o.timeName, why})
		}
		for c, at := range o.at {
			t, why := o.reading(cells, at, o.fahrenheit[c])
			if why != "" {
				bad = append(bad, OldBad{line, l.Columns[c], why})
			}
			if t.Known() {
				l.Readings++
			}
			l.Celsius[c] = append(l.Celsius[c], t)
		}
		l.Ages = append(l.Ages, age)
		if len(bad) >= mostOldBad {
			return l, bad
		}
	}
	if len(l.Ages) < 2 || l.Readings == 0 {
		bad = append(bad, OldBad{1, "", "there is no curve in it: two rows with a reading at least"})
	}
	if len(l.Ages) > 0 {
		zero := l.Ages[0]
		for i := range l.Ages {
			l.Ages[i] -= zero
		}
	}
	l.Began = first
	return l, bad
}

type oldReader struct {
	choice     OldChoice
	sep        byte
	timeAt     int
	timeName   string
	unit       time.Duration // 0: times of day
	at         []int         // columns of the temperatures
	fahrenheit []bool
}

func (o *oldReader) columns(head string, l *OldLog) (bad []OldBad) {
	names := strings.Split(strings.ToLower(strings.TrimRight(head, "\r")), string(o.sep))
	place := map[string]int{}
	for i := range names {
		names[i] = strings.Trim(strings.TrimSpace(names[i]), `"`)
		place[names[i]] = i
	}
	is := "the first line names: " + strings.Join(names, ", ")
	o.timeName = strings.ToLower(o.choice.Time)
	if o.timeName == "" {
		for _, n := range []string{"hours", "minutes", "seconds", "time"} {
			if _, ok := place[n]; ok && o.timeName == "" {
				o.timeName = n
			}
		}
	}
	at, ok := place[o.timeName]
	if !ok || o.timeName == "" {
		bad = append(bad, OldBad{1, "time", "no column hours, minutes, seconds or time, or the one that you name; " + is})
	}
	o.timeAt = at
	switch {
	case strings.Contains(o.timeName, "hour"):
	case strings.Contains(o.timeName, "min"):
		o.unit = time.Minute
	case strings.Contains(o.timeName, "sec"):
		o.unit = time.Second
	default:
		o.unit = 0
	}
	wanted := o.choice.Temperatures
	if len(wanted) == 0 {
		for _, n := range names {
			if n != o.timeName && (strings.HasSuffix(n, "_c") || strings.HasSuffix(n, "_f")) {
				wanted = append(wanted, n)
			}
		}
	}
	for _, w := range wanted {
		name, unit, said := strings.Cut(strings.ToLower(w), "=")
		if !said {
			_, unit, _ = strings.Cut(name[max(0, len(name)-2):], "_")
		}
		at, ok := place[name]
		switch {
		case !ok:
			bad = append(bad, OldBad{1, name, "no such column; " + is})
		case unit != "c" && unit != "f":
			bad = append(bad, OldBad{1, name, "in which unit? Write " + name + "=c or " + name + "=f"})
		default:
			o.at, o.fahrenheit, l.Columns = append(o.at, at), append(o.fahrenheit, unit == "f"), append(l.Columns, name)
		}
	}
	if len(o.at) == 0 && len(bad) == 0 {
		bad = append(bad, OldBad{1, "temperature", "no column whose name ends in _c or _f; name yours as NAME=c or NAME=f. " + is})
	}
	return bad
}

func (o *oldReader) number(cell []byte) (float64, bool) {
	cell = bytes.Trim(cell, " \"")
	if o.sep != ',' {
		if i := bytes.IndexByte(cell, ','); i >= 0 {
			cell = bytes.Clone(cell)
			cell[i] = '.'
		}
	}
	v, err := strconv.ParseFloat(string(cell), 64)
	return v, err == nil && !math.IsInf(v, 0) && !math.IsNaN(v)
}

func (o *oldReader) age(cells [][]byte, first *time.Time) (time.Duration, string) {
	if o.timeAt >= len(cells) {
		return 0, "is missing"
	}
	if o.unit > 0 {
		v, ok := o.number(cells[o.timeAt])
		if !ok || math.Abs(v)*float64(o.unit) > float64(1000*time.Hour) {
			return 0, fmt.Sprintf("%q is no number of %ss that a firing lasts", cells[o.timeAt], map[time.Duration]string{time.Hour: "hour", time.Minute: "minute", time.Second: "second"}[o.unit])
		}
		return time.Duration(math.Round(v * float64(o.unit))), ""
	}
	text := strings.Trim(string(cells[o.timeAt]), " \"")
	for _, form := range oldTimes {
		if t, err := time.ParseInLocation(form, text, o.choice.Zone); err == nil {
			if first.IsZero() {
				*first = t
			}
			return t.Sub(*first), ""
		}
	}
	return 0, fmt.Sprintf("%q is no time such as 2026-01-14 13:00:00", text)
}

func (o *oldReader) reading(cells [][]byte, at int, fahrenheit bool) (Celsius, string) {
	if at >= len(cells) {
		return NoTemperature(), "is missing"
	}
	if len(bytes.Trim(cells[at], " \"")) == 0 {
		return NoTemperature(), ""
	}
	v, ok := o.number(cells[at])
	if !ok {
		return NoTemperature(), fmt.Sprintf("%q is no number", cells[at])
	}
	if fahrenheit {
		v = (v - 32) / 1.8
	}
	if v < -40 || v > 1700 {
		return NoTemperature(), fmt.Sprintf("%s is outside -40 to 1700 °C; is the unit right?", bytes.TrimSpace(cells[at]))
	}
	return Celsius(v), ""
}

// Samples are the rows as a line would have said them, the first at began. Channels are "1", "2" and
// so on, in the order of the columns.
func (l OldLog) Samples(k KilnID, began Stamp) []Sample {
	samples := make([]Sample, len(l.Ages))
	values := make([]Value, 0, l.Readings)
	for i, age := range l.Ages {
		at := began
		at.Since, at.Wall = at.Since+age, at.Wall.Add(age)
		from := len(values)
		for c := range l.Celsius {
			if t := l.Celsius[c][i]; t.Known() {
				values = append(values, Value{Channel: l.Channel(c), T: t})
			}
		}
		samples[i] = Sample{Kiln: k, At: at, Values: values[from:len(values):len(values)]}
	}
	return samples
}

// Channel is the channel of a column.
func (l OldLog) Channel(column int) ChannelID { return ChannelID(strconv.Itoa(column + 1)) }
