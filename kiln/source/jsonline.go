package source

import (
	"encoding/json"
	"io"
	"strconv"
	"strings"

	"lidwright/kiln/message"
)

// maxDepth bounds the nesting of a JSON line.
const maxDepth = 16

// readJSON reads a line that is one JSON object or array and finds the paths in it: keys and
// indexes from 0 with points between, such as "probe.0.t". A path that is not there gives no
// entry; null gives an empty text, which stands for an open couple. A key that stands twice in one
// object is refused, since nobody can say which was meant.
func readJSON(line string, paths []string) (said, error) {
	d := json.NewDecoder(strings.NewReader(line))
	d.UseNumber()
	wanted := map[string]bool{}
	for _, p := range paths {
		wanted[p] = p != ""
	}
	s := said{names: map[string]string{}}
	if err := walk(d, "", 0, wanted, s.names); err != nil {
		return said{}, message.WrapError(err, "no JSON: {1}", message.Of(err))
	}
	if _, err := d.Token(); err != io.EOF {
		return said{}, message.NewError("no JSON: more behind the end")
	}
	return s, nil
}

// walk reads one value, which stands at path, and notes it if it is wanted.
func walk(d *json.Decoder, path string, depth int, wanted map[string]bool, into map[string]string) error {
	token, err := d.Token()
	if err != nil {
		return err
	}
	if depth > maxDepth {
		return message.NewError("nested deeper than {1}", maxDepth)
	}
	delim, nested := token.(json.Delim)
	if !nested {
		if depth == 0 {
			return message.NewError("a bare value")
		}
		if wanted[path] {
			into[path] = textOf(token)
		}
		return nil
	}
	seen := map[string]bool{}
	for i := 0; d.More(); i++ {
		key := strconv.Itoa(i)
		if delim == '{' {
			k, err := d.Token()
			if err != nil {
				return err
			}
			key, _ = k.(string)
			if seen[key] {
				return message.NewError("the key {1} stands there twice", strconv.Quote(key))
			}
			seen[key] = true
		}
		if path != "" {
			key = path + "." + key
		}
		if err := walk(d, key, depth+1, wanted, into); err != nil {
			return err
		}
	}
	_, err = d.Token() // the closing bracket
	return err
}

// textOf is a JSON value as the line has it; null is empty.
func textOf(token json.Token) string {
	switch v := token.(type) {
	case json.Number:
		return v.String()
	case string:
		return v
	case bool:
		return strconv.FormatBool(v)
	}
	return "" // null
}
