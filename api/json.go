package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"
)

const deepest = 32 // levels of nesting that a body may have

func encodeJSON(v any) []byte {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return []byte("{}\n")
	}
	return b.Bytes()
}

// strictJSON reads one JSON value into v. It refuses what the standard decoder lets pass: bytes that
// are not UTF-8 and halves of a sign (which it puts another sign in the place of), a name given
// twice, nesting beyond 32 levels, anything after the value. Unknown and misspelt names are refused
// by huma's own check against the schema.
func strictJSON(data []byte, v any) error {
	if !utf8.Valid(data) || halfSign(data) {
		return fmt.Errorf("a text is not Unicode")
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber()
	if err := noRepeats(d); err != nil {
		return err
	}
	if _, err := d.Token(); err != io.EOF {
		return fmt.Errorf("something follows the JSON value")
	}
	return json.Unmarshal(data, v)
}

// halfSign reports whether a text in JSON holds one half of a surrogate pair (RFC 8259, 8.2).
func halfSign(data []byte) bool {
	for i := bytes.IndexByte(data, '\\'); i >= 0 && i < len(data); i++ {
		if data[i] != '\\' {
			continue
		}
		i++ // what is escaped, a backslash too
		switch first, ok := sixteen(data, i); {
		case !ok || !utf16.IsSurrogate(first):
		case i+5 >= len(data) || data[i+5] != '\\':
			return true
		default:
			second, ok := sixteen(data, i+6)
			if !ok || utf16.DecodeRune(first, second) == unicode.ReplacementChar {
				return true
			}
			i += 10
		}
	}
	return false
}

// sixteen reads the u and four digits of an escape.
func sixteen(data []byte, at int) (rune, bool) {
	if at+5 > len(data) || data[at] != 'u' {
		return 0, false
	}
	n, err := strconv.ParseUint(string(data[at+1:at+5]), 16, 16)
	return rune(n), err == nil
}

// noRepeats walks one value of d and refuses repeated names and deep nesting.
func noRepeats(d *json.Decoder) error {
	type level struct {
		names  map[string]bool // nil in an array
		isName bool            // the next token is a name
	}
	var open []level
	for {
		t, err := d.Token()
		if err != nil {
			return err
		}
		switch x := t.(type) {
		case json.Delim:
			switch x {
			case '{':
				open = append(open, level{names: map[string]bool{}, isName: true})
			case '[':
				open = append(open, level{})
			default:
				open = open[:len(open)-1]
				if len(open) > 0 && open[len(open)-1].names != nil {
					open[len(open)-1].isName = true
				}
			}
			if len(open) > deepest {
				return fmt.Errorf("nested deeper than %d levels", deepest)
			}
		default:
			if n := len(open); n > 0 && open[n-1].names != nil {
				l := &open[n-1]
				if l.isName {
					name := x.(string)
					if l.names[name] {
						return fmt.Errorf("a name is given twice")
					}
					l.names[name] = true
					l.isName = false
					continue
				}
				l.isName = true
			}
		}
		if len(open) == 0 {
			return nil
		}
	}
}
