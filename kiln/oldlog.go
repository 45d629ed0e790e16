package kiln

import (
	"errors"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"lidwright/kiln/delimited"
	"lidwright/kiln/message"
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
	// counts from 1, the line of the names
	Line int
	// name of the column, in small letters
	Field string
	// what is wrong with the cell and what it should be
	Why message.Message
}

// mostOldRows is how long such a file may be: 69 hours at a reading each second. Longer ones hold
// more than one firing.
const mostOldRows = 250_000

const mostOldBad = 100 // rows that are told

// Forms of a time of day.
var oldTimes = []string{time.RFC3339, "2006-01-02 15:04:05", "2006-01-02T15:04:05", "2006-01-02 15:04",
	"2006-01-02T15:04"}

// ReadOldLog reads such a file, as delimited does. Fahrenheit is turned into °C. Any bad row spoils the
// whole; they are all told, up to a hundred, each by the line that it begins on.
func ReadOldLog(text []byte, choice OldChoice) (OldLog, []OldBad) {
	var l OldLog
	o := oldReader{choice: choice, unit: time.Hour}
	table, err := delimited.Open(text, o.known)
	if err != nil {
		return l, []OldBad{badRow(err)}
	}
	o.table = table
	if bad := o.columns(&l); len(bad) > 0 {
		return l, bad
	}
	l.Celsius = make([][]Celsius, len(o.at))
	var bad []OldBad
	var first time.Time
	for {
		row, err := table.Read()
		if err == io.EOF {
			break
		}
		// the rest of a file that is wrong throughout tells nothing new
		if len(bad) >= mostOldBad {
			return l, bad
		}
		if err != nil {
			bad = append(bad, badRow(err))
			continue
		}
		// an empty line between rows, or at the end
		if row.Blank() && len(row.Cells) == 1 {
			continue
		}
		if len(l.Ages) == mostOldRows {
			return l, append(bad, OldBad{row.Line, "",
				message.New("more than {1} rows: one firing a file, please", mostOldRows)})
		}
		bad = append(bad, o.row(row, &l, &first)...)
	}
	// one reading is no curve, and columns without a number are none
	if len(l.Ages) < 2 || l.Readings == 0 {
		bad = append(bad, OldBad{1, "", message.New("there is no curve in it: two rows with a reading at least")})
	}
	// a counter may begin anywhere: the first row is age 0
	if len(l.Ages) > 0 {
		zero := l.Ages[0]
		for i := range l.Ages {
			l.Ages[i] -= zero
		}
	}
	l.Began = first
	return l, bad
}

// row takes one row into l.
func (o *oldReader) row(row delimited.Row, l *OldLog, first *time.Time) (bad []OldBad) {
	// ages rise strictly, as those of a recorded curve do
	age, why := o.age(row.Cells, first)
	if n := len(l.Ages); why.IsZero() && n > 0 && age <= l.Ages[n-1] {
		why = message.New("is not later than the row before")
	}
	if !why.IsZero() {
		bad = append(bad, OldBad{row.Line, o.timeName, why})
	}
	// an empty cell is NaN and no mistake: probes are read at their own times
	for c, at := range o.at {
		t, why := o.reading(row.Cells, at, o.fahrenheit[c])
		if !why.IsZero() {
			bad = append(bad, OldBad{row.Line, l.Columns[c], why})
		}
		if t.Known() {
			l.Readings++
		}
		l.Celsius[c] = append(l.Celsius[c], t)
	}
	l.Ages = append(l.Ages, age)
	return bad
}

// badRow is a row whose quotes do not hold, or a file that is no table.
func badRow(err error) OldBad {
	var f *delimited.Fault
	if errors.As(err, &f) {
		return OldBad{max(f.Line, 1), "", f.Why}
	}
	return OldBad{1, "", message.Of(err)}
}

type oldReader struct {
	choice     OldChoice
	table      *delimited.Table
	timeAt     int
	timeName   string
	unit       time.Duration // 0: times of day
	at         []int         // columns of the temperatures
	fahrenheit []bool
}

// oldClocks are the names of columns that tell when a row was read, if none is named.
var oldClocks = []string{"hours", "minutes", "seconds", "time"}

// known reports whether a column of this name, in small letters, is one that counts.
func (o *oldReader) known(name string) bool {
	if slices.Contains(oldClocks, name) || name != "" && name == strings.ToLower(o.choice.Time) ||
		strings.HasSuffix(name, "_c") || strings.HasSuffix(name, "_f") {
		return true
	}
	return slices.ContainsFunc(o.choice.Temperatures, func(w string) bool {
		w, _, _ = strings.Cut(strings.ToLower(w), "=")
		return w == name
	})
}

// columns finds the column of the time with its unit and those of the temperatures with theirs, by the
// choice or, where that is silent, by their names. Each that cannot be found is told with the names that
// the file has.
func (o *oldReader) columns(l *OldLog) (bad []OldBad) {
	// names are compared in small letters
	names := make([]string, len(o.table.Names))
	place := map[string]int{}
	for i, n := range o.table.Names {
		names[i] = strings.ToLower(n)
		place[names[i]] = i
	}
	is := message.New("the first line names: {1}", strings.Join(names, ", "))
	// the time: the named column, else the first of the usual names that is there
	o.timeName = strings.ToLower(o.choice.Time)
	if o.timeName == "" {
		for _, n := range oldClocks {
			if _, ok := place[n]; ok && o.timeName == "" {
				o.timeName = n
			}
		}
	}
	at, ok := place[o.timeName]
	if !ok || o.timeName == "" {
		bad = append(bad, OldBad{1, "time",
			message.New("no column hours, minutes, seconds or time, or the one that you name; {1}", is)})
	}
	o.timeAt = at
	// its unit stands in its name; without one the cells are times of day
	switch {
	case strings.Contains(o.timeName, "hour"):
	case strings.Contains(o.timeName, "min"):
		o.unit = time.Minute
	case strings.Contains(o.timeName, "sec"):
		o.unit = time.Second
	default:
		o.unit = 0
	}
	// the temperatures: those that were named, else every column that ends in a unit
	wanted := o.choice.Temperatures
	if len(wanted) == 0 {
		for _, n := range names {
			if n != o.timeName && (strings.HasSuffix(n, "_c") || strings.HasSuffix(n, "_f")) {
				wanted = append(wanted, n)
			}
		}
	}
	for _, w := range wanted {
		// the unit behind = counts before the ending of the name
		name, unit, said := strings.Cut(strings.ToLower(w), "=")
		if !said {
			_, unit, _ = strings.Cut(name[max(0, len(name)-2):], "_")
		}
		at, ok := place[name]
		switch {
		case !ok:
			bad = append(bad, OldBad{1, name, message.New("no such column; {1}", is)})
		case unit != "c" && unit != "f":
			bad = append(bad, OldBad{1, name, message.New("in which unit? Write {1}=c or {2}=f", name, name)})
		default:
			o.at, o.fahrenheit, l.Columns = append(o.at, at), append(o.fahrenheit, unit == "f"),
				append(l.Columns, name)
		}
	}
	if len(o.at) == 0 && len(bad) == 0 {
		bad = append(bad, OldBad{1, "temperature",
			message.New("no column whose name ends in _c or _f; name yours as NAME=c or NAME=f. {1}", is)})
	}
	return bad
}

// unitWords are units of the time of a row.
var unitWords = map[time.Duration]message.Key{time.Hour: "hours", time.Minute: "minutes",
	time.Second: "seconds"}

// age is the time that a row tells, since the first row for times of day, as counted otherwise. The
// message is empty where it can be read.
func (o *oldReader) age(cells []string, first *time.Time) (time.Duration, message.Message) {
	if o.timeAt >= len(cells) {
		return 0, message.New("is missing")
	}
	// a counter: any number of hours, minutes or seconds, up to 1,000 h
	if o.unit > 0 {
		v, ok := o.table.Number(cells[o.timeAt])
		if !ok || math.Abs(v)*float64(o.unit) > float64(1000*time.Hour) {
			return 0, message.New("{1} is no number of {2} that a firing lasts",
				strconv.Quote(cells[o.timeAt]), message.New(unitWords[o.unit]))
		}
		return time.Duration(math.Round(v * float64(o.unit))), message.Message{}
	}
	// a time of day; without an offset it is one of the chosen zone
	text := strings.TrimSpace(cells[o.timeAt])
	for _, form := range oldTimes {
		if t, err := time.ParseInLocation(form, text, o.choice.Zone); err == nil {
			if first.IsZero() {
				*first = t
			}
			return t.Sub(*first), message.Message{}
		}
	}
	return 0, message.New("{1} is no time such as 2026-01-14 13:00:00", strconv.Quote(text))
}

// reading is a cell in °C: NaN without a message where it is empty, NaN with one where it is no number or
// outside -40 to 1700 °C, which is what a pottery kiln and a cold room have.
func (o *oldReader) reading(cells []string, at int, fahrenheit bool) (Celsius, message.Message) {
	if at >= len(cells) {
		return NoTemperature(), message.New("is missing")
	}
	if strings.TrimSpace(cells[at]) == "" {
		return NoTemperature(), message.Message{}
	}
	v, ok := o.table.Number(cells[at])
	if !ok {
		return NoTemperature(), message.New("{1} is no number", strconv.Quote(cells[at]))
	}
	if fahrenheit {
		v = (v - 32) / 1.8
	}
	if v < -40 || v > 1700 {
		return NoTemperature(), message.New("{1} is outside -40 to 1700 °C; is the unit right?",
			strings.TrimSpace(cells[at]))
	}
	return Celsius(v), message.Message{}
}

// Samples are the rows as a line would have said them, the first at began. Channels are "1", "2" and
// so on, in the order of the columns.
func (l OldLog) Samples(k KilnID, began Stamp) []Sample {
	samples := make([]Sample, len(l.Ages))
	values := make([]Value, 0, l.Readings)
	for i, age := range l.Ages {
		// both clocks go on from began by the age of the row
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
