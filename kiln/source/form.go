package source

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"lidwright/kiln/message"
)

// maxColumns is how many columns or pairs a line may have.
const maxColumns = 64

// said is what one line, or several answers of one round, told: texts by column number, name,
// key, JSON path or group.
type said struct {
	columns []string
	names   map[string]string
}

// text is what stands at from; ok is false if the line had no such place.
func (s said) text(from string) (string, bool) {
	if t, ok := s.names[from]; ok {
		return t, true
	}
	if n, err := strconv.Atoi(from); err == nil && n >= 1 && n <= len(s.columns) {
		return s.columns[n-1], true
	}
	return "", false
}

// and puts the answer to a later question of the same round behind s: its columns count on.
func (s said) and(next said) said {
	s.columns = append(s.columns, next.columns...)
	if s.names == nil {
		s.names = next.names
		return s
	}
	for name, text := range next.names {
		s.names[name] = text
	}
	return s
}

// form reads the lines of one kiln. It remembers the header and the usual number of columns, and
// nothing that grows.
type form struct {
	kiln    Kiln
	pattern *regexp.Regexp
	named   bool           // a channel is told by the name of a column
	header  map[string]int // name to column, from 0; nil before it was heard
	columns int            // usual number of columns, 0 while not known
	other   int            // a number of columns seen lately that is not the usual one
	others  int            // how often in a row
}

var (
	errHeader  = errors.New("a header")
	errForeign = errors.New("a line of another kiln")
)

// columned reports whether the lines are columns, in which every channel must be there: a line with
// fewer was cut.
func (k Kiln) columned() bool { return k.Reply == "columns" || k.Reply == "replay" }

// newForm reads the lines of k. The error is that of a pattern that is no regular expression.
func newForm(k Kiln) (*form, error) {
	f := &form{kiln: k}
	if k.Reply == "pattern" {
		// The whole line must match: a pattern that finds its number anywhere finds it in garbage.
		re, err := regexp.Compile("^(?:" + k.Pattern + ")$")
		if err != nil {
			return nil, fmt.Errorf("kiln.%s.pattern: %w", k.ID, err)
		}
		f.pattern = re
	}
	if k.columned() {
		for _, from := range append([]string{k.TimeColumn}, froms(k)...) {
			if _, err := strconv.Atoi(from); err != nil && from != "" {
				f.named = true
			}
		}
	}
	return f, nil
}

// froms are the places of the kiln's channels, in their order.
func froms(k Kiln) []string {
	var out []string
	for _, c := range k.Channels {
		out = append(out, c.From)
	}
	return out
}

// read takes a line apart. errHeader says that it was a header and errForeign that it begins with
// the word of another kiln, neither of which is an error of the line; any other error says why the
// line makes no sense.
func (f *form) read(line string) (said, error) {
	for _, b := range []byte(line) {
		if b < 0x20 && b != '\t' || b == 0x7f {
			return said{}, message.NewError("holds the byte {1}", fmt.Sprintf("%#02x", b))
		}
	}
	line, err := stripChecksum(line, f.kiln.Checksum)
	if err != nil {
		return said{}, err
	}
	rest, mine := strings.CutPrefix(line, f.kiln.Select)
	if !mine {
		return said{}, errForeign
	}
	if f.kiln.Select != "" {
		rest = strings.TrimPrefix(strings.TrimLeft(rest, " \t"), f.kiln.Separator)
	}
	switch f.kiln.Reply {
	case "keyvalue":
		return f.keyValue(rest)
	case "json":
		return readJSON(rest, append(froms(f.kiln), f.kiln.TimeColumn))
	case "pattern":
		return f.match(rest)
	}
	return f.split(rest)
}

// match takes the named groups of the pattern; the first group of a name that matched anything counts.
func (f *form) match(line string) (said, error) {
	if !utf8.ValidString(line) {
		return said{}, message.NewError("is not UTF-8")
	}
	groups := f.pattern.FindStringSubmatch(line)
	if groups == nil {
		return said{}, message.NewError("does not match the pattern")
	}
	names := map[string]string{}
	for i, name := range f.pattern.SubexpNames() {
		if name != "" && names[name] == "" {
			names[name] = groups[i]
		}
	}
	return said{names: names}, nil
}

// keyValue takes pairs with = or : between them. A key that stands twice is refused.
func (f *form) keyValue(line string) (said, error) {
	parts, err := f.parts(line)
	if err != nil {
		return said{}, err
	}
	names := map[string]string{}
	for _, part := range parts {
		if part == "" {
			continue
		}
		at := strings.IndexAny(part, "=:")
		if at <= 0 {
			return said{}, message.NewError("{1} is no key and value", strconv.Quote(part))
		}
		key := strings.TrimSpace(part[:at])
		if _, twice := names[key]; twice {
			return said{}, message.NewError("the key {1} stands there twice", strconv.Quote(key))
		}
		names[key] = strings.TrimSpace(part[at+1:])
	}
	if len(names) == 0 {
		return said{}, message.NewError("no key and value")
	}
	return said{names: names}, nil
}

// parts splits a line at the separator of the settings; a blank means any run of blanks.
func (f *form) parts(line string) ([]string, error) {
	var parts []string
	if f.kiln.Separator == " " {
		parts = strings.Fields(line)
	} else {
		parts = strings.Split(line, f.kiln.Separator)
	}
	if len(parts) > maxColumns {
		return nil, message.NewError("{1} columns; at most {2} are read", len(parts), maxColumns)
	}
	for i := range parts {
		parts[i] = strings.Trim(parts[i], " \t\"")
	}
	return parts, nil
}
