package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"github.com/go-json-experiment/json/jsontext"
)

const deepest = 32 // levels of nesting that a body may have

// EncodeJSON writes v as one line; an empty object where it cannot be written.
func EncodeJSON(v any) []byte {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return []byte("{}\n")
	}
	return b.Bytes()
}

// StrictJSON reads one JSON value into v. It refuses what encoding/json lets pass (RFC 7493, I-JSON, 2.1 and
// 2.3): bytes that are not UTF-8, half of a surrogate pair, a name given twice; and nesting beyond 32 levels
// and anything after the value. Unknown and misspelt names are refused by huma's own check against the
// schema.
func StrictJSON(data []byte, v any) error {
	d := jsontext.NewDecoder(bytes.NewBuffer(data))
	for again := true; again; again = d.StackDepth() > 0 {
		if _, err := d.ReadToken(); err != nil {
			return err
		}
		if d.StackDepth() > deepest {
			return fmt.Errorf("nested deeper than %d levels", deepest)
		}
	}
	if _, err := d.ReadToken(); !errors.Is(err, io.EOF) {
		return errors.New("something follows the JSON value")
	}
	return json.Unmarshal(data, v)
}
