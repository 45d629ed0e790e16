// Command mutants puts small faults into the code, one at a time, and sees whether the tests of the
// package notice. It says which did not: each names a test that is missing, or code that does nothing.
//
// It takes a seeded sample, so that a night is enough and tomorrow's run tries the same faults, and hands
// each to go test as an overlay, so that nothing in the tree changes. Gremlins (v0.6.0), which others use,
// tries every fault of what it is given, or of what a diff changed: it takes no sample, and one file only
// by excluding all others.
package main

import (
	"bytes"
	"context"
	_ "embed"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"
)

// fault is a change of one place.
type fault struct {
	file     string
	from, to int    // bytes of the file that it takes the place of
	with     string // what stands there instead
	line     int
	was      string
	text     []byte // of the file, as it was when the faults were listed
}

func (f fault) String() string {
	return fmt.Sprintf("%s:%d: %s", f.file, f.line, f.change())
}

func (f fault) change() string {
	return fmt.Sprintf("%s became %s", strings.Join(strings.Fields(f.was), " "),
		strings.Join(strings.Fields(f.with), " "))
}

// explained are the faults that no test can or need notice, each with its reason: see explained.txt.
//
//go:embed explained.txt
var explained string

// reason is why a fault of a file of the module may go unnoticed, "" where it may not.
func (f fault) reason(root string) string {
	name, err := filepath.Rel(root, f.file)
	if err != nil {
		return ""
	}
	f.file = filepath.ToSlash(name)
	what := fmt.Sprintf("%s: %s", f.file, f.change())
	for line := range strings.Lines(explained) {
		if fault, why, ok := strings.Cut(strings.TrimSpace(line), " # "); ok &&
			strings.TrimSpace(fault) == what {
			return strings.TrimSpace(why)
		}
	}
	return ""
}

// turned are the operators that take each other's place.
var turned = map[token.Token][]token.Token{
	token.EQL: {token.NEQ}, token.NEQ: {token.EQL}, token.LSS: {token.LEQ, token.GTR},
	token.LEQ: {token.LSS, token.GTR}, token.GTR: {token.GEQ, token.LSS}, token.GEQ: {token.GTR, token.LSS},
	token.ADD: {token.SUB}, token.SUB: {token.ADD}, token.MUL: {token.QUO}, token.QUO: {token.MUL},
	token.LAND: {token.LOR}, token.LOR: {token.LAND},
}

// faultsOf are all that a file can have: an operator turned, a number one more, a condition that never
// holds or always does, a statement left out.
func faultsOf(path string) ([]fault, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, path, text, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	var all []fault
	at := func(p token.Pos) int { return set.Position(p).Offset }
	add := func(from, to token.Pos, with string) {
		all = append(all, fault{path, at(from), at(to), with, set.Position(from).Line,
			string(text[at(from):at(to)]), text})
	}
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.ImportSpec:
			return false
		case *ast.BinaryExpr:
			for _, op := range turned[n.Op] {
				add(n.OpPos, n.OpPos+token.Pos(len(n.Op.String())), op.String())
			}
		case *ast.BasicLit:
			if v, err := strconv.ParseInt(n.Value, 10, 64); err == nil && n.Kind == token.INT {
				add(n.Pos(), n.End(), strconv.FormatInt(v+1, 10))
			}
		case *ast.IfStmt:
			cond := string(text[at(n.Cond.Pos()):at(n.Cond.End())])
			add(n.Cond.Pos(), n.Cond.End(), "("+cond+") && false")
			add(n.Cond.Pos(), n.Cond.End(), "("+cond+") || true")
		case *ast.BlockStmt:
			for _, s := range n.List {
				switch s := s.(type) {
				case *ast.ExprStmt, *ast.IncDecStmt, *ast.SendStmt, *ast.DeferStmt:
					add(s.Pos(), s.End(), "{}")
				case *ast.AssignStmt:
					if s.Tok != token.DEFINE {
						add(s.Pos(), s.End(), "{}")
					}
				}
			}
		}
		return true
	})
	return all, nil
}

// what became of a fault
const (
	noticed  = "noticed"
	late     = "no end" // the tests did not end in time, which is noticed too
	survived = "NOT NOTICED"
	explains = "explained"      // survived, and its reason is written down
	unbuilt  = "does not build" // no fault that anybody could make
)

// try runs the tests of a package with a fault in it: those that match first, and all if these see nothing.
func try(root, pkg, first, skip string, f fault, limit time.Duration) (string, error) {
	folder, err := os.MkdirTemp("", "mutants")
	if err != nil {
		return "", err
	}
	defer os.RemoveAll(folder)
	changed, overlay := filepath.Join(folder, "changed.go"), filepath.Join(folder, "overlay.json")
	replaced, err := json.Marshal(map[string]any{"Replace": map[string]string{f.file: changed}})
	if err == nil {
		err = errors.Join(os.WriteFile(changed, []byte(string(f.text[:f.from])+f.with+string(f.text[f.to:])),
			0o600), os.WriteFile(overlay, replaced, 0o600))
	}
	if err != nil {
		return "", err
	}
	out, err := tested(root, pkg, limit, "-overlay", overlay, "-failfast", "-skip", skip, "-run", first)
	if err == nil && first != "" {
		out, err = tested(root, pkg, limit, "-overlay", overlay, "-failfast", "-skip", skip)
	}
	switch {
	case err == nil:
		return survived, nil
	case bytes.Contains(out, []byte("[build failed]")), bytes.Contains(out, []byte("[setup failed]")):
		return unbuilt, nil
	case bytes.Contains(out, []byte("panic: test timed out")):
		return late, nil
	}
	return noticed, nil
}

// tryAll is try of several faults at a time.
func tryAll(root, pkg, first, skip string, faults []fault, limit time.Duration) ([]string, error) {
	became, errs := make([]string, len(faults)), make([]error, len(faults))
	var all sync.WaitGroup
	for i, f := range faults {
		all.Go(func() { became[i], errs[i] = try(root, pkg, first, skip, f, limit) })
	}
	all.Wait()
	return became, errors.Join(errs...)
}

func tested(root, pkg string, limit time.Duration, args ...string) ([]byte, error) {
	ctx, cancel := context.WithTimeout(context.Background(), limit+10*time.Minute) // building is not counted
	defer cancel()
	cmd := exec.CommandContext(ctx, "go", append(append([]string{"test", "-vet=off", "-count=1", "-timeout",
		limit.String()}, args...), pkg)...)
	cmd.Dir = root
	return cmd.CombinedOutput()
}

// told prints a fault that no test noticed, and reports whether that is explained.
func (f fault) told(root string) bool {
	if why := f.reason(root); why != "" {
		fmt.Printf("%s %s (%s)\n", survived, f, why)
		return true
	}
	fmt.Printf("%s %s\n", survived, f)
	return false
}

// faultsIn are all that the wanted files of a folder can have.
func faultsIn(folder string, names []string, wanted *regexp.Regexp) (all []fault, err error) {
	for _, name := range names {
		if !wanted.MatchString(name) {
			continue
		}
		some, err := faultsOf(filepath.Join(folder, name))
		if err != nil {
			return nil, err
		}
		all = append(all, some...)
	}
	return all, nil
}

func run() error {
	root := flag.String("root", ".", "folder of the module, from /")
	n := flag.Int("n", 30, "faults a package; 0: all")
	seed := flag.Uint64("seed", 1, "of the sample")
	only := flag.String("files", "", "regular expression of file names; the others are left as they are")
	first := flag.String("first", "", "regular expression of tests that are run before all of the package; saves time")
	together := flag.Int("together", 1,
		"faults that are tried at a time, from 1; one a processor on an idle machine")
	skip := flag.String("skip", "",
		"regular expression of tests that do not judge: long ones; what survives may be theirs")
	limit := flag.Duration("limit", time.Minute,
		"time for the tests with a fault, at least three times what they take without")
	flag.Parse()
	if *together < 1 || *n < 0 {
		return errors.New("-together is 1 or more, -n is 0 or more")
	}
	wanted, err := regexp.Compile(*only)
	if err != nil {
		return err
	}
	list := exec.Command("go", append([]string{"list", "-f",
		"{{.ImportPath}}\t{{.Dir}}\t{{join .GoFiles \" \"}}"}, flag.Args()...)...)
	list.Dir = *root
	list.Stderr = os.Stderr
	packages, err := list.Output()
	if err != nil {
		return fmt.Errorf("list %v: %w", flag.Args(), err)
	}
	for line := range strings.Lines(string(packages)) {
		part := strings.Split(strings.TrimSpace(line), "\t")
		if len(part) != 3 {
			continue // no Go files of its own
		}
		all, err := faultsIn(part[1], strings.Fields(part[2]), wanted)
		if err != nil {
			return err
		}
		if len(all) == 0 {
			continue
		}
		began := time.Now()
		if out, err := tested(*root, part[0], 10**limit, "-skip", *skip); err != nil {
			return fmt.Errorf("%s fails without a fault: %w\n%s", part[0], err, out)
		}
		patience := max(*limit, 3*time.Since(began))
		places, dice := len(all), rand.New(rand.NewPCG(*seed, 0))
		dice.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
		count, tried := map[string]int{}, 0
		for len(all) > 0 && (*n == 0 || tried < *n) {
			some := min(*together, len(all))
			if *n > 0 {
				some = min(some, *n-tried)
			}
			became, err := tryAll(*root, part[0], *first, *skip, all[:some], patience)
			if err != nil {
				return err
			}
			for i, what := range became {
				if count[what]++; what == unbuilt {
					continue
				}
				tried++
				if what == survived && all[i].told(*root) {
					count[explains]++
				}
			}
			all = all[some:]
		}
		fmt.Printf("%s: %d of %d noticed (%d without an end), %d explained; %d places in all, %v\n", part[0],
			count[noticed]+count[late], tried, count[late], count[explains], places,
			time.Since(began).Round(time.Second))
	}
	return nil
}

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "mutants:", err)
		os.Exit(1)
	}
}
