package store

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strings"
)

// Tables go out as RFC 4180 has them, with one rule more: a text that begins with one of = + - @,
// a tab, a line's end or an apostrophe gets an apostrophe before it, so that no spreadsheet takes
// it for a formula (OWASP ASVS 5.0, 1.2.10) and reading takes exactly that one off again. The reader
// of the standard library is not used, because it changes line ends inside a cell.

// guardText puts the apostrophe before a text.
func guardText(text string) string {
	if text != "" && strings.ContainsRune("=+-@\t\r\n'", rune(text[0])) {
		return "'" + text
	}
	return text
}

// unguard takes it off.
func unguard(cell string) string { return strings.TrimPrefix(cell, "'") }

// writeRow writes one row.
func writeRow(w *bufio.Writer, cells []string) error {
	for i, c := range cells {
		if i > 0 {
			w.WriteByte(',')
		}
		if strings.ContainsAny(c, ",\"\r\n") || c != strings.TrimSpace(c) {
			c = `"` + strings.ReplaceAll(c, `"`, `""`) + `"`
		}
		w.WriteString(c)
	}
	_, err := w.WriteString("\r\n")
	return err
}

var errTable = errors.New("the table cannot be read")

// readRow reads one row; io.EOF after the last.
func readRow(r *bufio.Reader) ([]string, error) {
	var cells []string
	var cell strings.Builder
	quoted, begun := false, false
	for n := 0; ; n++ {
		if n > mostCarryRow {
			return nil, fmt.Errorf("%w: a row has more than %d kB", errTable, mostCarryRow>>10)
		}
		b, err := r.ReadByte()
		switch {
		case err == io.EOF && quoted:
			return nil, fmt.Errorf("%w: it ends inside quotation marks", errTable)
		case err == io.EOF && !begun:
			return nil, io.EOF
		case err == io.EOF:
			return append(cells, cell.String()), nil
		case err != nil:
			return nil, err
		}
		begun = true
		switch {
		case quoted && b == '"':
			next, err := r.ReadByte()
			if err == nil && next == '"' {
				cell.WriteByte('"')
				continue
			}
			if err == nil {
				r.UnreadByte()
			}
			quoted = false
		case quoted:
			cell.WriteByte(b)
		case b == '"' && cell.Len() == 0:
			quoted = true
		case b == ',':
			cells = append(cells, cell.String())
			cell.Reset()
		case b == '\n':
			return append(cells, strings.TrimSuffix(cell.String(), "\r")), nil
		default:
			cell.WriteByte(b)
		}
	}
}
