package main

import (
	"go/ast"
	"go/parser"
	"go/scanner"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"
)

// The arrows of the house: which of our packages each may import. They point down the page
// of DEVELOPERS.md and never up. Tests in a package's own folder may also use the helpers
// made for tests.
var arrows = readArrows(`
kiln/delimited: kiln/message
kiln/message:
kiln: kiln/delimited kiln/message
kiln/thermocouple: kiln
kiln/heatwork: kiln kiln/message
kiln/faults: kiln
kiln/detect: kiln kiln/heatwork
kiln/record: kiln kiln/analysis kiln/detect kiln/faults kiln/heatwork kiln/message
kiln/analysis: kiln kiln/detect kiln/heatwork kiln/message
kiln/kilntest: kiln
kiln/practice: kiln
kiln/source: kiln kiln/message kiln/thermocouple
kiln/source/sourcetest: kiln kiln/source
tiles/mixedmodel:
tiles: kiln kiln/delimited kiln/heatwork kiln/message
tiles/shrinkage: kiln tiles tiles/mixedmodel kiln/message
tiles/lid: kiln tiles tiles/shrinkage kiln/message
tiles/board: kiln tiles tiles/lid tiles/shrinkage kiln/message
tiles/tilestest: kiln tiles tiles/lid tiles/shrinkage
config: kiln kiln/thermocouple
daemon/notice: kiln kiln/record kiln/message
daemon/mqtt: api/wire daemon/notice kiln/message
daemon/store/codec: kiln
daemon/store: api/usecase api/wire daemon/notice daemon/store/codec kiln kiln/detect kiln/heatwork
	kiln/record tiles tiles/lid kiln/message
daemon/outbox: api/usecase api/wire kiln tiles kiln/message
api/usecase: api/caution api/wire kiln kiln/analysis kiln/detect kiln/faults kiln/heatwork
	kiln/record tiles tiles/board tiles/lid tiles/shrinkage kiln/message
api/pages: api/wire kiln/message tiles
api/caution: kiln kiln/message tiles
api/topics:
api/tables: api/usecase api/wire kiln kiln/delimited kiln/detect kiln/heatwork tiles tiles/lid tiles/shrinkage kiln/message
api/wire: kiln/message
api/apitest:
api/web: api/usecase api/wire kiln kiln/record tiles tiles/lid kiln/message
api/auth: api/web kiln kiln/message
api/metrics: api/usecase kiln kiln/record tiles tiles/shrinkage
api/client: api/wire
api/chart: kiln kiln/heatwork tiles tiles/lid tiles/shrinkage
api: api/auth api/caution api/chart api/metrics api/pages api/tables api/topics api/usecase api/web api/wire kiln kiln/analysis
	kiln/delimited kiln/detect kiln/faults kiln/heatwork kiln/record tiles tiles/board tiles/lid
	tiles/shrinkage kiln/message
daemon: api api/auth api/usecase api/web api/wire config daemon/mqtt daemon/notice daemon/outbox daemon/store kiln
	kiln/analysis kiln/detect kiln/faults kiln/heatwork kiln/practice kiln/record kiln/source
	kiln/thermocouple tiles tiles/lid tiles/shrinkage kiln/message
api/collectorpages: api/caution api/chart api/pages api/web api/wire kiln kiln/message tiles tiles/shrinkage
daemon/collector: api api/auth api/collectorpages api/wire config daemon/collector/postgres daemon/store kiln/heatwork tiles tiles/shrinkage
	daemon/store/codec kiln
daemon/collector/postgres: api/collectorpages api/wire
daemon/collector/cluster:
daemon/collector/pgtest: daemon/collector/cluster
cmd/manual:
cmd/lidwright-collect: cmd/manual api/caution config daemon daemon/collector daemon/collector/cluster
cmd/lidwright: cmd/manual api api/auth api/caution api/client api/topics api/usecase api/wire config daemon kiln kiln/practice
	kiln/source tiles tiles/lid tiles/shrinkage kiln/message
deploy/tools/clients:
deploy/tools/mutants:
`)

// readArrows reads a line a package, of which an indented one goes on with the one before.
func readArrows(plan string) map[string][]string {
	all, pkg := map[string][]string{}, ""
	for line := range strings.Lines(strings.TrimSpace(plan)) {
		if name, rest, begins := strings.Cut(line, ":"); begins {
			pkg, line = name, rest
			all[pkg] = []string{}
		}
		all[pkg] = append(all[pkg], strings.Fields(line)...)
	}
	return all
}

// The few packages that speak to the outside through each of these.
var onlyIn = map[string][]string{
	"github.com/spf13/viper":                  {"config"},
	"github.com/pelletier/go-toml/v2":         {"config"},
	"github.com/spf13/cobra":                  {"cmd/lidwright", "cmd/lidwright-collect", "cmd/manual"},
	"go.bug.st/serial":                        {"kiln/source"},
	"modernc.org/sqlite":                      {"daemon/store"},
	"database/sql":                            {"daemon/store"},
	"github.com/danielgtaylor/huma/v2":        {"api", "api/web", "api/collectorpages"},
	"github.com/go-json-experiment/json":      {"api/web"},
	"github.com/a-h/templ":                    {"api/pages"},
	"github.com/boombuler/barcode":            {"api"},
	"github.com/prometheus/client_golang":     {"api/metrics", "api/collectorpages"},
	"golang.org/x/time":                       {"api/auth"},
	"github.com/coreos/go-systemd/v22/daemon": {"daemon", "daemon/collector"},
	"github.com/jackc/pgx/v5":                 {"daemon/collector/postgres"},
	"github.com/eclipse/paho.golang":          {"daemon/mqtt"},
	"github.com/wneessen/go-mail":             {"daemon/notice"},
	"github.com/schollz/progressbar/v3":       {"cmd/lidwright"},
	"github.com/rs/cors":                      {"api/web"},
	"github.com/yuin/goldmark":                {"api/topics"},
}

// The trade: no I/O, no clock.
var trade = []string{"kiln", "kiln/delimited", "kiln/message", "kiln/thermocouple", "kiln/heatwork",
	"kiln/faults", "kiln/detect", "kiln/record", "kiln/analysis", "tiles", "tiles/mixedmodel",
	"tiles/shrinkage", "tiles/lid", "tiles/board"}

var noTrade = []string{"os", "net", "net/http", "database/sql", "io/ioutil", "log", "log/slog", "syscall",
	"golang.org/x/sys/unix"}

// The recorder bounds how long it waits for a disk that does not answer; nothing that it
// reckons comes from that clock.
var waitsForDisk = []string{"kiln/record/recorder.go", "kiln/record/writer.go"}

// The daemon on a Pi holds nothing of the collector's database.
func TestNoDatabaseOfTheCollector(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", ".").Output()
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(out), "lidwright/daemon/outbox") {
		t.Error("the list has no outbox: it is not that of the program")
	}
	for line := range strings.Lines(string(out)) {
		if strings.Contains(line, "jackc/pgx") || strings.HasPrefix(line, "lidwright/daemon/collector") {
			t.Errorf("the program for the Pi holds %s", line)
		}
	}
}

func TestArrows(t *testing.T) {
	seen := 0
	eachFile(t, func(pkg, path string, f *ast.File) {
		allowed, known := arrows[pkg]
		if !known {
			t.Errorf("%s: package %s is not on the plan; draw it in DEVELOPERS.md and here, or put the code where it belongs", path, pkg)
			return
		}
		seen++
		test := strings.HasSuffix(path, "_test.go")
		for _, spec := range f.Imports {
			name, _ := strconv.Unquote(spec.Path.Value)
			if ours, ok := strings.CutPrefix(name, "lidwright/"); ok {
				// from a package kiln_test
				helper := slices.Contains([]string{"kiln/source/sourcetest", "kiln/kilntest",
					"tiles/tilestest", "api/apitest", "kiln/practice", "kiln/thermocouple"}, ours)
				if ours != pkg && !slices.Contains(allowed, ours) &&
					!(test && (helper || strings.HasPrefix(pkg, ours))) &&
					!(test && !slices.Contains(trade, pkg)) {
					t.Errorf("%s imports %s: that arrow points up or across", path, ours)
				}
			}
			if test {
				continue
			}
			for lib, homes := range onlyIn {
				if (name == lib || strings.HasPrefix(name, lib+"/")) && !slices.Contains(homes, pkg) {
					t.Errorf("%s imports %s, which belongs in %v alone", path, name, homes)
				}
			}
			if slices.Contains(trade, pkg) && slices.Contains(noTrade, name) {
				t.Errorf("%s imports %s: the trade does no I/O", path, name)
			}
		}
		if test || !slices.Contains(trade, pkg) || slices.Contains(waitsForDisk, path) {
			return
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if s, ok := n.(*ast.SelectorExpr); ok {
				if x, ok := s.X.(*ast.Ident); ok && x.Name == "time" &&
					slices.Contains([]string{"Now", "Sleep", "Since", "Until", "After", "NewTimer",
						"NewTicker", "Tick"}, s.Sel.Name) {
					t.Errorf("%s uses time.%s: time is handed in to the trade", path, s.Sel.Name)
				}
			}
			return true
		})
	})
	if seen < 30 {
		t.Fatalf("only %d files looked at: the test does not see the house", seen)
	}
}

// TestTopLevel holds the agreed folders and files.
func TestTopLevel(t *testing.T) {
	entries, err := os.ReadDir("../..")
	if err != nil {
		t.Fatal(err)
	}
	agreed := []string{"cmd", "daemon", "kiln", "tiles", "api", "config", "deploy", "go.mod", "go.sum",
		"README.md", "DEVELOPERS.md", "Makefile"}
	built := []string{"bin", "run", "dist", "testout"} // made by make, ignored by git
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") && !slices.Contains(agreed, e.Name()) &&
			!slices.Contains(built, e.Name()) {
			t.Errorf("%s stands at the top level; agreed are %v", e.Name(), agreed)
		}
	}
	for _, name := range agreed {
		if _, err := os.Stat(filepath.Join("../..", name)); err != nil {
			t.Errorf("%s is missing at the top level", name)
		}
	}
}

func eachFile(t *testing.T, f func(pkg, path string, file *ast.File)) {
	t.Helper()
	err := filepath.WalkDir("../..", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if name := d.Name(); name == "testdata" ||
				(strings.HasPrefix(name, ".") && name != ".." && len(name) > 1) ||
				name == "bin" || name == "run" {
				return filepath.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(path, ".go") {
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel("../..", path)
		f(filepath.ToSlash(filepath.Dir(rel)), filepath.ToSlash(rel), file)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// Limits of a room that somebody new can take in, and what is over them today: such a figure may shrink
// and never grow.
const (
	mostMethods   = 40 // of one type
	mostAsked     = 12 // methods of one interface
	mostFiles     = 40 // of one folder, without tests
	mostFunction  = 80 // lines
	generatedFile = "_templ.go"
)

var overTheLimits = readLimits(`
lines of api.apiTable: 170
lines of api.pageTable: 89
`)

// readLimits reads a line a figure. The tables of routes are lists, and long.
func readLimits(text string) map[string]int {
	all := map[string]int{}
	for line := range strings.Lines(strings.TrimSpace(text)) {
		what, most, _ := strings.Cut(line, ": ")
		n, err := strconv.Atoi(strings.TrimSpace(most))
		if err != nil {
			panic(err)
		}
		all[what] = n
	}
	return all
}

// TestRoomsStaySmall holds types, interfaces, folders and functions to sizes that can be taken in.
func TestRoomsStaySmall(t *testing.T) {
	methods, files := map[string]int{}, map[string]int{}
	over := func(what string, have, most int) {
		if most = max(most, overTheLimits[what]); have > most {
			t.Errorf("%s: %d, at most %d", what, have, most)
		}
	}
	fset := token.NewFileSet()
	eachFile(t, func(pkg, path string, _ *ast.File) {
		if strings.HasSuffix(path, "_test.go") || strings.HasSuffix(path, generatedFile) {
			return
		}
		f, err := parser.ParseFile(fset, filepath.Join("../..", path), nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		files[pkg]++
		for _, d := range f.Decls {
			switch d := d.(type) {
			case *ast.FuncDecl:
				if d.Recv != nil {
					of := d.Recv.List[0].Type
					if p, ok := of.(*ast.StarExpr); ok {
						of = p.X
					}
					if id, ok := of.(*ast.Ident); ok {
						methods[f.Name.Name+"."+id.Name]++
					}
				}
				lines := fset.Position(d.End()).Line - fset.Position(d.Pos()).Line + 1
				over("lines of "+f.Name.Name+"."+d.Name.Name, lines, mostFunction)
			case *ast.GenDecl:
				for _, spec := range d.Specs {
					if s, ok := spec.(*ast.TypeSpec); ok {
						if i, ok := s.Type.(*ast.InterfaceType); ok {
							over("interface "+f.Name.Name+"."+s.Name.Name, len(i.Methods.List), mostAsked)
						}
					}
				}
			}
		}
	})
	for what, n := range methods {
		over("methods of "+what, n, mostMethods)
	}
	for pkg, n := range files {
		over("files of "+pkg, n, mostFiles)
	}
}

// wellKnown are methods whose meaning their interface tells: of fmt, errors, sort, io, encoding, net,
// net/http, log/slog and the metrics library.
var wellKnown = strings.Fields(`String Error Unwrap Is As Len Less Swap Push Pop Read Write Close Seek
	MarshalJSON UnmarshalJSON MarshalText UnmarshalText ServeHTTP Header WriteHeader RoundTrip Flush
	Accept Addr Handle WithAttrs WithGroup Enabled Describe Collect Scan Value Set Type`)

// TestExportedIsDescribed holds the doc comment of every exported function, method and type to the form that
// go doc prints well: it begins with the name, or with an article and the name.
func TestExportedIsDescribed(t *testing.T) {
	seen, fset := 0, token.NewFileSet()
	eachFile(t, func(pkg, path string, _ *ast.File) {
		if strings.HasSuffix(path, "_test.go") || strings.HasSuffix(path, generatedFile) {
			return
		}
		f, err := parser.ParseFile(fset, filepath.Join("../..", path), nil,
			parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		check := func(name *ast.Ident, docs ...*ast.CommentGroup) {
			if !name.IsExported() {
				return
			}
			seen++
			for _, doc := range docs {
				if words := strings.Fields(doc.Text()); len(words) > 0 {
					if slices.Contains([]string{"A", "An", "The"}, words[0]) && len(words) > 1 {
						words = words[1:]
					}
					first := strings.TrimRight(words[0], ",:;")
					if first == name.Name || first == name.Name+"'s" {
						return
					}
					t.Errorf("%s:%d: the comment of %s begins %q and not with its name", path,
						fset.Position(name.Pos()).Line, name.Name, words[0])
					return
				}
			}
			t.Errorf("%s:%d: %s has no comment", path, fset.Position(name.Pos()).Line, name.Name)
		}
		for _, d := range f.Decls {
			switch d := d.(type) {
			case *ast.FuncDecl:
				if d.Recv == nil || !slices.Contains(wellKnown, d.Name.Name) {
					check(d.Name, d.Doc)
				}
			case *ast.GenDecl:
				for _, spec := range d.Specs {
					if s, ok := spec.(*ast.TypeSpec); ok {
						check(s.Name, s.Doc, d.Doc, s.Comment)
					}
				}
			}
		}
	})
	if seen < 1500 {
		t.Fatalf("only %d names looked at: the test does not see the house", seen)
	}
}

// TestLinesAreShort: a line is at most 110 columns wide, a tab four of them. Wider are only a text that no
// break would shorten, what lies in a text of several lines, and the columns of a table in a comment.
func TestLinesAreShort(t *testing.T) {
	eachFile(t, func(_, path string, _ *ast.File) {
		if strings.HasSuffix(path, generatedFile) {
			return
		}
		src, err := os.ReadFile(filepath.Join("../..", path))
		if err != nil {
			t.Fatal(err)
		}
		set := token.NewFileSet()
		file := set.AddFile(path, -1, len(src))
		free := map[int]bool{} // lines that may be wide
		var words scanner.Scanner
		words.Init(file, src, nil, scanner.ScanComments)
		output := false // what an example prints
		for {
			pos, kind, text := words.Scan()
			if kind == token.EOF {
				break
			}
			first := file.Line(pos)
			output = kind == token.COMMENT && (output || strings.HasPrefix(text, "// Output:"))
			switch {
			case output, kind == token.STRING && (len(text) > 40 || strings.Contains(text, "\n")),
				kind == token.COMMENT && strings.HasPrefix(text, "//\t"):
				for n := range strings.Count(text, "\n") + 1 {
					free[first+n] = true
				}
			}
		}
		n := 0
		for line := range strings.Lines(string(src)) {
			line = strings.TrimRight(line, "\n")
			if n++; free[n] {
				continue
			}
			if w := utf8.RuneCountInString(line) + 3*strings.Count(line, "\t"); w > 110 {
				t.Errorf("%s:%d: %d columns", path, n, w)
			}
		}
	})
}
