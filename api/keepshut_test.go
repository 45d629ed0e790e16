package api

import (
	"net/url"
	"strings"
	"testing"

	"lidwright/kiln"
	"lidwright/tiles"
)

// What a kiln cannot be kept shut above is refused with words that say what may be set and why, by JSON
// and by form, and nothing changes.
func TestKeepShutSaysWhatMayBeSet(t *testing.T) {
	b := newBench(t)
	b.s.Kiln, b.s.Recorder = map[kiln.KilnID]kiln.Kiln{"big-blue": {ID: "big-blue", KeepShut: 50}}, packed{}
	const needed = "is needed over 50 °C, where a touch can burn: who says so, and why"
	for _, c := range []struct{ value, reason, says string }{
		{"250", "raku", string(tiles.KeepShutRange)}, {"200.5", "raku", string(tiles.KeepShutRange)},
		{"19", "", string(tiles.KeepShutRange)}, {"-5", "", string(tiles.KeepShutRange)},
		{"90", "", needed}, {"90", "  ", needed},
	} {
		_, text := b.send("PUT", "/v1/kilns/big-blue/keep-shut", "application/json",
			`{"id":"`+b.id()+`","keep_shut_above_c":`+c.value+`,"keep_shut_reason":"`+c.reason+`"}`)
		if !strings.Contains(text, c.says) {
			t.Errorf("%s by JSON: no %q in %s", c.value, c.says, text)
		}
		_, text = b.post("/settings/big-blue/mark",
			url.Values{"id": {b.id()}, "keep_shut_above_c": {c.value}, "keep_shut_reason": {c.reason}}, 422)
		if !strings.Contains(text, c.says) {
			t.Errorf("%s by form: no %q", c.value, c.says)
		}
	}
	for _, value := range []string{"hot", "", "NaN"} {
		if _, text := b.post("/settings/big-blue/mark",
			url.Values{"id": {b.id()}, "keep_shut_above_c": {value}}, 422); !strings.Contains(text,
			string(tiles.KeepShutRange)) {
			t.Errorf("%q: no %q", value, string(tiles.KeepShutRange))
		}
	}
	if m, err := b.s.Kilns().KeepShut(t.Context(), "big-blue"); err != nil || m.Mark != 50 {
		t.Errorf("%v is in force, %v", m, err)
	}
	for _, c := range []string{`50`, `200,"keep_shut_reason":"its maker's manual"`} {
		b.json("PUT", "/v1/kilns/big-blue/keep-shut", `{"id":"`+b.id()+`","keep_shut_above_c":`+c+`}`, 201)
	}
}
