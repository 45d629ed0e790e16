package pages

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"lidwright/api/apitest"
	"lidwright/kiln/message"
)

// textsOfCode are the string literals of the packages whose words come onto pages.
func textsOfCode(t *testing.T, more ...string) []string {
	t.Helper()
	var texts []string
	for _, folder := range append([]string{"..", "../caution", "../collectorpages", "../usecase", "../auth",
		"../chart", "../client", "../web", "../../kiln", "../../kiln/heatwork", "../../kiln/faults",
		"../../kiln/detect", "../../kiln/record", "../../kiln/analysis", "../../tiles",
		"../../tiles/shrinkage", "../../tiles/lid", "../../tiles/board",
		"../../daemon", "../../daemon/store", "../../daemon/notice", "."}, more...) {
		names, err := filepath.Glob(filepath.Join(folder, "*.go"))
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range names {
			// textsOfCompiled has those
			if strings.HasSuffix(name, "_test.go") || strings.HasSuffix(name, "_templ.go") {
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
	onPages := textsOfCompiled(t)
	for _, m := range inScript.FindAllSubmatch(script(t), -1) {
		onPages[string(m[1])] = "app.js"
	}
	for _, tongue := range Tongues[1:] {
		w, err := readWords(files, tongue.Tag)
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
	texts := textsOfCode(t, "../../cmd/lidwright", "../../config", "../../daemon/store",
		"../../kiln/source", "../../kiln/practice")
	for text := range textsOfCompiled(t) {
		texts = append(texts, text)
	}
	for _, tongue := range Tongues[1:] {
		w, err := readWords(files, tongue.Tag)
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
	for _, text := range []string{"Safe to open.", "When it may be opened", "open at 50",
		"the unpacking mark", "Go and look. This", "Wann er geöffnet werden darf", "Öffnen bei 50 °C",
		"Unsere Ausräummarke"} {
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

// A third language is its file and nothing else: it is offered, read with its decimal sign, and English where
// it has no text.
func TestFurtherLanguage(t *testing.T) {
	from := fstest.MapFS{"words.zz.txt": {Data: []byte("# Zedish 1,5\n\nLanguage\n= Lingo\nabout {1}\n= zirka [1]\n")}}
	for _, name := range []string{"style.css", "app.js", "icon.svg", "words.de.txt"} {
		b, err := files.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		from[name] = &fstest.MapFile{Data: b}
	}
	if got, want := tonguesIn(from), (Tongue{"zz", "Zedish", true}); len(got) != 3 ||
		got[2] != want || got[0].Tag != "en" {
		t.Errorf("languages: %v", got)
	}
	set, err := load(from, time.UTC, func(string, float64) string { return "1.5 mm" })
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := set.Show(&b, LanguagePage{Frame: Frame{Speak: Speak{Tongue: "zz", Unit: "mm"}}}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`<html lang="zz"`, "<legend>Lingo</legend>", "<legend>Clock</legend>"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the page has no %s", want)
		}
	}
	l := set.Locale(Speak{Tongue: "zz", Unit: "mm"})
	if got := l.Length(1.5); got != "1,5 mm" {
		t.Errorf("a length is %s", got)
	}
	if got := l.Tell(message.New("about {1}", message.Number{Value: 2.5, Places: 1})); got != "zirka 2,5" {
		t.Errorf("a message is %s", got)
	}
	from["words.yy.txt"] = &fstest.MapFile{Data: []byte("Language\n= Lingo\n")}
	if _, err := load(from, time.UTC, nil); err == nil || !strings.Contains(err.Error(), "# Deutsch 1,5") {
		t.Errorf("a file without its first line: %v", err)
	}
}
