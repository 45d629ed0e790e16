package source

import (
	"encoding/binary"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// anySettings draws settings, mostly wrong ones, without asking Validate.
func anySettings(t *rapid.T) Settings {
	s := Settings{Port: "p", Speed: 9600, Framing: "8N1"}
	for range rapid.IntRange(1, 3).Draw(t, "kilns") {
		k := Kiln{ID: "k", Every: 1, Reply: rapid.SampledFrom([]string{"columns", "modbus"}).Draw(t, "reply"),
			Terminator: "\n",
			PollOther:  rapid.Bool().Draw(t, "other"),
			PollReason: rapid.SampledFrom([]string{"", "asks only"}).Draw(t, "reason")}
		if k.Reply == "columns" {
			k.Poll = rapid.SliceOfN(rapid.OneOf(rapid.StringMatching(`[ -~]{0,33}\?`),
				rapid.StringMatching(`[ -~]{0,33}`), rapid.String()), 0, 3).Draw(t, "polls")
		}
		for range rapid.IntRange(0, 4).Draw(t, "channels") {
			k.Channels = append(k.Channels, Channel{
				UnitID: rapid.IntRange(-1, 300).Draw(t, "unit"), Function: rapid.IntRange(0, 24).Draw(t,
					"function"),
				Register: rapid.IntRange(-1, 70000).Draw(t, "register"),
				Number:   rapid.SampledFrom([]string{"int16", "float32"}).Draw(t, "number"), Order: "abcd",
			})
		}
		s.Kilns = append(s.Kilns, k)
	}
	return s
}

// Whatever the settings say and whatever is asked of the guard, what leaves is a Modbus request of
// function 03 or 04 or a poll string that keeps the rules. The judging here is written apart from
// the code: the bytes of a request are those of Modbus Application Protocol V1.1b3, 6.3 and 6.4.
func TestNothingElseLeaves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anySettings(t)
		port := newFakePort(nil)
		g := newSendAllowlist(port, s)
		var tries [][]byte
		for _, k := range s.Kilns {
			for _, p := range k.Poll {
				tries = append(tries, []byte(p+"\n"), []byte(p))
			}
			for _, r := range requestsOf(k) {
				f := r.frame()
				tries = append(tries, f)
				for i := range f { // every neighbour, rightly checked
					d := append([]byte(nil), f[:6]...)
					if i < 6 {
						d[i] ^= rapid.Byte().Draw(t, "flip")
					}
					tries = append(tries, withCRC(d))
				}
			}
		}
		// every public function, writing ones too
		for _, f := range []byte{1, 2, 3, 4, 5, 6, 15, 16, 22, 23, 43} {
			tries = append(tries, withCRC([]byte{1, f, 0, 0, 0, 1}),
				withCRC([]byte{1, f, 0, 0, 0, 1, 2, 0, 9}))
		}
		tries = append(tries, rapid.SliceOf(rapid.Byte()).Draw(t, "bytes"))
		for _, b := range tries {
			before := len(port.sent)
			err := g.send(b)
			if left := len(port.sent) > before; left != (err == nil) ||
				left && !harmless(s, port.sent[before]) || !left && !errors.Is(err, errRefused) {
				t.Fatalf("sent % x, error %v", b, err)
			}
		}
	})
}

func harmless(s Settings, b []byte) bool {
	if len(b) == 8 && b[0] >= 1 && b[0] <= 247 && (b[1] == 3 || b[1] == 4) &&
		string(withCRC(b[:6:6])) == string(b) {
		n := binary.BigEndian.Uint16(b[4:])
		return n >= 1 && n <= 125
	}
	for _, k := range s.Kilns {
		for _, p := range k.Poll {
			if string(b) != p+k.Terminator {
				continue
			}
			ok := len(p) <= 32 && (strings.HasSuffix(p, "?") || k.PollOther && k.PollReason != "")
			for _, c := range []byte(p) {
				ok = ok && c >= 0x20 && c <= 0x7e
			}
			return ok
		}
	}
	return false
}

// In all the source of this package one call writes to a port, and it stands in sendallowlist.go: no
// other file calls anything named Write or WriteString, hands a port to something that might, or
// sends a break.
func TestOneWayOut(t *testing.T) {
	files, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	calls := map[string]int{}
	imports := 0
	for _, f := range files {
		name := f.Name()
		if !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			continue
		}
		tree, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range tree.Imports {
			switch strings.Trim(i.Path.Value, `"`) {
			case "go.bug.st/serial":
				imports++
				if name != "port.go" {
					t.Errorf("%s imports the serial library; port.go alone does", name)
				}
			case "os/exec", "syscall", "unsafe", "bufio":
				t.Errorf("%s imports %s", name, i.Path.Value)
			}
		}
		ast.Inspect(tree, func(n ast.Node) bool {
			if sel, ok := n.(*ast.SelectorExpr); ok {
				if from, ok := sel.X.(*ast.Ident); ok && from.Name == "kiln" {
					return true // kiln.Break is a fault, not a call
				}
				switch sel.Sel.Name {
				case "Write", "WriteString", "WriteByte", "WriteAt", "WriteTo", "ReadFrom", "Fprint",
					"Fprintf", "Fprintln", "Copy", "Break", "Ioctl", "IoctlSetInt", "Writev":
					calls[name+" "+sel.Sel.Name]++
				}
			}
			return true
		})
	}
	if len(calls) != 1 || calls["sendallowlist.go Write"] != 1 {
		t.Errorf("ways out: %v; want one Write, in sendallowlist.go", calls)
	}
	if imports != 1 {
		t.Errorf("the serial library is imported %d times", imports)
	}
}

func TestPollRules(t *testing.T) {
	for _, c := range []struct {
		poll, reason string
		other, ok    bool
	}{
		{"T?", "", false, true},
		{strings.Repeat("a", 31) + "?", "", false, true},
		{strings.Repeat("a", 32) + "?", "", false, false},
		{"", "", false, false},
		{"READ", "", false, false},
		{"READ", "", true, false},
		{"READ", "the maker's manual calls it a question", true, true},
		{"T\r?", "", false, false},
		{"é?", "", false, false},
		{"\x00?", "why", true, false},
	} {
		if err := checkPoll(c.poll, c.other, c.reason); (err == nil) != c.ok {
			t.Errorf("%q: %v", c.poll, err)
		}
	}
}
