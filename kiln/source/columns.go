package source

import (
	"maps"

	"lidwright/kiln/message"
)

// How many lines in a row must agree on a number of columns before it is the usual one: the first
// time, and when there was another.
const (
	learn   = 3
	relearn = 5
)

// split reads a line of columns. Where channels are told by name a header line must come first;
// a header that comes again is no error.
func (f *form) split(line string) (said, error) {
	parts, err := f.parts(line)
	if err != nil {
		return said{}, err
	}
	if f.named {
		if header := f.headerOf(parts); header != nil {
			f.header, f.columns = header, len(parts)
			return said{}, errHeader
		}
		if f.header == nil {
			return said{}, message.NewError("waiting for the header that names the columns")
		}
	}
	s := said{columns: parts}
	if f.named {
		s.names = map[string]string{}
		for name, at := range f.header {
			if at < len(parts) {
				s.names[name] = parts[at]
			}
		}
	}
	return s, nil
}

// headerOf gives the columns by name if every name that the settings use is there.
func (f *form) headerOf(parts []string) map[string]int {
	header := map[string]int{}
	for i, name := range parts {
		if _, twice := header[name]; !twice {
			header[name] = i
		}
	}
	for _, from := range append([]string{f.kiln.TimeColumn}, froms(f.kiln)...) {
		if _, ok := header[from]; !ok && from != "" && !plain(from) {
			return nil
		}
	}
	return maps.Clone(header)
}

// usual refuses columns of another number than the usual one: such a line was cut or glued. A number
// becomes usual when some lines in a row agree on it, and another one in the same way. It is asked
// only of lines whose numbers make sense. Forms without columns have none of them.
func (f *form) usual(n int) error {
	if n == f.columns {
		f.others = 0
		return nil
	}
	if n != f.other {
		f.other, f.others = n, 0
	}
	f.others++
	switch {
	case f.columns != 0 && (f.others < relearn || f.named):
		return message.NewError("{1} columns where there were {2}", n, f.columns)
	case f.columns != 0 || f.others >= learn:
		f.columns, f.others = n, 0
	}
	return nil
}
