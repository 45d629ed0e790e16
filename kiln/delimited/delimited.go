// Package delimited reads tables as spreadsheets, statistics programs and people write them: cells between
// commas, semicolons or tabs, quoted or not, in UTF-8, UTF-16 or Windows-1252, with lines that end in LF,
// CRLF or CR.
//
// In flow the bytes of a file; out flow a header and rows of cells with their line, numbers by the decimal
// sign of the file, and days by the order that the file's own days allow. What it cannot tell apart
// (1.2.2026) it asks.
//
// It knows no column and judges no cell; that is its callers' part.
package delimited

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"lidwright/kiln/message"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// MostBytes is how long a table may be.
const MostBytes = 16 << 20

// Table is a text whose first lines were looked at: how it is written, and which columns it names.
type Table struct {
	Separator rune     // comma, semicolon or tab
	Encoding  string   // UTF-8, UTF-16 or Windows-1252
	Names     []string // of the columns, as they stand, each blank one blank
	Line      int      // on which they stand, from 1

	rows *csv.Reader
}

// A Fault is what is wrong with a line of a table, or with the whole of it (line 0).
type Fault struct {
	// from 1; 0: the whole of it
	Line int
	// without the line
	Why message.Message
}

// Error is Says in English.
func (f *Fault) Error() string {
	if f.Line == 0 {
		return f.Why.String()
	}
	return f.Says().String()
}

// Says is what is wrong, with the line.
func (f *Fault) Says() message.Message {
	if f.Line == 0 {
		return f.Why
	}
	return message.New("line {1}: {2}", f.Line, f.Why)
}

// mostLinesAbove is how many lines may stand above the names of the columns, such as a title.
const mostLinesAbove = 10

// Open finds out how a table is written. known says of a name, in small letters, whether a column may be
// called so: the line of the first ten that holds most such names is that of the names, and the separator is
// the one by which it does. Where none is known it is the first line with a cell, and the separator is its
// tab, else its semicolon, else the comma. The error is a *Fault.
func Open(text []byte, known func(name string) bool) (*Table, error) {
	if len(text) > MostBytes {
		return nil, &Fault{0, message.New("is longer than {1} MB; take it in in parts", MostBytes>>20)}
	}
	plain, name, err := decoded(text)
	if err != nil {
		return nil, err
	}
	t := &Table{Encoding: name}
	plain, t.Separator = hinted(plain)
	// the separator by which most names are known; the first of equals
	candidates := []rune{'\t', ';', ','}
	if t.Separator != 0 {
		candidates = []rune{t.Separator}
	}
	best, skip := 0, 0
	for _, sep := range candidates {
		if n, line := score(plain, sep, known); n > best {
			best, skip, t.Separator = n, line, sep
		}
	}
	if t.Separator == 0 {
		t.Separator = ofFirstLine(plain)
	}
	// again from the beginning, to the line of the names
	t.rows = reader(tidied(plain, t.Separator), t.Separator)
	for i := 0; ; i++ {
		row, err := t.Read()
		var broken *Fault
		switch {
		case err == io.EOF:
			return t, nil
		case errors.As(err, &broken) && i < skip:
			continue
		case err != nil:
			return nil, err
		case i < skip || blank(row.Cells):
			continue
		}
		t.Line = row.Line
		for _, c := range row.Cells {
			t.Names = append(t.Names, strings.Join(strings.Fields(c), " ")) // a name may go over two lines
		}
		return t, nil
	}
}

// decoded is the text in UTF-8, without a byte order mark.
func decoded(text []byte) ([]byte, string, error) {
	var from encoding.Encoding
	name := "UTF-8"
	switch {
	case bytes.HasPrefix(text, []byte("PK\x03\x04")):
		return nil, "", &Fault{0, message.New("is a spreadsheet's own file, not a table as text: save it there as CSV")}
	case bytes.HasPrefix(text, []byte("\xff\xfe")), bytes.HasPrefix(text, []byte("\xfe\xff")):
		from, name = unicode.UTF16(unicode.LittleEndian, unicode.UseBOM), "UTF-16"
	case bytes.HasPrefix(text, []byte("\xef\xbb\xbf")):
		text = text[3:]
	}
	if from == nil && !utf8.Valid(text) {
		from, name = charmap.Windows1252, "Windows-1252"
	}
	if from != nil {
		var err error
		if text, err = from.NewDecoder().Bytes(text); err != nil {
			return nil, "", &Fault{0, message.New("is not written in UTF-8, UTF-16 or Windows-1252")}
		}
	}
	if bytes.IndexByte(text, 0) >= 0 {
		return nil, "", &Fault{0, message.New("is no table as text: save it as CSV")}
	}
	return text, name, nil
}

// hinted takes off a first line such as sep=; by which some spreadsheets tell the separator.
func hinted(text []byte) ([]byte, rune) {
	if len(text) < 5 || !strings.EqualFold(string(text[:4]), "sep=") ||
		!strings.ContainsRune("\t;,", rune(text[4])) {
		return text, 0
	}
	rest := text[5:]
	if !bytes.HasPrefix(rest, []byte("\n")) && !bytes.HasPrefix(rest, []byte("\r")) {
		return text, 0
	}
	return rest, rune(text[4]) // the end of the line stays, so that lines keep their numbers
}

// score is how many known names the best of the first lines holds by this separator, and how many rows stand
// above it.
func score(text []byte, sep rune, known func(string) bool) (best, at int) {
	if known == nil {
		return 0, 0
	}
	head := text[:min(len(text), 64<<10)]
	rows := reader(tidied(head, sep), sep)
	for i := range mostLinesAbove {
		cells, err := rows.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			continue
		}
		n := 0
		for _, c := range cells {
			if known(strings.ToLower(strings.Join(strings.Fields(c), " "))) {
				n++
			}
		}
		if n > best {
			best, at = n, i
		}
	}
	return best, at
}

// ofFirstLine is the separator of the first line that has one outside of quotes: a tab, else a semicolon,
// else a comma.
func ofFirstLine(text []byte) rune {
	quoted, found := false, ','
	for _, b := range text {
		switch {
		case b == '"':
			quoted = !quoted
		case quoted:
		case b == '\t':
			return '\t'
		case b == ';':
			found = ';'
		case b == '\n' || b == '\r':
			return found
		}
	}
	return found
}

// reader reads rows of any length whose cells stand between sep.
func reader(text []byte, sep rune) *csv.Reader {
	r := csv.NewReader(bytes.NewReader(text))
	r.Comma, r.FieldsPerRecord, r.ReuseRecord = sep, -1, true
	r.TrimLeadingSpace = sep != '\t' // it would take empty cells for blanks
	return r
}

// inches is the sign that stands for the " of a length in inches.
const inches = "″"

// tidied makes of the ends of lines outside of quotes LF, where they are CR alone, and of a " behind a digit
// in a cell without quotes, as people write inches, the sign of inches.
func tidied(text []byte, sep rune) []byte {
	if !bytes.ContainsAny(text, "\r\"") {
		return text
	}
	out := make([]byte, 0, len(text)+len(text)/16)
	const (
		start = iota // of a cell
		bare
		quoted
		closed // behind the closing quote
	)
	state, digit := start, false
	for i := 0; i < len(text); i++ {
		b := text[i]
		if b == '\r' && state != quoted {
			if i+1 < len(text) && text[i+1] == '\n' {
				i++
			}
			b = '\n'
		}
		switch {
		case state == quoted:
			if b == '\r' && (i+1 == len(text) || text[i+1] != '\n') {
				b = '\n'
			}
			if b == '"' {
				state = closed
			}
		case b == '\n' || rune(b) == sep:
			state = start
		case b == '"' && (state == start || state == closed):
			state = quoted // behind the closing one: a doubled quote
		case b == '"' && digit:
			out = append(out, inches...)
			continue
		case state == start && b != ' ':
			state = bare
		}
		digit = b >= '0' && b <= '9' || b >= 0x80 // ½ and its like end in such a byte
		out = append(out, b)
	}
	return out
}

// Row is one row of a table. Its cells are good until the next one is read.
type Row struct {
	Line  int      // that it begins on, from 1
	Cells []string // as they stand, without their quotes
}

// Read gives the next row, io.EOF behind the last. A *Fault is a row whose quotes do not match; the next row
// may be read after it.
func (t *Table) Read() (Row, error) {
	cells, err := t.rows.Read()
	if err == io.EOF {
		return Row{}, err
	}
	var broken *csv.ParseError
	switch {
	case errors.As(err, &broken) && broken.Err == csv.ErrBareQuote:
		return Row{}, &Fault{broken.StartLine,
			message.New("a \" stands in a cell that has none around it: put the cell in quotes, and each \" of it twice")}
	case errors.As(err, &broken):
		return Row{}, &Fault{broken.StartLine,
			message.New("a \" is opened and not closed, or more stands behind the closing one")}
	case err != nil:
		return Row{}, &Fault{0, message.Plain(err.Error())}
	}
	line, _ := t.rows.FieldPos(0)
	return Row{line, cells}, nil
}

// blank reports whether nothing stands in any cell.
func blank(cells []string) bool {
	for _, c := range cells {
		if strings.TrimSpace(c) != "" {
			return false
		}
	}
	return true
}

// Blank reports whether nothing stands in a row.
func (r Row) Blank() bool { return blank(r.Cells) }

// Separated says the separator in a word.
func (t *Table) Separated() string {
	return map[rune]string{'\t': "tab", ';': "semicolon", ',': "comma"}[t.Separator]
}

// Nothing reports whether a cell stands for a value that is missing: empty, or as statistics programs and
// people write it.
func Nothing(cell string) bool {
	switch strings.ToLower(strings.TrimSpace(cell)) {
	case "", "na", "n/a", "nan", "none", "null", "-", "–", "—", "?":
		return true
	}
	return false
}

// Number reads a number with a decimal point or comma and perhaps marks of thousands. A comma before three
// digits in a table of commas may be either, and is no number.
func (t *Table) Number(cell string) (float64, bool) {
	cell = strings.NewReplacer("\u00a0", "", "\u202f", "", "'", "", "−", "-").Replace(strings.TrimSpace(cell))
	for _, c := range cell {
		if !strings.ContainsRune("0123456789+-.,eE", c) {
			return 0, false
		}
	}
	// one comma alone is the decimal sign, unless it may mark thousands; of both signs the later one is
	point, comma := strings.LastIndexByte(cell, '.'), strings.LastIndexByte(cell, ',')
	switch {
	case comma >= 0 && point < 0 && strings.Count(cell, ",") == 1:
		if t.Separator == ',' && len(cell)-comma == 4 && comma <= 3 && cell[0] != '0' {
			return 0, false
		}
		cell = strings.Replace(cell, ",", ".", 1)
	case comma >= 0 && point >= 0:
		mark, decimal := ",", "."
		if comma > point {
			mark, decimal = ".", ","
		}
		whole, rest, twice := strings.Cut(cell, decimal)
		if !grouped(whole, mark) || !twice || strings.ContainsAny(rest, ".,") {
			return 0, false
		}
		cell = strings.ReplaceAll(whole, mark, "") + "." + rest
	case comma >= 0:
		return 0, false
	}
	v, err := strconv.ParseFloat(cell, 64)
	return v, err == nil && v-v == 0
}

// grouped reports whether marks of thousands stand where they should.
func grouped(whole, mark string) bool {
	parts := strings.Split(strings.TrimLeft(whole, "+-"), mark)
	for i, p := range parts {
		if i > 0 && len(p) != 3 || i == 0 && (len(p) == 0 || len(p) > 3) {
			return false
		}
	}
	return true
}
