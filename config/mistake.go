package config

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Mistake is one thing wrong with the settings.
type Mistake struct {
	File string // path of the file, "environment" or "flags"
	Line int    // from 1; 0 in the environment and the flags
	Key  string // with dots, or the name of the variable or flag; "" if the whole file is meant
	Says string // what is wrong and what would be right
}

func (m Mistake) String() string {
	var b strings.Builder
	b.WriteString(m.File)
	if m.Line > 0 {
		fmt.Fprintf(&b, ":%d", m.Line)
	}
	b.WriteString(": ")
	if m.Key != "" {
		b.WriteString(m.Key + ": ")
	}
	b.WriteString(m.Says)
	return b.String()
}

// Mistakes is the error of Load when a file could be read and the settings do not hold: all of
// them, in the order of the lines.
type Mistakes []Mistake

func (ms Mistakes) Error() string {
	lines := make([]string, len(ms))
	for i, m := range ms {
		lines[i] = m.String()
	}
	return strings.Join(lines, "\n")
}

func (ms Mistakes) sort() {
	slices.SortStableFunc(ms, func(a, b Mistake) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Key, b.Key))
	})
}
