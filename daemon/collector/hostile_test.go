package collector

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"lidwright/api/wire"
	"lidwright/daemon/collector/pgtest"
	"lidwright/kiln/kilntest"
)

// hostile is a request that no studio sends.
type hostile struct {
	what, method, path, kind, encoding string
	body                               []byte
}

// zeros is n bytes of zeros, compressed.
func zeros(n int) []byte {
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	part := make([]byte, 1<<20)
	for ; n > 0; n -= len(part) {
		z.Write(part[:min(n, len(part))])
	}
	z.Close()
	return out.Bytes()
}

func zipped(body []byte) []byte {
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	z.Write(body)
	z.Close()
	return out.Bytes()
}

// hostiles makes what somebody sends who means no good, with the key of a studio that is really his.
func hostiles(site, life, firing string) []hostile {
	push, curve, live := "/v1/studios/"+site+"/push", "/v1/studios/"+site+"/firings/"+firing+
		"/curve?revision=9", "/v1/studios/"+site+"/live"
	good := `{"form":1,"version":"x","life":"` + life + `","after":0,"last":9,`
	fact := func(member, value string) []byte {
		f := map[string]json.RawMessage{"seq": []byte("9"), "kind": []byte(`"clay"`),
			"op": []byte(`"put"`), "id": []byte(`"x"`),
			"at": []byte(`"2026-11-30T09:00:00Z"`), "clock_trusted": []byte("true"),
			"boot": []byte(`"b"`), "body": []byte(`{}`)}
		if value == "" {
			delete(f, member)
		} else {
			f[member] = json.RawMessage(value)
		}
		var out strings.Builder
		for k, v := range f {
			fmt.Fprintf(&out, ",%q:%s", k, v)
		}
		return []byte(good + `"facts":[{` + out.String()[1:] + `}]}`)
	}
	var all []hostile
	add := func(what, method, path string, body []byte) {
		all = append(all, hostile{what, method, path, "application/json", "", body})
	}
	for _, c := range [][2]string{{"seq", "0"}, {"seq", "-1"}, {"seq", "1.5"}, {"seq", "1e300"},
		{"seq", `"9"`}, {"kind", `""`}, {"kind", `7`},
		{"kind", `"` + strings.Repeat("k", 41) + `"`}, {"op", ``},
		{"id", `"` + strings.Repeat("i", 201) + `"`}, {"at", `"1e9"`}, {"at", `"10000-01-01T00:00:00Z"`},
		{"at", `null`}, {"at", `NaN`}, {"boot", `"` + strings.Repeat("b", 5000) + `"`}, {"body", ``},
		{"body", `NaN`}, {"body", `{"a":Infinity}`}, {"body", `{"a":1`}, {"body", `{"a":1e400000}`},
		{"clock_trusted", `"yes"`}} {
		add("a fact with "+c[0]+" "+c[1][:min(len(c[1]), 20)], "POST", push, fact(c[0], c[1]))
	}
	many := `{"seq":1,"kind":"clay","op":"put","id":"x","at":"2026-11-30T09:00:00Z","boot":"b","body":{}},`
	million := []byte(good + `"facts":[` + strings.Repeat(many, 80_000) +
		strings.TrimSuffix(many, ",") + `]}`)
	half := []byte(good + `"facts":[` + strings.Repeat(many, 40_000) + strings.TrimSuffix(many, ",") + `]}`)
	for what, member := range map[string]string{
		"another life":      `"life":"'; DROP TABLE fact; --"`,
		"a far cursor":      `"after":9223372036854775807`,
		"a negative cursor": `"after":-5`,
		"no number":         `"last":NaN`,
		"deep":              `"facts":` + strings.Repeat("[", 100_000),
		"form 99":           `"form":99`, "form -1": `"form":-1`,
		"a firing of no id": `"firings":[{"id":"'; DROP TABLE firing; --"}]`,
		"a firing of no kiln": `"firings":[{"id":"` + firing +
			`","number":1,"revision":1,"began_at":"2026-11-30T09:00:00Z"}]`,
		"has of no id":    `"has":[{"id":"1' OR '1'='1","revision":1,"curve":0}]`,
		"a boot of no id": `"boots":[{"id":"","offset_ms":1}]`,
	} {
		add(what, "POST", push, []byte(good+member+"}"))
	}
	for what, body := range map[string]string{"nothing": "", "null": "null", "a list": "[]", "half": good,
		"bytes": "\xff\xfe\x00\x01", "a page": "<html>"} {
		add(what, "POST", push, []byte(body))
		add("live: "+what, "PUT", live, []byte(body))
	}
	add("live of another", "PUT", live, []byte(`{"life":"x' OR 1=1","after":0,"kilns":[]}`))
	add("live of 101 kilns", "PUT", live, []byte(`{"life":"`+life+`","after":0,"kilns":[`+
		strings.Repeat(`{"kiln":"a"},`, 100)+`{"kiln":"b"}]}`))
	add("live twice", "PUT", live, []byte(`{"life":"`+life+
		`","after":0,"kilns":[{"kiln":"a"},{"kiln":"a"}]}`))
	add("live NaN", "PUT", live, []byte(`{"life":"`+life+`","after":0,"kilns":[{"kiln":"a","last_c":NaN}]}`))
	for what, body := range map[string][]byte{"no curve": []byte("not a curve"),
		"a curve cut short": {5, 1, 2}, "a length beyond": {255, 255, 255, 255, 255, 255, 255, 255, 255, 1},
		"zeros": make([]byte, 1<<20)} {
		all = append(all, hostile{what, "PUT", curve, "application/octet-stream", "", body})
	}
	for _, path := range []string{push, live, curve} {
		method := "PUT"
		if path == push {
			method = "POST"
		}
		all = append(all, hostile{"2 GiB in a small body", method, path,
			"application/json", "gzip", twoGiB()},
			hostile{"80,000 facts, packed", "POST", push, "application/json", "gzip", zipped(million)},
			hostile{"40,000 facts, packed", "POST", push, "application/json", "gzip", zipped(half)},
			hostile{"not packed", method, path, "application/json", "gzip", []byte(good)},
			hostile{"packed otherwise", method, path, "application/json", "br", []byte(good)},
			hostile{"80,000 facts", method, path, "application/json", "", million})
	}
	all = append(all, hostile{"a form", "POST", push, "application/x-www-form-urlencoded", "", []byte("a=1")})
	return all
}

var packed struct{ twoGiB []byte }

// twoGiB is 2 GiB of zeros in 1 MiB of gzip, as much as a body may have: 2 MiB are cut to fit.
func twoGiB() []byte {
	if packed.twoGiB == nil {
		packed.twoGiB = zeros(1 << 30) // a gigabyte is just under a mebibyte
		packed.twoGiB = append(packed.twoGiB, packed.twoGiB[:1<<20-len(packed.twoGiB)%(1<<20)]...)[:1<<20]
	}
	return packed.twoGiB
}

// rss is the memory of a process, kB, now and at most.
func rss(t testing.TB, pid int) (now, most int) {
	t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(text)) {
		f := strings.Fields(line)
		switch f[0] {
		case "VmRSS:":
			now, _ = strconv.Atoi(f[1])
		case "VmHWM:":
			most, _ = strconv.Atoi(f[1])
		}
	}
	return now, most
}

// TestHostileBodies sends what no studio sends, with a key that is good: each is refused, nothing of it is
// kept, the memory of the collector does not follow, and another studio goes on sending.
func TestHostileBodies(t *testing.T) {
	database := pgtest.Database(t)
	db := opened(t, database)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	l.Close()
	cmd := child(t, "collector", "LIDWRIGHT_DATABASE="+database, "LIDWRIGHT_ADDRESS="+address)
	url := "http://" + address
	waitReady(t, url)
	code, err := Owner{db}.Add(t.Context(), "Room 3")
	if err != nil {
		t.Fatal(err)
	}
	s := newStudio(t)
	s.says(t, 500)
	s.fires(t, 1)
	s.joinBy(t, url, code)
	s.arrived(t, db)
	mine := newID()
	if code, err = (Owner{db}).Add(t.Context(), "Room 4"); err != nil {
		t.Fatal(err)
	}
	var taken wire.JoinTaken
	if err := json.NewDecoder(ask(t, "POST", url+"/v1/join", "", wire.JoinAsk{Code: code, Site: mine,
		Life: newID()}).Body).Decode(&taken); err != nil {
		t.Fatal(err)
	}
	life, firing := newID(), newID()
	ask(t, "POST", url+"/v1/studios/"+mine+"/push", taken.Token, wire.Push{Form: 1, Life: life, Last: 0})
	rows, err := db.Rows(t.Context(), mine)
	if err != nil {
		t.Fatal(err)
	}
	all := hostiles(mine, life, firing)
	dice := rand.New(rand.NewPCG(16, 1))
	before, _ := rss(t, cmd.Process.Pid)
	statuses := map[int]int{}
	for i := range times(2*len(all), 10_000) {
		h := all[i%len(all)]
		if i >= len(all) {
			h = all[dice.IntN(len(all))]
			// and bent further
			if len(h.body) > 4 && len(h.body) < 1000 && h.encoding == "" && dice.IntN(2) == 0 {
				h.body = bytes.Clone(h.body)
				h.body[dice.IntN(len(h.body))] ^= byte(1 << dice.IntN(7))
			}
		}
		req, err := http.NewRequest(h.method, url+h.path, bytes.NewReader(h.body))
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Content-Type", h.kind)
		req.Header.Set("Content-Encoding", h.encoding)
		req.Header.Set("Authorization", "Bearer "+taken.Token)
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			continue // it hung up on what is too long
		}
		said, _ := io.ReadAll(io.LimitReader(resp.Body, 1<<16))
		resp.Body.Close()
		statuses[resp.StatusCode]++
		if i < len(all) && (resp.StatusCode < 400 || resp.StatusCode >= 500) || resp.StatusCode >= 500 {
			t.Errorf("%s: %d %s", h.what, resp.StatusCode, said)
		}
		if strings.Contains(string(said), "SQLSTATE") || len(said) > 2000 {
			t.Errorf("%s: the answer shows insides: %.300s", h.what, said)
		}
		if i == len(all)-1 {
			if now, err := db.Rows(t.Context(), mine); err != nil || !reflect.DeepEqual(now, rows) {
				t.Errorf("rows %v, were %v: %v", now, rows, err)
			}
			s.says(t, 5)
			s.arrived(t, db)
		}
	}
	now, most := rss(t, cmd.Process.Pid)
	if most > before+kilntest.MemoryTimes*32<<10 {
		t.Errorf("its memory went from %d to %d kB, %d at most", before, now, most)
	}
	s.says(t, 1)
	s.arrived(t, db)
	t.Logf("%d bodies, %d unlike ones; answers %v; memory %d kB before, %d at most",
		times(2*len(all), 10_000), len(all), statuses, before, most)
}
