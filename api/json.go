package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
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

// strictJSON reads one JSON value into v. It refuses what the standard decoder lets pass:
// a name given twice, nesting beyond 32 levels, anything after the value. Unknown and
// misspelt names are refused by huma's own check against the schema.
func strictJSON(data []byte, v any) error {
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
