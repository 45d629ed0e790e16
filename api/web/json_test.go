package web

import (
	"strings"
	"testing"
)

// RFC 7493 (I-JSON), 2.1: text is UTF-8 with no half of a surrogate pair; 2.3: no name twice.
func TestStrictJSON(t *testing.T) {
	for text, want := range map[string]bool{
		`"\ud83d\ude00"`: true, `"\\ud800"`: true, `"\u00e9"`: true,
		`{"a":"b"}`: true, `"\uD83D\uDE00"`: true,
		` {"a":[1,{"a":2}]} `: true, `{"a":{"b":1},"b":1}`: true,
		strings.Repeat("[", 32) + strings.Repeat("]", 32): true,
		`"\\\ud800"`: false, `"\ud800"`: false, `"\ud800\n"`: false, `"\ud800\ud800"`: false,
		`"\udc00\ud800"`:       false,
		`"\ud83d\ude00\ud83d"`: false, `"`: false, `"\`: false, `"\u`: false,
		`"\ud800\`: false, "\"\xff\"": false,
		`{"a":1,"a":2}`: false, `{"a":{"b":1,"b":1}}`: false, `{"a":1}{`: false, `1 2`: false, ``: false,
		`{"a":1,"\u0061":2}`: false, strings.Repeat("[", 33) + strings.Repeat("]", 33): false,
	} {
		var v any
		if err := StrictJSON([]byte(text), &v); (err == nil) != want {
			t.Errorf("%.60s: %v", text, err)
		}
	}
}
