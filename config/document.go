package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// maxFile bounds a settings file, in bytes. Thirty-two kilns of ten channels need a quarter of it.
const maxFile = 256 << 10

// deepest is how many parts of a key are looked at; settings have five.
const deepest = 8

// document is a settings file as it was written: its values, and the line of every key.
type document struct {
	file   string
	values map[string]any
	lines  map[string]int // by key with dots; tables too
	order  []string       // the keys of lines as they come
}

// readDocument reads a file. An error that is no Mistakes means that it cannot be read at all.
func readDocument(path string) (document, error) {
	f, err := os.Open(path)
	if err != nil {
		return document{}, fmt.Errorf("settings cannot be read: %w", err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxFile+1))
	if err != nil {
		return document{}, fmt.Errorf("settings cannot be read: %w", err)
	}
	return parseDocument(path, data)
}

func parseDocument(path string, data []byte) (document, error) {
	doc := document{file: path, values: map[string]any{}, lines: map[string]int{}}
	refuse := func(line int, says string) (document, error) {
		return document{}, Mistakes{{File: path, Line: line, Says: says}}
	}
	if len(data) > maxFile {
		return refuse(1, fmt.Sprintf("is larger than %d kB, which no settings file is; name the right file",
			maxFile>>10))
	}
	if bytes.HasPrefix(data, []byte("\xef\xbb\xbf")) {
		return refuse(1, "begins with a byte order mark; save it as UTF-8 without one")
	}
	if at := badByte(data); at >= 0 {
		return refuse(1+bytes.Count(data[:at], []byte("\n")),
			"holds bytes that are no UTF-8 text; name the right file or save it as UTF-8")
	}
	if err := toml.Unmarshal(data, &doc.values); err != nil {
		var bad *toml.DecodeError
		if errors.As(err, &bad) {
			line, column := bad.Position()
			return document{}, Mistakes{{File: path, Line: line, Key: strings.Join(bad.Key(), "."),
				Says: fmt.Sprintf("column %d is not TOML: %s", column,
					strings.TrimPrefix(bad.Error(), "toml: "))}}
		}
		return refuse(doc.lineOfRepeat(data), "is not TOML: "+strings.TrimPrefix(err.Error(), "toml: "))
	}
	doc.mark(data)
	return doc, nil
}

// badByte is the place of the first byte that no text has, -1 if there is none.
func badByte(data []byte) int {
	for i := 0; i < len(data); {
		r, size := utf8.DecodeRune(data[i:])
		if r == 0 || r == utf8.RuneError && size == 1 {
			return i
		}
		i += size
	}
	return -1
}

// mark notes the line of every key.
func (d *document) mark(data []byte) {
	var (
		p     unstable.Parser
		table []string
	)
	p.Reset(data)
	for p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			table = nil
			keys := e.Key()
			for keys.Next() && len(table) < deepest {
				table = append(table, string(keys.Node().Data))
				d.note(strings.Join(table, "."), lineOf(data, keys.Node()))
			}
		case unstable.KeyValue:
			d.markValue(data, e, table)
		}
	}
}

func (d *document) markValue(data []byte, e *unstable.Node, table []string) {
	path := append([]string(nil), table...)
	line := 1
	keys := e.Key()
	for keys.Next() && len(path) < deepest {
		path = append(path, string(keys.Node().Data))
		line = lineOf(data, keys.Node())
		d.note(strings.Join(path, "."), line)
	}
	if value := e.Value(); value.Kind == unstable.InlineTable && len(path) < deepest {
		for children := value.Children(); children.Next(); {
			d.markValue(data, children.Node(), path)
		}
	}
}

func (d *document) note(key string, line int) {
	if _, ok := d.lines[key]; !ok {
		d.lines[key] = line
		d.order = append(d.order, key)
	}
}

// line is the line of key, or of the nearest table around it; 1 if there is none.
func (d *document) line(key string) int {
	for {
		if line, ok := d.lines[key]; ok {
			return line
		}
		dot := strings.LastIndexByte(key, '.')
		if dot < 0 {
			return 1
		}
		key = key[:dot]
	}
}

func lineOf(data []byte, key *unstable.Node) int {
	return 1 + bytes.Count(data[:key.Raw.Offset], []byte("\n"))
}

// lineOfRepeat is the line of the first key or table that stands twice, for the mistakes that
// go-toml names without a line; the last line if it finds none.
func (d *document) lineOfRepeat(data []byte) int {
	var p unstable.Parser
	p.Reset(data)
	seen := map[string]bool{}
	table, last := "", 1
	for p.NextExpression() {
		e := p.Expression()
		path, line := "", 1
		for keys, n := e.Key(), 0; keys.Next() && n < deepest; n++ {
			path += "." + string(keys.Node().Data)
			line = lineOf(data, keys.Node())
		}
		last = line
		switch e.Kind {
		case unstable.Table:
			table = path
		case unstable.ArrayTable:
			table = path
			continue
		default:
			path = table + path
		}
		if seen[path] {
			return line
		}
		seen[path] = true
	}
	return last
}
