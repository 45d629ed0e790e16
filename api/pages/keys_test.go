package pages

import (
	"bytes"
	"encoding/json"
	"errors"
	"go/ast"
	"go/constant"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const messagePackage = "lidwright/kiln/message"

// checkedPackage is one of our packages that makes messages, with the types of what stands in it.
type checkedPackage struct {
	path  string
	files []*ast.File
	info  *types.Info
}

// messageMakers are all packages of the program that import the package of messages.
func messageMakers(t *testing.T) []checkedPackage {
	t.Helper()
	cmd := exec.Command("go", "list", "-export", "-deps", "-json=ImportPath,Export,Dir,GoFiles,Imports",
		"../../cmd/...")
	var told bytes.Buffer
	cmd.Stderr = &told
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, told.Bytes())
	}
	type listed struct {
		ImportPath, Export, Dir string
		GoFiles, Imports        []string
	}
	all := map[string]listed{}
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var one listed
		if err := d.Decode(&one); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		all[one.ImportPath] = one
	}
	set := token.NewFileSet()
	exported := importer.ForCompiler(set, "gc", func(path string) (io.ReadCloser, error) { return os.Open(all[path].Export) })
	var makers []checkedPackage
	for path, one := range all {
		if !slices.Contains(one.Imports, messagePackage) {
			continue
		}
		p := checkedPackage{path: path, info: &types.Info{Types: map[ast.Expr]types.TypeAndValue{},
			Uses: map[*ast.Ident]types.Object{}}}
		for _, name := range one.GoFiles {
			f, err := parser.ParseFile(set, filepath.Join(one.Dir, name), nil, parser.SkipObjectResolution)
			if err != nil {
				t.Fatal(err)
			}
			p.files = append(p.files, f)
		}
		if _, err := (&types.Config{Importer: exported}).Check(path, set, p.files, p.info); err != nil {
			t.Fatal(err)
		}
		makers = append(makers, p)
	}
	return makers
}

// keysOfMessages are the keys of all messages that the program can make, with the package that makes each.
// A key that is no constant is told: what people typed must not become one.
func keysOfMessages(t *testing.T, makers []checkedPackage) map[string]string {
	t.Helper()
	keys := map[string]string{}
	for _, p := range makers {
		for e, is := range p.info.Types {
			if is.Type.String() != messagePackage+".Key" {
				continue
			}
			if is.Value != nil {
				keys[constant.StringVal(is.Value)] = p.path
			} else if call, ok := e.(*ast.CallExpr); ok && p.info.Types[call.Fun].IsType() {
				t.Errorf("%s makes a key of what is no constant: %s", p.path, types.ExprString(e))
			}
		}
	}
	return keys
}

// stillParsed are the packages that put English sentences together, which a language finds again by their
// form. It may shrink and never grow: code makes messages.
var stillParsed = []string{"api", "api/usecase", "daemon"}

// Each key has its own in every language, and nothing that fills a place is of a kind that no reader knows.
func TestMessages(t *testing.T) {
	makers := messageMakers(t)
	keys := keysOfMessages(t, makers)
	if len(keys) < 20 {
		t.Errorf("only %d keys were found", len(keys))
	}
	for _, tongue := range Tongues[1:] {
		w, err := readWords(tongue.Tag)
		if err != nil {
			t.Fatal(err)
		}
		for key, pkg := range keys {
			if hasWord(inside.ReplaceAllString(key, "")) && w.exact[key] == "" {
				t.Errorf("%s says what words.%s.txt has not:\n%s", pkg, tongue.Tag, key)
			}
		}
		for _, key := range messagesIn(t, tongue.Tag) {
			if keys[key] == "" {
				t.Errorf("words.%s.txt has a message that no code makes any more: %s", tongue.Tag, key)
			}
		}
	}
	var parsed []string
	for _, p := range makers {
		for _, f := range p.files {
			ast.Inspect(f, func(n ast.Node) bool {
				call, ok := n.(*ast.CallExpr)
				if !ok {
					return true
				}
				id := calledName(call)
				if id == nil || p.info.Uses[id] == nil || p.info.Uses[id].Pkg() == nil || p.info.Uses[id].Pkg().Path() != messagePackage {
					return true
				}
				switch id.Name {
				case "English":
					parsed = append(parsed, strings.TrimPrefix(p.path, "lidwright/"))
				case "New":
					argumentsFit(t, p, call, 1)
				case "Count":
					argumentsFit(t, p, call, 3)
				}
				return true
			})
		}
	}
	slices.Sort(parsed)
	if parsed = slices.Compact(parsed); !slices.Equal(parsed, stillParsed) {
		t.Errorf("%v put sentences together that are parsed again, the list is %v: it may only shrink",
			parsed, stillParsed)
	}
}

// argumentsFit holds the arguments of a message from the first on: a name, a whole number or an Arg, one
// for each place.
func argumentsFit(t *testing.T, p checkedPackage, call *ast.CallExpr, first int) {
	t.Helper()
	if call.Ellipsis.IsValid() {
		return
	}
	for _, a := range call.Args[first:] {
		is := p.info.Types[a].Type
		basic, plain := is.Underlying().(*types.Basic)
		switch {
		case plain && (basic.Kind() == types.Int || basic.Kind() == types.Int64 || basic.Info()&types.IsString != 0 || basic.Kind() == types.UntypedInt):
		case types.NewMethodSet(is).Lookup(nil, "Render") != nil:
		default:
			t.Errorf("%s: %s is no name, whole number or quantity that a message can tell", p.path,
				types.ExprString(a))
		}
	}
	value := p.info.Types[call.Args[0]].Value
	if first != 1 || value == nil {
		return
	}
	for n := 1; n < len(call.Args) || strings.Contains(constant.StringVal(value), placeOf(n)); n++ {
		if n >= len(call.Args) || !strings.Contains(constant.StringVal(value), placeOf(n)) {
			t.Errorf("%s: %s does not have the place %s, or nothing fills it", p.path, value, placeOf(n))
		}
	}
}

func placeOf(n int) string { return "{" + string(rune('0'+n)) + "}" }

func calledName(call *ast.CallExpr) *ast.Ident {
	switch f := call.Fun.(type) {
	case *ast.Ident:
		return f
	case *ast.SelectorExpr:
		return f.Sel
	}
	return nil
}

// messagesIn are the keys that a language's file has as messages.
func messagesIn(t *testing.T, tag string) []string {
	t.Helper()
	text, err := files.ReadFile("words." + tag + ".txt")
	if err != nil {
		t.Fatal(err)
	}
	_, messages, _ := strings.Cut(string(text), "\n## Messages\n")
	var keys []string
	for line := range strings.Lines(messages) {
		if line = strings.TrimSuffix(line, "\n"); line != "" && line[0] != '#' && line[0] != '=' {
			keys = append(keys, line)
		}
	}
	return keys
}
