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
	"regexp"
	"strings"
	"testing"
)

const (
	messagePackage = "lidwright/kiln/message"
	pagesPackage   = "lidwright/api/pages"
)

// checkedPackage is one of our packages, with the types of what stands in it.
type checkedPackage struct {
	path  string
	files []*ast.File
	info  *types.Info
}

// ourPackages are all packages of the program that are ours.
func ourPackages(t *testing.T) []checkedPackage {
	t.Helper()
	cmd := exec.Command("go", "list", "-export", "-deps", "-json=ImportPath,Export,Dir,GoFiles",
		"../../cmd/...")
	var told bytes.Buffer
	cmd.Stderr = &told
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, told.Bytes())
	}
	type listed struct {
		ImportPath, Export, Dir string
		GoFiles                 []string
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
	exported := importer.ForCompiler(set, "gc", func(path string) (io.ReadCloser, error) {
		return os.Open(all[path].Export)
	})
	var ours []checkedPackage
	for path, one := range all {
		if !strings.HasPrefix(path, "lidwright/") {
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
		ours = append(ours, p)
	}
	return ours
}

// textsLookedUp are the texts that the program looks up: keys of messages and of pages, with the package that
// has each, and among its other constants those that may be words of closed lists.
func textsLookedUp(t *testing.T, ours []checkedPackage) (keys map[string]string, words map[string]bool) {
	t.Helper()
	keys, words = map[string]string{}, map[string]bool{}
	for _, p := range ours {
		for e, is := range p.info.Types {
			name := is.Type.String()
			isKey := name == messagePackage+".Key" || name == pagesPackage+".key"
			switch {
			case is.Value != nil && is.Value.Kind() == constant.String && isKey:
				keys[constant.StringVal(is.Value)] = p.path
			case is.Value != nil && is.Value.Kind() == constant.String:
				words[spaced(constant.StringVal(is.Value))] = true
				words[constant.StringVal(is.Value)] = true
			case isKey && p.path != messagePackage:
				if call, ok := e.(*ast.CallExpr); ok && p.info.Types[call.Fun].IsType() {
					t.Errorf("%s makes a key of what is no constant: %s", p.path, types.ExprString(e))
				}
			}
		}
	}
	return keys, words
}

// Each key has its own in every language, nothing in a language's file is left over, and nothing that fills a
// place is of a kind that no reader knows.
func TestMessages(t *testing.T) {
	ours := ourPackages(t)
	keys, words := textsLookedUp(t, ours)
	t.Logf("%d keys", len(keys))
	if len(keys) < 1000 {
		t.Errorf("only %d keys were found", len(keys))
	}
	onPages := textsOfCompiled(t)
	for _, m := range inScript.FindAllSubmatch(script(t), -1) {
		onPages[string(m[1])] = "app.js"
	}
	calendar := regexp.MustCompile(`^(Mon|Tue|Wed|Thu|Fri|Sat|Sun|Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)$`)
	for _, tongue := range Tongues[1:] {
		w, err := readWords(files, tongue.Tag)
		if err != nil {
			t.Fatal(err)
		}
		for key, pkg := range keys {
			if hasWord(inside.ReplaceAllString(key, "")) && w.exact[key] == "" {
				t.Errorf("%s says what words.%s.txt has not:\n%s", pkg, tongue.Tag, key)
			}
		}
		for english := range w.exact {
			if keys[english] == "" && onPages[english] == "" && !words[english] &&
				!calendar.MatchString(english) {
				t.Errorf("words.%s.txt has a text that nothing looks up any more: %s", tongue.Tag, english)
			}
		}
	}
	for _, p := range ours {
		for _, f := range p.files {
			ast.Inspect(f, func(n ast.Node) bool {
				if call, ok := n.(*ast.CallExpr); ok {
					p.holdArguments(t, call)
				}
				return true
			})
		}
	}
}

// holdArguments holds the arguments of a call that fills the places of a text.
func (p checkedPackage) holdArguments(t *testing.T, call *ast.CallExpr) {
	t.Helper()
	id := calledName(call)
	if id == nil || p.info.Uses[id] == nil || p.info.Uses[id].Pkg() == nil {
		return
	}
	switch of := p.info.Uses[id].Pkg().Path(); {
	case of == messagePackage && (id.Name == "New" || id.Name == "NewError"):
		argumentsFit(t, p, call, 1)
	case of == messagePackage && id.Name == "Count":
		argumentsFit(t, p, call, 3)
	case of == pagesPackage && (id.Name == "T" || id.Name == "HTML"):
		argumentsFit(t, p, call, 1)
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
		case plain && (basic.Kind() == types.Int || basic.Kind() == types.Int64 ||
			basic.Info()&types.IsString != 0 || basic.Kind() == types.UntypedInt):
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
