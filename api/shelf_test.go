package api

import (
	"fmt"
	"testing"

	"lidwright/kiln"
)

// The spread of the shelves over HTTP and on the packing list: nothing is made up before a load had
// bars on two of them, and then it says where to pack.
func TestShelves(t *testing.T) {
	b := newBench(t)
	codes := []string{"AAA", "AAB", "AAC", "AAD", "AAE", "AAF"}
	b.tern(codes...)
	b.s.Kiln, b.s.Recorder = map[kiln.KilnID]kiln.Kiln{"big-blue": {ID: "big-blue"}}, packed{}
	if j := b.json("GET", "/v1/kilns/big-blue/shelves", "", 200); len(j["shelves"].([]any)) != 0 ||
		j["apart_c"] != nil {
		t.Errorf("without bars: %v", j)
	}
	b.json("GET", "/v1/kilns/nobody/shelves", "", 404)
	for _, code := range codes {
		b.read(code, "wet", "100.0")
		b.read(code, "dry", "94.0")
	}
	var load string
	for i := 0; i < len(codes); i += 2 {
		load = b.id()
		b.json("PUT", "/v1/loads/"+load, fmt.Sprintf(`{"kiln":"big-blue","kind":"glaze","heat_work_c":1222,"bars":[{"bar":%q,"shelf":"top"},{"bar":%q,"shelf":"bottom"}]}`, codes[i], codes[i+1]), 201)
		b.json("POST", "/v1/loads/"+load+"/unpacked", `{}`, 200)
		b.read(codes[i], "fired", "87.4")
		b.read(codes[i+1], "fired", "88.0")
	}
	j := b.json("GET", "/v1/kilns/big-blue/shelves", "", 200)
	s := j["shelves"].([]any)
	if len(s) != 2 || s[0].(map[string]any)["shelf"] != "top" || j["loads"] != 3.0 ||
		j["apart_likely_c"].([]any)[0].(float64) <= 0 || j["on_lid_mm"].(float64) < 0.3 {
		t.Errorf("%v", j)
	}
	has(t, b.page("/load/"+load+"/packing"), "Where to pack", "one shelf: top fires", "smaller.")
}
