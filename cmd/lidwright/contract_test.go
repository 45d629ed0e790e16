package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

var newContract = flag.Bool("contract", false, "write testdata/contract.txt anew from the recorded answers")

const contractFile = "testdata/contract.txt"

// underContract are the questions whose answers other tools were written against: their status, each member
// by its name and type, each column of a table.
var underContract = []string{
	"GET /v1/now", "GET /v1/now/big-blue", "GET /v1/site", "GET /v1/lines",
	"GET /v1/kilns", "GET /v1/kilns/big-blue",
	"GET /v1/firings", "GET /v1/firings/{F4}", "GET /v1/firings/{F2}/curve?points=12",
	"GET /v1/firings/{F2}/curve?points=20 as text/csv", "GET /v1/compare?firings={F2},{F3}&points=10",
	"GET /v1/trend?kiln=big-blue",
	"GET /v1/clays", "GET /v1/clays/tern", "GET /v1/clays/tern/shrinkage?batch=A",
	"GET /v1/clays/moor/shrinkage",
	"GET /v1/loads", "GET /v1/loads/{L2}",
	"GET /v1/bars", "GET /v1/bars/AA", "GET /v1/bars/AA/story",
	"GET /v1/pots", "GET /v1/pots/{P2}", "GET /v1/lid-results",
	"GET /v1/size?fired=100mm&clay=tern&batch=A", "GET /v1/size?fired_ml=900&clay=tern&batch=A",
	"GET /v1/lid?collar=104.5&opening=92.5&clay=tern&batch=A",
	"GET /v1/lid?collar=104.5&opening=92.5&clay=tern&lids=3",
	"GET /v1/lid?collar=91.5&collar_stage=fired&clay=tern&batch=A",
	"GET /v1/lid?collar=104.5&body_drying_ratio=0.06&body_firing_ratio=0.07",
	"GET /v1/lids/board?gauge=104.5&gauge_opening=92.5&gauge_count=12&clay=tern",
	"GET /v1/changes?limit=12", "GET /v1/crossed-out", "GET /v1/notices",
	"GET /v1/clays/owl", "GET /v1/lid?collar=wide&clay=tern", "GET /v1/lid?colar=104.5",
	"GET /bars.csv", "GET /readings.csv", "GET /firings.csv", "GET /loads.csv", "GET /clays.csv",
	"GET /pots.csv",
}

// TestContract holds the recorded answers, which TestAnswers holds to what the program says, against what
// tools were promised: a member or column that is missing or has another type is a break; one that came is
// none.
func TestContract(t *testing.T) {
	now := shapesRecorded(t)
	if *newContract {
		var text strings.Builder
		text.WriteString("# What answers must go on having; DEVELOPERS.md says how a break is accepted.\n")
		for _, q := range underContract {
			fmt.Fprintf(&text, "######## %s\n", q)
			for _, member := range slices.Sorted(maps.Keys(now[q])) {
				fmt.Fprintf(&text, "%s %s\n", member, now[q][member])
			}
		}
		if err := os.WriteFile(contractFile, []byte(text.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	promised := shapesPromised(t)
	for _, q := range underContract {
		if len(promised[q]) < 2 {
			t.Errorf("%s: nothing is promised of it; go test -run TestContract ./cmd/lidwright -contract", q)
		}
	}
	for q, members := range promised {
		for _, broken := range breaks(members, now[q]) {
			t.Errorf("%s: %s", q, broken)
		}
	}
}

// TestContractSeesBreaks: what was removed, renamed, retyped or is empty throughout is told, what came is
// not.
func TestContractSeesBreaks(t *testing.T) {
	was := shapeOf(t, `{"a":1,"list":[{"b":"x"},{"b":null,"c":true}],"none":null,"o":{"d":1.5}}`)
	for answer, want := range map[string]int{
		`{"a":1,"list":[{"b":"x"},{"b":null,"c":true}],"none":null,"o":{"d":1.5}}`:         0,
		`{"a":1,"list":[{"b":"x","c":true}],"none":"now","o":{"d":2,"new":[]},"more":"x"}`: 0,
		`{"list":[{"b":"x","c":true}],"none":null,"o":{"d":2}}`:                            1, // a removed
		`{"a":1,"list":[{"bb":"x","c":true}],"none":null,"o":{"d":2}}`:                     1, // b renamed
		`{"a":"1","list":[{"b":"x","c":true}],"none":null,"o":{"d":2}}`:                    1, // a is text
		// b is a number too
		`{"a":1,"list":[{"b":"x","c":true},{"b":5}],"none":null,"o":{"d":2}}`: 1,
		`{"a":null,"list":[{"b":"x","c":true}],"none":null,"o":{"d":2}}`:      1, // a is nothing throughout
		// list items, and o with its member
		`{"a":1,"list":[],"none":null,"o":null}`:                    4,
		`{"a":1,"list":{"b":"x","c":true},"none":null,"o":{"d":2}}`: 3,
	} {
		if got := breaks(was, shapeOf(t, answer)); len(got) < want || want == 0 && len(got) > 0 {
			t.Errorf("%s: %q, want %d", answer, got, want)
		}
	}
}

// breaks tells what of the members that were promised an answer no longer has.
func breaks(promised, now map[string]string) (all []string) {
	for _, member := range slices.Sorted(maps.Keys(promised)) {
		was := strings.Split(promised[member], "|")
		is, has := now[member]
		switch {
		case !has:
			all = append(all, fmt.Sprintf("%s is gone (it was %s)", member, promised[member]))
		case slices.Equal(was, []string{"null"}):
		case is == "null":
			all = append(all, fmt.Sprintf("%s is null throughout (it was %s)", member, promised[member]))
		default:
			for _, kind := range strings.Split(is, "|") {
				if kind != "null" && !slices.Contains(was, kind) {
					all = append(all, fmt.Sprintf("%s is %s (it was %s)", member, kind, promised[member]))
				}
			}
		}
	}
	return all
}

// shape takes a value into what is known of its members: the kinds that each had, in order of the alphabet.
func shape(into map[string]string, path string, v any) {
	kind := "null"
	switch v := v.(type) {
	case map[string]any:
		kind = "object"
		for name, member := range v {
			shape(into, strings.TrimPrefix(path+"."+name, "."), member)
		}
	case []any:
		kind = "list"
		for _, item := range v {
			shape(into, path+"[]", item)
		}
	case string:
		kind = "string"
	case float64:
		kind = "number"
	case bool:
		kind = "boolean"
	}
	if path == "" {
		path = "."
	}
	kinds := strings.Split(into[path], "|")
	if into[path] == "" {
		kinds = nil
	}
	if !slices.Contains(kinds, kind) {
		kinds = append(kinds, kind)
		slices.Sort(kinds)
		into[path] = strings.Join(kinds, "|")
	}
}

func shapeOf(t *testing.T, text string) map[string]string {
	t.Helper()
	var v any
	if err := json.Unmarshal([]byte(text), &v); err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	shape(out, "", v)
	return out
}

// sections are the parts of a file by what stands after their ########.
func sections(t *testing.T, file string) map[string]string {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for _, part := range strings.Split("\n"+string(b), "\n######## ")[1:] {
		question, rest, _ := strings.Cut(part, "\n")
		if _, twice := out[question]; !twice { // what was asked first
			out[question] = rest
		}
	}
	return out
}

// shapesRecorded are the shapes of the recorded answers that are under contract.
func shapesRecorded(t *testing.T) map[string]map[string]string {
	t.Helper()
	files, err := filepath.Glob("testdata/answers/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	out := map[string]map[string]string{}
	for _, file := range files {
		for question, answer := range sections(t, file) {
			if out[question] != nil || !slices.Contains(underContract, question) {
				continue
			}
			head, body, _ := strings.Cut(answer, "\n")
			status, _, _ := strings.Cut(head, ";")
			var v any
			switch {
			case strings.Contains(head, "text/csv"):
				out[question] = map[string]string{}
				columns, _, _ := strings.Cut(body, "\n")
				for _, column := range strings.Split(strings.TrimPrefix(columns, "\ufeff"), ",") {
					out[question]["column "+strings.TrimSpace(column)] = "string"
				}
			case json.Unmarshal([]byte(body), &v) == nil:
				out[question] = map[string]string{}
				shape(out[question], "", v)
			default:
				t.Errorf("%s: the recorded answer in %s is neither JSON nor a table: %.80q", question, file,
					answer)
				continue
			}
			out[question]["status "+status] = "string"
		}
	}
	return out
}

// shapesPromised reads the contract.
func shapesPromised(t *testing.T) map[string]map[string]string {
	t.Helper()
	out := map[string]map[string]string{}
	for question, text := range sections(t, contractFile) {
		out[question] = map[string]string{}
		for line := range strings.Lines(text) {
			line = strings.TrimSpace(line)
			if at := strings.LastIndex(line, " "); at > 0 {
				out[question][line[:at]] = line[at+1:]
			}
		}
	}
	return out
}
