package pages

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"lidwright/api/apitest"
)

// textsOfPages are all texts of the pages, compiled or not, with the file that each stands in.
func textsOfPages(t *testing.T) map[string]string {
	t.Helper()
	names, err := fs.Glob(files, "*.html")
	if err != nil {
		t.Fatal(err)
	}
	texts := textsOfCompiled(t)
	for _, name := range names {
		b, err := files.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		same := translate(string(b), func(key string) string {
			texts[key] = name
			return key
		})
		if blanks.ReplaceAllString(same, " ") != blanks.ReplaceAllString(string(b), " ") {
			t.Errorf("%s is another when every text stays as it is", name)
		}
	}
	return texts
}

// textsOfCode are the string literals of the packages whose words come onto pages.
func textsOfCode(t *testing.T, more ...string) []string {
	t.Helper()
	var texts []string
	for _, folder := range append([]string{"..", "../caution", "../collectorpages", "../usecase", "../auth", "../chart", "../client", "../web", "../../kiln", "../../kiln/heatwork", "../../kiln/faults", "../../kiln/detect", "../../kiln/record", "../../kiln/analysis", "../../tiles", "../../tiles/shrinkage", "../../tiles/lid", "../../tiles/board",
		"../../daemon", "../../daemon/store", "../../daemon/notice", "."}, more...) {
		names, err := filepath.Glob(filepath.Join(folder, "*.go"))
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range names {
			if strings.HasSuffix(name, "_test.go") || strings.HasSuffix(name, "_templ.go") { // textsOfPages has those
				continue
			}
			file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			ast.Inspect(file, func(n ast.Node) bool {
				if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING {
					if text, err := strconv.Unquote(l.Value); err == nil {
						texts = append(texts, text)
					}
				}
				return true
			})
		}
	}
	return texts
}

// Every text of the pages has its German, and no place or link of a text is lost or made up.
func TestNothingUnsaid(t *testing.T) {
	onPages := textsOfPages(t)
	for _, m := range inScript.FindAllSubmatch(script(t), -1) {
		onPages[string(m[1])] = "app.js"
	}
	for _, tongue := range Tongues[1:] {
		w, err := readWords(tongue.Tag)
		if err != nil {
			t.Fatal(err)
		}
		for text, name := range onPages {
			if w.exact[text] == "" {
				t.Errorf("%s has a text that words.%s.txt has not:\n%s", name, tongue.Tag, text)
			}
		}
		for english, own := range w.exact {
			if a, b := places(english), places(own); !slices.Equal(a, b) {
				t.Errorf("%q has %v, its %s %q has %v", english, a, tongue.Name, own, b)
			}
		}
	}
}

// No text that anybody reads, of a page, a print, a command, a metric or a message, is leave to open a kiln.
func TestNoLeaveToOpen(t *testing.T) {
	texts := textsOfCode(t, "../../cmd/lidwright", "../../config", "../../daemon/store", "../../kiln/source", "../../kiln/practice")
	for text := range textsOfPages(t) {
		texts = append(texts, text)
	}
	for _, tongue := range Tongues[1:] {
		w, err := readWords(tongue.Tag)
		if err != nil {
			t.Fatal(err)
		}
		for english, own := range w.exact {
			texts = append(texts, english, own)
		}
	}
	topics, err := filepath.Glob("../topics/*.md")
	if err != nil || len(topics) < 8 {
		t.Fatalf("%d topics of the help, %v", len(topics), err)
	}
	for _, name := range append(topics, "app.js", "../../README.md", "../../config/example.toml",
		"../../deploy/prometheus/rules.yml", "../../deploy/deb/nfpm.yaml", "../../deploy/deb/postinst") {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		texts = append(texts, strings.Join(strings.Fields(string(b)), " "))
	}
	if len(texts) < 3000 {
		t.Errorf("only %d texts were found", len(texts))
	}
	for _, text := range texts {
		if says := apitest.LeaveToOpen(text); says != "" {
			t.Errorf("%q in %.200s", says, text)
		}
	}
	for _, text := range []string{"Safe to open.", "When it may be opened", "open at 50", "the unpacking mark", "Go and look. This", "Wann er geöffnet werden darf", "Öffnen bei 50 °C", "Unsere Ausräummarke"} {
		if apitest.LeaveToOpen(text) == "" {
			t.Errorf("%q is not seen", text)
		}
	}
}

func script(t *testing.T) []byte {
	t.Helper()
	b, err := files.ReadFile("app.js")
	if err != nil {
		t.Fatal(err)
	}
	return b
}

var inside = regexp.MustCompile(`\{\d\}|\[\d\]|</?[a-z]+\d?>`)

// places are the places and tags of a text, in an order of their own.
func places(text string) []string {
	p := inside.FindAllString(text, -1)
	for i, place := range p {
		if place[0] == '[' {
			p[i] = "{" + place[1:2] + "}"
		}
	}
	slices.Sort(p)
	return p
}

// What is a text and what is not, by a page in small.
func TestTranslate(t *testing.T) {
	for _, c := range []struct{ source, want string }{
		{`<p>Bars <em>waiting</em></p>`, `<p>[Bars <em>waiting</em>]</p>`},
		{`<p>{{.N}} of {{.Of}} measured</p>`, `<p>[{{.N}} of {{.Of}} measured]</p>`},
		{`<p>{{if .A}}one{{else}}two{{end}} °C</p>`, `<p>{{if .A}}[one]{{else}}[two]{{end}} °C</p>`},
		{`<a class="x" href="/a?{{.Q}}">Clay</a> · <a class="y" href="/b">Lid</a>`, `<a class="x" href="/a?{{.Q}}">[Clay]</a> · <a class="y" href="/b">[Lid]</a>`},
		{`<p>See <a href="/a">the clay</a>.</p>`, `<p>[See <a href="/a">the clay</a>].</p>`},
		{`<input aria-label="Unit of {{.Bar}}" value="Keep"> <b>{{.X}}</b> {{.Y}}`, `<input aria-label="[Unit of {{.Bar}}]" value="Keep"> <b>{{.X}}</b> {{.Y}}`},
		{`<strong>{{with .A}}a{{end}}</strong>`, `<strong>{{with .A}}[a]{{end}}</strong>`},
		{`<p title="a{{if eq .A "b"}}">x</p>`, `<p title="[a]{{if eq .A "b"}}">[x]</p>`},
	} {
		if got := translate(c.source, func(key string) string { return "[" + key + "]" }); got != c.want {
			t.Errorf("%s\n  gave %s\n  want %s", c.source, got, c.want)
		}
	}
	if got := translate(`<p>{{.N}} of {{.Of}} in <a href="/x">a load</a></p>`, func(key string) string {
		if key != "{1} of {2} in <a1>a load</a>" {
			t.Errorf("the key is %q", key)
		}
		return "in <a1>einer Ladung</a> von {2}: {1}"
	}); got != `<p>in <a href="/x">einer Ladung</a> von {{.Of}}: {{.N}}</p>` {
		t.Error(got)
	}
}
